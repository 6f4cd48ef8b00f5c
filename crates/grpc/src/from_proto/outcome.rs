//! Outcomes of jobs, and what curators make of them.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_engine::{OutcomeFilter, OutcomePlace, OutcomeState, WrongRecord};
use dashwright_model::outcome::{JobResult, MAX_WRONG, Wrong};
use dashwright_model::record::RecordKey;
use dashwright_quantity::Prose;

use super::{FieldFaults, FieldProblem, record_key_text};

/// What came of a job, but for the plan that it was done by.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) result: JobResult,
    pub(crate) wrong: Vec<WrongRecord>,
    pub(crate) note: Option<Prose>,
}

/// What came of a job.
pub(crate) fn job(
    result: i32,
    wrong: Vec<v1::WrongRecord>,
    note: &str,
    faults: &mut FieldFaults,
) -> Option<Job> {
    let result = faults.take("result", job_result(result));
    faults.count("wrong", wrong.len(), MAX_WRONG);
    let (mut records, mut keys) = (Vec::new(), BTreeSet::new());
    for (place, message) in wrong.into_iter().take(MAX_WRONG).enumerate() {
        let v1::WrongRecord { record, kind, text } = message;
        let path = |field: &str| format!("wrong[{place}].{field}");
        let key = faults.take(&path("record"), record_key_text(&record));
        let kind = faults.take(&path("kind"), wrong_kind(kind));
        let text = prose(&path("text"), &text, faults);
        if kind == Some(Wrong::Other) && text.is_none() {
            faults.take::<()>(&path("text"), Err(FieldProblem::Missing));
        }
        let Some(key) = key else { continue };
        if !keys.insert(key.clone()) {
            faults.take::<()>(&path("record"), Err(FieldProblem::Twice));
        }
        records.extend(kind.map(|wrong| WrongRecord { record: key.to_string(), wrong, text }));
    }
    Some(Job { result: result?, wrong: records, note: prose("note", note, faults) })
}

fn job_result(number: i32) -> Result<JobResult, FieldProblem> {
    match v1::JobResult::try_from(number) {
        Ok(v1::JobResult::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::JobResult::Worked) => Ok(JobResult::Worked),
        Ok(v1::JobResult::DidNotWork) => Ok(JobResult::DidNotWork),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

fn wrong_kind(number: i32) -> Result<Wrong, FieldProblem> {
    match v1::WrongKind::try_from(number) {
        Ok(v1::WrongKind::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::WrongKind::DoesNotFit) => Ok(Wrong::DoesNotFit),
        Ok(v1::WrongKind::WrongPlug) => Ok(Wrong::WrongPlug),
        Ok(v1::WrongKind::WrongLead) => Ok(Wrong::WrongLead),
        Ok(v1::WrongKind::WrongSetting) => Ok(Wrong::WrongSetting),
        Ok(v1::WrongKind::WrongStep) => Ok(Wrong::WrongStep),
        Ok(v1::WrongKind::FeatureLost) => Ok(Wrong::FeatureLost),
        Ok(v1::WrongKind::Missing) => Ok(Wrong::Missing),
        Ok(v1::WrongKind::WrongData) => Ok(Wrong::WrongData),
        Ok(v1::WrongKind::Other) => Ok(Wrong::Other),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

/// A text that says nothing when it is empty.
fn prose(path: &str, text: &str, faults: &mut FieldFaults) -> Option<Prose> {
    match text.trim() {
        "" => None,
        text => faults.take(path, Prose::new(text).map_err(FieldProblem::Text)),
    }
}

/// The number of an outcome; one that is that of no outcome is found out later.
pub(crate) fn outcome_number(number: u64, faults: &mut FieldFaults) -> Option<u64> {
    faults.take("outcome", if number == 0 { Err(FieldProblem::Missing) } else { Ok(number) })
}

/// The records that an acceptance is to count for, of those that the plan rests on; nothing where it names none.
pub(crate) fn accepting(
    records: &[String],
    rests_on: &[String],
    faults: &mut FieldFaults,
) -> Option<BTreeSet<RecordKey>> {
    faults.count("accept.records", records.len(), rests_on.len());
    let mut named = BTreeSet::new();
    for (place, record) in records.iter().enumerate().take(rests_on.len()) {
        let path = format!("accept.records[{place}]");
        let Some(key) = faults.take(&path, record_key_text(record)) else { continue };
        if !rests_on.contains(record) {
            let record = record.clone();
            faults.take::<()>(&path, Err(FieldProblem::NotRestedOn { record }));
        } else if !named.insert(key) {
            faults.take::<()>(&path, Err(FieldProblem::Twice));
        }
    }
    (!records.is_empty()).then_some(named)
}

/// Which outcomes are asked for.
pub(crate) fn outcome_filter(state: i32, record: &str, faults: &mut FieldFaults) -> OutcomeFilter {
    let state = match v1::OutcomeState::try_from(state) {
        Ok(v1::OutcomeState::Unspecified) => None,
        Ok(v1::OutcomeState::Open) => Some(OutcomeState::Open),
        Ok(v1::OutcomeState::Accepted) => Some(OutcomeState::Accepted),
        Ok(v1::OutcomeState::Rejected) => Some(OutcomeState::Rejected),
        Err(_) => faults.take("state", Err(FieldProblem::UnknownTerm { found: state })),
    };
    let record = if record.is_empty() { None } else { faults.take("record", record_key_text(record)) };
    OutcomeFilter { state, record }
}

/// The place behind which a page begins, as the token of the page before it has it.
pub(crate) fn outcome_place(text: &str) -> Option<OutcomePlace> {
    let (state, number) = text.split_once(' ')?;
    let state = OutcomeState::ALL.into_iter().find(|it| it.name() == state)?;
    Some(OutcomePlace { state, number: number.parse().ok()? })
}
