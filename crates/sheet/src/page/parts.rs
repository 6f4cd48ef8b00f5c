//! What is pulled from the shelf, what is laid ready, and what the customer is told.

use std::collections::BTreeMap;

use dashwright_model::record::dash::{Drive, Fastener};
use dashwright_model::record::part::{Contained, Part};
use dashwright_planner::{Action, Outcome, Phase, PlannedFeature, PlannedPart};
use dashwright_quantity::Label;

use super::{once, sentence};
use crate::job::Job;
use crate::words::{self, spoken};

/// Parts, tools, kits, and what becomes of the features.
pub(crate) struct Parts {
    pub(super) rows: Vec<PartRow>,
    pub(super) consumables: Vec<ConsumableRow>,
    pub(super) tools: Vec<String>,
    pub(super) fasteners: Vec<FastenerRow>,
    pub(super) kits: Vec<KitRow>,
    /// Features that go on working as they are.
    pub(super) kept: Vec<String>,
    /// Features of which nobody knows whether the car has them.
    pub(super) unknown: Vec<String>,
    /// Features that the customer is told about.
    pub(super) told: Vec<FeatureRow>,
    pub(super) brings: Vec<String>,
}

/// A part to pull.
pub(crate) struct PartRow {
    pub(super) number: String,
    pub(super) name: String,
    pub(super) serves: String,
    pub(super) beware: Vec<String>,
}

/// Something that is used up.
pub(crate) struct ConsumableRow {
    pub(super) count: u32,
    pub(super) what: String,
}

/// Fasteners that will be met.
pub(crate) struct FastenerRow {
    pub(super) count: u32,
    pub(super) what: String,
    pub(super) location: String,
}

/// A loose piece of a part.
pub(crate) struct KitRow {
    pub(super) number: String,
    pub(super) piece: String,
    pub(super) used: bool,
    pub(super) why: String,
}

/// What becomes of a feature.
pub(crate) struct FeatureRow {
    pub(super) feature: String,
    pub(super) outcome: &'static str,
    pub(super) why: Vec<String>,
}

impl Parts {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let chosen: &[PlannedPart] = job.chosen.map(|chosen| chosen.parts.as_slice()).unwrap_or_default();
        let parts: Vec<&Part> = chosen.iter().filter_map(|planned| job.part(planned.part)).collect();
        let steps = job.work.map(|work| work.steps.as_slice()).unwrap_or_default();
        let features = &job.input.plan.features;
        Self {
            rows: chosen.iter().filter_map(|planned| row(job, planned)).collect(),
            consumables: consumables(&parts),
            tools: once(steps.iter().flat_map(|step| &step.tools).map(ToString::to_string)),
            fasteners: steps
                .iter()
                .filter(|step| step.phase == Phase::Out)
                .flat_map(|step| step.fasteners.iter().map(fastener_row))
                .collect(),
            kits: kits(job),
            kept: with_outcome(features, Outcome::Kept),
            unknown: with_outcome(features, Outcome::Unknown),
            told: features.iter().filter_map(told).collect(),
            brings: job.radio.brings.iter().map(ToString::to_string).collect(),
        }
    }
}

fn with_outcome(features: &[PlannedFeature], outcome: Outcome) -> Vec<String> {
    let of = features.iter().filter(|feature| feature.outcome == outcome);
    of.map(|feature| spoken(feature.feature.name())).collect()
}

fn row(job: &Job<'_>, planned: &PlannedPart) -> Option<PartRow> {
    let part = job.part(planned.part)?;
    let serves = once(planned.serves.iter().map(|(need, _)| spoken(need.name())));
    let numbers = |parts: &[dashwright_snapshot::RecordIx]| {
        let numbers = parts.iter().filter_map(|index| Some(job.part(*index)?.number.to_string()));
        numbers.collect::<Vec<_>>().join(", ")
    };
    let mut beware = Vec::new();
    beware.extend(planned.in_hand.then(|| "in hand already".to_owned()));
    if !planned.variants.is_empty() {
        beware.push(format!("same but for finish and the like: {}", numbers(&planned.variants)));
    }
    beware.extend(part.minimum_firmware.as_ref().map(|oldest| format!("firmware {oldest} or later")));
    if !planned.required_by.is_empty() {
        beware.push(format!("needed by {}", numbers(&planned.required_by)));
    }
    beware.extend(part.note.as_ref().map(ToString::to_string));
    Some(PartRow {
        number: part.number.to_string(),
        name: format!("{} {}", job.snapshot.term_name(part.brand.as_str()), part.title),
        serves: serves.join(", "),
        beware,
    })
}

