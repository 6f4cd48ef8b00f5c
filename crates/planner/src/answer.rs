//! The answer to a look-up, as data.

use dashwright_model::record::RecordKey;
use dashwright_model::record::radio::ChassisClass;
use dashwright_model::record::vehicle::Attribute;
use dashwright_model::{Carrier, Feature, Grade, Need};
use dashwright_quantity::Prose;
use dashwright_snapshot::{RecordIx, Via};

use crate::reason::Reason;

/// The strongest statement that is true whatever the missing facts turn out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Proven impossible, with the numbers that prove it.
    CannotFit,
    /// Nothing in the catalogue covers a need that must be met.
    NoKnownWay,
    /// There is a way, but not without parts that the caller leaves out.
    NotWithExclusions,
    /// The catalogue lacks a fact that it would need.
    Unknown,
    /// Goes in with parts.
    FitsWithParts,
    /// Goes in without parts.
    FitsAsIs,
    /// The candidates differ: a question is open.
    Depends,
}

/// How much a need matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Importance {
    /// Without it the installation does not stand.
    Must,
    /// The customer would miss it.
    Wished,
    /// Some radios can use it.
    Offered,
}

/// How a need can be met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Met {
    /// Without a part.
    Directly,
    /// By a part.
    ByPart,
    /// By nothing that the catalogue knows.
    ByNothingKnown,
    /// The catalogue lacks a fact that decides it.
    Unknown,
}

/// What becomes of a factory feature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// It goes on working.
    Kept,
    /// It goes on working, with a limit that the customer has to be told.
    KeptWithLimit,
    /// It stops working.
    Lost,
    /// The vehicle does not have it.
    NotPresent,
    /// The catalogue does not know.
    Unknown,
}

/// What a radio must have for something to be joined without a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ability {
    /// An input that learns a ladder of resistors.
    SteeringLadderInput,
    /// A camera input.
    CameraInput,
    /// An auxiliary input.
    AuxInput,
    /// A microphone input.
    MicrophoneInput,
    /// An illumination lead.
    IlluminationLead,
    /// Speaker outputs that may feed an amplifier.
    SpeakerOutputs,
    /// Line outputs.
    LineOutputs,
}

/// A part that meets a need here.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PartOffer {
    /// The part, as a place in the snapshot's table.
    pub part: RecordIx,
    /// Which of its statements says so.
    pub cover: u16,
    /// By what the statement applies.
    pub via: Via,
    /// Whether something has to be told: the statement has a limit, or holds for some radios only.
    pub limited: bool,
}

/// How a radio of a class is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MountFitment {
    /// The class.
    pub chassis: ChassisClass,
    /// What is true of it.
    pub verdict: Verdict,
    /// Parts that hold it.
    pub parts: Vec<PartOffer>,
    /// Why.
    pub reasons: Vec<Reason>,
}

/// How a need can be met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NeedFitment {
    /// The need.
    pub need: Need,
    /// How much it matters.
    pub importance: Importance,
    /// How it can be met.
    pub met: Met,
    /// Parts that meet it.
    pub parts: Vec<PartOffer>,
    /// Why it arises, and why it is met or not.
    pub reasons: Vec<Reason>,
}

/// What becomes of a feature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FeatureFitment {
    /// The feature.
    pub feature: Feature,
    /// How it is carried; unknown without it.
    pub carrier: Option<Carrier>,
    /// What becomes of it.
    pub outcome: Outcome,
    /// Parts that keep it.
    pub kept_by: Vec<PartOffer>,
    /// Why.
    pub reasons: Vec<Reason>,
}

/// The weakest evidence that an answer rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeakestEvidence {
    /// Its grade.
    pub grade: Grade,
    /// The record.
    pub record: RecordKey,
}

/// What is true of one case: a dash with a factory audio behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseFitment {
    /// The verdict.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// The dash, as a place in the snapshot's table.
    pub dash: RecordIx,
    /// Per chassis class, how it is held.
    pub mounts: Vec<MountFitment>,
    /// Every other need.
    pub needs: Vec<NeedFitment>,
    /// Every feature.
    pub features: Vec<FeatureFitment>,
    /// The weakest evidence of dash, audio and the parts that must be.
    pub weakest: Option<WeakestEvidence>,
}

/// Pieces of an answer that belong together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facets {
    /// The dash that shows the opening, as a place in the snapshot's table.
    pub dash: Option<RecordIx>,
    /// Mounts.
    pub mounts: Vec<MountFitment>,
    /// Needs.
    pub needs: Vec<NeedFitment>,
    /// Features.
    pub features: Vec<FeatureFitment>,
}

/// What is true of some candidates only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Variant {
    /// The candidates, by their number in the answer.
    pub candidates: Vec<u32>,
    /// Their verdict.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// What is true of them and not of all.
    pub facets: Facets,
}

/// The one question that separates the candidates best.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OpenQuestion {
    /// What is asked for.
    pub attribute: Attribute,
    /// The answers.
    pub choices: Vec<QuestionChoice>,
}

/// An answer to a question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuestionChoice {
    /// The value to ask again with.
    pub value: String,
    /// What a person calls it.
    pub title: String,
    /// How to tell.
    pub how_to_tell: Option<Prose>,
    /// The candidates that it leaves, by their number in the answer.
    pub candidates: Vec<u32>,
}

/// The answer to a look-up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitment {
    /// The verdict for all candidates together.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// What is true of all candidates.
    pub settled: Facets,
    /// What differs, a variant for each group of candidates.
    pub depends: Vec<Variant>,
    /// The question that matters, if one does.
    pub question: Option<OpenQuestion>,
    /// The weakest evidence of all; that of the vehicle lines is not in it.
    pub weakest: Option<WeakestEvidence>,
}
