//! `ResolveVehicle`: the vehicle lines and audio options that a question leaves possible.

use dashwright_api::v1;
use dashwright_planner::one_by_one;

use crate::from_proto::{FieldFaults, read_at, vehicle_question};
use crate::limits::{CANDIDATES_DEFAULT, CANDIDATES_MOST};
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn candidates(
        &self,
        request: v1::ResolveVehicleRequest,
    ) -> Result<v1::ResolveVehicleResponse, Refusal> {
        let v1::ResolveVehicleRequest { read_at: at, vehicle, page_size, page_token } = request;
        let fingerprint = format!("candidates {vehicle:?}");
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let question = vehicle_question(vehicle, &mut faults);
        let size = faults.page_size(page_size, CANDIDATES_DEFAULT, CANDIDATES_MOST);
        let page = Page::of(&page_token, &fingerprint, &mut faults);
        let question = faults.or(question)?;

        let view = self.view(page.freshness(at)).await?;
        let found =
            view.snapshot().identify(&question).map_err(|error| Refusal::Identify(Box::new(error)))?;
        let all = one_by_one(&found.candidates);

        let shown = all.iter().skip(page.skip).take(size);
        let candidates: Vec<_> = shown.filter_map(|one| to_proto::candidate(view.snapshot(), one)).collect();
        Ok(v1::ResolveVehicleResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            remaining_lines: u32::try_from(found.total).unwrap_or(u32::MAX),
            matches: to_proto::matches(&found.matched, &found.unmatched),
            vin_concerns: to_proto::vin_concerns(&found.concerns),
            next_page_token: page.next(&view, &fingerprint, candidates.len(), all.len()),
            candidates,
        })
    }
}
