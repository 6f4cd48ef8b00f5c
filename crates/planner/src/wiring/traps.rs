//! Traps: prints that this car makes untrue, and colours that a person would join and must not.

use super::ends::End;
use super::{ColourTrap, Join, LeadEnd, Owner};

/// The traps among the leads on the bench, each once.
pub(super) fn traps(radio: &[End], adapters: &[End], joins: &[Join]) -> Vec<ColourTrap> {
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
    traps
}

fn same_colour(one: &LeadEnd, other: &LeadEnd) -> bool {
    one.colour.is_some() && one.colour == other.colour && matches!(other.owner, Owner::Part(_))
}

fn joined(joins: &[Join], one: &LeadEnd, other: &LeadEnd) -> bool {
    joins.iter().any(|join| join.ends.contains(one) && join.ends.contains(other))
}
