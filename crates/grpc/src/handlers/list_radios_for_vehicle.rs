//! `ListRadiosForVehicle`: the radios for a vehicle, those that fit first.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_planner::{RadioForVehicle, radios_for_vehicle};

use super::asked::Asked;
use crate::from_proto::{FieldFaults, order, vehicle_question};
use crate::limits::PLANS;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn radios(
        &self,
        request: v1::ListRadiosForVehicleRequest,
    ) -> Result<v1::ListRadiosForVehicleResponse, Refusal> {
        let v1::ListRadiosForVehicleRequest { read_at, vehicle, order: wanted, page_size, page_token } =
            request;
        let others = format!("radios {vehicle:?} {wanted:?}");
        let mut faults = FieldFaults::default();
        let question = vehicle_question(vehicle, &mut faults);
        let wanted = order(wanted, &mut faults);
        let page = Page::of(others, (read_at, page_size, &page_token), PLANS, &mut faults);

        let view = self.view(page.freshness).await?;
        let snapshot = view.snapshot();
        let request = wanted.of(snapshot, &mut faults);
        faults.or(())?;
        let asked = Asked::of(&view, &question)?;
        let all = radios_for_vehicle(snapshot, &asked.candidates, &request);
        Ok(response(&view, &page, &asked, &all))
    }
}

fn response(
    view: &View,
    page: &Page,
    asked: &Asked<'_>,
    all: &[RadioForVehicle],
) -> v1::ListRadiosForVehicleResponse {
    let (snapshot, shown) = (view.snapshot(), page.part(all));
    let named: BTreeSet<_> = shown.iter().flat_map(|one| one.parts.iter().copied()).collect();
    v1::ListRadiosForVehicleResponse {
        revision: Some(to_proto::dataset_revision(view)),
        candidates: asked.candidate_messages(),
        remaining_lines: asked.remaining_lines(),
        radios: shown.iter().filter_map(|one| to_proto::radio_for_vehicle(snapshot, one)).collect(),
        total: u32::try_from(all.len()).unwrap_or(u32::MAX),
        next_page_token: page.next(view, shown.len(), all.len()),
        parts: to_proto::FitmentText { snapshot }.summaries(&named),
    }
}
