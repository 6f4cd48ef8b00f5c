//! Steps.

use dashwright_api::v1;
use dashwright_planner::{Place, Step};
use dashwright_sheet::words;
use dashwright_snapshot::Snapshot;

use super::fitment::fastener;
use super::terms;

/// A step.
pub(crate) fn step(snapshot: &Snapshot, step: &Step) -> v1::Step {
    let Step { phase, place, action, tools, fasteners, minutes, caution } = step;
    let told = words::action(snapshot, action);
    v1::Step {
        phase: terms::phase(*phase).into(),
        in_vehicle: *place == Place::Vehicle,
        text: told.text,
        expect: told.expect.to_owned(),
        part_id: told.part.map(|part| part.to_string()).unwrap_or_default(),
        tools: tools.iter().map(ToString::to_string).collect(),
        fasteners: fasteners.iter().map(fastener).collect(),
        minutes: minutes.map(dashwright_quantity::Minutes::get),
        caution: caution.as_ref().map(ToString::to_string).unwrap_or_default(),
    }
}
