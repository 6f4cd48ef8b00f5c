//! Outcomes as the log and the store have them.

use dashwright_model::outcome::{JobResult, Wrong};
use dashwright_model::record::golden::PlanVerdict;
use dashwright_quantity::Prose;
use serde::{Deserialize, Serialize};

/// Payload of [`OUTCOME_REPORT`](crate::OUTCOME_REPORT): what came of a job that was done by a plan. What was asked is not kept as
/// it was asked: an identification number tells of a person's car. The plan is, by what it says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutcomeReport {
    /// The fingerprint of the plan.
    pub fingerprint: String,
    /// The revision that it was made from.
    pub revision: u64,
    /// What the plan is for: the first of the vehicle lines with their audio options, as `line-7 base`.
    pub vehicles: Vec<String>,
    /// The radio.
    pub radio: String,
    /// What the plan says.
    pub verdict: PlanVerdict,
    /// What came of the job.
    pub result: JobResult,
    /// The records that the plan rests on, as `part/kit-7`, in their order.
    pub rests_on: Vec<String>,
    /// Those of them that were wrong.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wrong: Vec<WrongRecord>,
    /// Anything else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
}

/// A record that was wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WrongRecord {
    /// Its key, as `part/kit-7`.
    pub record: String,
    /// In what way.
    pub wrong: Wrong,
    /// In the words of whoever did the job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<Prose>,
}

/// Payload of [`OUTCOME_REJECT`](crate::OUTCOME_REJECT).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutcomeReject {
    /// The number of the outcome.
    pub outcome: u64,
}

/// In an edit of a draft: the edit is what the acceptance of an outcome makes of the records. It rides in the entry of the edit,
/// so that no crash can leave the one without the other.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutcomeAcceptance {
    /// The number of the outcome.
    pub outcome: u64,
}

/// An outcome and what became of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutcomeFacts {
    /// Its number: that of the entry which reported it.
    pub number: u64,
    /// When it was reported.
    pub time: String,
    /// Who reported it.
    pub actor: String,
    /// Why, where that was said.
    pub reason: String,
    /// What was reported.
    pub report: OutcomeReport,
    /// What a curator has made of it; nothing yet without it.
    pub resolution: Option<Resolution>,
}

/// What a curator has made of an outcome.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Resolution {
    /// When.
    pub time: String,
    /// Who.
    pub actor: String,
    /// Why.
    pub reason: String,
    /// Where it was accepted; it was rejected without it.
    pub accepted: Option<AcceptedIn>,
}

/// Where an outcome counts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AcceptedIn {
    /// The draft.
    pub draft: String,
    /// The records whose evidence moved, as `part/kit-7`.
    pub records: Vec<String>,
}

/// What became of an outcome, in the order in which outcomes are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum OutcomeState {
    /// Nothing yet.
    Open,
    /// It counts.
    Accepted,
    /// It does not.
    Rejected,
}

impl OutcomeState {
    /// Every state, in the order in which outcomes are listed.
    pub const ALL: [Self; 3] = [Self::Open, Self::Accepted, Self::Rejected];

    /// The name of the state.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Accepted => "accepted",
            Self::Rejected => "rejected",
        }
    }

    /// The letter that stands for it in keys of the store and in page tokens.
    pub(crate) const fn letter(self) -> u8 {
        match self {
            Self::Open => b'o',
            Self::Accepted => b'a',
            Self::Rejected => b'r',
        }
    }
}

impl OutcomeFacts {
    /// What became of it.
    #[must_use]
    pub fn state(&self) -> OutcomeState {
        match &self.resolution {
            None => OutcomeState::Open,
            Some(Resolution { accepted: Some(_), .. }) => OutcomeState::Accepted,
            Some(Resolution { accepted: None, .. }) => OutcomeState::Rejected,
        }
    }
}
