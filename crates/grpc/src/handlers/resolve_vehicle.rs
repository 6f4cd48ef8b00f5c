//! `ResolveVehicle`: the vehicle lines and audio options that a question leaves possible.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_planner::one_by_one;
use dashwright_snapshot::Identified;

use crate::from_proto::{FieldFaults, vehicle_question};
use crate::limits::CANDIDATES;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn candidates(
        &self,
        request: v1::ResolveVehicleRequest,
    ) -> Result<v1::ResolveVehicleResponse, Refusal> {
        let v1::ResolveVehicleRequest { read_at, vehicle, page_size, page_token } = request;
        let others = format!("candidates {vehicle:?}");
        let mut faults = FieldFaults::default();
        let question = vehicle_question(vehicle, &mut faults);
        let page = Page::of(others, (read_at, page_size, &page_token), CANDIDATES, &mut faults);
        let (page, question) = faults.or((page, question))?;

        let view = self.view(page.freshness).await?;
        let found = view.snapshot().identify(&question)?;
        Ok(response(&view, &page, &found))
    }
}

fn response(view: &View, page: &Page, found: &Identified) -> v1::ResolveVehicleResponse {
    let all = one_by_one(&found.candidates);
    let shown = page.part(&all);
    v1::ResolveVehicleResponse {
        revision: Some(to_proto::dataset_revision(view)),
        candidates: shown.iter().filter_map(|one| to_proto::candidate(view.snapshot(), one)).collect(),
        remaining_lines: u32::try_from(found.total).unwrap_or(u32::MAX),
        matches: to_proto::matches(&found.matched, &found.unmatched),
        vin_concerns: to_proto::vin_concerns(&found.concerns),
        next_page_token: page.next(view, shown.len(), all.len()),
    }
}
