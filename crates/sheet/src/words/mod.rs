//! Words for people: how verdict reasons, cautions, steps and leads are told, on paper and over the wire alike.
//!
//! They stand here and not beside the messages, because the sheet must not know the service, and two tables of the same
//! words would drift apart.

mod caution;
mod check;
mod reason;
mod step;
mod vehicle;
mod wiring;

pub use caution::caution;
pub use check::{amount, check, check_name, check_outcome, direct_feed, figure, margin, subject};
pub use reason::{reason, side_name};
pub use step::{ToldAction, action};
pub use vehicle::distinction;
pub use wiring::{loose_reason, mismatch, trap};

use dashwright_model::record::audio::AmplifierFeed;

/// An opening or chassis class for a person.
#[must_use]
pub fn class(name: &str) -> &'static str {
    match name {
        "ONE_DIN" => "single height",
        "TWO_DIN" => "double height",
        "TWO_DIN_WIDE" => "double height, 200 mm wide",
        "ONE_AND_A_HALF_DIN" => "between single and double height",
        _ => "a shaped panel",
    }
}

/// How an amplifier is fed, for a person.
#[must_use]
pub const fn amplifier_feed(feed: AmplifierFeed) -> &'static str {
    match feed {
        AmplifierFeed::None => "no amplifier",
        AmplifierFeed::SpeakerLevel => "fed at speaker level",
        AmplifierFeed::LineLevel => "fed at line level",
        AmplifierFeed::DigitalBus => "fed over a digital bus",
    }
}

/// A term for a person: lower case, words apart.
#[must_use]
pub fn spoken(name: &str) -> String {
    name.to_lowercase().replace('_', " ")
}
