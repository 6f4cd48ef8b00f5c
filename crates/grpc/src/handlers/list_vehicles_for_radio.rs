//! `ListVehiclesForRadio`: the vehicle lines that a radio goes into, with verdict and total.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::VehiclesForRadio;

use super::reached::reached;
use crate::from_proto::{FieldFaults, Order, order, radio, vehicle_question};
use crate::limits::PLANS;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn vehicles_for_radio(
        &self,
        request: v1::ListVehiclesForRadioRequest,
    ) -> Result<v1::ListVehiclesForRadioResponse, Refusal> {
        let mut faults = FieldFaults::default();
        let asked = Asked::of(request, &mut faults);
        let view = self.view(asked.page.freshness).await?;
        asked.answer(&view, faults)
    }
}

/// The request, read.
struct Asked {
    radio_id: String,
    question: VehicleQuestion,
    wanted: Order,
    only_fitting: bool,
    page: Page,
}

impl Asked {
    fn of(request: v1::ListVehiclesForRadioRequest, faults: &mut FieldFaults) -> Self {
        let v1::ListVehiclesForRadioRequest {
            read_at,
            radio_id,
            vehicle,
            order: wanted,
            only_fitting,
            page_size,
            page_token,
        } = request;
        let others = format!("vehicles of {radio_id} {vehicle:?} {wanted:?} {only_fitting}");
        let question = vehicle_question(vehicle, faults);
        let wanted = order(wanted, faults);
        let page = Page::of(others, (read_at, page_size, &page_token), PLANS, faults);
        Self { radio_id, question, wanted, only_fitting, page }
    }

    fn answer(
        self,
        view: &View,
        mut faults: FieldFaults,
    ) -> Result<v1::ListVehiclesForRadioResponse, Refusal> {
        let Self { radio_id, question, wanted, only_fitting, page } = self;
        let snapshot = view.snapshot();
        let index = radio(snapshot, "radio_id", &radio_id, &mut faults);
        let request = wanted.of(snapshot, &mut faults);
        let index = faults.with(index)?;
        let lines = reached(view, &question)?;
        let shown = page.part(&lines);
        let mut plans = VehiclesForRadio::new(snapshot, index, &request);
        let found = shown.iter().flat_map(|reached| reached.fitting(&mut plans, only_fitting));
        Ok(v1::ListVehiclesForRadioResponse {
            revision: Some(to_proto::dataset_revision(view)),
            vehicles: found.map(|one| to_proto::vehicle_for_radio(snapshot, &one)).collect(),
            total_lines: u32::try_from(lines.len()).unwrap_or(u32::MAX),
            next_page_token: page.next(view, shown.len(), lines.len()),
        })
    }
}
