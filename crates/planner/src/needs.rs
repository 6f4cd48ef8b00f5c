//! Needs: one small function a rule, in one table that a reader can go through top to bottom.
//!
//! A rule looks at one case and says whether its need arises, how much it matters, why, and whether it can be met
//! without a part. Mounts have a file of their own.

use dashwright_model::record::RecordKind;
use dashwright_model::record::audio::{AmplifierFeed, AntennaFeed, AntennaRole, Presence};
use dashwright_model::{Carrier, Feature, Function, Need};

use crate::answer::{Importance, Met, NeedFitment};
use crate::fitment::CaseView;
use crate::reason::Reason;

/// A rule: what it looks at, and what it says.
type Rule = fn(&CaseView<'_>) -> Option<Arisen>;

/// The rules, in the order in which needs are told.
const RULES: &[Rule] = &[
    power,
    ground,
    switched,
    speakers,
    antenna,
    hazard_switch,
    airbag_lamp,
    emergency_call,
    chime,
    antenna_sub,
    antenna_power,
    digital_radio,
    amplifier,
    subwoofer,
    illumination,
    steering,
    voice_button,
    camera,
    parking_sensors,
    usb,
    aux,
    satellite,
    microphone,
    rear_seat,
    vehicle_settings,
    climate_picture,
    driver_display,
    clock,
    retained_power,
    reverse,
    parking_brake,
    speed_pulse,
];

/// What a rule says.
pub(crate) struct Arisen {
    pub(crate) need: Need,
    pub(crate) importance: Importance,
    /// Why it arises.
    pub(crate) why: Vec<Reason>,
    /// How it is met when no part is named: without a part, not at all, or nobody knows.
    pub(crate) otherwise: Met,
}

/// Every need that arises in a case, mounts apart.
pub(crate) fn arisen(view: &CaseView<'_>) -> impl Iterator<Item = Arisen> {
    RULES.iter().filter_map(|rule| rule(view))
}

/// Every need of a case with the parts that meet it, mounts apart.
pub(crate) fn needs(view: &CaseView<'_>) -> Vec<NeedFitment> {
    arisen(view).map(|arisen| weigh(view, arisen)).collect()
}

/// Adds the parts that meet a need, and says so when there are none.
fn weigh(view: &CaseView<'_>, arisen: Arisen) -> NeedFitment {
    let Arisen { need, importance, why, otherwise } = arisen;
    let parts: Vec<_> = view.offers_for(need).map(|offer| view.part_offer(offer)).collect();
    let mut reasons = why;
    let met = if parts.is_empty() { otherwise } else { Met::ByPart };
    if met == Met::ByNothingKnown {
        reasons.push(Reason::NoPartMeets { need });
        reasons.extend(view.refusals(need));
    }
    NeedFitment { need, importance, met, parts, reasons }
}

fn must(need: Need, why: Vec<Reason>, otherwise: Met) -> Arisen {
    Arisen { need, importance: Importance::Must, why, otherwise }
}

// What every radio needs. A wire at the plug still needs an adapter: nobody cuts the factory plug off.

fn power(view: &CaseView<'_>) -> Option<Arisen> {
    Some(supply(view, Need::Power, Function::Battery))
}

fn ground(view: &CaseView<'_>) -> Option<Arisen> {
    Some(supply(view, Need::Ground, Function::Ground))
}

fn switched(view: &CaseView<'_>) -> Option<Arisen> {
    Some(supply(view, Need::Switched, Function::Switched))
}

fn supply(view: &CaseView<'_>, need: Need, function: Function) -> Arisen {
    let (reason, otherwise) = circuit(view, function);
    // At the plug a supply is reached through an adapter or not at all; fetched elsewhere it needs none.
    let otherwise =
        if otherwise == Met::Directly && at_plug(view, function) { Met::ByNothingKnown } else { otherwise };
    must(need, vec![Reason::AlwaysNeeded, reason], otherwise)
}

fn speakers(view: &CaseView<'_>) -> Option<Arisen> {
    let why = vec![Reason::AlwaysNeeded, amplifier_reason(view)];
    Some(must(Need::Speakers, why, Met::ByNothingKnown))
}

fn antenna(view: &CaseView<'_>) -> Option<Arisen> {
    let audio = view.audio.id.clone();
    let Some(main) = view.audio.antennas.iter().find(|antenna| antenna.role == AntennaRole::Main) else {
        let missing = view.missing(RecordKind::FactoryAudio, "antennas");
        return Some(must(Need::Antenna, vec![Reason::AlwaysNeeded, missing], Met::Unknown));
    };
    let mut why =
        vec![Reason::AlwaysNeeded, Reason::AntennaPresent { audio: audio.clone(), role: main.role }];
    if main.tuner_outside {
        why.push(Reason::TunerOutside { audio });
    }
    Some(must(Need::Antenna, why, Met::ByNothingKnown))
}

// What protects people: it must go on working whatever the customer wishes.

fn hazard_switch(view: &CaseView<'_>) -> Option<Arisen> {
    on_replaced_panel(view, Need::HazardSwitch, Feature::HazardSwitch)
}

fn airbag_lamp(view: &CaseView<'_>) -> Option<Arisen> {
    on_replaced_panel(view, Need::AirbagLamp, Feature::AirbagLamp)
}

fn emergency_call(view: &CaseView<'_>) -> Option<Arisen> {
    protecting(view, Need::EmergencyCall, Feature::EmergencyCall)
}

fn chime(view: &CaseView<'_>) -> Option<Arisen> {
    protecting(view, Need::Chime, Feature::WarningChimes)
}

/// Something in the panel has to be carried over only by a kit that replaces the panel.
fn on_replaced_panel(view: &CaseView<'_>, need: Need, feature: Feature) -> Option<Arisen> {
    let on_panel = view.on_replaced_panel(feature)?;
    Some(must(
        need,
        vec![on_panel],
        if view.mounts_without_kit() { Met::Directly } else { Met::ByNothingKnown },
    ))
}

fn protecting(view: &CaseView<'_>, need: Need, feature: Feature) -> Option<Arisen> {
    let carrier = view.carrier(feature)?;
    let audio = view.audio.id.clone();
    match carrier {
        Carrier::NotPresent => None,
        // What neither the factory radio nor its bus does goes on by itself.
        Carrier::DashPanel | Carrier::DiscreteCircuits => None,
        Carrier::FactoryRadio => {
            Some(must(need, vec![Reason::LeavesWithRadio { audio, feature }], Met::ByNothingKnown))
        }
        Carrier::DataBus | Carrier::DigitalVideo => {
            Some(must(need, vec![Reason::FeaturePresent { audio, feature, carrier }], Met::ByNothingKnown))
        }
    }
}

// What the customer would miss.

fn antenna_sub(view: &CaseView<'_>) -> Option<Arisen> {
    second_antenna(view, Need::AntennaSub, AntennaRole::DiversitySub)
}

fn digital_radio(view: &CaseView<'_>) -> Option<Arisen> {
    second_antenna(view, Need::DigitalRadio, AntennaRole::DigitalRadio)
}

fn second_antenna(view: &CaseView<'_>, need: Need, role: AntennaRole) -> Option<Arisen> {
    view.audio.antennas.iter().find(|antenna| antenna.role == role)?;
    let why = vec![Reason::AntennaPresent { audio: view.audio.id.clone(), role }];
    Some(Arisen { need, importance: Importance::Wished, why, otherwise: Met::ByNothingKnown })
}

/// 12 V goes into an antenna only where the car's feed is recorded.
fn antenna_power(view: &CaseView<'_>) -> Option<Arisen> {
    let main = view.audio.antennas.iter().find(|antenna| antenna.role == AntennaRole::Main)?;
    let audio = view.audio.id.clone();
    let arisen =
        |why, otherwise| Arisen { need: Need::AntennaPower, importance: Importance::Wished, why, otherwise };
    match main.feed {
        Some(AntennaFeed::None) => None,
        Some(feed @ AntennaFeed::ByLead) => {
            Some(arisen(vec![Reason::AntennaFed { audio, feed }], circuit(view, Function::PowerAntenna).1))
        }
        Some(feed @ AntennaFeed::ThroughCoax) => {
            Some(arisen(vec![Reason::AntennaFed { audio, feed }], Met::ByNothingKnown))
        }
        None => Some(arisen(vec![view.missing(RecordKind::FactoryAudio, "antennas.feed")], Met::Unknown)),
    }
}

fn amplifier(view: &CaseView<'_>) -> Option<Arisen> {
    if view.audio.amplifier.feed == AmplifierFeed::None {
        return None;
    }
    let why = vec![amplifier_reason(view)];
    Some(Arisen {
        need: Need::Amplifier,
        importance: Importance::Wished,
        why,
        otherwise: Met::ByNothingKnown,
    })
}

fn illumination(view: &CaseView<'_>) -> Option<Arisen> {
    let (reason, otherwise) = circuit(view, Function::Illumination);
    if matches!(reason, Reason::CircuitAbsent { .. }) {
        return None;
    }
    Some(Arisen { need: Need::Illumination, importance: Importance::Wished, why: vec![reason], otherwise })
}

fn subwoofer(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Subwoofer, Feature::Subwoofer)
}

