//! `ResolveOutcome`: an outcome accepted into a draft, or rejected.

use dashwright_api::v1;
use dashwright_api::v1::resolve_outcome_request::Resolution;
use dashwright_engine::keys::Caller;
use dashwright_engine::{Acceptance, Accepted, Engine, Origin, OutcomeError, Rejected, WriteError};

use crate::from_proto::{FieldFaults, FieldProblem, accepting, change, draft_id_in, outcome_number};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn resolved_outcome(
        &self,
        caller: Caller,
        request: v1::ResolveOutcomeRequest,
    ) -> Result<v1::ResolveOutcomeResponse, Refusal> {
        let v1::ResolveOutcomeRequest { change: message, outcome, resolution, validate_only } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let outcome = outcome_number(outcome, &mut faults);
        let wanted = resolution.ok_or(FieldProblem::Missing);
        let wanted = faults.take("resolution", wanted).and_then(|it| wanted_of(it, &mut faults));
        let ((origin, outcome), wanted) = faults.with(origin.zip(outcome).zip(wanted))?;
        self.blocking(move |engine| match wanted {
            Wanted::Accept(accept) => accepted(engine, &origin, (outcome, &accept), validate_only),
            Wanted::Reject => rejected(engine, &origin, outcome, validate_only),
        })
        .await
    }
}

enum Wanted {
    Accept(v1::AcceptOutcome),
    Reject,
}

fn wanted_of(resolution: Resolution, faults: &mut FieldFaults) -> Option<Wanted> {
    match resolution {
        Resolution::Accept(v1::AcceptOutcome { draft_id, records }) => {
            let draft_id = draft_id_in("accept.draft_id", draft_id, faults)?;
            Some(Wanted::Accept(v1::AcceptOutcome { draft_id, records }))
        }
        Resolution::Reject(v1::RejectOutcome {}) => Some(Wanted::Reject),
    }
}

fn accepted(
    engine: &Engine,
    origin: &Origin,
    (outcome, accept): (u64, &v1::AcceptOutcome),
    validate_only: bool,
) -> Result<v1::ResolveOutcomeResponse, Refusal> {
    let v1::AcceptOutcome { draft_id, records } = accept;
    let facts = engine.outcome(outcome).map_err(|_| Refusal::Damaged)?;
    let facts = facts.ok_or(WriteError::from(OutcomeError::NotFound { outcome }))?;
    // What a plan rests on never changes, so that nothing can come between this and the acceptance.
    let mut faults = FieldFaults::default();
    let records = accepting(records, &facts.report.rests_on, &mut faults);
    let acceptance = faults.or(Acceptance { outcome, draft: draft_id.clone(), records })?;
    let Accepted { drafted, outcome, gone } = engine.accept_outcome(origin, acceptance, validate_only)?;
    Ok(v1::ResolveOutcomeResponse {
        outcome: Some(to_proto::job_outcome(engine, &outcome)?),
        draft: Some(to_proto::draft(engine, &drafted.id, &drafted.draft)?),
        gone,
        repeated: drafted.repeated,
    })
}

fn rejected(
    engine: &Engine,
    origin: &Origin,
    outcome: u64,
    validate_only: bool,
) -> Result<v1::ResolveOutcomeResponse, Refusal> {
    let Rejected { outcome, repeated } = engine.reject_outcome(origin, outcome, validate_only)?;
    let outcome = Some(to_proto::job_outcome(engine, &outcome)?);
    Ok(v1::ResolveOutcomeResponse { outcome, draft: None, gone: Vec::new(), repeated })
}
