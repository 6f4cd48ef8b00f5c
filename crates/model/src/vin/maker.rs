//! The world manufacturer code: ISO 3780 and 49 CFR 565.15(a). A code, never a name.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use super::error::write_joined;
use super::vin_byte;

/// Who made a vehicle, as a code: positions 1 to 3, and for a small maker positions 12 to 14 as well.
///
/// A 9 in position 3 always means that the code has six characters (49 CFR 565.15(a)). Written as three or six
/// characters in a row.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MakerCode {
    head: [u8; 3],
    /// Positions 12 to 14: there exactly when the head ends in [`SMALL_MAKER_MARK`].
    tail: Option<[u8; 3]>,
}

/// All that is wrong with the text of a maker code: at least one fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MakerCodeError {
    faults: Vec<MakerCodeFault>,
}

/// One thing that is wrong with the text of a maker code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MakerCodeFault {
    /// Neither three characters nor six.
    Length {
        /// How many there are.
        found: usize,
    },
    /// A character that no vehicle identification number has.
    Character {
        /// Which of the six, from one.
        place: usize,
        /// The character.
        found: char,
    },
    /// The third character is 9 and the three others of a small maker are missing.
    TailMissing,
    /// Six characters although the third is not 9.
    TailUncalledFor,
}

impl MakerCode {
    /// Takes the characters from a number.
    pub(super) const fn of(head: [u8; 3], tail: [u8; 3]) -> Self {
        let tail = if head[2] == SMALL_MAKER_MARK { Some(tail) } else { None };
        Self { head, tail }
    }

    /// Takes three or six characters.
    ///
    /// # Errors
    /// When they are not three, or six with a 9 in third place, or hold characters that no number has.
    pub fn parse(text: &str) -> Result<Self, MakerCodeError> {
        let characters: Vec<char> = text.chars().collect();
        let bytes: Vec<u8> = characters.iter().copied().filter_map(vin_byte).collect();
        match (MakerCodeError::of(&characters), bytes.as_slice()) {
            (None, [a, b, c]) => Ok(Self { head: [*a, *b, *c], tail: None }),
            (None, [a, b, c, l, m, n]) => Ok(Self { head: [*a, *b, *c], tail: Some([*l, *m, *n]) }),
            (None, _) => {
                Err(MakerCodeError { faults: vec![MakerCodeFault::Length { found: characters.len() }] })
            }
            (Some(error), _) => Err(error),
        }
    }

    /// Whether it is a small maker's code of six characters.
    #[must_use]
    pub const fn is_small_maker(self) -> bool {
        self.tail.is_some()
    }

    /// Whether the code is one of North America: the first character is 1 to 5, or the first two are 7F to 7Z or 70 to
    /// 79.
    ///
    /// 1 to 5 is ISO 3780's geographic area (from memory). The part of 7 was given to the United States later, when 1, 4
    /// and 5 ran short (from memory; borne out by the government's open list of makers, October 2026, which has some
    /// five hundred codes in that part and two in the rest of 7, where Oceania is). Vehicles with these codes are made
    /// under 49 CFR 565 like those with 1, 4 and 5.
    #[must_use]
    pub const fn is_north_american(self) -> bool {
        matches!(self.head, [b'1'..=b'5', ..] | [b'7', b'F'..=b'Z' | b'0'..=b'9', _])
    }
}

impl MakerCodeError {
    /// What is wrong.
    #[must_use]
    pub fn faults(&self) -> &[MakerCodeFault] {
        &self.faults
    }

    fn of(characters: &[char]) -> Option<Self> {
        let small = characters.get(2).is_some_and(|c| vin_byte(*c) == Some(SMALL_MAKER_MARK));
        let length = match (characters.len(), small) {
            (3, false) | (6, true) => None,
            (3, true) => Some(MakerCodeFault::TailMissing),
            (6, false) => Some(MakerCodeFault::TailUncalledFor),
            (found, _) => Some(MakerCodeFault::Length { found }),
        };
        let characters = (1..=6)
            .zip(characters.iter().copied())
            .filter(|(_, c)| vin_byte(*c).is_none())
            .map(|(place, found)| MakerCodeFault::Character { place, found });
        let faults: Vec<MakerCodeFault> = length.into_iter().chain(characters).collect();
        (!faults.is_empty()).then_some(Self { faults })
    }
}

impl FromStr for MakerCode {
    type Err = MakerCodeError;

    fn from_str(text: &str) -> Result<Self, MakerCodeError> {
        Self::parse(text)
    }
}

impl fmt::Display for MakerCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.head
            .iter()
            .chain(self.tail.iter().flatten())
            .try_for_each(|byte| write!(f, "{}", char::from(*byte)))
    }
}

impl fmt::Debug for MakerCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "MakerCode({self})")
    }
}

impl fmt::Display for MakerCodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_joined(f, &self.faults)
    }
}

impl fmt::Display for MakerCodeFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { found } => write!(f, "a maker code has 3 or 6 characters, this one has {found}"),
            Self::Character { place, found } => {
                write!(
                    f,
                    "`{}` at place {place} is not used in vehicle identification numbers",
                    found.escape_debug()
                )
            }
            Self::TailMissing => {
                f.write_str("a maker code with 9 in third place has 6 characters, this one has 3")
            }
            Self::TailUncalledFor => f.write_str("a maker code of 6 characters has 9 in third place"),
        }
    }
}

impl std::error::Error for MakerCodeError {}

impl Serialize for MakerCode {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for MakerCode {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&Cow::<str>::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl JsonSchema for MakerCode {
    fn schema_name() -> Cow<'static, str> {
        "MakerCode".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^([0-9A-HJ-NPR-Z]{2}[0-8A-HJ-NPR-Z]|[0-9A-HJ-NPR-Z]{2}9[0-9A-HJ-NPR-Z]{3})$",
        })
    }
}

/// What stands in position 3 of a small maker's number: ISO 3780 and 49 CFR 565.15(a).
pub(super) const SMALL_MAKER_MARK: u8 = b'9';
