//! The vehicle identification number: what it says by itself, without any catalogue.
//!
//! Form after ISO 3779, maker codes after ISO 3780, check digit and model year after 49 CFR 565.15. The ISO texts were not
//! at hand: what is said of them is from memory. Of 49 CFR 565.15, paragraphs (a) to (c) with the sample calculation were
//! read in reprints, as was the agency's ground for the position 7 rule (73 FR 23367, 30 April 2008); paragraph (d) with
//! the table of year codes is from memory, and agrees with published charts of the codes.
//!
//! Nothing here knows a clock: which of two years thirty apart is meant is never guessed from today's date.

mod check_digit;
mod concern;
mod error;
mod maker;
mod model_year;
mod pattern;

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

pub use check_digit::CheckDigit;
pub use concern::VinConcern;
pub use error::{VinError, VinFault};
pub use maker::{MakerCode, MakerCodeError, MakerCodeFault};
pub use model_year::{ModelYearBasis, ModelYears, Position7Rule, YearCodeStanding};
pub use pattern::{PatternFault, VinPattern, VinPatternError};

/// A vehicle identification number of the right form.
///
/// The right form is no promise that such a vehicle exists: see [`Vin::concerns`] for what is wrong beyond the form.
/// That the serial number ends in digits (ISO 3779) is a concern, not the form: how many digits depends on the vehicle.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Vin([u8; Self::LENGTH]);

impl Vin {
    /// How many characters a number has: ISO 3779 and 49 CFR 565.13(b).
    pub const LENGTH: usize = 17;

    /// Takes a number as a person types it.
    ///
    /// White space and hyphens of any kind are left out wherever they stand, and the letters a to z are raised;
    /// nothing else is changed, and I, O and Q are refused, not repaired. The positions in the error are those of the
    /// number so tidied, counted from one.
    ///
    /// # Errors
    /// When it is empty, has not 17 characters, or has characters other than digits and the letters without I, O and Q:
    /// all that is wrong at once.
    pub fn parse(text: &str) -> Result<Self, VinError> {
        let tidy: Vec<char> =
            text.chars().filter(|c| !is_spacing(*c)).map(|c| c.to_ascii_uppercase()).collect();
        let mut vin = [0; Self::LENGTH];
        for (place, byte) in vin.iter_mut().zip(tidy.iter().copied().filter_map(vin_byte)) {
            *place = byte;
        }
        match VinError::of(&tidy) {
            Some(error) => Err(error),
            None => Ok(Self(vin)),
        }
    }

    /// The 17 characters.
    #[must_use]
    pub fn as_str(&self) -> &str {
        as_text(&self.0)
    }

    /// Whose number it is: see [`MakerCode`].
    #[must_use]
    pub fn maker_code(&self) -> MakerCode {
        let [a, b, c, .., l, m, n, _, _, _] = self.0;
        MakerCode::of([a, b, c], [l, m, n])
    }

    /// Whether the check digit agrees with the other sixteen characters.
    #[must_use]
    pub fn check_digit(&self) -> CheckDigit {
        check_digit::verdict(&self.0)
    }

    /// Whether a wrong check digit is an error (North American maker codes) or only worth a warning: elsewhere ISO 3779
    /// leaves position 9 to the maker.
    ///
    /// A vehicle built elsewhere for the United States carries the digit too, but the number alone does not say where it
    /// was sold.
    #[must_use]
    pub fn check_digit_required(&self) -> bool {
        self.maker_code().is_north_american()
    }

    /// The model years that the number leaves possible.
    #[must_use]
    pub fn model_years(&self, rule: Position7Rule) -> ModelYears {
        model_year::read(&self.0, self.maker_code().is_north_american(), rule)
    }

    /// What is wrong with a number of the right form, by what matters most; empty for most numbers.
    #[must_use]
    pub fn concerns(&self) -> Vec<VinConcern> {
        concern::of(self)
    }
}

impl FromStr for Vin {
    type Err = VinError;

    fn from_str(text: &str) -> Result<Self, VinError> {
        Self::parse(text)
    }
}

impl fmt::Display for Vin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Debug for Vin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Vin({self})")
    }
}

impl Serialize for Vin {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Vin {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&Cow::<str>::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl JsonSchema for Vin {
    fn schema_name() -> Cow<'static, str> {
        "Vin".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9A-HJ-NPR-Z]{17}$" })
    }
}

/// The byte of a character that may stand in a number: ISO 3779 and 49 CFR 565.13(g).
const fn vin_byte(c: char) -> Option<u8> {
    match c {
        '0'..='9' | 'A'..='H' | 'J'..='N' | 'P' | 'R'..='Z' => Some(c as u8),
        _ => None,
    }
}

/// What people put between the groups of a number: white space, and hyphens and dashes as keyboards and word processors
/// make them.
const fn is_spacing(c: char) -> bool {
    c.is_whitespace()
        || matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{00ad}' | '\u{200b}' | '\u{feff}')
}

/// The text of bytes that all came from [`vin_byte`], so that the fallback never comes about.
fn as_text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests;
