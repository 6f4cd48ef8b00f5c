//! `PlanInstall`: the whole plan for a radio in a vehicle.

use dashwright_api::v1;
use dashwright_planner::plan;

use super::asked::Asked;
use crate::from_proto::{FieldFaults, order, radio, read_at, vehicle_question};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn install_plan(
        &self,
        request: v1::PlanInstallRequest,
    ) -> Result<v1::PlanInstallResponse, Refusal> {
        let v1::PlanInstallRequest { read_at: at, vehicle, radio_id, order: wanted } = request;
        let mut faults = FieldFaults::default();
        let (at, question) = (read_at(at, &mut faults), vehicle_question(vehicle, &mut faults));
        let wanted = order(wanted, &mut faults);

        let view = self.view(at).await?;
        let snapshot = view.snapshot();
        let index = radio(snapshot, "radio_id", &radio_id, &mut faults);
        let request = wanted.of(snapshot, &mut faults);
        let index = faults.with(index)?;
        let asked = Asked::of(&view, &question)?;

        let plans = plan(snapshot, &asked.candidates, index, &request);
        let answer = match snapshot.radios().get(index) {
            Some(radio) => to_proto::plan(snapshot, radio, &plans),
            None => v1::PlanInstallResponse::default(),
        };
        Ok(v1::PlanInstallResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            candidates: asked.candidate_messages(),
            remaining_lines: asked.remaining_lines(),
            matches: asked.matches(),
            vin_concerns: asked.vin_concerns(),
            weakest_evidence: asked.weakest(plans.weakest).as_ref().map(to_proto::weakest_evidence),
            question: answer.question.clone().or_else(|| asked.next_question()),
            verdict: if asked.too_many() { v1::Verdict::Depends.into() } else { answer.verdict },
            ..answer
        })
    }
}
