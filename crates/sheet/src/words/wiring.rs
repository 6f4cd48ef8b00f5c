//! Leads in words. Every match is exhaustive.

use dashwright_planner::{ColourTrap, LeadEnd, LooseReason, Mismatch, Owner};

use super::spoken;

/// Why a lead has no partner.
#[must_use]
pub const fn loose_reason(why: LooseReason) -> &'static str {
    match why {
        LooseReason::NoPartner => "the other side does not have it",
        LooseReason::OtherPreferred => "another lead of the same function is used",
        LooseReason::DeadWay => "this car has nothing at its way",
        LooseReason::NotFed => {
            "the car's antenna is not fed this way, as far as is recorded: no 12 V into it"
        }
        LooseReason::NothingNeedsIt => "nothing here needs it",
        LooseReason::CommonGround => "the car's speakers return by its ground: joined to nothing",
        LooseReason::MustNotMeet => "it must not meet what the other side has",
        LooseReason::Feigned => "it only feigns a circuit that is at hand",
        LooseReason::NotOffered => "the radio needs it and neither side has it",
    }
}

/// A colour or a print that would mislead.
#[must_use]
pub fn trap(trap: &ColourTrap) -> String {
    let name = |lead: &LeadEnd| match &lead.owner {
        Owner::Radio | Owner::Socket(_) => "the radio's".to_owned(),
        Owner::Part(part) | Owner::ModuleInput(part) => format!("the one of {part}"),
        Owner::Car => "the car's".to_owned(),
    };
    let colour = |lead: &LeadEnd| lead.colour.map(|colour| colour.name()).unwrap_or_default();
    match trap {
        ColourTrap::Print { lead, really } => {
            let way = lead.way.as_ref().map(|way| format!(" (way {} of {})", way.way, way.family));
            format!(
                "{} lead of {} is printed {} and is {} in this car{}",
                colour(lead),
                name(lead).trim_start_matches("the one of "),
                spoken(lead.printed.name()),
                spoken(really.name()),
                way.unwrap_or_default(),
            )
        }
        ColourTrap::SameColour { radio, adapter, really } => {
            format!(
                "both {}: {} is {}, {} is {}; they are not joined",
                colour(radio),
                name(radio),
                spoken(radio.printed.name()),
                name(adapter),
                spoken(really.name()),
            )
        }
    }
}

/// What does not agree, for a person.
#[must_use]
pub fn mismatch(mismatch: &Mismatch) -> String {
    match mismatch {
        Mismatch::Voltage { function, source, sink, sides: _ } => {
            format!("{source} of {} never meets what takes {sink}", spoken(function.name()))
        }
        Mismatch::Polarity { function, source, sink, sides: _ } => format!(
            "{} goes {}, and what takes it waits for one that goes {}",
            spoken(function.name()),
            spoken(source.name()),
            spoken(sink.name()),
        ),
        Mismatch::Signal { function, source, sink, sides: _ } => format!(
            "{} is {}, and what takes it wants it {}",
            spoken(function.name()),
            spoken(source.name()),
            spoken(sink.name()),
        ),
        Mismatch::CommonGroundOnBridged { sides: _ } => {
            "the speakers return by the car's ground and never meet bridged outputs".to_owned()
        }
        Mismatch::SpeakerLoad { position, load, least, sides: _ } => format!(
            "the {} speakers come to {load}, and the radio drives no less than {least}",
            spoken(position.name()),
        ),
        Mismatch::ButtonsTooClose { wire, apart, threshold, sides: _ } => format!(
            "two buttons of {} are {} apart, and the radio's input tells {threshold}",
            spoken(wire.name()),
            super::amount((*apart).into()),
        ),
        Mismatch::SteeringKind { sides: _ } => {
            "the steering buttons are a ladder of resistors, which the radio's input does not measure"
                .to_owned()
        }
        Mismatch::CameraSignal { sides: _ } => {
            "the camera does not send composite video, which the radio's camera input wants".to_owned()
        }
        Mismatch::AntennaFeed { record: _ } => {
            "the car's antenna is fed in another way: no 12 V into it by this lead".to_owned()
        }
        Mismatch::CameraSupply { needs, record: _ } => {
            format!("the camera is fed with {needs}, and nothing here gives that")
        }
        Mismatch::NoRadioLead { function, record: _ } => {
            format!("the radio has neither lead nor socket for {}", spoken(function.name()))
        }
        Mismatch::FactMissing { record, field } => {
            format!("unknown: nothing is recorded in `{field}` of {record}")
        }
    }
}
