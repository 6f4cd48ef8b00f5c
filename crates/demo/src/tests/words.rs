//! Every word of the closed vocabularies that a rule may meet is used somewhere.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::record::audio::{
    AmplifierFeed, AntennaFeed, AntennaRole, CameraSignal, DriverTopology, GatewayRole, Presence,
    SettingPlace, SpeakerPosition, SpeakerReturn, SteeringReturn, SubwooferFeed, TurnOn,
};
use dashwright_model::record::dash::{Drive, Holding, OpeningClass, SurroundingKind};
use dashwright_model::record::part::{CoverSense, Occupancy, PartKind, Preference};
use dashwright_model::record::radio::{ChassisClass, Direction, RadioAsk, SocketKind, SteeringInputKind};
use dashwright_model::record::setting::{OnDirection, SwitchPosition};
use dashwright_model::record::vehicle::{DriveSide, SystemVoltage, WeightClass};
use dashwright_model::{Carrier, Feature, Grade, Need, Polarity, SignalKind};
use serde_json::Value;

use crate::lines;

#[test]
fn every_word_is_used_where_it_belongs() {
    let used = used_words();
    let table: &[(&str, &[&str])] = &[
        ("vocabulary.of", &["MAKE", "MODEL", "BRAND", "PLUG_FAMILY", "SIGNAL", "PHRASE"]),
        ("dash.opening.class", OpeningClass::NAMES),
        ("dash.held_by", Holding::NAMES),
        ("dash.removal.fasteners.drive", Drive::NAMES),
        ("dash.surroundings.kind", SurroundingKind::NAMES),
        ("dash.surroundings.clearance", &["NEVER_COVER", "KEEP_REACHABLE", "MAY_SHADE"]),
        ("factory_audio.amplifier.feed", AmplifierFeed::NAMES),
        ("factory_audio.amplifier.turn_on", TurnOn::NAMES),
        ("factory_audio.amplifier.gain", SettingPlace::NAMES),
        ("factory_audio.amplifier.subwoofer", SubwooferFeed::NAMES),
        ("factory_audio.circuits.presence", Presence::NAMES),
        ("factory_audio.circuits.polarity", Polarity::NAMES),
        ("factory_audio.speakers.position", SpeakerPosition::NAMES),
        ("factory_audio.speakers.topology", DriverTopology::NAMES),
        ("factory_audio.speakers.return", SpeakerReturn::NAMES),
        ("factory_audio.antennas.role", AntennaRole::NAMES),
        ("factory_audio.antennas.feed", AntennaFeed::NAMES),
        ("factory_audio.steering.return", SteeringReturn::NAMES),
        ("factory_audio.camera.signal", CameraSignal::NAMES),
        ("factory_audio.gateway_for", GatewayRole::NAMES),
        ("factory_audio.features", Feature::NAMES),
        ("factory_audio.features.*", Carrier::NAMES),
        ("radio.chassis.class", ChassisClass::NAMES),
        ("radio.steering_input.kind", SteeringInputKind::NAMES),
        ("radio.sockets.kind", SocketKind::NAMES),
        ("radio.asks_for", RadioAsk::NAMES),
        ("radio.leads.direction", Direction::NAMES),
        ("part.kind", PartKind::NAMES),
        ("part.life", &["CURRENT", "SUPERSEDED_BY", "DISCONTINUED", "HARDWARE_REVISION"]),
        ("part.kit.takes", ChassisClass::NAMES),
        ("part.covers.says", CoverSense::NAMES),
        ("part.covers.scope", &["ANY", "ANY_OF"]),
        ("part.covers.scope.ANY_OF", &["vehicles", "dashes", "audios", "plug_families", "openings"]),
        ("part.covers.radio", &["chassis", "brands", "radios", "sockets"]),
        ("part.occupies.what", &["FACTORY_PLUG", "RADIO_SOCKET"]),
        ("part.occupies.mode", Occupancy::NAMES),
        ("part.leads.direction", Direction::NAMES),
        ("part.leads.preference", Preference::NAMES),
        ("part.leads.from", &["WAY", "MADE_BY_MODULE"]),
        ("part.contains", &["PIECE", "PART"]),
        ("part.variant", &["finish", "drive_side", "climate_controls"]),
        ("part.settings", &["SWITCH_BANK", "SELECTOR", "INSTRUCTION"]),
        ("part.settings.SWITCH_BANK.on_is", OnDirection::NAMES),
        ("part.settings.SWITCH_BANK.rules.when", &["RADIO", "VEHICLE", "BOTH"]),
        ("part.settings.SWITCH_BANK.rules.positions.*", SwitchPosition::NAMES),
        ("part.settings.INSTRUCTION.when", &["ALWAYS", "VEHICLE"]),
        ("vehicle.trims", &["ALL", "THESE", "ALL_OTHERS"]),
        ("vehicle.drive_side", DriveSide::NAMES),
        ("vehicle.system_voltage", SystemVoltage::NAMES),
        ("vehicle.weight_class", WeightClass::NAMES),
        ("vehicle.evidence.grade", Grade::NAMES),
        ("part.evidence.grade", Grade::NAMES),
    ];
    let mut missing = Vec::new();
    for (path, words) in table {
        let found = used.get(*path).cloned().unwrap_or_default();
        missing.extend(
            words.iter().filter(|word| !found.contains(**word)).map(|word| format!("{path}: {word}")),
        );
    }
    assert_eq!(missing, Vec::<String>::new());
}

/// Radio frequency travels in antenna plugs, which are no circuits of the plugs.
#[test]
fn every_kind_of_signal_is_recorded_of_some_circuit() {
    let used = used_words();
    let found = &used["factory_audio.circuits.signal"];
    let missing: Vec<_> = SignalKind::NAMES.iter().filter(|name| !found.contains(**name)).collect();
    assert_eq!(missing, [SignalKind::RadioFrequency.name()].iter().collect::<Vec<_>>());
}

/// What no part of the catalogue keeps is a hole on purpose.
#[test]
fn every_need_is_met_by_some_part_but_one() {
    let used = used_words();
    let missing: Vec<_> =
        Need::NAMES.iter().filter(|name| !used["part.covers.need"].contains(**name)).collect();
    assert_eq!(missing, [Need::RearSeat.name()].iter().collect::<Vec<_>>());
}

/// Every string and every key, by the names of the fields that lead there; below a map of words the key is `*`.
fn used_words() -> BTreeMap<String, BTreeSet<String>> {
    let mut used = BTreeMap::new();
    for (_, _, text) in lines() {
        walk("", &serde_json::from_str(text).unwrap(), &mut used);
    }
    used
}

fn walk(path: &str, value: &Value, used: &mut BTreeMap<String, BTreeSet<String>>) {
    match value {
        Value::String(word) => {
            used.entry(path.to_owned()).or_default().insert(word.clone());
        }
        Value::Array(items) => items.iter().for_each(|item| walk(path, item, used)),
        Value::Object(fields) => {
            for (name, inner) in fields {
                used.entry(path.to_owned()).or_default().insert(name.clone());
                let is_map = path == "factory_audio.features" || path.ends_with(".positions");
                let step = if is_map { "*" } else { name };
                walk(format!("{path}.{step}").trim_start_matches('.'), inner, used);
            }
        }
        _ => {}
    }
}