fn steering(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Steering, Feature::SteeringButtons)
}

fn voice_button(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::VoiceButton, Feature::VoiceButton)
}

fn camera(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Camera, Feature::ReverseCamera)
}

fn parking_sensors(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::ParkingSensors, Feature::ParkingSensorPicture)
}

fn usb(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Usb, Feature::Usb)
}

fn aux(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Aux, Feature::Aux)
}

fn satellite(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Satellite, Feature::SatelliteRadio)
}

fn microphone(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Microphone, Feature::HandsFreeMicrophone)
}

fn rear_seat(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::RearSeat, Feature::RearSeatEntertainment)
}

fn vehicle_settings(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::VehicleSettings, Feature::VehicleSettingsMenu)
}

fn climate_picture(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::ClimatePicture, Feature::ClimatePicture)
}

fn driver_display(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::DriverDisplay, Feature::DriverDisplay)
}

fn clock(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::Clock, Feature::Clock)
}

fn retained_power(view: &CaseView<'_>) -> Option<Arisen> {
    feature(view, Need::RetainedPower, Feature::PowerUntilDoorOpens)
}

/// A feature that the factory installation has is wished for; one in the dash panel stays by itself.
fn feature(view: &CaseView<'_>, need: Need, feature: Feature) -> Option<Arisen> {
    let carrier = view.carrier(feature)?;
    if matches!(carrier, Carrier::NotPresent | Carrier::DashPanel) {
        return None;
    }
    let mut why = vec![Reason::FeaturePresent { audio: view.audio.id.clone(), feature, carrier }];
    let otherwise = match crate::features::direct_ability(view, feature, carrier) {
        Some(ability) => {
            why.push(Reason::RadioMustHave { ability });
            Met::Directly
        }
        None => Met::ByNothingKnown,
    };
    Some(Arisen { need, importance: Importance::Wished, why, otherwise })
}

