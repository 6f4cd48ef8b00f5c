//! `PlanInstall`: the whole plan for a radio in a vehicle.

use dashwright_api::reply::Reply;
use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_planner::{Plans, Request, gist, job_counts, plan};
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};
use prost::Message as _;
use sha2::{Digest as _, Sha256};

use super::asked::Asked;
use crate::from_proto::{FieldFaults, order, radio, read_at, vehicle_question};
use crate::shared::{Answers, SharedAnswer};
use crate::{Refusal, Service, to_proto};

/// Bytes of a fingerprint: half of a SHA-256, as of an etag, which nobody meets twice by chance.
const FINGERPRINT_BYTES: usize = 16;

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
        revision: Some(to_proto::dataset_revision(&answers.view)),
        candidates: asked.candidate_messages(),
        remaining_lines: asked.remaining_lines(),
        matches: asked.matches(),
        vin_concerns: asked.vin_concerns(),
        weakest_evidence: asked.weakest(shared.weakest).as_ref().map(to_proto::weakest_evidence),
        fingerprint: fingerprint(&answers.view, &asked.candidates, &shared.gist),
        jobs: Some(to_proto::job_counts(&asked.jobs(shared.jobs))),
        ..v1::PlanInstallResponse::default()
    };
    Reply { own: own.encode_to_vec().into(), shared: shared.bytes }
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

/// The digest of the gist of plans, which many calls share.
pub(super) fn digest(snapshot: &Snapshot, radio: RecordIx, plans: &Plans) -> [u8; 32] {
    Sha256::digest(gist(snapshot, radio, plans)).into()
}

/// The fingerprint of a plan: what it says, what it is for, and the dataset that it was made from. Each piece ends where no
/// other can begin: ids and codes have no line feed.
pub(super) fn fingerprint(view: &View, candidates: &[Candidate], gist: &[u8; 32]) -> String {
    let mut hash = Sha256::new().chain_update("dashwright plan 1\n").chain_update(gist);
    hash.update(format!("{}\n{}\n", view.token(), view.content_hash()));
    for name in names(view.snapshot(), candidates) {
        hash.update(name);
        hash.update("\n");
    }
    let digest = hash.finalize();
    digest.iter().take(FINGERPRINT_BYTES).map(|byte| format!("{byte:02x}")).collect()
}

/// Each candidate: the id of its vehicle line and the code of its audio option.
pub(super) fn names<'s>(
    snapshot: &'s Snapshot,
    candidates: &'s [Candidate],
) -> impl Iterator<Item = String> + 's {
    candidates.iter().filter_map(|candidate| {
        let line = snapshot.line(candidate.line)?;
        let option = snapshot.options_of(line).get(usize::from(*candidate.options.first()?))?;
        Some(format!("{} {}", snapshot.line_id(line), option.option.code))
    })
}
