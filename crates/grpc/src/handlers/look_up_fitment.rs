//! `LookUpFitment`: what a vehicle's dash takes, before a radio is chosen.

use dashwright_api::reply::Reply;
use dashwright_api::v1;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::one_by_one;
use dashwright_snapshot::{Candidate, Identified, MAX_CANDIDATES, Snapshot};
use prost::Message as _;

use super::asked::{next_question, weakest};
use crate::from_proto::{FieldFaults, read_at, vehicle_question};
use crate::shared::SharedAnswer;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn fitment(&self, request: v1::LookUpFitmentRequest) -> Result<Reply, Refusal> {
        let v1::LookUpFitmentRequest { read_at: at, vehicle } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let question = vehicle_question(vehicle, &mut faults);
        let question = faults.or(question)?;

        let answers = self.answers(at).await?;
        let snapshot = answers.view.snapshot();
        let found = snapshot.identify(&question)?;
        let candidates = one_by_one(&found.candidates);
        let many = found.total > MAX_CANDIDATES;
        let shared = if many { too_many(snapshot, &question)? } else { answers.of(&candidates) };

        let own = own(snapshot, &found, &candidates, &shared);
        Ok(Reply { own: answers.own(&own), shared: shared.bytes })
    }
}

/// What is the call's own, but for the revision: everything that the shared answer does not have.
fn own(
    snapshot: &Snapshot,
    found: &Identified,
    candidates: &[Candidate],
    shared: &SharedAnswer,
) -> v1::LookUpFitmentResponse {
    let weakest = weakest(snapshot, candidates, shared.weakest.clone());
    v1::LookUpFitmentResponse {
        candidates: candidates.iter().filter_map(|one| to_proto::candidate(snapshot, one)).collect(),
        remaining_lines: u32::try_from(found.total).unwrap_or(u32::MAX),
        matches: to_proto::matches(&found.matched, &found.unmatched),
        vin_concerns: to_proto::vin_concerns(&found.concerns),
        weakest_evidence: weakest.as_ref().map(to_proto::weakest_evidence),
        ..v1::LookUpFitmentResponse::default()
    }
}

/// The answer where more lines remain than are weighed: nothing is settled, and the question is the next choice.
fn too_many(snapshot: &Snapshot, question: &VehicleQuestion) -> Result<SharedAnswer, Refusal> {
    let next = snapshot.choices(question)?;
    let message = v1::LookUpFitmentResponse {
        verdict: v1::Verdict::Depends.into(),
        question: next_question(&next),
        ..v1::LookUpFitmentResponse::default()
    };
    Ok(SharedAnswer::plain(message.encode_to_vec().into(), None))
}
