//! What identifying answers: candidates, what was matched to what, and the values that a candidate is compatible with.

use std::fmt;

use dashwright_model::record::vehicle::{Attribute, BuildWindow, DriveSide};
use dashwright_model::vin::{MakerCode, ModelYears, VinConcern, YearCodeStanding};
use dashwright_quantity::{Label, ModelYear, Prose};

use super::years::YearSet;
use crate::line::{LineIx, MakeIx, ModelIx};

/// The most candidates in an answer: as many as fit on a counter's screen after some scrolling. Who gets more has said
/// too little of the vehicle to be answered; the total is still given.
pub const MAX_CANDIDATES: usize = 200;

/// The vehicles that a question leaves possible: at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identified {
    /// The lines still possible, in the order of make, model, first year and id; at most [`MAX_CANDIDATES`].
    pub candidates: Vec<Candidate>,
    /// How many lines are possible, those that were cut off included.
    pub total: usize,
    /// What of the question was matched to what, in the order: number, attributes, free words.
    pub matched: Vec<Match>,
    /// Free words that mean nothing here. They narrowed nothing.
    pub unmatched: Vec<String>,
    /// Warnings about the vehicle identification number.
    pub concerns: Vec<VinConcern>,
    /// The model years still possible, and why.
    pub model_years: PossibleYears,
}

/// A vehicle line that is still possible.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The line.
    pub line: LineIx,
    /// The model years of the line that the question allows: at least one.
    pub years: YearSet,
    /// The audio options that the question allows, as indexes into the line's options: at least one.
    pub options: Vec<u16>,
    /// How much of what was typed agrees, in percent: 100, or the similarity of the worst misspelling on which this
    /// candidate rests. Candidates of a tie have their own.
    pub likeness: u8,
}

/// The model years still possible, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PossibleYears {
    /// Every year that some possible line and all that was stated allow.
    pub years: YearSet,
    /// The year that was stated, as an attribute or in words.
    pub stated: Option<ModelYear>,
    /// What the vehicle identification number says of the year.
    pub number: Option<NumberYears>,
}

/// What a vehicle identification number says of the model year.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NumberYears {
    /// The years, what they rest on, and whether they bind. Position 7 is read only where every possible line allows it.
    pub reading: ModelYears,
    /// Whether a year still possible agrees. A number that does not bind never excludes a year, so this may be false.
    pub agrees: bool,
}

/// Who stated something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// The vehicle identification number.
    Vin,
    /// An attribute of the question.
    Attribute,
    /// The free words of the question.
    Words,
}

/// Something that the question says of the vehicle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stated {
    /// Who stated it.
    pub source: Source,
    /// The attribute that it is about.
    pub attribute: Attribute,
    /// The value, as typed or as the number has it.
    pub value: String,
}

/// Something that was matched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Match {
    /// Who stated it.
    pub source: Source,
    /// The attribute that it was taken for; none for a number as a whole.
    pub attribute: Option<Attribute>,
    /// As typed.
    pub typed: String,
    /// What it was matched to, as the catalogue writes it; empty where it was matched to nothing.
    pub matched: String,
    /// By what.
    pub how: MatchKind,
}

/// By what a word was matched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatchKind {
    /// The same, but for case, accents and punctuation.
    Exact,
    /// Another name that the vocabulary gives.
    Alias,
    /// A phrase of the vocabulary.
    Phrase,
    /// A word out of an audio option's title.
    TitleWord,
    /// Likely meant. One match for each word that ties.
    Misspelt {
        /// How much of the longer word is right, in percent.
        similarity: u8,
    },
    /// No line names it, but there are lines for every other trim.
    OtherTrim,
    /// There is nothing to compare it with: some possible line stands for every value.
    Unchecked,
    /// A pattern of vehicle identification numbers.
    VinPattern {
        /// How many of its positions are fixed.
        fixed: usize,
    },
    /// No pattern knows the number; what else was stated identifies the vehicle.
    NoVinPattern {
        /// The maker code.
        maker: MakerCode,
    },
    /// The year code of the number.
    YearCode {
        /// Whether it binds.
        standing: YearCodeStanding,
    },
}

/// The values of an attribute that a candidate is compatible with.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answers {
    /// Every value.
    Every,
    /// These, in order.
    These(Vec<Answer>),
}

