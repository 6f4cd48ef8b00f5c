//! Outcomes of jobs: reported, queued for curators, accepted into a draft or rejected.
//!
//! An outcome moves nothing by itself. Accepting one is an edit of a draft, which counts the job in the evidence of the records;
//! it is looked at and published like any other edit, so that no answer as of an earlier revision ever changes.

mod facts;

use std::collections::BTreeSet;

use dashwright_model::JobSays;
use dashwright_model::outcome::JobResult;
use dashwright_model::record::RecordKey;
use dashwright_store::Space;

use crate::engine::Engine;
use crate::layout;
use crate::shared::Shared;
use crate::state::StateError;
use crate::surroundings::Origin;
use crate::writer::{Drafted, WriteError};

pub use facts::{
    AcceptedIn, OutcomeAcceptance, OutcomeFacts, OutcomeReject, OutcomeReport, OutcomeState, Resolution,
    WrongRecord,
};

/// Outcomes that wait for a curator: more than a back office works off in a year, and a caller that reports in a loop fills no
/// disk.
pub const MAX_OPEN_OUTCOMES: u64 = 10_000;
/// Outcomes that are accepted in one draft: a draft that is thrown away opens them all again in one step.
pub const MAX_ACCEPTED_IN_DRAFT: usize = 500;
/// Outcomes that one page of a list looks at: what a filter lets through may lie far apart.
pub const OUTCOMES_LOOKED_AT: usize = 5_000;
/// Outcomes that are read from the store at once.
const READ_AT_ONCE: usize = 256;

/// Which outcomes are asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OutcomeFilter {
    /// In this state.
    pub state: Option<OutcomeState>,
    /// Of plans that rest on this record.
    pub record: Option<RecordKey>,
}

/// The place of an outcome in the order in which outcomes are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutcomePlace {
    /// Its state.
    pub state: OutcomeState,
    /// Its number.
    pub number: u64,
}

/// A page of outcomes.
#[derive(Clone, Debug)]
pub struct OutcomesListed {
    /// Those that the filter lets through.
    pub outcomes: Vec<OutcomeFacts>,
    /// What was looked at last, where there may be more behind it: also behind a page with nothing on it.
    pub last: Option<OutcomePlace>,
}

/// An outcome that was reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reported {
    /// Its number.
    pub number: u64,
    /// Whether this is the first result of a repeated request.
    pub repeated: bool,
}

/// What is to be accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acceptance {
    /// The number of the outcome.
    pub outcome: u64,
    /// The open draft that takes the edit.
    pub draft: String,
    /// The records that the job counts for, of those that the plan rests on; without it see [`OutcomeReport::counts_for`].
    pub records: Option<BTreeSet<RecordKey>>,
}

/// An outcome that was accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// The draft afterwards.
    pub drafted: Drafted,
    /// The outcome afterwards; as it is, where the acceptance was only checked.
    pub outcome: OutcomeFacts,
    /// Records that the job would count for and that are gone by now.
    pub gone: Vec<String>,
}

/// An outcome that was rejected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rejected {
    /// The outcome afterwards.
    pub outcome: OutcomeFacts,
    /// Whether this is the first result of a repeated request.
    pub repeated: bool,
}

/// Why nothing was made of an outcome.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OutcomeError {
    /// There is none of this number.
    #[error("there is no outcome {outcome}")]
    NotFound {
        /// The number that was asked for.
        outcome: u64,
    },
    /// It is accepted or rejected already.
    #[error("the outcome {outcome} is {} already", state.name())]
    Resolved {
        /// Its number.
        outcome: u64,
        /// What became of it.
        state: OutcomeState,
    },
    /// The job would count for no record: none is called wrong, or they are gone.
    #[error(
        "the outcome {outcome} counts for no record: none is called wrong, or those that are named are gone"
    )]
    CountsNothing {
        /// Its number.
        outcome: u64,
    },
    /// Too many wait for a curator.
    #[error("{MAX_OPEN_OUTCOMES} outcomes wait for a curator, which is the limit")]
    QueueFull,
    /// A draft takes no more.
    #[error("{MAX_ACCEPTED_IN_DRAFT} outcomes are accepted in the draft `{draft}`, which is the limit")]
    DraftTakesNoMore {
        /// Its id.
        draft: String,
    },
}

impl OutcomeReport {
    /// What the job says of a record that its plan rests on: one that was called wrong is contradicted, whatever became of the
    /// rest.
    #[must_use]
    pub fn says(&self, record: &str) -> JobSays {
        let called_wrong = self.wrong.iter().any(|wrong| wrong.record == record);
        match self.result {
            JobResult::Worked if !called_wrong => JobSays::Confirms,
            JobResult::Worked | JobResult::DidNotWork => JobSays::Contradicts,
        }
    }

