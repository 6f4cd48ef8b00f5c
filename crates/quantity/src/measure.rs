//! Measured quantities: a finite number in a stated unit and a stated range.

use std::fmt;
use std::hash::{Hash, Hasher};

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// A number that is not finite, or outside the range that its unit allows here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// The value that was given.
    pub found: f64,
    /// The least value allowed.
    pub least: f64,
    /// The greatest value allowed.
    pub greatest: f64,
    /// The unit's symbol.
    pub unit: &'static str,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { found, least, greatest, unit } = self;
        write!(f, "`{found}` {unit} is outside {least} to {greatest} {unit}")
    }
}

impl std::error::Error for OutOfRange {}

/// Whole numbers are written without a decimal point, so that a person reads `182` and not `182.0`.
fn serialize_number<S: Serializer>(value: f64, serializer: S) -> Result<S::Ok, S::Error> {
    const LARGEST_PLAIN: f64 = 1e15;
    if value.fract() == 0.0 && value.abs() < LARGEST_PLAIN {
        #[expect(clippy::cast_possible_truncation, reason = "whole and below 1e15: exact as i64")]
        return serializer.serialize_i64(value as i64);
    }
    serializer.serialize_f64(value)
}

macro_rules! measure {
    ($(#[$doc:meta])* $name:ident, $unit:literal, $least:literal ..= $greatest:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug)]
        pub struct $name(f64);

        impl $name {
            /// The unit's symbol.
            pub const UNIT: &'static str = $unit;
            /// The least value allowed.
            pub const LEAST: f64 = $least;
            /// The greatest value allowed: far above anything the trade knows, so that only nonsense is refused.
            pub const GREATEST: f64 = $greatest;
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);

            /// Takes a number in the unit of the type.
            ///
            /// # Errors
            /// When the number is not finite or outside [`Self::LEAST`] to [`Self::GREATEST`].
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                if value.is_finite() && (Self::LEAST..=Self::GREATEST).contains(&value) {
                    // Adding zero turns -0.0 into 0.0, so that equal values have equal bits.
                    return Ok(Self(value + 0.0));
                }
                Err(OutOfRange { found: value, least: Self::LEAST, greatest: Self::GREATEST, unit: Self::UNIT })
            }

            /// Takes the nearest value allowed: what is computed may leave the range, and is then told as its end. Nothing of it for
            /// what is not a number.
            #[must_use]
            pub fn nearest(value: f64) -> Self {
                if value.is_nan() { Self::ZERO } else { Self(value.clamp(Self::LEAST, Self::GREATEST) + 0.0) }
            }

            /// The number, in the unit of the type.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl PartialEq for $name {
            fn eq(&self, other: &Self) -> bool {
                self.cmp(other).is_eq()
            }
        }

        impl Eq for $name {}

        impl PartialOrd for $name {
            fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
                Some(self.cmp(other))
            }
        }

        impl Ord for $name {
            fn cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl Hash for $name {
            fn hash<H: Hasher>(&self, state: &mut H) {
                self.0.to_bits().hash(state);
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                if $unit.is_empty() { write!(f, "{}", self.0) } else { write!(f, "{} {}", self.0, $unit) }
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serialize_number(self.0, serializer)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                Self::new(f64::deserialize(deserializer)?).map_err(D::Error::custom)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "number", "minimum": $least, "maximum": $greatest, "description": concat!("unit: ", $unit) })
            }
        }
    };
}

measure!(/// A length; never negative.
    Millimetres, "mm", 0.0..=10_000.0);
measure!(/// A coordinate on the dash face, from the opening's centre: x to the right, y up.
    Offset, "mm", -10_000.0..=10_000.0);
measure!(/// An electric current.
    Amperes, "A", 0.0..=1_000.0);
measure!(/// A small current, as drawn at rest.
    Milliamperes, "mA", 0.0..=100_000.0);
measure!(/// A voltage; direct unless its field says otherwise.
    Volts, "V", 0.0..=1_000.0);
measure!(/// A power; RMS where a field says so.
    Watts, "W", 0.0..=100_000.0);
measure!(/// A resistance or an impedance.
    Ohms, "Ω", 0.0..=10_000_000.0);
measure!(/// A frequency.
    Hertz, "Hz", 0.0..=1_000_000.0);
measure!(/// A working time.
    Minutes, "min", 0.0..=10_000.0);
measure!(/// The length of a cable.
    Metres, "m", 0.0..=200.0);
measure!(/// A temperature.
    Celsius, "°C", -60.0..=200.0);
measure!(/// An angle.
    Degrees, "°", -180.0..=180.0);
measure!(/// A share of a whole.
    Fraction, "", 0.0..=1.0);
measure!(/// How many times one thing is another.
    Factor, "", 0.0..=1_000.0);
measure!(/// An area on the dash face, also the sum of many.
    SquareMillimetres, "mm²", 0.0..=100_000_000_000.0);
measure!(/// A ratio of two voltages, as 20 times its decimal logarithm.
    Decibels, "dB", -300.0..=300.0);
measure!(/// A time at rest.
    Days, "d", 0.0..=100_000.0);
measure!(/// The charge that a battery holds.
    AmpereHours, "Ah", 0.0..=10_000.0);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_a_measure_is_refused_with_its_range() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -0.1, 10_000.1] {
            let refused = Millimetres::new(bad).unwrap_err();
            assert_eq!((refused.least, refused.greatest, refused.unit), (0.0, 10_000.0, "mm"));
        }
        assert_eq!(Volts::new(-1.0).unwrap_err().to_string(), "`-1` V is outside 0 to 1000 V",);
    }

    #[test]
    fn what_leaves_the_range_is_told_as_its_end() {
        let check = |value: f64, expected: f64| {
            let nearest = Offset::nearest(value);
            assert_eq!((nearest.get(), Ok(nearest)), (expected, Offset::new(expected)), "{value}");
        };
        check(12.5, 12.5);
        check(-0.0, 0.0);
        check(10_000.1, 10_000.0);
        check(f64::NEG_INFINITY, -10_000.0);
        check(f64::NAN, 0.0);
    }

    #[test]
    fn negative_zero_equals_zero_in_value_and_in_text() {
        let zero = Offset::new(-0.0).unwrap();
        assert_eq!(zero, Offset::new(0.0).unwrap());
        assert_eq!(serde_json::to_string(&zero).unwrap(), "0");
    }

    #[test]
    fn whole_numbers_are_written_without_a_point_and_others_exactly() {
        let check = |value: f64, text: &str| {
            let length = Millimetres::new(value).unwrap();
            assert_eq!(serde_json::to_string(&length).unwrap(), text);
            assert_eq!(serde_json::from_str::<Millimetres>(text).unwrap(), length);
        };
        check(182.0, "182");
        check(52.5, "52.5");
        check(0.1, "0.1");
    }

    #[test]
    fn a_number_too_large_for_a_float_is_refused_by_the_reader() {
        assert!(serde_json::from_str::<Amperes>("1e999").is_err());
        assert!(serde_json::from_str::<Amperes>("\"5\"").is_err());
    }
}
