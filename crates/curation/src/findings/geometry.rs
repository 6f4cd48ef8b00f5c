//! Geometry that can not be, in dash-face coordinates: millimetres from the centre of the opening, right and up.

use dashwright_model::record::dash::OpeningClass;
use dashwright_model::record::part::KitGeometry;
use dashwright_model::record::radio::ChassisClass;
use dashwright_model::record::{Dash, RecordKind};
use dashwright_planner::least_body;
use dashwright_quantity::Millimetres;
use dashwright_snapshot::Snapshot;

use super::{Finding, FindingKind, add};

pub(super) fn find(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    for (_, dash) in snapshot.dashes().iter() {
        in_the_opening(dash, found);
    }
    for (_, part) in snapshot.parts().iter() {
        let Some(kit) = &part.kit else { continue };
        let id = part.id.as_term();
        let record = (RecordKind::Part, &id);
        for class in narrow(kit) {
            let words = format!("takes `{class}`, and its frame is smaller than the least body of one");
            add(found, record, "kit.frame", FindingKind::NarrowFrame, None, &words);
        }
    }
}

/// Left, right, bottom, top.
type Sides = [f64; 4];

/// Whether two rectangles share more than an edge.
fn overlap(one: &Sides, other: &Sides) -> bool {
    let [left, right, bottom, top] = one;
    let [other_left, other_right, other_bottom, other_top] = other;
    left < other_right && other_left < right && bottom < other_top && other_bottom < top
}

/// What lies where the opening is. A shaped opening is no rectangle: its width and height say nothing of a place within them.
fn in_the_opening(dash: &Dash, found: &mut Vec<Finding>) {
    if dash.opening.class == OpeningClass::Shaped {
        return;
    }
    let (Some(width), Some(height)) = (dash.opening.width, dash.opening.height) else { return };
    let (half_width, half_height) = (width.get() / 2.0, height.get() / 2.0);
    let opening = [-half_width, half_width, -half_height, half_height];
    for (place, it) in dash.surroundings.iter().enumerate() {
        let own = [it.left.get(), it.right.get(), it.bottom.get(), it.top.get()];
        if overlap(&opening, &own) {
            let words = format!("has `{}` where the opening is", it.name);
            let path = format!("surroundings.{place}");
            let record = (RecordKind::Dash, &dash.id.as_term());
            add(found, record, path, FindingKind::InTheOpening, None, &words);
        }
    }
}

/// The classes that a kit says to take and for the least body of which its frame is too small.
fn narrow(kit: &KitGeometry) -> impl Iterator<Item = ChassisClass> {
    let frame = kit.frame;
    kit.takes.iter().copied().filter(move |class| {
        let [(_, width), (_, height)] = least_body(*class);
        let smaller = |side: Millimetres, least: Option<Millimetres>| least.is_some_and(|least| side < least);
        frame.is_some_and(|frame| smaller(frame.width, width) || smaller(frame.height, height))
    })
}
