//! `ListVehiclesForRadio` and `ListVehiclesForPart`: the reverse questions about vehicles.

use std::collections::BTreeMap;

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::Need;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{VehiclesForRadio, Verdict, needs_served};
use dashwright_snapshot::{CaseIx, LineIx, MAX_CANDIDATES, Snapshot};

use crate::from_proto::{FieldFaults, FieldProblem, order, part, radio, vehicle_question};
use crate::limits::PLANS;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn vehicles_for_radio(
        &self,
        request: v1::ListVehiclesForRadioRequest,
    ) -> Result<v1::ListVehiclesForRadioResponse, Refusal> {
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
        let mut faults = FieldFaults::default();
        let question = vehicle_question(vehicle, &mut faults);
        let wanted = order(wanted, &mut faults);
        let page = Page::of(others, (read_at, page_size, &page_token), PLANS, &mut faults);

        let view = self.view(page.freshness).await?;
        let snapshot = view.snapshot();
        let index = radio(snapshot, "radio_id", &radio_id, &mut faults);
        let request = wanted.of(snapshot, &mut faults);
        let index = faults.with(index)?;
        let lines = reached(&view, &question)?;
        let shown = page.part(&lines);
        let mut plans = VehiclesForRadio::new(snapshot, index, &request);
        let found = shown.iter().flat_map(|reached| {
            let mut found = plans.of(reached.line);
            found.retain(|one| reached.allows(one.option));
            found
        });
        let fits = |verdict| matches!(verdict, Verdict::FitsAsIs | Verdict::FitsWithParts);
        let found = found.filter(|one| !only_fitting || fits(one.verdict));
        let vehicles = found.map(|one| v1::VehicleForRadio {
            vehicle: to_proto::line_with_option(snapshot, one.line, one.option),
            verdict: to_proto::verdict(one.verdict).into(),
            total: one.total.as_ref().map(to_proto::total),
        });
        Ok(v1::ListVehiclesForRadioResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            vehicles: vehicles.collect(),
            total_lines: u32::try_from(lines.len()).unwrap_or(u32::MAX),
            next_page_token: page.next(&view, shown.len(), lines.len()),
        })
    }

    pub(crate) async fn vehicles_for_part(
        &self,
        request: v1::ListVehiclesForPartRequest,
    ) -> Result<v1::ListVehiclesForPartResponse, Refusal> {
        let v1::ListVehiclesForPartRequest { read_at, part_id, radio_id, vehicle, page_size, page_token } =
            request;
        let others = format!("vehicles of {part_id} {radio_id} {vehicle:?}");
        let mut faults = FieldFaults::default();
        let question = vehicle_question(vehicle, &mut faults);
        let page = Page::of(others, (read_at, page_size, &page_token), PLANS, &mut faults);

        let view = self.view(page.freshness).await?;
        let snapshot = view.snapshot();
        let index = faults.take("part_id", part(snapshot, &part_id));
        let with =
            (!radio_id.is_empty()).then(|| radio(snapshot, "radio_id", &radio_id, &mut faults)).flatten();
        let index = faults.with(index)?;
        // Thousands of lines share a few hundred cases.
        let mut known: BTreeMap<CaseIx, Vec<Need>> = BTreeMap::new();
        let mut all = Vec::new();
        for reached in reached(&view, &question)? {
            for (option, case) in reached.cases(snapshot) {
                let serves = known.entry(case).or_insert_with(|| needs_served(snapshot, case, index, with));
                if !serves.is_empty() {
                    all.push((reached.line, option, serves.clone()));
                }
            }
        }
        let shown = page.part(&all);
        let vehicles = shown.iter().map(|(line, option, serves)| v1::VehicleForPart {
            vehicle: to_proto::line_with_option(snapshot, *line, *option),
            serves: serves.iter().map(|need| to_proto::need(*need).into()).collect(),
        });
        Ok(v1::ListVehiclesForPartResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            vehicles: vehicles.collect(),
            total: u32::try_from(all.len()).unwrap_or(u32::MAX),
            next_page_token: page.next(&view, shown.len(), all.len()),
        })
    }
}

/// A vehicle line, with the audio options that a question leaves possible; every one without a list.
struct Reached {
    line: LineIx,
    options: Option<Vec<u16>>,
}

/// The lines that a question leaves possible; every one where it says nothing.
fn reached(view: &View, question: &VehicleQuestion) -> Result<Vec<Reached>, Refusal> {
    let snapshot = view.snapshot();
    if question.is_empty() {
        let count = u32::try_from(snapshot.lines().len()).unwrap_or(u32::MAX);
        return Ok((0..count).map(|line| Reached { line: LineIx::new(line), options: None }).collect());
    }
    let found = snapshot.identify(question)?;
    if found.total > MAX_CANDIDATES {
        let found = u32::try_from(found.total).unwrap_or(u32::MAX);
        let mut faults = FieldFaults::default();
        faults.take::<()>("vehicle", Err(FieldProblem::ManyLines { found, most: MAX_CANDIDATES }));
        faults.or(())?;
    }
    let reached = found.candidates.into_iter();
    Ok(reached.map(|one| Reached { line: one.line, options: Some(one.options) }).collect())
}

impl Reached {
    fn allows(&self, option: u16) -> bool {
        self.options.as_ref().is_none_or(|options| options.contains(&option))
    }

    /// The line's options that are allowed, each with its case.
    fn cases<'a>(&'a self, snapshot: &'a Snapshot) -> impl Iterator<Item = (u16, CaseIx)> + 'a {
        let options = snapshot.line(self.line).map_or(&[][..], |line| snapshot.options_of(line));
        let numbered = options.iter().zip(0_u16..).map(|(option, number)| (number, option.case));
        numbered.filter(|(number, _)| self.allows(*number))
    }
}
