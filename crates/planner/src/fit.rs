//! Fit: whether the body of the radio goes in, with a kit or without, by the lengths that are recorded.
//!
//! A length that is not recorded refuses nothing: it is told as missing.

use dashwright_model::record::part::{Frame, Part};
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_quantity::{Millimetres, Offset};

use crate::checks::screen_refusal;
use crate::job::JobView;
use crate::mount;
use crate::reason::{Reason, Side};

/// What is true of the depth, for a kit or without one.
pub(crate) enum Depth {
    /// So much is left.
    Spare(Offset),
    /// The radio does not go in.
    TooDeep(Reason),
    /// Lengths are missing.
    NoData(Vec<Reason>),
}

/// Whether the radio with its plugs goes in: body and rear clearance against the opening's depth and what the kit sets
/// forward (common practice, no source).
pub(crate) fn depth(job: &JobView<'_>, kit: Option<&Part>) -> Depth {
    let chassis = &job.radio.chassis;
    let forward = kit.and_then(|part| part.kit.as_ref()).and_then(|kit| kit.set_forward);
    let lengths = (chassis.depth, chassis.rear_clearance, job.view.dash.opening.depth);
    let (Some(body), Some(clearance), Some(opening)) = lengths else {
        return Depth::NoData(missing_lengths(job));
    };
    let forward = forward.map_or(0.0, Millimetres::get);
    let (needs, has) = (body.get() + clearance.get(), opening.get() + forward);
    let Ok(spare) = Offset::new(has - needs) else { return Depth::NoData(Vec::new()) };
    if spare.get() >= 0.0 {
        return Depth::Spare(spare);
    }
    let (Ok(needs), Ok(has)) = (Millimetres::new(needs), Millimetres::new(has)) else {
        return Depth::NoData(Vec::new());
    };
    let (dash, radio) = (job.view.dash.id.clone(), job.radio.id.clone());
    Depth::TooDeep(Reason::TooDeep { dash, radio, part: kit.map(|part| part.id.clone()), needs, has })
}

fn missing_lengths(job: &JobView<'_>) -> Vec<Reason> {
    let chassis = &job.radio.chassis;
    let of_radio = [
        (chassis.depth.is_none(), "chassis.depth"),
        (chassis.rear_clearance.is_none(), "chassis.rear_clearance"),
    ];
    let mut missing: Vec<Reason> = of_radio
        .into_iter()
        .filter(|(absent, _)| *absent)
        .map(|(_, field)| radio_lacks_fact(job, field))
        .collect();
    if job.view.dash.opening.depth.is_none() {
        missing.push(job.view.missing(RecordKind::Dash, "opening.depth"));
    }
    missing
}

/// That a field of the radio is not recorded.
fn radio_lacks_fact(job: &JobView<'_>, field: &str) -> Reason {
    let record = RecordKey { kind: RecordKind::Radio, id: job.radio.id.as_term() };
    Reason::FactMissing { record, field: field.to_owned() }
}

/// Why a part that changes the opening can not hold this radio here.
pub(crate) fn kit_refusals(job: &JobView<'_>, part: &Part) -> Vec<Reason> {
    let Some(kit) = &part.kit else { return Vec::new() };
    let mut refusals = Vec::new();
    if let Depth::TooDeep(reason) = depth(job, Some(part)) {
        refusals.push(reason);
    }
    refusals.extend(screen_refusal(job, Some(part)));
    refusals.extend(kit.frame.iter().flat_map(|frame| frame_refusals(job, part, frame)));
    refusals
}

fn frame_refusals(job: &JobView<'_>, part: &Part, frame: &Frame) -> Vec<Reason> {
    let chassis = &job.radio.chassis;
    let sides = [(Side::Width, chassis.width, frame.width), (Side::Height, chassis.height, frame.height)];
    let small = sides.into_iter().filter_map(|(side, chassis, frame)| {
        let chassis = chassis?;
        (chassis > frame).then(|| Reason::FrameTooSmall { part: part.id.clone(), side, chassis, frame })
    });
    small.collect()
}

/// How the radio sits without a part: it does, or why not.
pub(crate) fn without_part(job: &JobView<'_>) -> Result<(), Vec<Reason>> {
    let chassis = &job.radio.chassis;
    let mut obstacles = mount::obstacles(job.view.dash, chassis.class, mount::body(chassis));
    if let Depth::TooDeep(reason) = depth(job, None) {
        obstacles.push(reason);
    }
    obstacles.extend(screen_refusal(job, None));
    if obstacles.is_empty() { Ok(()) } else { Err(obstacles) }
}

/// The proof that the radio can not go in whatever is done: the space behind the panel is smaller than its body.
pub(crate) fn proof(job: &JobView<'_>) -> Vec<Reason> {
    mount::cavity_proof(job.view.dash, mount::body(&job.radio.chassis))
}
