//! `PlanInstall`: the whole plan for a radio in a vehicle.

use dashwright_api::reply::Reply;
use dashwright_api::v1;
use dashwright_planner::{Request, job_counts, plan};
use dashwright_snapshot::{RecordIx, Snapshot};
use prost::Message as _;

use super::asked::Asked;
use crate::fingerprint::digest;
use crate::from_proto::{FieldFaults, order, radio, read_at, vehicle_question};
use crate::shared::{Answers, SharedAnswer};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn install_plan(&self, request: v1::PlanInstallRequest) -> Result<Reply, Refusal> {
        let v1::PlanInstallRequest { read_at: at, vehicle, radio_id, order: wanted } = request;
        let ordered = wanted.as_ref().map(prost::Message::encode_to_vec).unwrap_or_default();
        let mut faults = FieldFaults::default();
        let (at, question) = (read_at(at, &mut faults), vehicle_question(vehicle, &mut faults));
        let wanted = order(wanted, &mut faults);

        let answers = self.answers(at).await?;
        let snapshot = answers.view.snapshot();
        let index = radio(snapshot, "radio_id", &radio_id, &mut faults);
        let request = wanted.of(snapshot, &mut faults);
        let index = faults.with(index)?;
        let asked = Asked::of(&answers.view, &question)?;

        let make = || shared(snapshot, &asked, index, &request);
        let shared = answers.plan(&asked.candidates, (index, ordered), make);
        Ok(reply(&answers, &asked, shared))
    }
}

/// The answer: what is the call's own, and what it shares.
fn reply(answers: &Answers, asked: &Asked<'_>, shared: SharedAnswer) -> Reply {
    let own = v1::PlanInstallResponse {
        candidates: asked.candidate_messages(),
        remaining_lines: asked.remaining_lines(),
        matches: asked.matches(),
        vin_concerns: asked.vin_concerns(),
        weakest_evidence: asked.weakest(shared.weakest).as_ref().map(to_proto::weakest_evidence),
        fingerprint: answers.fingerprint(&asked.candidates, &shared.gist),
        jobs: Some(to_proto::job_counts(&asked.jobs(shared.jobs))),
        ..v1::PlanInstallResponse::default()
    };
    Reply { own: answers.own(&own), shared: shared.bytes }
}

/// What of a plan is not the call's own.
fn shared(snapshot: &Snapshot, asked: &Asked<'_>, index: RecordIx, request: &Request) -> SharedAnswer {
    let plans = plan(snapshot, &asked.candidates, index, request);
    let (gist, jobs) =
        (digest(snapshot, index, &plans), job_counts(snapshot, &asked.candidates, index, &plans));
    let Some(radio) = snapshot.radios().get(index) else {
        return SharedAnswer { bytes: bytes::Bytes::new(), weakest: None, jobs, gist };
    };
    let mut message = to_proto::plan(snapshot, radio, &plans);
    if asked.too_many() {
        message.verdict = v1::Verdict::Depends.into();
        message.question = asked.next_question();
    }
    SharedAnswer { bytes: message.encode_to_vec().into(), weakest: plans.weakest, jobs, gist }
}
