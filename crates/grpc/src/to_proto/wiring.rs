//! Joins, loose leads, traps and settings. Every match is exhaustive.

use dashwright_api::v1;
use dashwright_model::record::setting::SwitchPosition;
use dashwright_planner::{
    ColourTrap, Fetch, Join, LeadEnd, Load, Loose, Mismatch, Owner, PartSettings, RuleNumber, SettingState,
    Sides, Socketed,
};
use dashwright_quantity::Amperes;
use dashwright_sheet::words;
use dashwright_snapshot::Snapshot;

use super::record::record_key;
use super::terms;

/// Leads that are joined.
pub(crate) fn join(join: &Join) -> v1::Join {
    let Join { function, ends, same_colour, meter_first, load: weighed } = join;
    let (load, carries, needs) = load(*weighed);
    v1::Join {
        function: terms::function(*function).into(),
        ends: ends.iter().map(end).collect(),
        same_colour: *same_colour,
        meter_first: meter_first.as_ref().map(|weak| record_key(&weak.record)),
        load: load.into(),
        carries_amps: carries.map(Amperes::get),
        needs_amps: needs.map(Amperes::get),
        shared_splice: ends.len() > 2,
    }
}

const fn load(load: Load) -> (v1::JoinLoad, Option<Amperes>, Option<Amperes>) {
    match load {
        Load::NotWeighed => (v1::JoinLoad::Unspecified, None, None),
        Load::Fits { carries, needs } => (v1::JoinLoad::Fits, Some(carries), Some(needs)),
        Load::TooThin { carries, needs } => (v1::JoinLoad::TooThin, Some(carries), Some(needs)),
        Load::Unknown => (v1::JoinLoad::Unknown, None, None),
    }
}

fn end(end: &LeadEnd) -> v1::LeadEnd {
    let LeadEnd { owner, printed, colour, gauge, current_limit, way } = end;
    let (kind, part_id, socket) = match owner {
        Owner::Radio => (v1::LeadOwner::Radio, String::new(), None),
        Owner::Socket(socket) => (v1::LeadOwner::RadioSocket, String::new(), Some(*socket)),
        Owner::Part(part) => (v1::LeadOwner::Part, part.to_string(), None),
        Owner::ModuleInput(part) => (v1::LeadOwner::ModuleInput, part.to_string(), None),
        Owner::Car => (v1::LeadOwner::Car, String::new(), None),
    };
    v1::LeadEnd {
        owner: kind.into(),
        part_id,
        printed: terms::function(*printed).into(),
        colour: colour.map(|colour| colour.to_string()).unwrap_or_default(),
        gauge: gauge.map(|gauge| gauge.to_string()).unwrap_or_default(),
        current_limit_amps: current_limit.map(Amperes::get),
        plug_family: way.as_ref().map(|way| way.family.to_string()).unwrap_or_default(),
        way: way.as_ref().map(|way| way.way.to_string()).unwrap_or_default(),
        socket: socket.map(terms::socket_kind).unwrap_or_default().into(),
    }
}

/// A lead without a partner.
pub(crate) fn loose(loose: &Loose) -> v1::LooseLead {
    let Loose { lead, function, why } = loose;
    v1::LooseLead {
        lead: Some(end(lead)),
        function: terms::function(*function).into(),
        reason: words::loose_reason(*why).to_owned(),
    }
}

/// A lead whose circuit is fetched elsewhere.
pub(crate) fn fetched(fetch: &Fetch) -> v1::FetchedLead {
    let Fetch { lead, function, found_at, way } = fetch;
    v1::FetchedLead {
        lead: Some(end(lead)),
        function: terms::function(*function).into(),
        found_at: found_at.as_ref().map(ToString::to_string).unwrap_or_default(),
        plug_family: way.as_ref().map(|way| way.family.to_string()).unwrap_or_default(),
        way: way.as_ref().map(|way| way.way.to_string()).unwrap_or_default(),
    }
}

/// A part in a plug or a socket.
pub(crate) fn plugged(socketed: &Socketed) -> v1::PluggedPart {
    let Socketed { part, plug, socket, passes_through } = socketed;
    v1::PluggedPart {
        part_id: part.to_string(),
        plug_family: plug.as_ref().map(ToString::to_string).unwrap_or_default(),
        socket: socket.map(terms::socket_kind).unwrap_or_default().into(),
        passes_through: *passes_through,
    }
}

/// A colour or a print that would mislead.
pub(crate) fn trap(trap: &ColourTrap) -> v1::ColourTrap {
    let leads = match trap {
        ColourTrap::Print { lead, really: _ } => vec![end(lead)],
        ColourTrap::SameColour { radio, adapter, really: _ } => vec![end(radio), end(adapter)],
    };
    v1::ColourTrap { text: words::trap(trap), leads }
}

/// The records that a mismatch rests on.
pub(crate) fn mismatch_records(mismatch: &Mismatch) -> Vec<v1::RecordKey> {
    let both = |sides: &Sides| vec![record_key(&sides.source), record_key(&sides.sink)];
    match mismatch {
        Mismatch::Voltage { function: _, source: _, sink: _, sides }
        | Mismatch::Polarity { function: _, source: _, sink: _, sides }
        | Mismatch::Signal { function: _, source: _, sink: _, sides }
        | Mismatch::CommonGroundOnBridged { sides }
        | Mismatch::SpeakerLoad { position: _, load: _, least: _, sides }
        | Mismatch::ButtonsTooClose { wire: _, apart: _, threshold: _, sides }
        | Mismatch::SteeringKind { sides }
        | Mismatch::CameraSignal { sides } => both(sides),
        Mismatch::AntennaFeed { record }
        | Mismatch::CameraSupply { needs: _, record }
        | Mismatch::NoRadioLead { function: _, record }
        | Mismatch::FactMissing { record, field: _ } => vec![record_key(record)],
    }
}

/// The settings of a part.
pub(crate) fn settings(snapshot: &Snapshot, own: &PartSettings) -> Option<v1::PartSettings> {
    let PartSettings { part, settings } = own;
    let mut told =
        v1::PartSettings { part_id: snapshot.parts().get(*part)?.id.to_string(), ..Default::default() };
    for setting in settings {
        let from = |rule: RuleNumber| match rule {
            Some(rule) => format!("settings.{}.rules.{rule}", setting.number),
            None => format!("settings.{}.default", setting.number),
        };
        match &setting.state {
            SettingState::SwitchBank { name, on_is, switches } => {
                let switches = switches.iter().map(|(number, position, rule)| v1::SwitchSetting {
                    number: (*number).into(),
                    on: *position == SwitchPosition::On,
                    from: from(*rule),
                });
                let (name, on_is) = (name.to_string(), on_is.to_string());
                let bank = v1::SwitchBankSetting { name, on_is, switches: switches.collect() };
                told.switch_banks.push(bank);
            }
            SettingState::Selector { name, position, rule } => told.selectors.push(v1::SelectorSetting {
                name: name.to_string(),
                position: (*position).into(),
                from: from(*rule),
            }),
            SettingState::Instruction { name, text } => told
                .instructions
                .push(v1::InstructionSetting { name: name.to_string(), text: text.to_string() }),
        }
    }
    Some(told)
}
