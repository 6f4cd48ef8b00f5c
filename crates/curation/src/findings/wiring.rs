//! Plugs that nothing mates, radios without sockets, and leads that would join like to like.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::Function;
use dashwright_model::record::RecordKind;
use dashwright_model::record::part::{PartLead, Resource};
use dashwright_model::record::radio::Direction;
use dashwright_quantity::TermId;
use dashwright_snapshot::Snapshot;

use super::{Finding, FindingKind, add};

/// Factory plugs, behind a dash of some vehicle line, that no part to be had occupies.
pub(super) fn find_unmated(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let parts = snapshot.parts().iter().filter(|(_, part)| part.can_be_had());
    let occupied = parts.flat_map(|(_, part)| &part.occupies).filter_map(|occupied| match &occupied.what {
        Resource::FactoryPlug(family) => Some(family),
        Resource::RadioSocket(_) => None,
    });
    let mated: BTreeSet<&TermId> = occupied.collect();
    let used: BTreeSet<_> = snapshot.cases().iter().map(|case| case.audio).collect();
    for audio in used.into_iter().filter_map(|index| snapshot.audios().get(index)) {
        for (place, plug) in audio.plugs.iter().enumerate().filter(|(_, plug)| !mated.contains(&plug.family))
        {
            let family =
                dashwright_model::record::RecordKey { kind: RecordKind::Vocabulary, id: plug.family.clone() };
            let words = format!("has a plug of the family `{}`, which no part mates", plug.family);
            let record = (RecordKind::FactoryAudio, &audio.id.as_term());
            add(
                found,
                record,
                format!("plugs.{place}.family"),
                FindingKind::UnmatedPlug,
                Some(family),
                &words,
            );
        }
    }
}

/// Radios whose record names no socket. What a record does not list a radio has not got, and every radio takes an antenna: an
/// empty list is one that nobody filled in.
pub(super) fn find_bare_radios(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    for (_, radio) in snapshot.radios().iter().filter(|(_, radio)| radio.sockets.is_empty()) {
        let words = "names no socket, not even that of the antenna: plans would take it to have none";
        add(found, (RecordKind::Radio, &radio.id.as_term()), "sockets", FindingKind::NoSockets, None, words);
    }
}

/// Leads of parts that give what the leads of all radios give. Two that take are no fault: one circuit feeds both.
pub(super) fn find_givers(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let mut radios_give: BTreeMap<Function, bool> = BTreeMap::new();
    for lead in snapshot.radios().iter().flat_map(|(_, radio)| &radio.leads) {
        let all = radios_give.entry(lead.function).or_insert(true);
        *all &= lead.direction == Direction::Source;
    }
    for (_, part) in snapshot.parts().iter() {
        for (place, PartLead { function, direction, .. }) in part.leads.iter().enumerate() {
            let gives = *direction == Direction::Source;
            if gives && radios_give.get(function).copied().unwrap_or_default() {
                let words = format!("has a lead `{function}` that gives, as that of every radio does");
                let path = format!("leads.{place}.direction");
                let record = (RecordKind::Part, &part.id.as_term());
                add(found, record, path, FindingKind::GiverToGiver, None, &words);
            }
        }
    }
}
