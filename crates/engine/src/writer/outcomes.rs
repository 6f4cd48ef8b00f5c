//! What the writer does with outcomes.

use std::collections::BTreeSet;
use std::sync::Arc;

use dashwright_model::exchange::{self, MAX_LINE_BYTES};
use dashwright_model::record::RecordKey;
use dashwright_store::Space;
use serde_json::value::RawValue;

use super::{Drafted, WriteError, Writer};
use crate::drafts::{draft_item, from_state};
use crate::entry::{DRAFT_EDIT, DraftEdit, OUTCOME_REJECT, OUTCOME_REPORT};
use crate::layout::{self, LayoutError};
use crate::load::{EDIT_BYTES, EDIT_RECORDS};
use crate::outcomes::{
    Acceptance, Accepted, MAX_ACCEPTED_IN_DRAFT, MAX_OPEN_OUTCOMES, OutcomeAcceptance, OutcomeError,
    OutcomeFacts, OutcomeReject, OutcomeReport, OutcomeState, Rejected, Reported,
};
use crate::state::RequestFacts;
use crate::surroundings::Origin;

/// What a job makes of the records that it counts for.
#[derive(Default)]
struct Counted {
    edit: Vec<Box<RawValue>>,
    /// Records whose earlier item in the draft is edited: what the dataset has become since was not looked at.
    keeps: Vec<String>,
    gone: Vec<String>,
    bytes: usize,
}

impl Writer {
    pub(crate) fn report(&mut self, origin: &Origin, report: OutcomeReport) -> Result<Reported, WriteError> {
        if let Some(earlier) = self.earlier(origin.request_id.as_deref(), OUTCOME_REPORT)? {
            let (number, facts) = self.outcome_of(&earlier)?;
            // A job must not go under in the report of another one.
            return match facts.report == report {
                true => Ok(Reported { number, repeated: true }),
                false => Err(reused(origin, earlier)),
            };
        }
        if self.state.open_outcomes >= MAX_OPEN_OUTCOMES {
            return Err(OutcomeError::QueueFull.into());
        }
        let stored = self.append(origin, OUTCOME_REPORT, &[report])?;
        // A store that failed over this entry has stopped writes; what the log has taken is told after the restart.
        self.go_on()?;
        let number = stored.first().ok_or(WriteError::Ended)?.entry.sequence.0;
        Ok(Reported { number, repeated: false })
    }

    pub(crate) fn reject(
        &mut self,
        origin: &Origin,
        outcome: u64,
        validate_only: bool,
    ) -> Result<Rejected, WriteError> {
        if let Some(earlier) = self.earlier(origin.request_id.as_deref(), OUTCOME_REJECT)? {
            return match self.outcome_of(&earlier)? {
                (number, facts) if number == outcome => Ok(Rejected { outcome: facts, repeated: true }),
                _ => Err(reused(origin, earlier)),
            };
        }
        let facts = self.open_outcome(outcome)?;
        if validate_only {
            self.go_on()?;
            return Ok(Rejected { outcome: facts, repeated: false });
        }
        self.append(origin, OUTCOME_REJECT, &[OutcomeReject { outcome }])?;
        self.go_on()?;
        Ok(Rejected { outcome: self.any_outcome(outcome)?, repeated: false })
    }

    pub(crate) fn accept(
        &mut self,
        origin: &Origin,
        acceptance: &Acceptance,
        validate_only: bool,
    ) -> Result<Accepted, WriteError> {
        let Acceptance { outcome, draft, records } = acceptance;
        if let Some(drafted) = self.drafted_earlier(origin, DRAFT_EDIT, Some(draft))? {
            return self.accepted_earlier(origin, acceptance, drafted);
        }
        let facts = self.open_outcome(*outcome)?;
        let mut open = self.free_draft(draft)?.clone();
        self.has_room(draft, open.number)?;
        let wanted = match records {
            Some(records) => records.clone(),
            None => facts.report.counts_for().iter().filter_map(|record| record.parse().ok()).collect(),
        };
        let Counted { edit: puts, keeps, gone, bytes } = self.counted(&facts.report, open.number, &wanted)?;
        if puts.is_empty() {
            return Err(OutcomeError::CountsNothing { outcome: *outcome }.into());
        }
        if puts.len() > EDIT_RECORDS || bytes > EDIT_BYTES {
            return Err(WriteError::LargeEdit { records: puts.len(), bytes });
        }
        if validate_only {
            self.go_on()?;
            open.edits += 1;
            let drafted = Drafted { id: draft.clone(), draft: open, repeated: false };
            return Ok(Accepted { drafted, outcome: facts, gone });
        }
        let accepts = Some(Box::new(OutcomeAcceptance { outcome: *outcome }));
        let edit = DraftEdit { puts, keeps, accepts, ..DraftEdit::new(draft) };
        let drafted = self.edit(origin, draft, &[edit])?;
        Ok(Accepted { drafted, outcome: self.any_outcome(*outcome)?, gone })
    }

