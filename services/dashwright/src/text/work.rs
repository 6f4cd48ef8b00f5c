//! The work of a plan: joins, settings, steps; and what of it has to be known at the counter already.

use dashwright_api::v1;

use super::page::{Page, bad, warning};
use super::plan::Writer;
use super::terms;

/// What has to be known before the work begins.
pub(super) fn in_brief(page: &mut Page, pieces: &v1::PlanPieces) {
    let v1::PlanPieces { colour_traps, undecided, refused_joins, fetched, .. } = pieces;
    if colour_traps.is_empty() && undecided.is_empty() && refused_joins.is_empty() && fetched.is_empty() {
        return;
    }
    page.heading("Leads to look at");
    leads_to_look_at(page, pieces);
}

fn leads_to_look_at(page: &mut Page, pieces: &v1::PlanPieces) {
    for loose in &pieces.undecided {
        let lead = loose.lead.as_ref().map(end).unwrap_or_default();
        let function = terms::function(loose.function());
        page.line(2, &bad(&format!("to be decided: {function}, {lead}: {}", loose.reason)));
    }
    for reason in &pieces.refused_joins {
        page.line(
            2,
            &warning(&format!("never joined: {}", reason.text.trim_start_matches("the car's own wires: "))),
        );
    }
    for fetched in &pieces.fetched {
        let place = match (fetched.found_at.as_str(), fetched.way.as_str()) {
            ("", "") => "a place that is not recorded".to_owned(),
            ("", way) => format!("way {way} of the factory plug {}", fetched.plug_family),
            (place, _) => place.to_owned(),
        };
        let lead = fetched.lead.as_ref().map(end).unwrap_or_default();
        page.line(2, &format!("fetch {} for {lead} from: {place}", terms::function(fetched.function())));
    }
    for trap in &pieces.colour_traps {
        page.line(2, &warning(&format!("trap: {}", trap.text)));
    }
}

/// Joins, settings and steps.
pub(super) fn work(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
    joins(page, pieces, only);
    plugs(writer, page, pieces, only);
    settings(writer, page, pieces, only);
    steps(page, pieces, only);
}

fn joins(page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
    let v1::PlanPieces { joins, insulated, fetched, undecided, colour_traps, refused_joins, .. } = pieces;
    if joins.is_empty() && insulated.is_empty() && fetched.is_empty() && undecided.is_empty() {
        return;
    }
    page.heading(&format!("Joins, by function{only}"));
    let rows = joins.iter().map(|join| {
        let mut ends = join.ends.iter().map(end);
        let first = ends.next().unwrap_or_default();
        let others: Vec<String> = ends.collect();
        let colours = if join.same_colour { "same" } else { "differ" };
        vec![terms::function(join.function()), first, others.join(" + "), colours.to_owned(), remarks(join)]
    });
    page.table(&["function", "this", "with", "colours", ""], rows.collect());
    if !(undecided.is_empty() && fetched.is_empty() && colour_traps.is_empty() && refused_joins.is_empty()) {
        leads_to_look_at(page, pieces);
    }
    for loose in insulated {
        let lead = loose.lead.as_ref().map(end).unwrap_or_default();
        page.line(2, &format!("insulate {} ({lead}): {}", terms::function(loose.function()), loose.reason));
    }
}

fn remarks(join: &v1::Join) -> String {
    let mut remarks = Vec::new();
    if join.shared_splice {
        remarks.push("one splice".to_owned());
    }
    if let Some(record) = &join.meter_first {
        remarks.push(format!("METER FIRST: {} is not measured", terms::record(record)));
    }
    let figure = |amps: Option<f64>| amps.map(terms::number).unwrap_or_default();
    match join.load() {
        v1::JoinLoad::TooThin => remarks.push(format!(
            "TOO THIN: carries {} A, the radio draws {} A",
            figure(join.carries_amps),
            figure(join.needs_amps)
        )),
        v1::JoinLoad::Unknown => remarks.push("current not recorded".to_owned()),
        v1::JoinLoad::Fits | v1::JoinLoad::Unspecified => {}
    }
    remarks.join("; ")
}