// What some radios ask for.

fn reverse(view: &CaseView<'_>) -> Option<Arisen> {
    Some(offered(view, Need::Reverse, Function::Reverse))
}

fn parking_brake(view: &CaseView<'_>) -> Option<Arisen> {
    Some(offered(view, Need::ParkingBrake, Function::ParkingBrake))
}

fn speed_pulse(view: &CaseView<'_>) -> Option<Arisen> {
    Some(offered(view, Need::SpeedPulse, Function::SpeedPulse))
}

fn offered(view: &CaseView<'_>, need: Need, function: Function) -> Arisen {
    let (reason, otherwise) = circuit(view, function);
    Arisen { need, importance: Importance::Offered, why: vec![Reason::SomeRadiosAsk, reason], otherwise }
}

/// How a function is present, and what follows when no part is named for it.
fn circuit(view: &CaseView<'_>, function: Function) -> (Reason, Met) {
    let audio = view.audio.id.clone();
    let Some(circuit) = view.audio.circuit(function) else {
        return (view.missing(RecordKind::FactoryAudio, &format!("circuits.{function}")), Met::Unknown);
    };
    match circuit.presence {
        Presence::Discrete => (Reason::CircuitAtPlug { audio, function }, Met::Directly),
        Presence::Elsewhere => {
            let found_at = circuit.found_at.clone();
            (Reason::CircuitElsewhere { audio, function, found_at }, Met::Directly)
        }
        Presence::DataBus => (Reason::CircuitOnBus { audio, function }, Met::ByNothingKnown),
        Presence::Absent => (Reason::CircuitAbsent { audio, function }, Met::ByNothingKnown),
    }
}

fn at_plug(view: &CaseView<'_>, function: Function) -> bool {
    view.audio.circuit(function).is_some_and(|circuit| circuit.presence == Presence::Discrete)
}

fn amplifier_reason(view: &CaseView<'_>) -> Reason {
    let (audio, amplifier) = (view.audio.id.clone(), &view.audio.amplifier);
    match amplifier.feed {
        AmplifierFeed::None => Reason::NoAmplifier { audio },
        feed => Reason::AmplifierBetween { audio, feed, location: amplifier.location.clone() },
    }
}
