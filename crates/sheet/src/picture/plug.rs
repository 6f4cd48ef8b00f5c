//! Plugs at the factory radio: every way that the record knows, in the order of its label, and what becomes of it.
//!
//! The catalogue records no geometry of plugs, so that this is a list and not a face, and says so.

use std::collections::BTreeMap;

use dashwright_model::record::audio::{FactoryPlug, Way};
use dashwright_planner::{PlugWay, Wiring};

use super::{LegendRow, Picture, cut};
use crate::colour::lead_shapes;
use crate::job::Job;
use crate::svg::{Anchor, Area, Drawing, Pen};
use crate::words::spoken;

/// A cell of the list, in millimetres on paper.
const CELL_MM: (f64, f64) = (43.5, 13.0);
/// Cells side by side.
const COLUMNS: usize = 4;
/// Letters of a way's label that have room.
const LABEL_CHARS: usize = 7;

/// What becomes of a way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Use {
    Joined,
    Fetched,
    Insulated,
}

/// The plugs of which at least one way is used.
pub(super) fn plugs(job: &Job<'_>) -> Vec<Picture> {
    let Some(work) = job.work else { return Vec::new() };
    let uses = uses(&work.wiring);
    let plugs = job.audio.iter().flat_map(|audio| &audio.plugs);
    let used = plugs.filter(|plug| uses.keys().any(|way| way.family == plug.family));
    used.enumerate().map(|(number, plug)| picture(job, plug, &uses, number + 1)).collect()
}

/// What becomes of each way that a lead comes from; the strongest where there are several.
fn uses(wiring: &Wiring) -> BTreeMap<&PlugWay, Use> {
    let joined = wiring.joins.iter().flat_map(|join| &join.ends).map(|end| (end.way.as_ref(), Use::Joined));
    let fetched = wiring.fetched.iter().map(|fetch| (fetch.way.as_ref(), Use::Fetched));
    let insulated = wiring.insulated.iter().map(|loose| (loose.lead.way.as_ref(), Use::Insulated));
    let mut uses = BTreeMap::new();
    for (way, what) in joined.chain(fetched).chain(insulated) {
        let Some(way) = way else { continue };
        let known = uses.entry(way).or_insert(what);
        *known = what.min(*known);
    }
    uses
}

fn picture(job: &Job<'_>, plug: &FactoryPlug, uses: &BTreeMap<&PlugWay, Use>, number: usize) -> Picture {
    let mut ways: Vec<&Way> = plug.ways.iter().collect();
    ways.sort_by_key(|way| in_order(way.way.as_str()));
    let used = |way: &Way| uses.get(&PlugWay { family: plug.family.clone(), way: way.way.clone() }).copied();
    let mut drawing = Drawing::default();
    for (place, way) in ways.iter().enumerate() {
        let (column, row) = (place % COLUMNS, place / COLUMNS);
        let corner = (1.0 + column as f64 * CELL_MM.0, 1.0 + row as f64 * CELL_MM.1);
        cell(&mut drawing, corner, way, used(way));
    }
    let rows = ways.len().div_ceil(COLUMNS).max(1);
    let view = Area {
        left: 0.0,
        top: 0.0,
        width: COLUMNS as f64 * CELL_MM.0 + 2.0,
        height: rows as f64 * CELL_MM.1 + 2.0,
    };
    let name = cut(job.snapshot.term_name(plug.family.as_str()), 60);
    let title = format!("Plug {name}: what its ways carry in this car");
    let legend: Vec<LegendRow> = ways.iter().map(|way| row(way, used(way))).collect();
    let said = legend.iter().map(|row| format!("way {}: {}, {}", row.mark, row.name, row.detail));
    let description = format!("{title}. {}.", said.collect::<Vec<_>>().join(". "));
    let id = format!("plug-{number}");
    let svg = drawing.finish(&id, (&title, &description), &view, (view.width, view.height));
    let notes = vec![format!(
        "Schematic: the ways stand in the order of their labels, not as they lie in the housing, which is not recorded. {} of \
         {} ways are recorded as in use.",
        plug.ways.len(),
        plug.ways_count
    )];
    Picture { subject: plug.family.to_string(), title, description, legend, notes, svg }
}

fn row(way: &Way, used: Option<Use>) -> LegendRow {
    let colour =
        way.colour.map_or("no recorded colour".to_owned(), |colour| format!("{colour} {}", colour.name()));
    LegendRow {
        mark: way.way.to_string(),
        name: spoken(way.function.name()),
        detail: format!("{colour}, {}", use_text(used)),
    }
}

const fn use_text(used: Option<Use>) -> &'static str {
    match used {
        Some(Use::Joined) => "joined",
        Some(Use::Fetched) => "taken here",
        Some(Use::Insulated) => "insulate",
        None => "not used",
    }
}

fn cell(drawing: &mut Drawing, (left, top): (f64, f64), way: &Way, used: Option<Use>) {
    let (width, height) = CELL_MM;
    let area = Area { left: left + 0.6, top: top + 0.6, width: width - 1.2, height: height - 1.2 };
    let pen = match used {
        Some(Use::Joined | Use::Fetched) => Pen::line(0.8),
        Some(Use::Insulated) => Pen::line(0.4).dashed(1.2, 0.8),
        None => Pen::line(0.2),
    };
    drawing.rounded(&area, 1.2, pen.filled("#fff"));
    let (x, y) = (left + 2.0, top + 4.8);
    drawing.text((x, y), 3.6, Anchor::Start, true, &cut(way.way.as_str(), LABEL_CHARS));
    let right = left + width - 2.0;
    drawing.text((right, y), 3.0, Anchor::End, used.is_some(), use_text(used));
    drawing.text((x, top + 8.4), 3.0, Anchor::Start, false, &spoken(way.function.name()));
    match way.colour {
        Some(colour) => {
            drawing.shapes(&lead_shapes(colour, (x, top + 9.4), (7.5, 2.2)));
            drawing.text((x + 9.0, top + 11.4), 2.7, Anchor::Start, false, &colour.to_string());
        }
        None => drawing.text((x, top + 11.4), 2.5, Anchor::Start, false, "no recorded colour"),
    }
}

/// Labels in the order that a person counts: letters, then numbers by value, `A2` before `A10`.
fn in_order(label: &str) -> Vec<(String, u64)> {
    let mut pieces = Vec::new();
    let mut rest = label;
    while !rest.is_empty() {
        let letters = rest.find(|letter: char| letter.is_ascii_digit()).unwrap_or(rest.len());
        let (word, from) = rest.split_at(letters);
        let digits = from.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(from.len());
        let (number, after) = from.split_at(digits);
        let number = if number.is_empty() { 0 } else { number.parse().unwrap_or(u64::MAX) };
        pieces.push((word.to_owned(), number));
        rest = after;
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_stand_in_the_order_that_a_person_counts() {
        let mut labels = ["B1", "A10", "A2", "12", "3", "A", "A2b"];
        labels.sort_by_key(|label| in_order(label));
        assert_eq!(labels, ["3", "12", "A", "A2", "A2b", "A10", "B1"]);
    }
}
