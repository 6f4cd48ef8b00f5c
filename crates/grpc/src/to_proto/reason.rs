//! Reasons in words, with the records and numbers that they rest on. Every match is exhaustive.

use dashwright_api::v1;
use dashwright_planner::{Ability, Reason, Side};
use dashwright_quantity::Millimetres;

use super::record::record_key;
use super::terms::{amplifier_feed, spoken};

/// Reasons, each told once: one that several records give has them all.
pub(crate) fn reasons(reasons: &[Reason]) -> Vec<v1::Reason> {
    let mut told: Vec<v1::Reason> = Vec::new();
    for next in reasons.iter().map(reason) {
        match told.iter_mut().find(|known| known.code == next.code && known.text == next.text) {
            Some(known) => known.records.extend(next.records),
            None => told.push(next),
        }
    }
    told
}

fn reason(reason: &Reason) -> v1::Reason {
    let field = match reason {
        Reason::FactMissing { record: _, field } => field.clone(),
        _ => String::new(),
    };
    v1::Reason {
        code: code(reason).into(),
        text: text(reason),
        records: reason.record().iter().map(record_key).collect(),
        field,
        figures: figures(reason),
    }
}

const fn code(reason: &Reason) -> v1::ReasonCode {
    use v1::ReasonCode as Code;
    match reason {
        Reason::AlwaysNeeded => Code::AlwaysNeeded,
        Reason::OpeningTakesChassis { .. } => Code::OpeningTakesChassis,
        Reason::OpeningSmallerThanChassis { .. } => Code::OpeningSmallerThanChassis,
        Reason::OpeningOfAnotherClass { .. } => Code::OpeningOfAnotherClass,
        Reason::CavitySmallerThanChassis { .. } => Code::CavitySmallerThanChassis,
        Reason::NoPartMeets { .. } => Code::NoPartMeets,
        Reason::PartIsNotFor { .. } => Code::PartIsNotFor,
        Reason::FactMissing { .. } => Code::FactMissing,
        Reason::CircuitAtPlug { .. } => Code::CircuitAtPlug,
        Reason::CircuitElsewhere { .. } => Code::CircuitElsewhere,
        Reason::CircuitOnBus { .. } => Code::CircuitOnBus,
        Reason::CircuitAbsent { .. } => Code::CircuitAbsent,
        Reason::AmplifierBetween { .. } => Code::AmplifierBetween,
        Reason::NoAmplifier { .. } => Code::NoAmplifier,
        Reason::AntennaPresent { .. } => Code::AntennaPresent,
        Reason::AntennaFed { .. } => Code::AntennaFed,
        Reason::TunerOutside { .. } => Code::TunerOutside,
        Reason::FeaturePresent { .. } => Code::FeaturePresent,
        Reason::FeatureNotPresent { .. } => Code::FeatureNotPresent,
        Reason::LeavesWithRadio { .. } => Code::LeavesWithRadio,
        Reason::OnReplacedPanel { .. } => Code::OnReplacedPanel,
        Reason::StaysInDash { .. } => Code::StaysInDash,
        Reason::SomeRadiosAsk => Code::SomeRadiosAsk,
        Reason::RadioMustHave { .. } => Code::RadioMustHave,
    }
}

