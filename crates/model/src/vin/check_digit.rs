//! The check digit in position 9: 49 CFR 565.15(c), tables III to VI.

use serde::Serialize;

use super::Vin;

/// What the other sixteen characters say about position 9.
///
/// A changed character goes unnoticed exactly when both stand for the same number (1, A and J; 2, B, K and S; …): the
/// modulus is prime, no weight is a multiple of it, and the numbers differ by less than it. The same holds for two
/// neighbours exchanged, position 9 aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum CheckDigit {
    /// It agrees.
    Right,
    /// It does not, or is no check digit at all.
    Wrong {
        /// What stands in position 9.
        found: char,
        /// What should, if all other characters are right: a digit or X.
        expected: char,
    },
}

impl CheckDigit {
    /// Whether it agrees.
    #[must_use]
    pub const fn is_right(self) -> bool {
        matches!(self, Self::Right)
    }
}

/// Compares position 9 with the others.
pub(super) fn verdict(vin: &[u8; Vin::LENGTH]) -> CheckDigit {
    let found = char::from(vin[8]);
    let expected = expected(vin);
    if found == expected { CheckDigit::Right } else { CheckDigit::Wrong { found, expected } }
}

/// The check digit that the other sixteen characters ask for: the weighted sum's remainder by 11, ten written as X.
fn expected(vin: &[u8; Vin::LENGTH]) -> char {
    let sum: u32 = vin.iter().zip(WEIGHTS).map(|(byte, weight)| assigned_value(*byte) * weight).sum();
    char::from_digit(sum % MODULUS, 10).unwrap_or('X')
}

/// 49 CFR 565.15(c)(3).
const MODULUS: u32 = 11;

/// 49 CFR 565.15(c)(2), table IV; position 9 itself weighs nothing.
const WEIGHTS: [u32; Vin::LENGTH] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// 49 CFR 565.15(c)(1), table III. Bytes that cannot be in a [`Vin`] count nothing.
const fn assigned_value(byte: u8) -> u32 {
    match byte {
        b'1' | b'A' | b'J' => 1,
        b'2' | b'B' | b'K' | b'S' => 2,
        b'3' | b'C' | b'L' | b'T' => 3,
        b'4' | b'D' | b'M' | b'U' => 4,
        b'5' | b'E' | b'N' | b'V' => 5,
        b'6' | b'F' | b'W' => 6,
        b'7' | b'G' | b'P' | b'X' => 7,
        b'8' | b'H' | b'Y' => 8,
        b'9' | b'R' | b'Z' => 9,
        _ => 0,
    }
}
