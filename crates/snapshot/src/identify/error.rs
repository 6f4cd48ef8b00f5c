//! Why no vehicle can be named.

use std::fmt;

use dashwright_model::record::vehicle::Attribute;
use dashwright_model::vin::{MakerCode, Vin, VinConcern};

use super::answer::Stated;

/// The most words that an error offers instead of one that is not known: as many as a person reads at a glance.
pub const MAX_NEAREST: usize = 5;

/// The most values that an error lists as existing.
pub const MAX_EXISTING: usize = 20;

/// Why no vehicle can be named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum IdentifyError {
    /// The question says nothing.
    Nothing,
    /// The vehicle identification number can not be right.
    WrongVin {
        /// The number.
        vin: Vin,
        /// What is wrong with it: at least one of these is an error.
        concerns: Vec<VinConcern>,
    },
    /// No pattern knows the number, and nothing else names make or model.
    UnknownVin {
        /// The number.
        vin: Vin,
        /// Its maker code.
        maker: MakerCode,
    },
    /// A value that the catalogue does not know.
    NoMatch {
        /// The attribute.
        attribute: Attribute,
        /// What was typed.
        typed: String,
        /// The nearest that is known, the likest first; at most [`MAX_NEAREST`].
        nearest: Vec<String>,
    },
    /// Free words of which none means anything, and nothing else is known.
    NothingRecognised {
        /// The words.
        words: Vec<String>,
        /// The nearest makes and models; at most [`MAX_NEAREST`].
        nearest: Vec<String>,
    },
    /// Two statements about one thing that exclude each other.
    Contradiction {
        /// One.
        left: Stated,
        /// The other.
        right: Stated,
    },
    /// Every statement is known by itself, but no vehicle line has both of these.
    NoLine {
        /// One.
        left: Stated,
        /// The other.
        right: Stated,
        /// What else was stated and is needed to rule it out.
        beside: Vec<Stated>,
        /// Values of the other's attribute that there are with all the rest; at most [`MAX_EXISTING`].
        exist: Vec<String>,
    },
}

impl fmt::Display for IdentifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("the question says nothing of the vehicle"),
            Self::WrongVin { vin, concerns } => {
                write!(f, "the vehicle identification number `{vin}` can not be right")?;
                concerns
                    .iter()
                    .filter(|concern| concern.is_error())
                    .enumerate()
                    .try_for_each(|(i, concern)| write!(f, "{} {concern}", if i == 0 { ":" } else { ";" }))
            }
            Self::UnknownVin { vin, maker } => write!(
                f,
                "no vehicle line knows the number `{vin}` of maker code `{maker}`, and nothing else names make or model"
            ),
            Self::NoMatch { attribute, typed, nearest } => {
                write!(f, "no {} `{typed}` is known", name(*attribute))?;
                list(f, "the nearest", nearest)
            }
            Self::NothingRecognised { words, nearest } => {
                write!(f, "none of the words `{}` is known", words.join(" "))?;
                list(f, "the nearest makes and models", nearest)
            }
            Self::Contradiction { left, right } => write!(f, "{left}, but {right}"),
            Self::NoLine { left, right, beside, exist } => {
                write!(f, "no vehicle line has both {} and {}", Value(left), Value(right))?;
                for (i, stated) in beside.iter().enumerate() {
                    write!(f, "{} {}", if i == 0 { " with" } else { " and" }, Value(stated))?;
                }
                list(f, "there are", exist)
            }
        }
    }
}

impl std::error::Error for IdentifyError {}

impl fmt::Display for Stated {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { source, attribute, value } = self;
        let verb = if *source == super::Source::Words { "say" } else { "says" };
        write!(f, "{source} {verb} {} `{value}`", name(*attribute))
    }
}

struct Value<'a>(&'a Stated);

impl fmt::Display for Value<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} `{}`", name(self.0.attribute), self.0.value)
    }
}

/// The attribute as a person calls it.
#[must_use]
pub const fn name(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::ModelYear => "model year",
        Attribute::Make => "make",
        Attribute::Model => "model",
        Attribute::Trim => "trim",
        Attribute::BuildMonth => "build month",
        Attribute::Market => "market",
        Attribute::DriveSide => "drive side",
        Attribute::Body => "body",
        Attribute::Drivetrain => "drivetrain",
        Attribute::AudioOption => "audio option",
    }
}

fn list(f: &mut fmt::Formatter<'_>, lead: &str, items: &[String]) -> fmt::Result {
    if items.is_empty() { Ok(()) } else { write!(f, "; {lead}: {}", items.join(", ")) }
}
