//! What every check tells: how it came out, what went in, what was computed, what is to spare, and what was taken as given.

use dashwright_quantity::{
    AmpereHours, Amperes, Celsius, Days, Decibels, Degrees, Factor, Fraction, Metres, Milliamperes,
    Millimetres, Offset, Ohms, SquareMillimetres, Volts, Watts,
};

/// A check that computes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CheckKind {
    /// Whether the chassis and its plugs go in.
    Depth,
    /// Whether the chassis goes through, and what the face covers.
    Face,
    /// Where a floating screen may stand.
    Screen,
    /// Whether the circuit carries the radio.
    Supply,
    /// Whether the radio drives the speakers.
    SpeakerLoad,
    /// Whether the radio's output suits the factory amplifier.
    Level,
    /// How long the battery lasts at rest.
    Standby,
    /// Whether the radio tells the steering buttons apart.
    SteeringLadder,
}

/// How a check came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// It holds.
    Pass,
    /// Something about it has to be told or done; it keeps nothing from being used.
    Advise,
    /// It does not hold.
    Fail,
    /// Something that it needs is not known.
    NoData,
}

macro_rules! values {
    ($($name:ident),* $(,)?) => {
        /// A number with its unit.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Value {
            $(#[doc = concat!("In the unit of [`", stringify!($name), "`].")] $name($name),)*
            /// A whole number of things.
            Count(u32),
        }

        impl Value {
            /// The number, in [`Self::unit`].
            #[must_use]
            pub fn number(self) -> f64 {
                match self {
                    $(Self::$name(value) => value.get(),)*
                    Self::Count(count) => f64::from(count),
                }
            }

            /// The symbol of the unit; empty for shares, factors and counts.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self {
                    $(Self::$name(_) => $name::UNIT,)*
                    Self::Count(_) => "",
                }
            }
        }

        $(impl From<$name> for Value {
            fn from(value: $name) -> Self {
                Self::$name(value)
            }
        })*
    };
}

values!(
    Millimetres,
    Offset,
    SquareMillimetres,
    Metres,
    Amperes,
    Milliamperes,
    AmpereHours,
    Volts,
    Watts,
    Ohms,
    Decibels,
    Degrees,
    Celsius,
    Days,
    Fraction,
    Factor,
);

impl Value {
    /// A number of things; more than can be told is told as the most that can.
    #[must_use]
    pub fn count(things: usize) -> Self {
        Self::Count(u32::try_from(things).unwrap_or(u32::MAX))
    }
}

/// A number and what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figure {
    /// A short name that stays the same.
    pub name: &'static str,
    /// The number.
    pub value: Value,
}

impl Figure {
    /// A figure.
    #[must_use]
    pub fn new(name: &'static str, value: impl Into<Value>) -> Self {
        Self { name, value: value.into() }
    }
}

/// What is to spare, or what is short: most quantities can not be less than nothing, so that the direction stands beside the amount.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Margin {
    /// How much.
    pub amount: Figure,
    /// Whether so much is lacking; otherwise it is to spare. Nothing is never lacking.
    pub short: bool,
}

impl Margin {
    /// The number, positive when it is to spare and negative when it lacks, in the unit of the amount.
    #[must_use]
    pub fn signed(&self) -> f64 {
        let number = self.amount.value.number();
        if self.short { -number } else { number }
    }

    /// A margin from a number that is negative when it lacks.
    pub(crate) fn of<T: Into<Value>>(name: &'static str, spare: f64, measure: fn(f64) -> T) -> Self {
        Self { amount: Figure::new(name, measure(spare.abs())), short: spare < 0.0 }
    }
}

/// How a check came out, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckResult {
    /// The check.
    pub check: CheckKind,
    /// How it came out.
    pub outcome: Outcome,
    /// The name of the formula.
    pub formula: &'static str,
    /// What went in.
    pub inputs: Vec<Figure>,
    /// What was computed.
    pub results: Vec<Figure>,
    /// What is to spare against the limit that decides; nothing where it could not be computed.
    pub margin: Option<Margin>,
    /// The thresholds that were used.
    pub settings: Vec<Figure>,
    /// The names of the inputs that are not known. Where a check came out all the same, its documentation says why.
    pub missing: Vec<&'static str>,
}

impl CheckResult {
    /// A check that nothing is known of yet.
    pub(crate) fn begin(check: CheckKind, formula: &'static str) -> Self {
        Self {
            check,
            outcome: Outcome::NoData,
            formula,
            inputs: Vec::new(),
            results: Vec::new(),
            margin: None,
            settings: Vec::new(),
            missing: Vec::new(),
        }
    }

    /// Takes an input that may be missing, and writes down which.
    pub(crate) fn input<T: Copy + Into<Value>>(&mut self, name: &'static str, found: Option<T>) -> Option<T> {
        match found {
            Some(value) => self.inputs.push(Figure::new(name, value)),
            None => self.missing.push(name),
        }
        found
    }

    /// Writes down what was computed.
    pub(crate) fn result(&mut self, name: &'static str, value: impl Into<Value>) {
        self.results.push(Figure::new(name, value));
    }

    /// Writes down a threshold.
    pub(crate) fn setting<T: Copy + Into<Value>>(&mut self, name: &'static str, value: T) {
        self.settings.push(Figure::new(name, value));
    }
}

/// So much of a limit is no difference: sums and products of decimal fractions are not exact in binary, and 0.1 + 0.2 meets 0.3.
pub(crate) const EXACTNESS: f64 = 1e-9;

/// What is left of `have` when `need` is taken; nothing, and not a trace of it, where the two are equal but for binary.
pub(crate) fn spare(have: f64, need: f64) -> f64 {
    let left = have - need;
    if left.abs() <= EXACTNESS * have.abs().max(need.abs()).max(1.0) { 0.0 } else { left }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_equal_in_decimal_leaves_nothing() {
        let check = |have: f64, need: f64, left: f64| assert_eq!(spare(have, need), left, "{have} - {need}");
        check(0.1 + 0.2, 0.3, 0.0);
        check(0.3, 0.1 + 0.2, 0.0);
        check(180.0, 180.0, 0.0);
        check(180.5, 180.0, 0.5);
        check(180.0, 180.001, 180.0 - 180.001);
    }

    #[test]
    fn a_margin_tells_its_direction() {
        let spare = Margin::of("spare", 2.5, Millimetres::nearest);
        let short = Margin::of("spare", -2.5, Millimetres::nearest);
        assert_eq!((spare.signed(), short.signed()), (2.5, -2.5));
        assert!(!Margin::of("spare", 0.0, Millimetres::nearest).short);
        assert_eq!((spare.amount.value.unit(), Value::count(3).unit()), ("mm", ""));
        assert_eq!(Value::count(3).number(), 3.0);
    }
}
