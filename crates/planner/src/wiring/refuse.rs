//! What a part, or the car's own wires, can serve with this radio: asked before any part is chosen.

use dashwright_model::record::Radio;
use dashwright_model::record::audio::{
    AmplifierFeed, AntennaFeed, AntennaRole, CameraSignal, Presence, SpeakerReturn,
};
use dashwright_model::record::part::{Cover, Part, PartKind, PartLead};
use dashwright_model::record::radio::{Direction, SteeringInputKind};
use dashwright_model::{Function, Need};
use dashwright_quantity::{PartId, Volts};

use super::compat::mismatches;
use super::ends::{Class, End, class_of, socket_of};
use super::{Bench, Mismatch, Sides};
use crate::checks::{ladder_mismatch, load_mismatch};

/// The functions of a need that has wires of its own.
pub(crate) const fn functions_of(need: Need) -> &'static [Function] {
    use Function as F;
    match need {
        Need::Power => &[F::Battery],
        Need::Ground => &[F::Ground],
        Need::Switched => &[F::Switched],
        Need::Speakers => SPEAKERS,
        Need::Antenna => &[F::AntennaMain],
        Need::AntennaSub => &[F::AntennaSub],
        Need::AntennaPower => &[F::PowerAntenna],
        Need::Illumination => &[F::Illumination],
        Need::Steering => &[F::Steering1, F::Steering2],
        Need::Camera => &[F::CameraVideo, F::CameraPower],
        Need::Reverse => &[F::Reverse],
        Need::ParkingBrake => &[F::ParkingBrake],
        Need::SpeedPulse => &[F::SpeedPulse],
        Need::Usb => &[F::Usb],
        Need::Aux => &[F::AuxLeft, F::AuxRight],
        Need::Satellite => &[F::Satellite],
        Need::Microphone => &[F::MicrophonePlus],
        Need::Amplifier => &[F::AmpOn],
        _ => &[],
    }
}

const SPEAKERS: &[Function] = &[
    Function::SpeakerFrontLeftPlus,
    Function::SpeakerFrontRightPlus,
    Function::SpeakerRearLeftPlus,
    Function::SpeakerRearRightPlus,
    Function::LineFrontLeftPlus,
    Function::LineFrontRightPlus,
    Function::LineRearLeftPlus,
    Function::LineRearRightPlus,
];

/// Why a part's own leads can not serve a need here; empty where they can, or where it has no lead for it and works by plug
/// or socket. `part_of` finds the parts that it requires.
pub(crate) fn refusals<'a>(
    bench: &Bench<'_>,
    part: &Part,
    need: Need,
    part_of: &dyn Fn(&PartId) -> Option<&'a Part>,
) -> Vec<Mismatch> {
    // Asked for every statement of every part: only the leads that it is about are looked at.
    let functions = functions_of(need);
    let about =
        |lead: &&PartLead| bench.function_of(lead).is_some_and(|function| functions.contains(&function));
    let ends: Vec<End> = part.leads.iter().filter(about).map(|lead| bench.end_of_part(part, lead)).collect();
    let mut refusals = unserved(bench, functions, &ends);
    match need {
        Need::Speakers if ends.iter().any(is_cars_speaker) => {
            refusals.extend(common_ground(bench));
            // Behind an amplifier the radio meets its input and not the speakers, unless the part goes round it.
            let drives =
                bench.audio.amplifier.feed == AmplifierFeed::None || part.kind == PartKind::AmplifierBypass;
            refusals.extend(load_mismatch(bench).filter(|_| drives));
        }
        Need::Steering if ends.iter().any(|end| end.lead.way.is_some()) => refusals.extend(ladder(bench)),
        Need::Camera => {
            if ends.iter().any(|end| end.function == Function::CameraVideo && end.lead.way.is_some()) {
                refusals.extend(camera_signal(bench).filter(|_| !is_made_for(part, bench.radio)));
            }
            let fed = ends.iter().find(|end| end.function == Function::CameraPower && end.lead.way.is_some());
            refusals.extend(fed.and_then(|fed| camera_supply(bench, fed, &ends, part, part_of)));
        }
        Need::AntennaPower => refusals.extend(ends.iter().find_map(|end| antenna_feed(bench, end))),
        _ => {}
    }
    refusals
}