    /// The first result of a request that accepted this outcome in this draft.
    fn accepted_earlier(
        &self,
        origin: &Origin,
        acceptance: &Acceptance,
        drafted: Drafted,
    ) -> Result<Accepted, WriteError> {
        let outcome = self.any_outcome(acceptance.outcome)?;
        let accepted = outcome.resolution.as_ref().and_then(|resolution| resolution.accepted.as_ref());
        if accepted.is_some_and(|accepted| accepted.draft == drafted.id) {
            return Ok(Accepted { drafted, outcome, gone: Vec::new() });
        }
        let request_id = origin.request_id.clone().unwrap_or_default();
        Err(WriteError::RequestReused { request_id, kind: DRAFT_EDIT.to_owned(), of: drafted.id })
    }

    fn has_room(&self, draft: &str, number: u64) -> Result<(), WriteError> {
        let prefix = layout::acceptances_prefix(number);
        let accepted = self.store.scan(Space::Meta, &prefix, None, MAX_ACCEPTED_IN_DRAFT)?;
        if accepted.len() < MAX_ACCEPTED_IN_DRAFT {
            return Ok(());
        }
        Err(OutcomeError::DraftTakesNoMore { draft: draft.to_owned() }.into())
    }

    /// The records as the draft has them, or where it says nothing of them the dataset, with one more job counted.
    fn counted(
        &self,
        report: &OutcomeReport,
        draft: u64,
        wanted: &BTreeSet<RecordKey>,
    ) -> Result<Counted, WriteError> {
        let view = self.shared.view();
        let mut counted = Counted::default();
        for key in wanted {
            let record = key.to_string();
            let stored = layout::draft_key(draft, record.as_bytes());
            let item = self.store.get(Space::Draft, &stored)?;
            let item = item.map(|value| draft_item(&stored, &value)).transpose().map_err(from_state)?;
            let in_draft = item.is_some();
            let line = match item {
                Some(item) => item.line,
                None => view.snapshot().record(key.kind, key.id.as_str()).map(|kept| Arc::from(&*kept.text)),
            };
            let Some(line) = line else {
                counted.gone.push(record);
                continue;
            };
            let other = || LayoutError { key: record.clone().into_bytes() };
            let read = exchange::parse_line(line.as_bytes(), 0).map_err(|_| other())?;
            let line = exchange::to_line(&read.after_job(report.says(&record)).map_err(|_| other())?)?;
            if line.len() > MAX_LINE_BYTES {
                return Err(WriteError::LargeEdit { records: 1, bytes: line.len() });
            }
            counted.bytes += line.len() + 3 + if in_draft { record.len() + 3 } else { 0 };
            counted.edit.push(RawValue::from_string(line)?);
            if in_draft {
                counted.keeps.push(record);
            }
        }
        Ok(counted)
    }

    fn open_outcome(&self, outcome: u64) -> Result<OutcomeFacts, WriteError> {
        let facts = self.any_outcome(outcome)?;
        match facts.state() {
            OutcomeState::Open => Ok(facts),
            state => Err(OutcomeError::Resolved { outcome, state }.into()),
        }
    }

    fn any_outcome(&self, outcome: u64) -> Result<OutcomeFacts, WriteError> {
        let facts = self.shared.outcome(outcome).map_err(from_state)?;
        Ok(facts.ok_or(OutcomeError::NotFound { outcome })?)
    }

    /// The outcome that an earlier request reported or rejected.
    fn outcome_of(&self, earlier: &RequestFacts) -> Result<(u64, OutcomeFacts), WriteError> {
        let number = earlier.of.parse().unwrap_or_default();
        Ok((number, self.any_outcome(number)?))
    }
}

fn reused(origin: &Origin, earlier: RequestFacts) -> WriteError {
    let RequestFacts { kind, of, .. } = earlier;
    WriteError::RequestReused { request_id: origin.request_id.clone().unwrap_or_default(), kind, of }
}