    /// The records that the job counts for unless a curator says otherwise: after a job that worked all of them, and after one
    /// that did not those that were called wrong, because nothing is known of the others.
    #[must_use]
    pub fn counts_for(&self) -> BTreeSet<&str> {
        match self.result {
            JobResult::Worked => self.rests_on.iter().map(String::as_str).collect(),
            JobResult::DidNotWork => self.wrong.iter().map(|wrong| wrong.record.as_str()).collect(),
        }
    }
}

impl Engine {
    /// Queues what came of a job. Blocks, like every change.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn report_outcome(&self, origin: &Origin, report: OutcomeReport) -> Result<Reported, WriteError> {
        let origin = origin.clone();
        self.ask(move |writer| writer.report(&origin, report))
    }

    /// Accepts an outcome: the edit of the draft that counts the job. With `validate_only` it is told what it would come to.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn accept_outcome(
        &self,
        origin: &Origin,
        acceptance: Acceptance,
        validate_only: bool,
    ) -> Result<Accepted, WriteError> {
        let origin = origin.clone();
        self.ask(move |writer| writer.accept(&origin, &acceptance, validate_only))
    }

    /// Rejects an outcome. With `validate_only` it is only told whether that could be done.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn reject_outcome(
        &self,
        origin: &Origin,
        outcome: u64,
        validate_only: bool,
    ) -> Result<Rejected, WriteError> {
        let origin = origin.clone();
        self.ask(move |writer| writer.reject(&origin, outcome, validate_only))
    }

    /// An outcome, by its number.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn outcome(&self, number: u64) -> Result<Option<OutcomeFacts>, StateError> {
        self.shared.outcome(number)
    }

    /// At most `limit` outcomes that a filter lets through, behind a place: the open ones first, then the accepted and the
    /// rejected ones, each in the order in which they were reported. Looks at a bounded number of them.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn outcomes(
        &self,
        filter: &OutcomeFilter,
        after: Option<OutcomePlace>,
        limit: usize,
    ) -> Result<OutcomesListed, StateError> {
        let record = filter.record.as_ref().map(ToString::to_string);
        let mut listed = OutcomesListed { outcomes: Vec::new(), last: None };
        let mut left = OUTCOMES_LOOKED_AT;
        for state in OutcomeState::ALL {
            let wanted = filter.state.is_none_or(|only| only == state);
            if !wanted || after.is_some_and(|after| after.state > state) {
                continue;
            }
            let mut place = after.filter(|after| after.state == state).map(|after| after.number);
            loop {
                let read = self.shared.outcomes_behind(state, place, READ_AT_ONCE.min(left))?;
                for facts in &read {
                    if listed.outcomes.len() == limit {
                        return Ok(listed);
                    }
                    place = Some(facts.number);
                    listed.last = Some(OutcomePlace { state, number: facts.number });
                    if record.as_ref().is_none_or(|record| facts.report.rests_on.contains(record)) {
                        listed.outcomes.push(facts.clone());
                    }
                }
                left -= read.len();
                if left == 0 {
                    return Ok(listed);
                }
                if read.is_empty() {
                    break;
                }
            }
        }
        Ok(OutcomesListed { last: None, ..listed })
    }

    /// The revision in which a draft was published.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn published_as(&self, draft: &str) -> Result<Option<u64>, StateError> {
        let key = layout::publication_key(draft);
        let revision = self.shared.store.get(Space::Index, &key)?;
        Ok(revision.map(|revision| layout::read_number(&key, &revision)).transpose()?)
    }
}

impl Shared {
    /// An outcome, by its number.
    pub(crate) fn outcome(&self, number: u64) -> Result<Option<OutcomeFacts>, StateError> {
        // It moves from the first of these places to one of the others, and back where a draft is thrown away.
        let [open, accepted, rejected] = OutcomeState::ALL;
        for state in [open, accepted, rejected, open] {
            let key = layout::outcome_key(state, number);
            if let Some(facts) = self.store.get(Space::Meta, &key)? {
                return Ok(Some(layout::read_facts(&key, &facts)?));
            }
        }
        Ok(None)
    }

    fn outcomes_behind(
        &self,
        state: OutcomeState,
        after: Option<u64>,
        limit: usize,
    ) -> Result<Vec<OutcomeFacts>, StateError> {
        let after = after.map(|number| layout::outcome_key(state, number));
        let prefix = layout::outcomes_prefix(state);
        let items = self.store.scan(Space::Meta, &prefix, after.as_deref(), limit)?;
        items.iter().map(|(key, facts)| Ok(layout::read_facts(key, facts)?)).collect()
    }
}
