//! Units, money, colours, wire sizes, dates and typed ids: no bare number or string stands in a signature.
//!
//! Every type is valid by construction: a value that exists has passed its range or its form, also when it was
//! read by serde. What is refused is refused with data, never with a formatted string.

mod calendar;
mod colour;
mod id;
mod measure;
mod money;
mod text;
mod wire;

pub use calendar::{Date, DateError, ModelYear, YearMonth, YearSpan};
pub use colour::{Colour, ColourError, Hue, LeadColour, Shade};
pub use id::{AudioId, DashId, GoldenId, IdError, MAX_ID_BYTES, PartId, RadioId, TermId, VehicleId};
pub use measure::{
    AmpereHours, Amperes, Celsius, Days, Decibels, Degrees, Factor, Fraction, Hertz, Metres, Milliamperes,
    Millimetres, Minutes, Offset, Ohms, OutOfRange, SquareMillimetres, Volts, Watts,
};
pub use money::{Currency, Money, MoneyError};
pub use text::{Label, MAX_LABEL_CHARS, MAX_PROSE_CHARS, Prose, TextError};
pub use wire::{Gauge, GaugeError};
