//! Filters: what a statement leaves of a vehicle line.

use dashwright_model::record::vehicle::{Attribute, BuildWindow, DriveSide, Trims, WeightClass};
use dashwright_model::vin::{ModelYears, Position7Rule, Vin, YearCodeStanding};
use dashwright_quantity::{Label, ModelYear, YearMonth};

use super::answer::Stated;
use super::index::value_of;
use super::years::YearSet;
use crate::line::{Line, LineIx, OptionSet};

/// A statement, and what it asks of a line.
#[derive(Clone, Debug)]
pub(crate) struct Filter {
    pub(crate) stated: Stated,
    pub(crate) test: Test,
    /// Whether the attribute need not be asked again.
    pub(crate) settled: bool,
}

/// What is left of a line after some filters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Standing {
    pub(crate) line: LineIx,
    pub(crate) years: YearSet,
    /// A bit for each audio option.
    pub(crate) options: u16,
    pub(crate) likeness: u8,
}

/// A value as lines write it, and how much of what was typed agrees with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Likely {
    pub(crate) label: Label,
    pub(crate) likeness: u8,
}

/// What a statement asks of a line.
#[derive(Clone, Debug)]
pub(crate) enum Test {
    Year(ModelYear),
    /// Years by number, for a line whose weight class lets position 7 be read and for any other line.
    NumberYears {
        light: YearSet,
        other: YearSet,
    },
    Built(YearMonth),
    DriveSide(DriveSide),
    /// One of the values, or a line that takes every value.
    Value {
        attribute: Attribute,
        labels: Vec<Likely>,
    },
    Trim {
        labels: Vec<Likely>,
        /// Whether lines for all other trims stay although a line names the trim: a guess does not exclude them.
        keep_others: bool,
    },
    Option {
        labels: Vec<Likely>,
    },
    /// Any of these.
    Any(Vec<Test>),
}

impl Test {
    /// The years that a number leaves, unless they do not bind.
    pub(crate) fn number_years(vin: &Vin) -> Option<Self> {
        let years = |rule| vin.model_years(rule);
        let binds =
            |years: &ModelYears| years.standing() == YearCodeStanding::Required && !years.is_unknown();
        let set = |rule| years(rule).possible().iter().copied().collect();
        binds(&years(Position7Rule::MayNot)).then(|| Self::NumberYears {
            light: set(Position7Rule::MayBeUsed),
            other: set(Position7Rule::MayNot),
        })
    }

    /// Where in the order of filters the test stands. Trims come late: which trims "all others" are depends on the lines
    /// that everything else leaves.
    pub(crate) fn rank(&self) -> u8 {
        match self {
            Self::Year(_) => 0,
            Self::NumberYears { .. } => 1,
            Self::Built(_) => 2,
            Self::DriveSide(_) => 3,
            Self::Value { .. } => 4,
            Self::Trim { .. } => 5,
            Self::Option { .. } => 6,
            Self::Any(tests) => tests.iter().map(Self::rank).max().unwrap_or(0),
        }
    }

    /// What the test leaves of a line. `siblings` are the lines of the same model that the filters before leave.
    pub(crate) fn apply<'a, S>(&self, line: Seen<'a>, siblings: &dyn Fn() -> S) -> Option<Standing>
    where
        S: Iterator<Item = Seen<'a>>,
    {
        let standing = line.standing;
        match self {
            Self::Year(year) => standing.in_years([*year].into_iter().collect()),
            Self::NumberYears { light, other } => {
                let is_light = line.line.facts.weight_class == Some(WeightClass::Light);
                standing.in_years(if is_light { *light } else { *other })
            }
            Self::Built(month) => {
                line.line.facts.build.is_none_or(|window| window.contains(*month)).then_some(standing)
            }
            Self::DriveSide(side) => {
                line.line.facts.drive_side.is_none_or(|own| own == *side).then_some(standing)
            }
            Self::Value { attribute, labels } => match value_of(line.line, *attribute) {
                None => Some(standing),
                Some(own) => standing.as_likely(best(labels, |label| label == own)?),
            },
            Self::Trim { labels, keep_others } => match &*line.line.trims {
                Trims::All => Some(standing),
                Trims::These(own) => standing.as_likely(best(labels, |label| own.contains(label))?),
                Trims::AllOthers if *keep_others => Some(standing),
                Trims::AllOthers => standing.in_years(unnamed_years(&line, labels, siblings())),
            },
            Self::Option { labels } => standing.with_options(line.options, labels),
            Self::Any(tests) => {
                let left = tests.iter().filter_map(|test| test.apply(line, siblings));
                left.reduce(Standing::or)
            }
        }
    }
}

