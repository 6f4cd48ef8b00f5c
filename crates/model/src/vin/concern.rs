//! What is wrong with a number of the right form, and how much it matters.

use std::fmt;

use serde::Serialize;

use super::{CheckDigit, ModelYearBasis, Position7Rule, Vin};

/// Something that a number of the right form has wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "concern", rename_all = "snake_case")]
pub enum VinConcern {
    /// The check digit disagrees with the rest: likely a slip of the pen.
    CheckDigit {
        /// What stands in position 9.
        found: char,
        /// What should, if the rest is right.
        expected: char,
        /// Whether the maker code is North American, where the digit is the law: then it is an error, elsewhere a warning.
        required: bool,
    },
    /// Position 10 has no year code although the maker code is North American, where it must: an error. Elsewhere it is
    /// nothing to be concerned about.
    YearCode {
        /// What stands in position 10.
        found: char,
    },
    /// A letter where the serial number ends in digits: positions 14 to 17 (49 CFR 565.15(d)(3), ISO 3779, both from
    /// memory), 15 to 17 for a small maker, whose code takes position 14. A warning anywhere.
    SerialLetter {
        /// Where.
        position: usize,
        /// Which.
        found: char,
    },
}

impl VinConcern {
    /// Whether the number cannot be right; otherwise it is a warning.
    #[must_use]
    pub const fn is_error(self) -> bool {
        match self {
            Self::CheckDigit { required, .. } => required,
            Self::YearCode { .. } => true,
            Self::SerialLetter { .. } => false,
        }
    }
}

impl fmt::Display for VinConcern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CheckDigit { found, expected, required } => {
                let weight = if *required { "" } else { ", which not every market uses" };
                write!(
                    f,
                    "the check digit at position 9 is `{found}`, the other characters ask for `{expected}`{weight}"
                )
            }
            Self::YearCode { found } => write!(f, "`{found}` at position 10 is not a model year code"),
            Self::SerialLetter { position, found } => {
                write!(f, "`{found}` at position {position} stands where the serial number has digits")
            }
        }
    }
}

/// Judges a number.
pub(super) fn of(vin: &Vin) -> Vec<VinConcern> {
    let required = vin.check_digit_required();
    let check_digit = match vin.check_digit() {
        CheckDigit::Right => None,
        CheckDigit::Wrong { found, expected } => Some(VinConcern::CheckDigit { found, expected, required }),
    };
    let year_code = match vin.model_years(Position7Rule::MayNot).basis() {
        ModelYearBasis::NotAYearCode { found } if required => Some(VinConcern::YearCode { found }),
        ModelYearBasis::NotAYearCode { .. } | ModelYearBasis::Position7 | ModelYearBasis::BothCycles => None,
    };
    check_digit.into_iter().chain(year_code).chain(serial_letters(vin)).collect()
}

fn serial_letters(vin: &Vin) -> impl Iterator<Item = VinConcern> {
    let digits_from = if vin.maker_code().is_small_maker() { 15 } else { 14 };
    (1..=Vin::LENGTH)
        .zip(vin.as_str().chars())
        .filter(move |(position, found)| *position >= digits_from && !found.is_ascii_digit())
        .map(|(position, found)| VinConcern::SerialLetter { position, found })
}