/// A lead as a person finds it: whose, which colour, from which way.
fn end(end: &v1::LeadEnd) -> String {
    let owner = match end.owner() {
        v1::LeadOwner::Radio => "radio".to_owned(),
        v1::LeadOwner::RadioSocket => return format!("radio, {} socket", terms::socket(end.socket())),
        v1::LeadOwner::Part => end.part_id.clone(),
        v1::LeadOwner::ModuleInput => return format!("{}, input for the buttons", end.part_id),
        v1::LeadOwner::Car => "car".to_owned(),
        v1::LeadOwner::Unspecified => String::new(),
    };
    let way = if end.way.is_empty() { String::new() } else { format!(" way {}", end.way) };
    format!("{owner} {}{way}", end.colour)
}

fn plugs(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
    if pieces.plugs.is_empty() {
        return;
    }
    page.heading(&format!("Plugs and sockets{only}"));
    for plug in &pieces.plugs {
        let place = match plug.plug_family.as_str() {
            "" => format!("the radio's {} socket", terms::socket(plug.socket())),
            family => format!("the factory plug {family}"),
        };
        let passes = if plug.passes_through { ", and offers it again" } else { "" };
        page.line(2, &format!("{} in {place}{passes}", writer.number(&plug.part_id)));
    }
}

fn settings(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
    if pieces.settings.is_empty() {
        return;
    }
    page.heading(&format!("Settings{only}"));
    for part in &pieces.settings {
        let number = writer.number(&part.part_id);
        for bank in &part.switch_banks {
            let row: Vec<String> = bank
                .switches
                .iter()
                .map(|switch| format!("{} {}", switch.number, if switch.on { "ON" } else { "off" }))
                .collect();
            let way = bank.on_is.to_lowercase();
            page.line(2, &format!("{number}, {}: {} (on is {way})", bank.name, row.join(" | ")));
            if writer.shown.explain {
                for switch in &bank.switches {
                    page.line(4, &format!("{} from part/{} {}", switch.number, part.part_id, switch.from));
                }
            }
        }
        for selector in &part.selectors {
            page.line(2, &format!("{number}, {}: position {}", selector.name, selector.position));
        }
        for instruction in &part.instructions {
            page.line(2, &format!("{number}, {}: {}", instruction.name, instruction.text));
        }
    }
}

fn steps(page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
    if pieces.steps.is_empty() {
        return;
    }
    page.heading(&format!("Steps{only}"));
    let mut phase = v1::Phase::Unspecified;
    for (number, step) in pieces.steps.iter().enumerate() {
        if step.phase() != phase {
            phase = step.phase();
            page.line(2, phase_text(phase));
        }
        page.labelled(4, &format!("{}.", number + 1), 3, &step_text(step));
        if !step.caution.is_empty() {
            page.line(9, &warning(&step.caution));
        }
    }
}

fn step_text(step: &v1::Step) -> String {
    let mut text = step.text.clone();
    if !step.expect.is_empty() {
        text.push_str(&format!(": {}", step.expect));
    }
    let mut beside: Vec<String> = step.tools.clone();
    beside.extend(
        step.fasteners
            .iter()
            .map(|it| format!("{} × {} {}", it.count, terms::fastener(it.drive(), it.size), it.location)),
    );
    beside.extend(step.minutes.map(|minutes| format!("{} min", terms::number(minutes))));
    if !beside.is_empty() {
        text.push_str(&format!(" ({})", beside.join("; ")));
    }
    text
}

const fn phase_text(phase: v1::Phase) -> &'static str {
    match phase {
        v1::Phase::Unspecified => "",
        v1::Phase::Out => "out",
        v1::Phase::Bench => "at the bench",
        v1::Phase::In => "in",
        v1::Phase::TestOpen => "test with the dash open",
        v1::Phase::Close => "close",
        v1::Phase::TestClosed => "test again",
    }
}
