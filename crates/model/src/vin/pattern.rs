//! Patterns of vehicle identification numbers, as vehicle lines carry them.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

use super::error::write_joined;
use super::maker::SMALL_MAKER_MARK;
use super::{MakerCode, Vin, vin_byte};

/// Which numbers belong to a vehicle line: positions 1 to 8, 10 and 11, each a character or any.
///
/// Written like the number itself, so that every character stands at its own position: eight characters, a hyphen where
/// the check digit would be (it depends on the serial number and is never part of a pattern), and the characters of
/// positions 10 and 11. `?` is any character. `4KD?B5C2-H?` takes model year code H from any plant.
///
/// A small maker shares positions 1 to 3 with others and is told by positions 12 to 14, so a pattern with a 9 in
/// position 3 goes on with those three: `4K9?B5C2-H?123`. No other pattern does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VinPattern {
    /// Positions 1 to 8.
    head: [u8; 8],
    /// Positions 10 and 11.
    year_and_plant: [u8; 2],
    /// Positions 12 to 14: there exactly when position 3 is [`SMALL_MAKER_MARK`].
    maker_tail: Option<[u8; 3]>,
}

/// All that is wrong with the text of a pattern: at least one fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VinPatternError {
    faults: Vec<PatternFault>,
}

/// One thing that is wrong with the text of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PatternFault {
    /// Neither 11 characters nor 14.
    Length {
        /// How many there are.
        found: usize,
    },
    /// Not a hyphen at position 9.
    Separator {
        /// What stands there.
        found: char,
    },
    /// A character that neither is `?` nor stands in any number: small letters, I, O, Q and others.
    Character {
        /// Where, from one.
        position: usize,
        /// Which.
        found: char,
    },
    /// 9 at position 3 without positions 12 to 14: it would take other makers' vehicles too.
    MakerTailMissing,
    /// Positions 12 to 14 without 9 at position 3: they would be serial numbers.
    MakerTailUncalledFor,
    /// Nothing but `?`: it takes every number there is.
    NothingFixed,
}

impl VinPattern {
    /// Takes the text form, strictly: records are written one way only.
    ///
    /// # Errors
    /// When it has not the form that [`VinPattern`] describes: all that is wrong at once.
    pub fn parse(text: &str) -> Result<Self, VinPatternError> {
        let characters: Vec<char> = text.chars().collect();
        let bytes: Vec<u8> = characters.iter().copied().filter_map(pattern_byte).collect();
        match (VinPatternError::of(&characters), bytes.as_slice()) {
            (None, [a, b, c, d, e, f, g, h, j, k, tail @ ..]) => Ok(Self {
                head: [*a, *b, *c, *d, *e, *f, *g, *h],
                year_and_plant: [*j, *k],
                maker_tail: tail.try_into().ok(),
            }),
            (None, _) => {
                Err(VinPatternError { faults: vec![PatternFault::Length { found: characters.len() }] })
            }
            (Some(error), _) => Err(error),
        }
    }

    /// Whether a number belongs to the line. The check digit and the serial number do not matter.
    #[must_use]
    pub fn matches(&self, vin: &Vin) -> bool {
        let [head @ .., _, j, k, l, m, n, _, _, _] = &vin.0;
        agree(&self.head, head)
            && agree(&self.year_and_plant, &[*j, *k])
            && self.maker_tail.is_none_or(|tail| agree(&tail, &[*l, *m, *n]))
    }

    /// How many positions are fixed, 1 to 13: of two patterns that take a number, the one that fixes more says more.
    #[must_use]
    pub fn specificity(&self) -> usize {
        self.places().filter(|byte| *byte != ANY).count()
    }

    /// The maker code, to find patterns by; `None` where any of its characters is left open.
    #[must_use]
    pub fn maker_code(&self) -> Option<MakerCode> {
        let [a, b, c, ..] = self.head;
        let tail = self.maker_tail.unwrap_or_default();
        let open = [a, b, c].contains(&ANY) || tail.contains(&ANY);
        (!open).then(|| MakerCode::of([a, b, c], tail))
    }