fn text(reason: &Reason) -> String {
    match reason {
        Reason::AlwaysNeeded => "every radio needs it".to_owned(),
        Reason::OpeningTakesChassis { dash: _, opening } => {
            format!("the opening is {}: it goes in without a kit", class(opening.name()))
        }
        Reason::OpeningSmallerThanChassis { dash: _, side, chassis, opening } => {
            format!("the opening's {} is {opening}, the chassis needs {chassis}", side_name(*side))
        }
        Reason::OpeningOfAnotherClass { dash: _, opening, chassis } => {
            format!("the opening is {}, the chassis {}", class(opening.name()), class(chassis.name()))
        }
        Reason::CavitySmallerThanChassis { dash: _, side, chassis, cavity } => {
            let side = side_name(*side);
            format!(
                "behind the panel there is a {side} of {cavity}, the least chassis of the class has {chassis}"
            )
        }
        Reason::NoPartMeets { need } => {
            format!("no part of the catalogue meets {} here", spoken(need.name()))
        }
        Reason::PartIsNotFor { part, need } => {
            let what = need.map(|need| format!(" for {}", spoken(need.name()))).unwrap_or_default();
            format!("part {part} says that it is not for this{what}")
        }
        Reason::FactMissing { record, field } => {
            format!("unknown: nothing is recorded in `{field}` of {record}")
        }
        Reason::CircuitAtPlug { audio: _, function } => {
            format!("{} is on a wire at the factory radio", spoken(function.name()))
        }
        Reason::CircuitElsewhere { audio: _, function, found_at } => {
            let place = found_at.as_ref().map(|place| format!(": {place}")).unwrap_or_default();
            format!("{} is on a wire elsewhere{place}", spoken(function.name()))
        }
        Reason::CircuitOnBus { audio: _, function } => {
            format!("{} is only a message on a data bus", spoken(function.name()))
        }
        Reason::CircuitAbsent { audio: _, function } => format!("the car has no {}", spoken(function.name())),
        Reason::AmplifierBetween { audio: _, feed, location } => {
            let place = location.as_ref().map(|place| format!(" ({place})")).unwrap_or_default();
            format!("a factory amplifier{place}, {}, stands before the speakers", amplifier_feed(*feed))
        }
        Reason::NoAmplifier { audio: _ } => "the radio drives the speakers itself".to_owned(),
        Reason::AntennaPresent { audio: _, role } => format!("the car has a {} antenna", spoken(role.name())),
        Reason::AntennaFed { audio: _, feed } => format!("the antenna is fed {}", spoken(feed.name())),
        Reason::TunerOutside { audio: _ } => "the tuner is not in the factory radio".to_owned(),
        Reason::FeaturePresent { audio: _, feature, carrier } => {
            format!("the car has {}, carried by {}", spoken(feature.name()), spoken(carrier.name()))
        }
        Reason::FeatureNotPresent { audio: _, feature } => {
            format!("the car does not have {}", spoken(feature.name()))
        }
        Reason::LeavesWithRadio { audio: _, feature } => {
            format!("{} is made by the factory radio and leaves with it", spoken(feature.name()))
        }
        Reason::OnReplacedPanel { dash: _, name } => {
            format!("{name} sits in the panel that a dash kit replaces")
        }
        Reason::StaysInDash { dash: _, feature } => {
            format!("{} sits in a part of the dash that stays", spoken(feature.name()))
        }
        Reason::SomeRadiosAsk => "some radios ask for it before they work in full".to_owned(),
        Reason::RadioMustHave { ability } => format!("needs a radio with {}", ability_name(*ability)),
    }
}

/// An opening or chassis class for a person.
pub(crate) fn class(name: &str) -> &'static str {
    match name {
        "ONE_DIN" => "single height",
        "TWO_DIN" => "double height",
        "TWO_DIN_WIDE" => "double height, 200 mm wide",
        "ONE_AND_A_HALF_DIN" => "between single and double height",
        _ => "a shaped panel",
    }
}

const fn side_name(side: Side) -> &'static str {
    match side {
        Side::Width => "width",
        Side::Height => "height",
    }
}

const fn ability_name(ability: Ability) -> &'static str {
    match ability {
        Ability::SteeringLadderInput => "a steering input that learns a ladder of resistors",
        Ability::CameraInput => "a camera input",
        Ability::AuxInput => "an auxiliary input",
        Ability::MicrophoneInput => "a microphone input",
        Ability::IlluminationLead => "an illumination lead",
        Ability::SpeakerOutputs => "speaker outputs that may feed an amplifier",
        Ability::LineOutputs => "line outputs",
    }
}

/// The numbers that a proof rests on.
fn figures(reason: &Reason) -> Vec<v1::Figure> {
    let pair = |side: Side, chassis: Millimetres, name: &str, other: Millimetres| {
        let figure = |what: &str, value: Millimetres| v1::Figure {
            name: format!("{what} {}", side_name(side)),
            value: value.get(),
            unit: Millimetres::UNIT.to_owned(),
        };
        vec![figure("chassis", chassis), figure(name, other)]
    };
    match reason {
        Reason::OpeningSmallerThanChassis { dash: _, side, chassis, opening } => {
            pair(*side, *chassis, "opening", *opening)
        }
        Reason::CavitySmallerThanChassis { dash: _, side, chassis, cavity } => {
            pair(*side, *chassis, "cavity", *cavity)
        }
        _ => Vec::new(),
    }
}