/// Why the car's own wires can not serve a need without any part; empty where they can.
pub(crate) fn direct_refusals(bench: &Bench<'_>, need: Need) -> Vec<Mismatch> {
    let wired = |function: &&Function| {
        matches!(bench.presence(**function), Some(Presence::Discrete | Presence::Elsewhere))
    };
    let ends: Vec<End> =
        functions_of(need).iter().filter(wired).map(|function| bench.car_end(*function, None)).collect();
    let fed = |end: &&End| end.function != Function::CameraPower;
    let mut refusals: Vec<Mismatch> = ends.iter().filter(fed).flat_map(|end| meet(bench, end)).collect();
    match need {
        Need::Steering => refusals.extend(ladder(bench)),
        Need::Camera => {
            refusals.extend(camera_signal(bench));
            refusals.extend(camera_from_supply(bench));
        }
        _ => {}
    }
    refusals
}

/// What refuses the functions of which no lead of the part may meet the radio.
fn unserved(bench: &Bench<'_>, functions: &[Function], ends: &[End]) -> Vec<Mismatch> {
    let mut refusals = Vec::new();
    // What feeds a camera is asked for in its own right.
    for function in functions.iter().filter(|function| **function != Function::CameraPower) {
        let own = bench.radio_end(*function).map(|own| own.direction);
        let toward = |end: &&End| end.function == *function && own != Some(end.direction);
        let wrong: Vec<Vec<Mismatch>> = ends.iter().filter(toward).map(|end| meet(bench, end)).collect();
        if !wrong.iter().any(Vec::is_empty) {
            refusals.extend(wrong.into_iter().flatten());
        }
    }
    refusals
}

/// Why a lead is joined to nothing on this bench, whoever offers to take it.
pub(super) fn forbidden(bench: &Bench<'_>, end: &End, parts: &[&Part], by_module: bool) -> Option<Mismatch> {
    end.lead.way.as_ref()?;
    match end.function {
        Function::Steering1 | Function::Steering2 if !by_module => ladder(bench),
        Function::CameraVideo if !parts.iter().any(|part| is_made_for(part, bench.radio)) => {
            camera_signal(bench)
        }
        _ if is_cars_speaker(end) => common_ground(bench),
        _ => None,
    }
}

/// What does not agree between an end and what the radio has for its function.
fn meet(bench: &Bench<'_>, end: &End) -> Vec<Mismatch> {
    let by_amp_on =
        || (end.function == Function::PowerAntenna).then(|| bench.radio_end(Function::AmpOn)).flatten();
    let Some(radio) = bench.radio_end(end.function).or_else(by_amp_on) else {
        let by_socket = socket_of(end.function).is_some_and(|socket| bench.has_socket(socket));
        // A speaker or a line that the radio does not have stays silent and harms nothing; the needs say what is missing.
        let silent = !matches!(class_of(end.function), Class::Alone | Class::LineOut);
        if by_socket || silent {
            return Vec::new();
        }
        let record = bench.radio_key();
        return vec![Mismatch::NoRadioLead { function: end.function, record }];
    };
    match end.direction {
        Direction::Source => mismatches(end, &radio),
        Direction::Sink => mismatches(&radio, end),
    }
}

/// 12 V goes into an antenna only where the car's feed is recorded, and in the way that it is.
fn antenna_feed(bench: &Bench<'_>, end: &End) -> Option<Mismatch> {
    let main = bench.audio.antennas.iter().find(|antenna| antenna.role == AntennaRole::Main)?;
    let record = bench.audio_key();
    match main.feed {
        None => Some(Mismatch::FactMissing { record, field: "antennas.feed".to_owned() }),
        Some(feed) if feed == feed_by(end) => None,
        Some(_) => Some(Mismatch::AntennaFeed { record }),
    }
}

/// How a lead would feed an antenna: an adapter's own through the coax, one from the car's plug by its wire.
pub(super) fn feed_by(end: &End) -> AntennaFeed {
    if end.is_made() { AntennaFeed::ThroughCoax } else { AntennaFeed::ByLead }
}

fn is_cars_speaker(end: &End) -> bool {
    class_of(end.function) == Class::Speaker && end.lead.way.is_some()
}

