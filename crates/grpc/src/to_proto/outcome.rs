//! Outcomes of jobs, and what jobs have said of records.

use dashwright_api::v1;
use dashwright_engine::{Engine, OutcomeFacts, OutcomeReport, OutcomeState, Resolution, WrongRecord};
use dashwright_planner::JobCounts;

use super::common::dataset_revision;
use super::record::record_key;
use super::terms;
use super::trail::{revision_name, revision_zero};
use crate::Refusal;

/// An outcome and what became of it.
pub(crate) fn job_outcome(engine: &Engine, facts: &OutcomeFacts) -> Result<v1::JobOutcome, Refusal> {
    let OutcomeFacts { number, time, actor, reason, report, resolution: resolved } = facts;
    let OutcomeReport { fingerprint, revision, vehicles, radio, verdict, result, rests_on, wrong, note } =
        report;
    let resolution = resolved.as_ref().map(|it| self::resolution(engine, it)).transpose()?;
    Ok(v1::JobOutcome {
        outcome: *number,
        reported_at: time.clone(),
        reporter: actor.clone(),
        reason: reason.clone(),
        revision: Some(named(engine, *revision)?),
        fingerprint: fingerprint.clone(),
        vehicles: vehicles.clone(),
        radio_id: radio.clone(),
        verdict: terms::plan_verdict(*verdict).into(),
        result: terms::job_result(*result).into(),
        wrong: wrong.iter().map(wrong_record).collect(),
        note: note.as_ref().map(ToString::to_string).unwrap_or_default(),
        rests_on: rests_on.clone(),
        state: state(facts.state()).into(),
        resolution,
    })
}

fn resolution(engine: &Engine, it: &Resolution) -> Result<v1::Resolution, Refusal> {
    let Resolution { time, actor, reason, accepted } = it;
    let draft = accepted.as_ref().map(|accepted| accepted.draft.clone());
    let published = draft.as_ref().map(|draft| engine.published_as(draft)).transpose();
    let published = published.map_err(|_| Refusal::Damaged)?.flatten();
    Ok(v1::Resolution {
        resolved_at: time.clone(),
        curator: actor.clone(),
        reason: reason.clone(),
        draft_id: draft.unwrap_or_default(),
        counted: accepted.as_ref().map(|accepted| accepted.records.clone()).unwrap_or_default(),
        published_in_revision: published.unwrap_or(0),
    })
}

fn named(engine: &Engine, revision: u64) -> Result<v1::DatasetRevision, Refusal> {
    let view = engine.view();
    if view.revision() == revision {
        return Ok(dataset_revision(&view));
    }
    let facts = engine.revision(revision)?;
    Ok(facts.map_or_else(|| revision_zero(engine), |facts| revision_name(engine, &facts)))
}

fn wrong_record(it: &WrongRecord) -> v1::WrongRecord {
    let WrongRecord { record, wrong, text } = it;
    v1::WrongRecord {
        record: record.clone(),
        kind: terms::wrong_kind(*wrong).into(),
        text: text.as_ref().map(ToString::to_string).unwrap_or_default(),
    }
}

fn state(state: OutcomeState) -> v1::OutcomeState {
    match state {
        OutcomeState::Open => v1::OutcomeState::Open,
        OutcomeState::Accepted => v1::OutcomeState::Accepted,
        OutcomeState::Rejected => v1::OutcomeState::Rejected,
    }
}

/// What jobs have said of the records that an answer rests on.
pub(crate) fn job_counts(counts: &JobCounts) -> v1::JobCounts {
    let JobCounts { least_confirmed, most_contradicted } = counts;
    v1::JobCounts {
        confirmed_jobs: least_confirmed.as_ref().map_or(0, |(jobs, _)| *jobs),
        least_confirmed: least_confirmed.as_ref().map(|(_, record)| record_key(record)),
        contradicted_jobs: most_contradicted.as_ref().map_or(0, |(jobs, _)| *jobs),
        most_contradicted: most_contradicted.as_ref().map(|(_, record)| record_key(record)),
    }
}
