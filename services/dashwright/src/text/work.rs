//! The work of a plan: joins, settings, steps; and what of it has to be known at the counter already.

use dashwright_api::v1;

use super::page::{Page, bad, good, warning};
use super::plan::{Place, Writer};
use super::terms;

/// What of the leads has to be known before the work begins.
pub(super) fn in_brief(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let v1::PlanPieces { colour_traps, undecided, refused_joins, fetched, .. } = pieces;
    if colour_traps.is_empty() && undecided.is_empty() && refused_joins.is_empty() && fetched.is_empty() {
        return;
    }
    place.heading(page, "Leads to look at");
    self::undecided(writer, page, pieces);
    self::fetched(writer, page, pieces);
    traps(page, pieces);
}

/// Joins, plugs, settings and steps.
pub(super) fn work(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    joins(writer, page, pieces, place);
    beside_joins(writer, page, pieces, place);
    plugs(writer, page, pieces, place);
    settings(writer, page, pieces, place);
    steps(page, pieces, place);
}

fn joins(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.joins.is_empty() {
        return;
    }
    place.heading(page, "Joins, by function");
    let rows = pieces.joins.iter().map(|join| {
        let mut ends = join.ends.iter().map(|it| end(writer, it));
        let first = ends.next().unwrap_or_default();
        let others: Vec<String> = ends.collect();
        let coloured = join.ends.iter().all(|end| !end.colour.is_empty());
        let colours = match (coloured, join.same_colour) {
            (false, _) => "",
            (true, true) => "same",
            (true, false) => "DIFFER",
        };
        vec![terms::function(join.function()), first, others.join(" + "), colours.to_owned(), remarks(join)]
    });
    page.table(&["function", "this", "with", "colours", ""], rows.collect());
    let mut weak: Vec<String> =
        pieces.joins.iter().filter_map(|join| join.meter_first.as_ref()).map(terms::record).collect();
    weak.sort();
    weak.dedup();
    if !weak.is_empty() {
        let why = format!("meter first: nobody has measured what {} says", weak.join(", "));
        page.line(2, &warning(&why));
    }
}

fn remarks(join: &v1::Join) -> String {
    let mut remarks = Vec::new();
    if join.meter_first.is_some() {
        remarks.push("METER FIRST".to_owned());
    }
    if join.shared_splice {
        remarks.push("one splice".to_owned());
    }
    let figure = |amps: Option<f64>| {
        amps.map_or("an unknown current".to_owned(), |amps| format!("{} A", terms::number(amps)))
    };
    match join.load() {
        v1::JoinLoad::TooThin => remarks.push(format!(
            "TOO THIN: carries {}, the radio draws {}",
            figure(join.carries_amps),
            figure(join.needs_amps)
        )),
        v1::JoinLoad::Unknown => remarks.push("current not recorded".to_owned()),
        v1::JoinLoad::Fits | v1::JoinLoad::Unspecified => {}
    }
    remarks.join("; ")
}

/// A lead as a person finds it: whose, which colour, from which way.
fn end(writer: &Writer<'_>, end: &v1::LeadEnd) -> String {
    let owner = match end.owner() {
        v1::LeadOwner::Radio => "radio".to_owned(),
        v1::LeadOwner::RadioSocket => return format!("radio, {} socket", terms::socket(end.socket())),
        v1::LeadOwner::Part => writer.number(&end.part_id),
        v1::LeadOwner::ModuleInput => {
            return format!("{}, input for the buttons", writer.number(&end.part_id));
        }
        v1::LeadOwner::Car => "car".to_owned(),
        v1::LeadOwner::Unspecified => String::new(),
    };
    let colour = if end.colour.is_empty() { "of no recorded colour" } else { &end.colour };
    let way = if end.way.is_empty() { String::new() } else { format!(" way {}", end.way) };
    format!("{owner} {colour}{way}")
}

fn lead(writer: &Writer<'_>, lead: Option<&v1::LeadEnd>) -> String {
    lead.map(|it| end(writer, it)).unwrap_or_default()
}

