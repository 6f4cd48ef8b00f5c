//! `ReportOutcome`: what came of a job that was done by a plan.

use dashwright_api::v1;
use dashwright_curation::short_verdict;
use dashwright_engine::keys::Caller;
use dashwright_engine::{OutcomeReport, View};
use dashwright_model::outcome::JobResult;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{PlanGroup, Plans, Request, plan, rests_on};
use dashwright_snapshot::RecordIx;

use super::asked::Asked;
use crate::fingerprint::{Fingerprints, digest, names};
use crate::from_proto::{
    FieldFaults, FieldProblem, Job, change_without_reason, exactly, job, order, radio, vehicle_question,
};
use crate::{Refusal, Service};

/// Vehicle lines with their audio options that are kept with an outcome: a person looks at the first few.
const VEHICLES_KEPT: usize = 20;

impl Service {
    pub(crate) async fn reported_outcome(
        &self,
        caller: Caller,
        request: v1::ReportOutcomeRequest,
    ) -> Result<v1::ReportOutcomeResponse, Refusal> {
        let v1::ReportOutcomeRequest { change, question, fingerprint, revision, result, wrong, note } =
            request;
        let mut faults = FieldFaults::default();
        let origin = change_without_reason(change, &caller, &mut faults);
        let job = job(result, wrong, &note, &mut faults);
        let given = faults.take("fingerprint", given(fingerprint));
        let view = self.view(exactly("revision", &revision, &mut faults)).await?;
        let asked = question_of(&view, question, &mut faults);
        let (((origin, job), given), asked) = faults.with(origin.zip(job).zip(given).zip(asked))?;
        let report = report(&view, &asked, given, job)?;
        let rests_on = report.rests_on.clone();
        let done = self.blocking(move |engine| Ok(engine.report_outcome(&origin, report)?)).await?;
        Ok(v1::ReportOutcomeResponse { outcome: done.number, rests_on, repeated: done.repeated })
    }
}

/// A question for a plan, in terms of a revision.
struct PlanQuestion {
    vehicle: VehicleQuestion,
    radio: RecordIx,
    request: Request,
}

fn given(fingerprint: String) -> Result<String, FieldProblem> {
    if fingerprint.is_empty() { Err(FieldProblem::Missing) } else { Ok(fingerprint) }
}

fn question_of(
    view: &View,
    message: Option<v1::PlanInstallRequest>,
    faults: &mut FieldFaults,
) -> Option<PlanQuestion> {
    let message = faults.take("question", message.ok_or(FieldProblem::Missing))?;
    // The revision is named beside it: a plan that was made from the latest one then is asked for by its token now.
    let v1::PlanInstallRequest { read_at: _, vehicle, radio_id, order: wanted } = message;
    let mut own = FieldFaults::default();
    let vehicle = vehicle_question(vehicle, &mut own);
    let radio = radio(view.snapshot(), "radio_id", &radio_id, &mut own);
    let request = order(wanted, &mut own).of(view.snapshot(), &mut own);
    faults.within("question", own);
    Some(PlanQuestion { vehicle, radio: radio?, request })
}

/// What is kept of a job, having found the plan that it was done by.
fn report(
    view: &View,
    question: &PlanQuestion,
    given: String,
    Job { result, wrong, note }: Job,
) -> Result<OutcomeReport, Refusal> {
    let (snapshot, radio) = (view.snapshot(), question.radio);
    let asked = Asked::of(view, &question.vehicle)?;
    let plans = plan(snapshot, &asked.candidates, radio, &question.request);
    let gist = digest(snapshot, radio, &plans);
    if given != Fingerprints::of(view).plan(snapshot, &asked.candidates, &gist) {
        return Err(Refusal::PlanNotFound { fingerprint: given });
    }
    let group = only_plan(&plans, result)?;
    let rests_on = rests_on(snapshot, &asked.candidates, radio, &group.plan);
    let rests_on: Vec<String> = rests_on.iter().map(ToString::to_string).collect();
    let mut faults = FieldFaults::default();
    for (place, named) in wrong.iter().enumerate().filter(|(_, named)| !rests_on.contains(&named.record)) {
        let record = named.record.clone();
        faults.take::<()>(&format!("wrong[{place}].record"), Err(FieldProblem::NotRestedOn { record }));
    }
    faults.or(OutcomeReport {
        fingerprint: given,
        revision: view.revision(),
        vehicles: names(snapshot, &asked.candidates).take(VEHICLES_KEPT).collect(),
        radio: snapshot.radios().get(radio).map(|radio| radio.id.to_string()).unwrap_or_default(),
        verdict: short_verdict(plans.verdict),
        result,
        rests_on,
        wrong,
        note,
    })
}

/// The one plan, where there is one that the job can have been done by.
fn only_plan(plans: &Plans, result: JobResult) -> Result<&PlanGroup, Refusal> {
    let not_settled =
        || Refusal::PlanNotSettled { verdict: short_verdict(plans.verdict), plans: plans.groups.len() };
    let [group] = plans.groups.as_slice() else { return Err(not_settled()) };
    if result == JobResult::Worked && group.plan.chosen.is_none() {
        return Err(not_settled());
    }
    Ok(group)
}