    fn places(&self) -> impl Iterator<Item = u8> {
        self.head.into_iter().chain(self.year_and_plant).chain(self.maker_tail.into_iter().flatten())
    }
}

impl VinPatternError {
    /// What is wrong.
    #[must_use]
    pub fn faults(&self) -> &[PatternFault] {
        &self.faults
    }

    fn of(characters: &[char]) -> Option<Self> {
        let small = characters.get(2).is_some_and(|c| vin_byte(*c) == Some(SMALL_MAKER_MARK));
        let length = match (characters.len(), small) {
            (SHORT, false) | (LONG, true) => None,
            (SHORT, true) => Some(PatternFault::MakerTailMissing),
            (LONG, false) => Some(PatternFault::MakerTailUncalledFor),
            (found, _) => Some(PatternFault::Length { found }),
        };
        let wrong =
            (1..=LONG).zip(characters.iter().copied()).filter_map(|(position, found)| match position {
                SEPARATOR_POSITION => (found != SEPARATOR).then_some(PatternFault::Separator { found }),
                _ => pattern_byte(found).is_none().then_some(PatternFault::Character { position, found }),
            });
        let mut faults: Vec<PatternFault> = length.into_iter().chain(wrong).collect();
        if faults.is_empty() && characters.iter().all(|c| vin_byte(*c).is_none()) {
            faults.push(PatternFault::NothingFixed);
        }
        (!faults.is_empty()).then_some(Self { faults })
    }
}

impl FromStr for VinPattern {
    type Err = VinPatternError;

    fn from_str(text: &str) -> Result<Self, VinPatternError> {
        Self::parse(text)
    }
}

impl fmt::Display for VinPattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.places().enumerate().try_for_each(|(i, byte)| {
            let separator = if i == self.head.len() { "-" } else { "" };
            write!(f, "{separator}{}", char::from(byte))
        })
    }
}

impl fmt::Debug for VinPattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "VinPattern({self})")
    }
}

impl fmt::Display for VinPatternError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_joined(f, &self.faults)
    }
}

impl fmt::Display for PatternFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { found } => {
                write!(f, "a pattern has {SHORT} or {LONG} characters, this one has {found}")
            }
            Self::Separator { found } => {
                write!(f, "`{}` at position 9, where a pattern has `{SEPARATOR}`", found.escape_debug())
            }
            Self::Character { position, found } => {
                write!(
                    f,
                    "`{}` at position {position} is neither `?` nor used in these numbers",
                    found.escape_debug()
                )
            }
            Self::MakerTailMissing => f.write_str(
                "`9` at position 3 is a small maker's, whose pattern goes on with positions 12 to 14",
            ),
            Self::MakerTailUncalledFor => {
                f.write_str("positions 12 to 14 are only written after `9` at position 3, for a small maker")
            }
            Self::NothingFixed => f.write_str("the pattern takes every number there is"),
        }
    }
}

impl std::error::Error for VinPatternError {}

impl Serialize for VinPattern {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for VinPattern {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&Cow::<str>::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl JsonSchema for VinPattern {
    fn schema_name() -> Cow<'static, str> {
        "VinPattern".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^[0-9A-HJ-NPR-Z?]{8}-[0-9A-HJ-NPR-Z?]{2}([0-9A-HJ-NPR-Z?]{3})?$",
        })
    }
}

/// Whether every fixed character of a pattern is the number's.
fn agree(pattern: &[u8], vin: &[u8]) -> bool {
    pattern.iter().zip(vin).all(|(p, v)| *p == ANY || p == v)
}

/// The byte of a character that may stand in a pattern, the separator aside.
const fn pattern_byte(c: char) -> Option<u8> {
    if c == ANY as char { Some(ANY) } else { vin_byte(c) }
}

/// Any character.
const ANY: u8 = b'?';

/// What stands where the check digit would.
const SEPARATOR: char = '-';

/// The check digit's position.
const SEPARATOR_POSITION: usize = 9;

/// Positions 1 to 8, the separator, positions 10 and 11.
const SHORT: usize = 11;

/// The same and positions 12 to 14.
const LONG: usize = 14;
