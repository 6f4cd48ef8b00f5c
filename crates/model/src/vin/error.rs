//! What can be wrong with the form of a vehicle identification number.

use std::fmt;

use super::{Vin, vin_byte};

/// All that is wrong with the form of a number: at least one fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VinError {
    faults: Vec<VinFault>,
}

/// One thing that is wrong with the form of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VinFault {
    /// Nothing was given, or only spaces and hyphens.
    Empty,
    /// Not 17 characters, spaces and hyphens not counted.
    Length {
        /// How many there are.
        found: usize,
    },
    /// A character that no number has.
    Character {
        /// Where, from one, spaces and hyphens not counted. What stands beyond position 17 is only counted.
        position: usize,
        /// Which, with a to z raised.
        found: char,
    },
}

impl VinError {
    /// What is wrong: the length first, then the characters by position.
    #[must_use]
    pub fn faults(&self) -> &[VinFault] {
        &self.faults
    }

    /// Judges a tidied number.
    pub(super) fn of(tidy: &[char]) -> Option<Self> {
        let length = match tidy.len() {
            0 => Some(VinFault::Empty),
            Vin::LENGTH => None,
            found => Some(VinFault::Length { found }),
        };
        let characters = (1..=Vin::LENGTH)
            .zip(tidy.iter().copied())
            .filter(|(_, c)| vin_byte(*c).is_none())
            .map(|(position, found)| VinFault::Character { position, found });
        let faults: Vec<VinFault> = length.into_iter().chain(characters).collect();
        (!faults.is_empty()).then_some(Self { faults })
    }
}

impl VinFault {
    /// The character that is likely meant where a letter was left out of the alphabet for looking like a digit
    /// (common practice, no source). A hint for a person; nothing is repaired by it.
    #[must_use]
    pub const fn likely_meant(self) -> Option<char> {
        match self {
            Self::Character { found: 'I', .. } => Some('1'),
            Self::Character { found: 'O' | 'Q', .. } => Some('0'),
            _ => None,
        }
    }
}

impl fmt::Display for VinError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_joined(f, &self.faults)
    }
}

impl fmt::Display for VinFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("the vehicle identification number is empty"),
            Self::Length { found } => {
                write!(
                    f,
                    "a vehicle identification number has {} characters, this one has {found}",
                    Vin::LENGTH
                )
            }
            Self::Character { position, found } => {
                write!(f, "`{}` at position {position} is not used in these numbers", found.escape_debug())?;
                match self.likely_meant() {
                    Some(meant) => write!(f, ", perhaps `{meant}` is meant"),
                    None => Ok(()),
                }
            }
        }
    }
}

impl std::error::Error for VinError {}

/// The faults of one text, one after the other.
pub(super) fn write_joined(f: &mut fmt::Formatter<'_>, faults: &[impl fmt::Display]) -> fmt::Result {
    faults.iter().enumerate().try_for_each(|(i, fault)| {
        f.write_str(if i == 0 { "" } else { "; " })?;
        fault.fmt(f)
    })
}
