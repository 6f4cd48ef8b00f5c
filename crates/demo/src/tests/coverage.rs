//! Most cars can be fitted with some radio; the ones that can not are holes on purpose.

use dashwright_model::record::Radio;
use dashwright_model::record::audio::{AmplifierFeed, AntennaRole};
use dashwright_model::record::radio::SocketKind;
use dashwright_model::record::vehicle::SystemVoltage;
use dashwright_model::{Carrier, Feature, Need};

use super::{Car, Catalogue, meets};

/// Cars that no radio goes into, with the needs that no part meets whatever the radio is.
const HOLES: &[(&str, &str, &[Need])] = &[
    (
        "orvane-tamsel-2024",
        "S",
        &[
            Need::Mount,
            Need::Power,
            Need::Ground,
            Need::Switched,
            Need::Speakers,
            Need::Antenna,
            Need::Amplifier,
            Need::Chime,
            Need::EmergencyCall,
        ],
    ),
    ("tessamer-calbrook-2017", "D10", &[Need::Speakers, Need::Amplifier]),
    ("tessamer-calbrook-2021", "D10", &[Need::Speakers, Need::Amplifier]),
    (
        "brennholt-falkrand-2016",
        "D10",
        &[Need::Power, Need::Ground, Need::Switched, Need::Speakers, Need::Amplifier, Need::EmergencyCall],
    ),
    (
        "brennholt-grauwald-2012",
        "D10",
        &[Need::Power, Need::Ground, Need::Switched, Need::Speakers, Need::Amplifier, Need::EmergencyCall],
    ),
    (
        "ostrevik-skarnholm-2017",
        "A10",
        &[
            Need::Mount,
            Need::Power,
            Need::Ground,
            Need::Switched,
            Need::Speakers,
            Need::Antenna,
            Need::Amplifier,
            Need::Chime,
            Need::HazardSwitch,
        ],
    ),
    ("zuvanto-lumbria-2016", "S", &[Need::Antenna]),
];

#[test]
fn every_other_car_has_parts_for_all_that_it_must_have() {
    let all = Catalogue::load();
    let mut holes = Vec::new();
    for car in all.cars() {
        let coverable = all
            .radios
            .iter()
            .filter(|radio| same_supply(radio, car))
            .any(|radio| musts(car).iter().all(|need| served(&all, *need, car, radio)));
        if !coverable {
            holes.push((car.line.id.to_string(), car.option.code.to_string()));
        }
    }
    let expected: Vec<_> =
        HOLES.iter().map(|(line, code, _)| ((*line).to_owned(), (*code).to_owned())).collect();
    holes.sort();
    let mut sorted = expected.clone();
    sorted.sort();
    assert_eq!(holes, sorted);
}

#[test]
fn every_hole_lacks_what_it_is_said_to_lack() {
    let all = Catalogue::load();
    for (line, code, lacking) in HOLES {
        let car = all.car(line, code);
        let unserved = |need: &Need| !all.radios.iter().any(|radio| served(&all, *need, car, radio));
        let found: Vec<Need> = musts(car).into_iter().filter(unserved).collect();
        assert_eq!(found, *lacking, "{line} {code}");
    }
}

/// Both a single-height and a double-height radio go into more than half of the cars.
#[test]
fn single_and_double_height_radios_have_many_cars() {
    let all = Catalogue::load();
    for radio in ["sonquill-larch-1s", "sonquill-rowan-2s"].map(|id| all.radio(id)) {
        let cars =
            all.cars().filter(|car| musts(*car).iter().all(|need| served(&all, *need, *car, radio))).count();
        assert!(2 * cars > all.cars().count(), "{} goes into {cars}", radio.id);
    }
}

/// What must be served, as 3-planning.md says, and what protects people where the car has it.
fn musts(car: Car<'_>) -> Vec<Need> {
    let mut needs =
        vec![Need::Mount, Need::Power, Need::Ground, Need::Switched, Need::Speakers, Need::Antenna];
    let carried = |feature: Feature| car.audio.features.get(&feature).copied();
    let in_panel =
        |feature| car.dash.surroundings.iter().any(|s| s.on_replaced_panel && s.feature == Some(feature));
    let rules = [
        (car.audio.amplifier.feed != AmplifierFeed::None, Need::Amplifier),
        (carried(Feature::WarningChimes) == Some(Carrier::FactoryRadio), Need::Chime),
        (
            carried(Feature::EmergencyCall).is_some_and(|carrier| carrier != Carrier::NotPresent),
            Need::EmergencyCall,
        ),
        (in_panel(Feature::HazardSwitch), Need::HazardSwitch),
        (in_panel(Feature::AirbagLamp), Need::AirbagLamp),
    ];
    needs.extend(rules.iter().filter(|(holds, _)| *holds).map(|(_, need)| *need));
    needs
}

fn served(all: &Catalogue, need: Need, car: Car<'_>, radio: &Radio) -> bool {
    (need == Need::Antenna && antenna_plugs_in(car, radio))
        || all.parts.iter().any(|part| meets(part, need, car, Some(radio)))
}

fn antenna_plugs_in(car: Car<'_>, radio: &Radio) -> bool {
    let socket = radio.sockets.iter().find(|socket| socket.kind == SocketKind::Antenna);
    car.audio.antennas.iter().any(|antenna| {
        antenna.role == AntennaRole::Main
            && !antenna.tuner_outside
            && socket.is_some_and(|socket| socket.family.as_ref() == Some(&antenna.family))
    })
}

fn same_supply(radio: &Radio, car: Car<'_>) -> bool {
    let volts = if car.line.system_voltage == Some(SystemVoltage::V24) { 24.0 } else { 12.0 };
    radio.electrics.supply.is_none_or(|supply| (supply.get() - volts).abs() < 0.5)
}
