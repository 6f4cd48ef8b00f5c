//! The seven kinds of record and what they have in common: a key, evidence, and references to each other.

pub mod audio;
pub mod dash;
pub mod golden;
mod job;
pub mod part;
pub mod radio;
mod remove;
mod rename;
pub mod setting;
pub mod vehicle;
pub mod vocabulary;

use std::fmt;
use std::str::FromStr;

use dashwright_quantity::IdError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::check::Valid;
use crate::evidence::Evidence;
use crate::terms::UnknownTerm;

pub use audio::FactoryAudio;
pub use dash::Dash;
pub use golden::GoldenQuestion;
pub use part::Part;
pub use radio::Radio;
pub use vehicle::Vehicle;
pub use vocabulary::Term;

terms! {
    /// The kinds of record.
    RecordKind ("kind of record") {
        /// A make, a brand, a plug family, a name.
        Vocabulary = "vocabulary",
        /// What the driver sees: opening, surroundings, how it comes apart.
        Dash = "dash",
        /// What is behind it: plugs, circuits, amplifier, features.
        FactoryAudio = "factory_audio",
        /// An aftermarket radio.
        Radio = "radio",
        /// An adapter of any kind.
        Part = "part",
        /// A vehicle line.
        Vehicle = "vehicle",
        /// A question, and the answer that a person found right.
        GoldenQuestion = "golden_question",
    }
}

/// A record of the catalogue, written as one JSON object with the kind as its only key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Record {
    /// A make, a brand, a plug family, a name.
    Vocabulary(Valid<Term>),
    /// What the driver sees.
    Dash(Valid<Dash>),
    /// What is behind it.
    FactoryAudio(Valid<FactoryAudio>),
    /// An aftermarket radio.
    Radio(Valid<Radio>),
    /// An adapter of any kind.
    Part(Valid<Part>),
    /// A vehicle line.
    Vehicle(Valid<Vehicle>),
    /// A question, and the answer that a person found right.
    GoldenQuestion(Valid<GoldenQuestion>),
}

/// Which record: its kind and its id, written `part/kit-7`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordKey {
    /// The kind.
    pub kind: RecordKind,
    /// The id; valid for its kind.
    pub id: dashwright_quantity::TermId,
}

/// A record that another one names, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// The field that names it.
    pub path: String,
    /// The record that is named.
    pub target: RecordKey,
}

impl Record {
    /// The kind of the record.
    #[must_use]
    pub const fn kind(&self) -> RecordKind {
        match self {
            Self::Vocabulary(_) => RecordKind::Vocabulary,
            Self::Dash(_) => RecordKind::Dash,
            Self::FactoryAudio(_) => RecordKind::FactoryAudio,
            Self::Radio(_) => RecordKind::Radio,
            Self::Part(_) => RecordKind::Part,
            Self::Vehicle(_) => RecordKind::Vehicle,
            Self::GoldenQuestion(_) => RecordKind::GoldenQuestion,
        }
    }

    /// The id of the record, within its kind.
    #[must_use]
    pub fn id(&self) -> &str {
        match self {
            Self::Vocabulary(term) => term.id.as_str(),
            Self::Dash(dash) => dash.id.as_str(),
            Self::FactoryAudio(audio) => audio.id.as_str(),
            Self::Radio(radio) => radio.id.as_str(),
            Self::Part(part) => part.id.as_str(),
            Self::Vehicle(vehicle) => vehicle.id.as_str(),
            Self::GoldenQuestion(question) => question.id.as_str(),
        }
    }

    /// The key of the record.
    ///
    /// # Errors
    /// Never for a record that exists: ids of every kind have one form.
    pub fn key(&self) -> Result<RecordKey, IdError> {
        Ok(RecordKey { kind: self.kind(), id: self.id().parse()? })
    }

    /// What the record rests on.
    #[must_use]
    pub fn evidence(&self) -> &Evidence {
        match self {
            Self::Vocabulary(term) => &term.evidence,
            Self::Dash(dash) => &dash.evidence,
            Self::FactoryAudio(audio) => &audio.evidence,
            Self::Radio(radio) => &radio.evidence,
            Self::Part(part) => &part.evidence,
            Self::Vehicle(vehicle) => &vehicle.evidence,
            Self::GoldenQuestion(question) => &question.evidence,
        }
    }

    /// What a person calls the record.
    #[must_use]
    pub fn title(&self) -> String {
        match self {
            Self::Vocabulary(term) => term.name.to_string(),
            Self::Dash(dash) => dash.title.to_string(),
            Self::FactoryAudio(audio) => audio.title.to_string(),
            Self::Radio(radio) => format!("{} {}", radio.brand, radio.model),
            Self::Part(part) => format!("{} {}", part.number, part.title),
            Self::Vehicle(vehicle) => format!("{} {} {}", vehicle.years, vehicle.make, vehicle.model),
            Self::GoldenQuestion(question) => question.title.to_string(),
        }
    }

    /// Every record that this one names.
    #[must_use]
    pub fn references(&self) -> Vec<Reference> {
        References::of(|references| match self {
            Self::Vocabulary(term) => term.references(references),
            Self::Dash(_) => {}
            Self::FactoryAudio(audio) => audio.references(references),
            Self::Radio(radio) => radio.references(references),
            Self::Part(part) => part.references(references),
            Self::Vehicle(vehicle) => vehicle.references(references),
            Self::GoldenQuestion(question) => question.references(references),
        })
    }
}

/// Collects references.
#[derive(Debug)]
pub struct References(Vec<Reference>);

impl References {
    /// Those that are collected.
    #[must_use]
    pub fn of(collect: impl FnOnce(&mut Self)) -> Vec<Reference> {
        let mut references = Self(Vec::new());
        collect(&mut references);
        references.0
    }

    pub(crate) fn add(&mut self, path: impl Into<String>, kind: RecordKind, id: &str) {
        // Ids of all kinds have one form, so an id that exists is an id here too.
        if let Ok(id) = id.parse() {
            self.0.push(Reference { path: path.into(), target: RecordKey { kind, id } });
        }
    }
}

impl fmt::Display for RecordKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.kind, self.id)
    }
}

/// What is wrong with the text of a record key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum KeyError {
    /// Not a kind and an id with a `/` between.
    Form {
        /// The text that was given.
        found: String,
    },
    /// The part before the `/` is not a kind.
    Kind(UnknownTerm),
    /// The part behind the `/` is not an id.
    Id(IdError),
}

impl fmt::Display for KeyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form { found } => write!(f, "`{found}` is not a record key like `part/kit-7`"),
            Self::Kind(unknown) => write!(f, "{unknown}"),
            Self::Id(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for KeyError {}

impl FromStr for RecordKey {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let (kind, id) = text.split_once('/').ok_or_else(|| KeyError::Form { found: text.to_owned() })?;
        Ok(Self { kind: kind.parse().map_err(KeyError::Kind)?, id: id.parse().map_err(KeyError::Id)? })
    }
}