/// Leads that are not simply joined, those that mislead first.
fn beside_joins(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let v1::PlanPieces { colour_traps, undecided, refused_joins, fetched, insulated, .. } = pieces;
    if !(colour_traps.is_empty() && refused_joins.is_empty()) {
        place.heading(page, "Leads that mislead");
        traps(page, pieces);
    }
    if !insulated.is_empty() {
        place.heading(page, "Insulate one by one");
        self::insulated(writer, page, pieces);
    }
    if !fetched.is_empty() {
        place.heading(page, "Fetch elsewhere");
        self::fetched(writer, page, pieces);
    }
    if !undecided.is_empty() {
        place.heading(page, "To be decided");
        self::undecided(writer, page, pieces);
    }
}

fn traps(page: &mut Page, pieces: &v1::PlanPieces) {
    for reason in &pieces.refused_joins {
        page.line(2, &bad(&format!("never joined: {}", reason.text)));
    }
    for trap in &pieces.colour_traps {
        page.line(2, &warning(&format!("trap: {}", trap.text)));
    }
}

/// Leads that stay alone, those with one reason together.
fn insulated(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces) {
    let mut told: Vec<(&str, Vec<String>)> = Vec::new();
    for loose in &pieces.insulated {
        let text = format!("{} ({})", terms::function(loose.function()), lead(writer, loose.lead.as_ref()));
        match told.iter_mut().find(|(reason, _)| *reason == loose.reason) {
            Some((_, leads)) => leads.push(text),
            None => told.push((&loose.reason, vec![text])),
        }
    }
    for (reason, leads) in told {
        page.line(2, &format!("{reason}: {}", leads.join(", ")));
    }
}

fn fetched(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces) {
    for fetched in &pieces.fetched {
        let place = match (fetched.found_at.as_str(), fetched.way.as_str()) {
            ("", "") => "a place that is not recorded".to_owned(),
            ("", way) => format!("way {way} of the factory plug {}", fetched.plug_family),
            (place, _) => place.to_owned(),
        };
        let lead = lead(writer, fetched.lead.as_ref());
        page.line(2, &format!("fetch {} for {lead} from: {place}", terms::function(fetched.function())));
    }
}

fn undecided(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces) {
    for loose in &pieces.undecided {
        let (function, lead) = (terms::function(loose.function()), lead(writer, loose.lead.as_ref()));
        page.line(2, &bad(&format!("TO BE DECIDED: {function}, {lead}: {}", loose.reason)));
    }
}

fn plugs(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.plugs.is_empty() {
        return;
    }
    place.heading(page, "Plugs and sockets, in the order of plugging");
    for plug in &pieces.plugs {
        let place = match plug.plug_family.as_str() {
            "" => format!("the radio's {} socket", terms::socket(plug.socket())),
            family => format!("the factory plug {family}"),
        };
        let passes = if plug.passes_through { ", and offers it again" } else { "" };
        page.line(2, &format!("{} in {place}{passes}", writer.number(&plug.part_id)));
    }
}

fn settings(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.settings.is_empty() {
        return;
    }
    place.heading(page, "Settings");
    for part in &pieces.settings {
        let number = writer.number(&part.part_id);
        for bank in &part.switch_banks {
            page.line(2, &format!("{number}, {}: {}", bank.name, switches(bank)));
            let from = |it: &v1::SwitchSetting| format!("{} by `{}`", it.number, it.from);
            let from: Vec<String> = bank.switches.iter().map(from).collect();
            if writer.shown.explain {
                page.line(4, &format!("in part/{}: {}", part.part_id, from.join(", ")));
            }
        }
        for selector in &part.selectors {
            let v1::SelectorSetting { name, position, from } = selector;
            page.line(2, &format!("{number}, {name}: {}", good(&format!("position {position}"))));
            if writer.shown.explain {
                page.line(4, &format!("in part/{}: by `{from}`", part.part_id));
            }
        }
        for instruction in &part.instructions {
            page.line(2, &format!("{number}, {}: {}", instruction.name, instruction.text));
        }
    }
}

/// A bank of switches as a row, and which way is on with the print upright.
fn switches(bank: &v1::SwitchBankSetting) -> String {
    let switch = |it: &v1::SwitchSetting| {
        if it.on { good(&format!("{} ON", it.number)) } else { format!("{} off", it.number) }
    };
    let row: Vec<String> = bank.switches.iter().map(switch).collect();
    format!("{} (on is {}, with the print upright)", row.join(" | "), bank.on_is.to_lowercase())
}

fn steps(page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.steps.is_empty() {
        return;
    }
    place.heading(page, "Steps");
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
