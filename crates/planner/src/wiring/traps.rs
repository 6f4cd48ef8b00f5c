//! Traps: prints that this car makes untrue, and colours that a person would join and must not.

use super::ends::End;
use super::{Bench, ColourTrap, Fetch, Join, LeadEnd, Owner, PlugWay, Wiring};

/// The traps among the leads on the bench, each once.
pub(super) fn traps(bench: &Bench<'_>, radio: &[End], adapters: &[End], wiring: &Wiring) -> Vec<ColourTrap> {
    let joins = &wiring.joins;
    let misprinted = adapters.iter().filter(|end| !end.dead && end.lead.printed != end.function);
    let mut traps: Vec<ColourTrap> =
        misprinted.map(|end| ColourTrap::Print { lead: end.lead.clone(), really: end.function }).collect();
    for own in radio {
        let alike = adapters.iter().filter(|end| !end.dead && same_colour(&own.lead, &end.lead));
        let wrong = alike.filter(|end| end.function != own.function && !joined(joins, &own.lead, &end.lead));
        traps.extend(wrong.map(|end| ColourTrap::SameColour {
            radio: own.lead.clone(),
            adapter: end.lead.clone(),
            really: end.function,
        }));
    }
    traps.extend(wiring.fetched.iter().flat_map(|fetch| beside(bench, fetch)));
    traps
}

/// The wires beside the one that is tapped at the factory plug, where their colour would mislead.
fn beside(bench: &Bench<'_>, fetch: &Fetch) -> Vec<ColourTrap> {
    let Some(tapped) = &fetch.way else { return Vec::new() };
    let plugs = bench.audio.plugs.iter().filter(|plug| plug.family == tapped.family);
    let others = plugs.flat_map(|plug| plug.ways.iter().map(move |way| (plug, way)));
    let alike = others.filter(|(_, way)| {
        way.colour.is_some() && way.colour == fetch.lead.colour && way.function != fetch.function
    });
    let trap = alike.map(|(plug, way)| {
        let at = PlugWay { family: plug.family.clone(), way: way.way.clone() };
        ColourTrap::SameColour {
            radio: fetch.lead.clone(),
            adapter: bench.car_end(way.function, Some(at)).lead,
            really: way.function,
        }
    });
    trap.collect()
}

fn same_colour(one: &LeadEnd, other: &LeadEnd) -> bool {
    one.colour.is_some() && one.colour == other.colour && matches!(other.owner, Owner::Part(_))
}

fn joined(joins: &[Join], one: &LeadEnd, other: &LeadEnd) -> bool {
    joins.iter().any(|join| join.ends.contains(one) && join.ends.contains(other))
}
