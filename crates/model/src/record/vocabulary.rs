//! Vocabulary: makes, brands, plug families and names, with the aliases that people use.

use dashwright_quantity::{Label, Prose, TermId};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::function::Function;

/// The most aliases of one term.
pub const MAX_ALIASES: usize = 60;

/// A vocabulary term.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Term {
    /// The id of the term.
    pub id: TermId,
    /// What the term names.
    pub of: TermKind,
    /// The name, as it is written.
    pub name: Label,
    /// Other words that people use for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub aliases: Vec<Label>,
    /// What it is, for a person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub description: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

/// What a term names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum TermKind {
    /// A make of vehicles.
    #[serde(rename = "MAKE")]
    Make,
    /// A model; the name is written as vehicle lines write it.
    #[serde(rename = "MODEL")]
    Model {
        /// The make.
        make: TermId,
    },
    /// A brand of radios or parts.
    #[serde(rename = "BRAND")]
    Brand,
    /// A family of plugs that mate with each other.
    #[serde(rename = "PLUG_FAMILY")]
    PlugFamily {
        /// The standard whose contact numbers name the ways, where there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        standard: Option<Label>,
    },
    /// A name that the shop has for a function of a wire.
    #[serde(rename = "SIGNAL")]
    Signal {
        /// The function.
        function: Function,
    },
    /// Words that describe an audio option, a body or a trim in free text ("big speakers").
    #[serde(rename = "PHRASE")]
    Phrase {
        /// What the phrase stands for, as vehicle lines write it.
        stands_for: Label,
    },
}

impl TermKind {
    /// The spelling of the kind, without its fields.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Make => "MAKE",
            Self::Model { .. } => "MODEL",
            Self::Brand => "BRAND",
            Self::PlugFamily { .. } => "PLUG_FAMILY",
            Self::Signal { .. } => "SIGNAL",
            Self::Phrase { .. } => "PHRASE",
        }
    }
}

impl Check for Term {
    fn check(&self, faults: &mut Faults) {
        faults.at_most("aliases", &self.aliases, MAX_ALIASES);
        faults.distinct("aliases", &self.aliases);
        let own_name = self.aliases.contains(&self.name);
        faults.unless(!own_name, "aliases", FaultKind::Repeated { key: self.name.to_string() });
    }
}

impl Term {
    pub(crate) fn references(&self, references: &mut References) {
        if let TermKind::Model { make } = &self.of {
            references.add("of.make", RecordKind::Vocabulary, make.as_str());
        }
    }
}