/// A line, and what the filters before left of it.
#[derive(Clone, Copy)]
pub(crate) struct Seen<'a> {
    pub(crate) line: &'a Line,
    pub(crate) options: &'a OptionSet,
    pub(crate) standing: Standing,
}

impl Standing {
    fn in_years(self, years: YearSet) -> Option<Self> {
        let years = self.years.and(years);
        (!years.is_empty()).then_some(Self { years, ..self })
    }

    #[expect(clippy::unnecessary_wraps, reason = "reads as one of the ways in which a test ends")]
    fn as_likely(self, likeness: u8) -> Option<Self> {
        Some(Self { likeness: self.likeness.min(likeness), ..self })
    }

    fn with_options(self, options: &OptionSet, labels: &[Likely]) -> Option<Self> {
        let (mut left, mut likeness) = (0, 0);
        for (option, number) in options.options.iter().zip(0_u32..) {
            let named = |label: &Label| *label == option.option.code || *label == option.option.title;
            if let Some(like) = best(labels, named) {
                left |= bit(number);
                likeness = likeness.max(like);
            }
        }
        let options = self.options & left;
        (options != 0).then_some(Self { options, ..self }).and_then(|left| left.as_likely(likeness))
    }

    fn or(self, other: Self) -> Self {
        Self {
            line: self.line,
            years: self.years.or(other.years),
            options: self.options | other.options,
            likeness: self.likeness.max(other.likeness),
        }
    }

    /// The audio options left, as indexes.
    pub(crate) fn option_numbers(&self) -> Vec<u16> {
        (0..16).filter(|number| self.options & bit(u32::from(*number)) != 0).collect()
    }
}

/// The bit of an audio option; a line has at most sixteen.
pub(crate) const fn bit(number: u32) -> u16 {
    if number < 16 { 1 << number } else { 0 }
}

/// The bits of so many audio options.
pub(crate) fn first_bits(count: usize) -> u16 {
    u32::try_from(count).ok().and_then(|count| 1_u16.checked_shl(count)).map_or(u16::MAX, |next| next - 1)
}

/// The likeness of the likest value that holds.
fn best(labels: &[Likely], holds: impl Fn(&Label) -> bool) -> Option<u8> {
    labels.iter().filter(|likely| holds(&likely.label)).map(|likely| likely.likeness).max()
}

/// The years in which no sibling that could be the same car names the trim.
fn unnamed_years<'a>(
    line: &Seen<'a>,
    labels: &[Likely],
    siblings: impl Iterator<Item = Seen<'a>>,
) -> YearSet {
    let naming = siblings.filter(|sibling| match &*sibling.line.trims {
        Trims::These(named) => best(labels, |label| named.contains(label)).is_some(),
        Trims::All | Trims::AllOthers => false,
    });
    let same_car = naming.filter(|sibling| could_be_one(line.line, sibling.line));
    same_car.fold(line.standing.years, |years, sibling| years.without(sibling.standing.years))
}

/// Whether one car could be of both lines, years and trims aside.
fn could_be_one(one: &Line, other: &Line) -> bool {
    let (one, other) = (&one.facts, &other.facts);
    let builds = match (&one.build, &other.build) {
        (Some(one), Some(other)) => BuildWindow::overlaps(one, other),
        _ => true,
    };
    builds
        && may_equal(one.market.as_ref(), other.market.as_ref())
        && may_equal(one.drive_side.as_ref(), other.drive_side.as_ref())
        && may_equal(one.body.as_ref(), other.body.as_ref())
        && may_equal(one.drivetrain.as_ref(), other.drivetrain.as_ref())
}

fn may_equal<T: PartialEq>(one: Option<&T>, other: Option<&T>) -> bool {
    one.is_none() || other.is_none() || one == other
}