fn consumables(parts: &[&Part]) -> Vec<ConsumableRow> {
    let mut sums: BTreeMap<&str, u32> = BTreeMap::new();
    for consumable in parts.iter().flat_map(|part| &part.consumables) {
        let sum = sums.entry(consumable.what.as_str()).or_default();
        *sum = sum.saturating_add(consumable.count.into());
    }
    sums.into_iter().map(|(what, count)| ConsumableRow { count, what: what.to_owned() }).collect()
}

fn fastener_row(fastener: &Fastener) -> FastenerRow {
    let Fastener { drive: _, size: _, count, location } = fastener;
    FastenerRow { count: (*count).into(), what: drive_text(fastener), location: location.to_string() }
}

/// Fasteners of one place, as a step tells them.
pub(super) fn fastener_text(fastener: &Fastener) -> String {
    format!("{} × {}, {}", fastener.count, drive_text(fastener), fastener.location)
}

fn drive_text(fastener: &Fastener) -> String {
    let drive = match fastener.drive {
        Drive::Hex => "hexagon head",
        Drive::Cross => "cross recess",
        Drive::Hexalobular => "hexalobular socket",
        Drive::Slot => "slotted head",
        Drive::Hand => "push or turn fastener",
    };
    match (fastener.drive, fastener.size) {
        (Drive::Hex, Some(size)) => format!("{drive} {size} mm"),
        (Drive::Cross | Drive::Hexalobular, Some(size)) => format!("{drive} no. {size}"),
        _ => drive.to_owned(),
    }
}

/// The loose pieces of the chosen parts: those that are used first.
fn kits(job: &Job<'_>) -> Vec<KitRow> {
    let steps = job.work.iter().flat_map(|work| &work.steps);
    let mut rows = Vec::new();
    for step in steps {
        let Action::Assemble { part, used, left_out } = &step.action else { continue };
        let Some(part) = job.part(*part) else { continue };
        let row = |(name, count): &(Label, u8), used| KitRow {
            number: part.number.to_string(),
            piece: if *count == 1 { name.to_string() } else { format!("{count} × {name}") },
            used,
            why: why(part, name),
        };
        rows.extend(used.iter().map(|piece| row(piece, true)));
        rows.extend(left_out.iter().map(|piece| row(piece, false)));
    }
    rows
}

/// Why a loose piece is used or left out.
fn why(part: &Part, piece: &Label) -> String {
    let said = part.contains.iter().find_map(|contained| match contained {
        Contained::Piece { name, when, .. } if name == piece => when.as_ref(),
        _ => None,
    });
    said.map(ToString::to_string).unwrap_or_default()
}

/// A feature that works less than before, or no longer.
fn told(feature: &PlannedFeature) -> Option<FeatureRow> {
    let outcome = match feature.outcome {
        Outcome::Kept | Outcome::NotPresent | Outcome::Unknown => return None,
        Outcome::KeptWithLimit => "kept, with a limit",
        Outcome::Lost => "LOST",
    };
    let limits = feature.limits.iter().map(ToString::to_string);
    let reasons = feature.reasons.iter().map(words::reason);
    let why = match feature.outcome {
        Outcome::KeptWithLimit => once(limits.map(|text| sentence(&text))),
        _ => once(limits.chain(reasons).map(|text| sentence(&text))),
    };
    Some(FeatureRow { feature: spoken(feature.feature.name()), outcome, why })
}