/// An answer to a question about an attribute.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    /// A model year.
    ModelYear(ModelYear),
    /// A make, with its name.
    Make(MakeIx, Label),
    /// A model, with its name.
    Model(ModelIx, Label),
    /// A trim.
    Trim(Label),
    /// A body or cab.
    Body(Label),
    /// A drivetrain.
    Drivetrain(Label),
    /// A drive side.
    DriveSide(DriveSide),
    /// A market.
    Market(Label),
    /// None of the trims, bodies, drivetrains or markets that are named.
    Another(Attribute),
    /// Built in a window.
    Built(Built),
    /// An audio option, by its code and title.
    AudioOption {
        /// The code.
        code: Label,
        /// The title.
        title: Label,
    },
}

/// A build window in the order of its months.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Built(pub BuildWindow);

/// The next open attribute and its values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choices {
    /// The attribute to ask for; none when nothing that could be asked tells the remaining lines and options apart.
    pub attribute: Option<Attribute>,
    /// Its values: years from the last to the first, months in order, the rest by name; "another …" last.
    pub choices: Vec<Choice>,
    /// How many lines remain.
    pub remaining: usize,
    /// What of the question was matched to what.
    pub matched: Vec<Match>,
    /// Free words that mean nothing here.
    pub unmatched: Vec<String>,
    /// Warnings about the vehicle identification number.
    pub concerns: Vec<VinConcern>,
}

/// A value to choose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The answer.
    pub answer: Answer,
    /// What to put into the question for it.
    pub value: String,
    /// What to show.
    pub title: String,
    /// How to tell, for the counter to read out.
    pub how_to_tell: Option<Prose>,
    /// How many lines remain with it.
    pub lines: usize,
}

impl Identified {
    /// Whether the question states an attribute so that it need not be asked again: with one meaning, without a guess.
    #[must_use]
    pub fn states(&self, attribute: Attribute) -> bool {
        let of_attribute = self.matched.iter().filter(|found| found.attribute == Some(attribute));
        // A year code is no statement of the caller's.
        let mut stated =
            of_attribute.filter(|found| !matches!(found.how, MatchKind::YearCode { .. })).peekable();
        let guessed = |found: &Match| matches!(found.how, MatchKind::Misspelt { .. });
        stated.peek().is_some() && stated.all(|found| !guessed(found))
    }
}

impl Answer {
    /// The attribute that it is about.
    #[must_use]
    pub const fn attribute(&self) -> Attribute {
        match self {
            Self::ModelYear(_) => Attribute::ModelYear,
            Self::Make(..) => Attribute::Make,
            Self::Model(..) => Attribute::Model,
            Self::Trim(_) => Attribute::Trim,
            Self::Body(_) => Attribute::Body,
            Self::Drivetrain(_) => Attribute::Drivetrain,
            Self::DriveSide(_) => Attribute::DriveSide,
            Self::Market(_) => Attribute::Market,
            Self::Another(attribute) => *attribute,
            Self::Built(_) => Attribute::BuildMonth,
            Self::AudioOption { .. } => Attribute::AudioOption,
        }
    }

    /// What to put into the question for it.
    #[must_use]
    pub fn value(&self) -> String {
        match self {
            Self::Built(Built(BuildWindow { from, to })) => {
                to.or(*from).map_or_else(String::new, |month| month.to_string())
            }
            Self::AudioOption { code, .. } => code.to_string(),
            Self::Another(attribute) => another(*attribute).to_owned(),
            answer => answer.to_string(),
        }
    }
}

/// How a person says that it is none of the values that are named.
#[must_use]
pub const fn another(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::Trim => "another trim",
        Attribute::Body => "another body",
        Attribute::Drivetrain => "another drivetrain",
        Attribute::Market => "another market",
        _ => "another",
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ModelYear(year) => write!(f, "{year}"),
            Self::Make(_, label)
            | Self::Model(_, label)
            | Self::Trim(label)
            | Self::Body(label)
            | Self::Drivetrain(label)
            | Self::Market(label)
            | Self::AudioOption { title: label, .. } => write!(f, "{label}"),
            Self::DriveSide(side) => write!(f, "{side}"),
            Self::Another(attribute) => f.write_str(another(*attribute)),
            Self::Built(Built(window)) => write!(f, "{window}"),
        }
    }
}

impl Ord for Built {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        // No end is later than every end.
        let key = |Self(window): &Self| (window.from, window.to.is_none(), window.to);
        key(self).cmp(&key(other))
    }
}

impl PartialOrd for Built {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Vin => "the vehicle identification number",
            Self::Attribute => "the question",
            Self::Words => "the free words",
        })
    }
}
