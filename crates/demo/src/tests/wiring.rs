//! What parts say that they meet is carried by the leads that they have, in every car that they say it of.

use dashwright_model::record::FactoryAudio;
use dashwright_model::record::audio::{AntennaFeed, AntennaRole, Presence};
use dashwright_model::record::part::{Contained, LeadOrigin, Part, PartKind};
use dashwright_model::{Function, Need};

use super::{Car, Catalogue, meets};

/// The functions that serve a need by wire.
const BY_WIRE: &[(Need, &[Function])] = &[
    (Need::Power, &[Function::Battery]),
    (Need::Ground, &[Function::Ground]),
    (Need::Switched, &[Function::Switched]),
    (Need::Illumination, &[Function::Illumination]),
    (Need::Reverse, &[Function::Reverse]),
    (Need::ParkingBrake, &[Function::ParkingBrake]),
    (Need::SpeedPulse, &[Function::SpeedPulse]),
    (Need::Microphone, &[Function::MicrophonePlus, Function::MicrophoneMinus]),
    (Need::Aux, &[Function::AuxLeft, Function::AuxRight, Function::AuxGround]),
    (Need::Steering, &[Function::Steering1]),
    (Need::AntennaPower, &[Function::PowerAntenna]),
];

#[test]
fn a_harness_has_a_lead_from_the_way_that_this_car_uses() {
    let all = Catalogue::load();
    let (mut checked, mut faults) = (0, Vec::new());
    for (part, car) in pairs(&all, PartKind::HarnessAdapter) {
        for (need, functions) in BY_WIRE.iter().filter(|(need, _)| meets(part, *need, car, None)) {
            checked += 1;
            let reached = |function: &&Function| {
                ways(car.audio, **function).any(|(family, way)| reaches(part, family, way))
            };
            let missing = functions.iter().filter(|function| !reached(function));
            faults.extend(
                missing.map(|function| {
                    format!("{} {need} in {}: no lead from {function}", part.id, car.audio.id)
                }),
            );
        }
    }
    faults.dedup();
    assert_eq!(faults, Vec::<String>::new());
    assert!(checked > 200, "{checked}");
}

/// Every speaker or line way of the car is picked up, whatever number of speakers it has.
#[test]
fn a_harness_for_speakers_reaches_all_of_them() {
    let all = Catalogue::load();
    let (mut checked, mut faults) = (0, Vec::new());
    for (part, car) in
        pairs(&all, PartKind::HarnessAdapter).filter(|(part, car)| meets(part, Need::Speakers, *car, None))
    {
        for plug in &car.audio.plugs {
            for way in plug.ways.iter().filter(|way| is_sound(way.function)) {
                checked += 1;
                if !reaches(part, plug.family.as_str(), way.way.as_str()) {
                    faults.push(format!("{} in {}: {} of {}", part.id, car.audio.id, way.way, plug.family));
                }
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new());
    assert!(checked > 200, "{checked}");
}

#[test]
fn a_module_makes_the_leads_that_it_is_bought_for() {
    let all = Catalogue::load();
    let (mut checked, mut faults) = (0, Vec::new());
    for (part, car) in pairs(&all, PartKind::DataModule) {
        let needs = [Need::Switched, Need::Illumination, Need::Reverse, Need::ParkingBrake, Need::SpeedPulse];
        for (need, functions) in
            BY_WIRE.iter().filter(|(need, _)| needs.contains(need) && meets(part, *need, car, None))
        {
            checked += 1;
            let made = part
                .leads
                .iter()
                .any(|lead| functions.contains(&lead.function) && lead.from == LeadOrigin::MadeByModule);
            if !made {
                faults.push(format!("{} {need}", part.id));
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new());
    assert!(checked > 50, "{checked}");
}

/// 12 V goes into an antenna where its feed is recorded, and by the way that is recorded.
#[test]
fn antennas_are_fed_as_recorded() {
    let all = Catalogue::load();
    let main = |audio: &FactoryAudio| {
        audio
            .antennas
            .iter()
            .find(|antenna| antenna.role == AntennaRole::Main)
            .and_then(|antenna| antenna.feed)
    };
    for audio in &all.audios {
        let lead = audio
            .circuit(Function::PowerAntenna)
            .is_some_and(|circuit| circuit.presence == Presence::Discrete);
        assert_eq!(lead, main(audio) == Some(AntennaFeed::ByLead), "{}", audio.id);
    }
    let mut checked = 0;
    for car in all.cars() {
        for part in all.parts.iter().filter(|part| meets(part, Need::AntennaPower, car, None)) {
            let expected = match part.kind {
                PartKind::AntennaAdapter => AntennaFeed::ThroughCoax,
                PartKind::DashKit if has_in_the_box(part, "mw-12p") => AntennaFeed::ThroughCoax,
                _ => AntennaFeed::ByLead,
            };
            assert_eq!(main(car.audio), Some(expected), "{} in {}", part.id, car.audio.id);
            checked += 1;
        }
    }
    assert!(checked > 60, "{checked}");
}

fn has_in_the_box(part: &Part, id: &str) -> bool {
    part.contains.iter().any(|c| matches!(c, Contained::Part { part, .. } if part.as_str() == id))
}

fn pairs(all: &Catalogue, kind: PartKind) -> impl Iterator<Item = (&Part, Car<'_>)> {
    all.parts
        .iter()
        .filter(move |part| part.kind == kind)
        .flat_map(|part| all.cars().map(move |car| (part, car)))
}

fn ways(audio: &FactoryAudio, function: Function) -> impl Iterator<Item = (&str, &str)> {
    audio.plugs.iter().flat_map(move |plug| {
        let ways = plug.ways.iter().filter(move |way| way.function == function);
        ways.map(|way| (plug.family.as_str(), way.way.as_str()))
    })
}

fn reaches(part: &Part, family: &str, way: &str) -> bool {
    part.leads.iter().any(|lead| {
        matches!(&lead.from, LeadOrigin::Way { family: f, way: w } if f.as_str() == family && w.as_str() == way)
    })
}

fn is_sound(function: Function) -> bool {
    function.name().starts_with("SPEAKER_") || function.name().starts_with("LINE_")
}
