//! Checks that compute: what the records of a plan come to in numbers, each with its inputs, its formula and its margin.
//!
//! The maths is in the room of the checks; here the fields of records become its questions. A check that fails keeps a part from
//! being chosen where it can (`refuse` and the fit of a kit ask the same questions before any part is chosen); what is told here is told
//! of the plan as it is.

mod electrics;
mod geometry;

use dashwright_checks::feed::{Feed, NoFeed};
use dashwright_checks::result::{CheckKind, CheckResult};
use dashwright_checks::screen::ScreenReport;
use dashwright_model::Function;
use dashwright_model::record::audio::SpeakerPosition;
use dashwright_model::record::{Part, RecordKey, RecordKind};
use dashwright_quantity::{Label, Millimetres, Offset};

use crate::job::JobView;
use crate::reason::Reason;
use crate::wiring::Wiring;

pub(crate) use electrics::{ladder_mismatch, load_mismatch};
pub(crate) use geometry::screen_refusal;

/// What of the job a check is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// All of it.
    Job,
    /// The speakers on one pair of leads.
    Speaker(SpeakerPosition),
    /// The buttons on one wire.
    Buttons(Function),
}

/// A check of a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedCheck {
    /// What it is about.
    pub subject: Subject,
    /// How it came out, in figures.
    pub result: CheckResult,
    /// The fields that are not recorded, and what else is worth knowing.
    pub reasons: Vec<Reason>,
}

/// Something around the opening that the screen lies before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreenNeighbour {
    /// What a person calls it.
    pub name: Label,
    /// Its place in the dash's list of surroundings.
    pub surrounding: usize,
}

/// Where a floating screen may stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedScreen {
    /// The screen's centre to the right of the opening's.
    pub x: Offset,
    /// The zero of its height, over the opening's centre.
    pub zero: Offset,
    /// How far the kit sets the radio forward: part of every stand-off that is told here.
    pub set_forward: Millimetres,
    /// What was found; obstacles are places in `neighbours`.
    pub report: ScreenReport,
    /// What was weighed.
    pub neighbours: Vec<ScreenNeighbour>,
}

/// Every check of a plan.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checks {
    /// In the order of their kinds.
    pub checks: Vec<PlannedCheck>,
    /// Where the floating screen may stand, where the radio has one and the surroundings are recorded.
    pub screen: Option<PlannedScreen>,
    /// The direct feed that the supply needs, or why there is none; nothing where the circuit carries the radio.
    pub feed: Option<Result<Feed, NoFeed>>,
}

/// The checks of chosen parts.
pub(crate) fn checks(job: &JobView<'_>, parts: &[&Part], wiring: &Wiring) -> Checks {
    let plan = Planned { job, parts, wiring };
    let mut checks = vec![plan.depth(), plan.face()];
    let (screen, placed) = plan.screen().unzip();
    checks.extend(screen);
    let (supply, feed) = plan.supply();
    checks.push(supply);
    checks.extend(plan.speakers());
    checks.extend(plan.level());
    checks.push(plan.standby());
    checks.extend(plan.ladders());
    Checks { checks, screen: placed, feed }
}

/// A job with the parts that were chosen for it and their wiring.
struct Planned<'p, 'a> {
    job: &'p JobView<'a>,
    parts: &'p [&'p Part],
    wiring: &'p Wiring,
}

impl Planned<'_, '_> {
    /// The part that holds the radio and changes the opening.
    fn kit(&self) -> Option<&Part> {
        self.parts.iter().copied().find(|part| part.kit.is_some())
    }

    /// A check, with the fields of records that its missing inputs are.
    fn told(&self, subject: Subject, result: CheckResult, mut reasons: Vec<Reason>) -> PlannedCheck {
        reasons.extend(result.missing.iter().filter_map(|input| self.missing(result.check, input)));
        PlannedCheck { subject, result, reasons }
    }

    fn missing(&self, check: CheckKind, input: &str) -> Option<Reason> {
        let (kind, field) = match check {
            CheckKind::Depth => geometry::field_of_depth(input)?,
            CheckKind::Face => geometry::field_of_face(input, self.kit())?,
            CheckKind::Screen => geometry::field_of_screen(input)?,
            // Which of several draws, buttons or drivers is missing their checks tell themselves.
            CheckKind::Standby => return None,
            CheckKind::Supply => electrics::field_of_supply(input)?,
            CheckKind::SpeakerLoad => electrics::field_of_speaker(input)?,
            CheckKind::Level => electrics::field_of_level(input)?,
            CheckKind::SteeringLadder => electrics::field_of_ladder(input)?,
        };
        self.lacks(kind, field)
    }

    /// That a field is not recorded.
    fn lacks(&self, kind: RecordKind, field: &str) -> Option<Reason> {
        let id = match kind {
            RecordKind::Radio => self.job.radio.id.as_term(),
            RecordKind::Dash => self.job.view.dash.id.as_term(),
            RecordKind::FactoryAudio => self.job.view.audio.id.as_term(),
            RecordKind::Part => self.kit()?.id.as_term(),
            RecordKind::Vehicle | RecordKind::Vocabulary | RecordKind::GoldenQuestion => return None,
        };
        Some(Reason::FactMissing { record: RecordKey { kind, id }, field: field.to_owned() })
    }
}
