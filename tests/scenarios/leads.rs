//! Leads and settings as lines that a scenario can name.

use dashwright_planner::{
    ColourTrap, Fetch, Join, LeadEnd, Loose, Mismatch, Owner, PlugWay, SettingAnswer, SettingState,
};

/// `FUNCTION: ends; same or different[; splice][; meter first]`, the radio's end first, then the parts by id, then the car.
pub(super) fn join(join: &Join) -> String {
    let mut ends: Vec<&LeadEnd> = join.ends.iter().collect();
    ends.sort_by_key(|end| &end.owner);
    let ends: Vec<String> = ends
        .into_iter()
        .map(|end| {
            let prints =
                if end.printed == join.function { String::new() } else { format!(" prints {}", end.printed) };
            format!("{}{prints}", lead(end))
        })
        .collect();
    let colour = if join.same_colour { "same" } else { "different" };
    let splice = if join.ends.len() > 2 { "; splice" } else { "" };
    let meter = if join.meter_first.is_some() { "; meter first" } else { "" };
    format!("{}: {}; {colour}{splice}{meter}", join.function, ends.join(" + "))
}

/// `owner PRINTED COLOUR`.
pub(super) fn loose(loose: &Loose) -> String {
    let LeadEnd { owner, printed, .. } = &loose.lead;
    format!("{} {printed}{}", owner_of(owner), colour(&loose.lead))
}

/// `FUNCTION: owner COLOUR at where`.
pub(super) fn fetched(fetch: &Fetch) -> String {
    let where_at = match (&fetch.found_at, &fetch.way) {
        (Some(found_at), _) => found_at.to_string(),
        (None, Some(way)) => at(way),
        (None, None) => "nowhere".to_owned(),
    };
    format!("{}: {}{} at {where_at}", fetch.function, owner_of(&fetch.lead.owner), colour(&fetch.lead))
}

/// `part COLOUR prints FUNCTION, carries FUNCTION` or `radio COLOUR FUNCTION | part COLOUR FUNCTION`.
pub(super) fn trap(trap: &ColourTrap) -> String {
    let name = |end: &LeadEnd| format!("{}{}", owner_of(&end.owner), colour(end));
    match trap {
        ColourTrap::Print { lead, really } => {
            format!("{} prints {}, carries {really}", name(lead), lead.printed)
        }
        ColourTrap::SameColour { radio, adapter, really } => {
            format!("{} {} | {} {really}", name(radio), radio.printed, name(adapter))
        }
    }
}

/// `FUNCTION WHAT`: what does not agree.
pub(super) fn refused(mismatch: &Mismatch) -> String {
    match mismatch {
        Mismatch::Voltage { function, .. } => format!("{function} VOLTAGE"),
        Mismatch::Polarity { function, .. } => format!("{function} POLARITY"),
        Mismatch::Signal { function, .. } => format!("{function} SIGNAL"),
        other => super::term(other).split([' ', '{', '(']).next().unwrap_or_default().to_owned(),
    }
}

/// `part bank: 1 on, 2 off; on is UP`, `part selector: 4` or `part instruction`.
pub(super) fn settings(part: &str, settings: &[SettingAnswer]) -> Vec<String> {
    settings.iter().map(|setting| format!("{part} {}", state(&setting.state))).collect()
}

fn state(state: &SettingState) -> String {
    match state {
        SettingState::SwitchBank { name, on_is, switches } => {
            let each = switches
                .iter()
                .map(|(switch, position, _)| format!("{switch} {}", super::term(position).to_lowercase()));
            let each: Vec<String> = each.collect();
            format!("{name}: {}; on is {}", each.join(", "), super::term(on_is))
        }
        SettingState::Selector { name, position, rule: _ } => format!("{name}: {position}"),
        SettingState::Instruction { name, text: _ } => name.to_string(),
    }
}

fn lead(end: &LeadEnd) -> String {
    let way = end.way.as_ref().map(|way| format!(" {}", at(way))).unwrap_or_default();
    format!("{}{}{way}", owner_of(&end.owner), colour(end))
}

fn owner_of(owner: &Owner) -> String {
    match owner {
        Owner::Radio => "radio".to_owned(),
        Owner::Socket(kind) => format!("radio socket {kind}"),
        Owner::Part(id) => id.to_string(),
        Owner::ModuleInput(part) => format!("input of {part}"),
        Owner::Car => "car".to_owned(),
    }
}

fn colour(end: &LeadEnd) -> String {
    end.colour.as_ref().map(|colour| format!(" {colour}")).unwrap_or_default()
}

fn at(way: &PlugWay) -> String {
    format!("@{}/{}", way.family, way.way)
}