/// Speakers with a common ground never meet bridged outputs: they would be shorted to the car.
fn common_ground(bench: &Bench<'_>) -> Option<Mismatch> {
    let returns = |speaker: &dashwright_model::record::audio::Speaker| speaker.returns_by;
    if !bench.audio.speakers.iter().any(|speaker| returns(speaker) == SpeakerReturn::CommonGround) {
        return None;
    }
    match bench.radio.electrics.bridged_outputs {
        Some(false) => None,
        Some(true) => {
            let sides = Sides { source: bench.radio_key(), sink: bench.audio_key() };
            Some(Mismatch::CommonGroundOnBridged { sides })
        }
        None => {
            let field = "electrics.bridged_outputs".to_owned();
            Some(Mismatch::FactMissing { record: bench.radio_key(), field })
        }
    }
}

/// A ladder of resistors is measured by an input that learns one and can tell its buttons apart.
fn ladder(bench: &Bench<'_>) -> Option<Mismatch> {
    let learns = bench.radio.steering_input.is_some_and(|input| input.kind == SteeringInputKind::Ladder);
    if learns || bench.audio.steering.is_empty() {
        return ladder_mismatch(bench);
    }
    Some(Mismatch::SteeringKind { sides: Sides { source: bench.audio_key(), sink: bench.radio_key() } })
}

/// Whether a part names the radio for the camera: then its maker knows what the radio's camera input takes.
pub(super) fn is_made_for(part: &Part, radio: &Radio) -> bool {
    let names =
        |cover: &Cover| cover.radio.as_ref().is_some_and(|condition| condition.radios.contains(&radio.id));
    part.covers.iter().any(|cover| cover.need == Some(Need::Camera) && names(cover))
}

fn camera_signal(bench: &Bench<'_>) -> Option<Mismatch> {
    let sides = Sides { source: bench.audio_key(), sink: bench.radio_key() };
    match bench.audio.camera.as_ref().map(|camera| camera.signal) {
        Some(CameraSignal::AnalogueHighDefinition | CameraSignal::Digital) => {
            Some(Mismatch::CameraSignal { sides })
        }
        Some(CameraSignal::Composite) | None => None,
    }
}

/// The voltage that feeds the factory camera.
fn camera_voltage(bench: &Bench<'_>) -> Option<Volts> {
    let recorded = bench.audio.camera.as_ref().and_then(|camera| camera.supply);
    recorded.or_else(|| bench.audio.circuit(Function::CameraPower).and_then(|circuit| circuit.voltage))
}

/// A camera that is fed through a part needs its own voltage from the part, from one that it requires, or, where it is that
/// of the car, from the reverse or switched supply (common practice, no source).
fn camera_supply<'a>(
    bench: &Bench<'_>,
    fed: &End,
    ends: &[End],
    part: &Part,
    part_of: &dyn Fn(&PartId) -> Option<&'a Part>,
) -> Option<Mismatch> {
    let Some(needs) = fed.voltage.or_else(|| camera_voltage(bench)) else {
        return Some(Mismatch::FactMissing { record: bench.audio_key(), field: "camera.supply".to_owned() });
    };
    let gives = |end: &End| {
        end.function == Function::CameraPower
            && end.direction == Direction::Source
            && end.voltage == Some(needs)
    };
    let by_part = |id: &PartId| {
        part_of(id).is_some_and(|other| other.leads.iter().any(|lead| gives(&bench.end_of_part(other, lead))))
    };
    let by_required = || part.requires.iter().any(|group| !group.is_empty() && group.iter().all(by_part));
    let by_radio = || bench.radio_end(Function::CameraPower).is_some_and(|lead| gives(&lead));
    if Some(needs) == bench.car_voltage() || ends.iter().any(gives) || by_required() || by_radio() {
        return None;
    }
    Some(Mismatch::CameraSupply { needs, record: bench.audio_key() })
}

/// A camera that is joined without a part is fed from the car's supply, so it has to want that.
fn camera_from_supply(bench: &Bench<'_>) -> Option<Mismatch> {
    match (camera_voltage(bench), bench.car_voltage()) {
        (Some(needs), Some(car)) if needs == car => None,
        (Some(needs), _) => Some(Mismatch::CameraSupply { needs, record: bench.audio_key() }),
        (None, _) => {
            Some(Mismatch::FactMissing { record: bench.audio_key(), field: "camera.supply".to_owned() })
        }
    }
}
