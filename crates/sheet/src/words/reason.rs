//! Reasons in words. Every match is exhaustive, or asked by one that is.

use dashwright_model::Need;
use dashwright_planner::{Ability, Reason, Side};

use super::check::obstruction;
use super::{amplifier_feed, class, spoken};

/// A reason.
#[must_use]
pub fn reason(reason: &Reason) -> String {
    match reason {
        Reason::AlwaysNeeded => "every radio needs it".to_owned(),
        Reason::OpeningTakesChassis { .. }
        | Reason::OpeningSmallerThanChassis { .. }
        | Reason::OpeningOfAnotherClass { .. }
        | Reason::CavitySmallerThanChassis { .. }
        | Reason::OnReplacedPanel { .. }
        | Reason::FaceLiesOver { .. }
        | Reason::PlaceNotRecorded { .. }
        | Reason::StaysInDash { .. } => dash_text(reason),
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
        Reason::CircuitAtPlug { .. }
        | Reason::CircuitElsewhere { .. }
        | Reason::CircuitOnBus { .. }
        | Reason::CircuitAbsent { .. } => circuit_text(reason),
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
        Reason::SomeRadiosAsk => "some radios ask for it before they work in full".to_owned(),
        Reason::RadioMustHave { ability } => format!("needs a radio with {}", ability_name(*ability)),
        Reason::RadioServes { .. }
        | Reason::AntennaPlugFits { .. }
        | Reason::RadioLacks { .. }
        | Reason::RadioAsks { .. }
        | Reason::Added { .. }
        | Reason::NotWished { .. }
        | Reason::LossConsented { .. }
        | Reason::NotTogether { .. }
        | Reason::NotProven => job_text(reason),
        Reason::Unjoinable { .. }
        | Reason::TooDeep { .. }
        | Reason::FrameTooSmall { .. }
        | Reason::ScreenNotFree { .. }
        | Reason::OtherDriveSide { .. }
        | Reason::SocketMissing { .. }
        | Reason::PlugMissing { .. }
        | Reason::NotForRadio { .. }
        | Reason::LeftOut { .. }
        | Reason::FeignsInterlock { .. }
        | Reason::SettingsContradict { .. } => refusal_text(reason),
    }
}

/// Where a circuit of the car is.
fn circuit_text(reason: &Reason) -> String {
    match reason {
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
        _ => String::new(),
    }
}

/// Reasons of the dash.
fn dash_text(reason: &Reason) -> String {
    match reason {
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
        Reason::OnReplacedPanel { dash: _, name } => {
            format!("{name} sits in the panel that a dash kit replaces")
        }
        Reason::FaceLiesOver { dash: _, name } => format!("the radio's face lies over {name}"),
        Reason::PlaceNotRecorded { dash: _, name } => {
            format!("where the kit carries {name} over to is not recorded: hold it up before it is fitted")
        }
        Reason::StaysInDash { dash: _, feature } => {
            format!("{} sits in a part of the dash that stays", spoken(feature.name()))
        }
        _ => String::new(),
    }
}

/// Reasons of a job: the radio, and what the caller wants.
fn job_text(reason: &Reason) -> String {
    let of = |need: &Need| spoken(need.name());
    match reason {
        Reason::RadioServes { radio: _, feature } => {
            format!("the radio does {} by itself", spoken(feature.name()))
        }
        Reason::AntennaPlugFits { radio: _, family } => {
            format!("the car's antenna plug ({family}) goes into the radio as it is")
        }
        Reason::RadioLacks { radio: _, need } => format!("the radio has no input or output for {}", of(need)),
        Reason::RadioAsks { radio: _, need } => {
            format!("the radio asks for {} before it works in full", of(need))
        }
        Reason::Added { need } => format!("{} is to be added; the car does not have it", of(need)),
        Reason::NotWished { need } => format!("{} is not wished", of(need)),
        Reason::LossConsented { need } => format!("lost by consent: {}", of(need)),
        Reason::NotTogether { need } => {
            format!("parts meet {}, but not together with the rest of what must be met", of(need))
        }
        Reason::NotProven => "the search was broken off at its limit: a better list may exist".to_owned(),
        _ => String::new(),
    }
}

/// Reasons why a part can not be used.
fn refusal_text(reason: &Reason) -> String {
    match reason {
        Reason::Unjoinable { part, mismatch } => {
            let whose = part.as_ref().map_or("the car's own wires".to_owned(), |part| format!("part {part}"));
            format!("{whose}: {}", super::mismatch(mismatch))
        }
        Reason::TooDeep { dash: _, radio: _, part, needs, has } => {
            let kit = part.as_ref().map(|part| format!(" with {part}")).unwrap_or_default();
            format!("the radio with its plugs is {needs} deep, there are {has}{kit}")
        }
        Reason::FrameTooSmall { part, side, chassis, frame } => {
            let side = side_name(*side);
            format!("the frame of {part} has a {side} of {frame}, the radio one of {chassis}")
        }
        Reason::ScreenNotFree { dash: _, radio: _, part, why } => {
            let kit = part.as_ref().map(|part| format!(" with {part}")).unwrap_or_default();
            format!("the floating screen finds no place{kit}: {}", obstruction(why))
        }
        Reason::OtherDriveSide { part } => format!("part {part} is made for the other side of the driver"),
        Reason::SocketMissing { part, socket } => {
            format!("part {part} needs a {} socket, which the radio does not have", spoken(socket.name()))
        }
        Reason::PlugMissing { part, family } => {
            format!("part {part} needs the factory plug {family}, which the car does not have")
        }
        Reason::NotForRadio { part, need } => {
            let what = need.map(|need| format!(" for {}", spoken(need.name()))).unwrap_or_default();
            format!("part {part} is not for this radio{what}")
        }
        Reason::LeftOut { part, by_name: true } => format!("part {part} is excluded by the caller"),
        Reason::LeftOut { part, by_name: false } => format!("part {part} is not in stock"),
        Reason::FeignsInterlock { part } => {
            format!("part {part} only feigns the parking brake: it is used only when asked for by name")
        }
        Reason::SettingsContradict { part } => {
            format!("the settings of part {part} contradict each other for this radio and vehicle")
        }
        _ => String::new(),
    }
}

/// A side.
#[must_use]
pub const fn side_name(side: Side) -> &'static str {
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
