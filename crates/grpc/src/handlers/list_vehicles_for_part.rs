//! `ListVehiclesForPart`: the vehicle lines that a part serves, and which needs it meets there.

use std::collections::BTreeMap;

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::Need;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{needs_served, successor};
use dashwright_snapshot::{CaseIx, LineIx, RecordIx, Snapshot};

use super::reached::{Reached, reached};
use crate::from_proto::{FieldFaults, part, radio, vehicle_question};
use crate::limits::PLANS;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn vehicles_for_part(
        &self,
        request: v1::ListVehiclesForPartRequest,
    ) -> Result<v1::ListVehiclesForPartResponse, Refusal> {
        let mut faults = FieldFaults::default();
        let asked = Asked::of(request, &mut faults);
        let view = self.view(asked.page.freshness).await?;
        asked.answer(&view, faults)
    }
}

/// The request, read.
struct Asked {
    part_id: String,
    radio_id: String,
    question: VehicleQuestion,
    page: Page,
}

impl Asked {
    fn of(request: v1::ListVehiclesForPartRequest, faults: &mut FieldFaults) -> Self {
        let v1::ListVehiclesForPartRequest { read_at, part_id, radio_id, vehicle, page_size, page_token } =
            request;
        let others = format!("vehicles of {part_id} {radio_id} {vehicle:?}");
        let question = vehicle_question(vehicle, faults);
        let page = Page::of(others, (read_at, page_size, &page_token), PLANS, faults);
        Self { part_id, radio_id, question, page }
    }

    fn answer(
        self,
        view: &View,
        mut faults: FieldFaults,
    ) -> Result<v1::ListVehiclesForPartResponse, Refusal> {
        let Self { part_id, radio_id, question, page } = self;
        let snapshot = view.snapshot();
        let index = part(snapshot, "part_id", &part_id, &mut faults);
        let mut with = || radio(snapshot, "radio_id", &radio_id, &mut faults);
        let with = if radio_id.is_empty() { None } else { with() };
        let index = faults.with(index)?;
        let standing = successor(snapshot, index);
        let superseded = snapshot.parts().get(standing).filter(|_| standing != index);
        let all = served(snapshot, reached(view, &question)?, standing, with);
        let shown = page.part(&all);
        Ok(v1::ListVehiclesForPartResponse {
            revision: Some(to_proto::dataset_revision(view)),
            vehicles: shown.iter().map(|one| to_proto::vehicle_for_part(snapshot, one)).collect(),
            total: u32::try_from(all.len()).unwrap_or(u32::MAX),
            next_page_token: page.next(view, shown.len(), all.len()),
            successor_part_id: superseded.map(|part| part.id.to_string()).unwrap_or_default(),
        })
    }
}

/// A line with one of its options, and what a part serves there.
pub(crate) type Served = (LineIx, u16, Vec<Need>);

/// The lines and options that a part serves.
fn served(snapshot: &Snapshot, lines: Vec<Reached>, part: RecordIx, radio: Option<RecordIx>) -> Vec<Served> {
    // Thousands of lines share a few hundred cases.
    let mut known: BTreeMap<CaseIx, Vec<Need>> = BTreeMap::new();
    let mut all = Vec::new();
    for reached in lines {
        for (option, case) in reached.cases(snapshot) {
            let serves = known.entry(case).or_insert_with(|| needs_served(snapshot, case, part, radio));
            if !serves.is_empty() {
                all.push((reached.line, option, serves.clone()));
            }
        }
    }
    all
}
