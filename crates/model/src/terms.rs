//! Closed vocabularies: one macro, so that every term has one spelling in files, messages and command lines.

use std::fmt;

/// A word that is not one of the terms of a closed vocabulary.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownTerm {
    /// The word that was given.
    pub found: String,
    /// What the vocabulary is called.
    pub vocabulary: &'static str,
    /// Every term of the vocabulary.
    pub known: &'static [&'static str],
}

impl fmt::Display for UnknownTerm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { found, vocabulary, known } = self;
        write!(f, "`{found}` is not a {vocabulary}; known are {}", known.join(", "))
    }
}

impl std::error::Error for UnknownTerm {}

/// Declares a closed vocabulary: an enum, `ALL`, `name()`, `FromStr`, serde and the JSON Schema, all from one list.
macro_rules! terms {
    ($(#[$doc:meta])* $name:ident ($what:literal) { $($(#[$vdoc:meta])* $variant:ident = $text:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
            schemars::JsonSchema)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $text)] $variant,)+
        }

        impl $name {
            /// Every term, in the order of the declaration.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];
            /// The spelling of every term, in the same order.
            pub const NAMES: &'static [&'static str] = &[$($text,)+];

            /// The one spelling of the term.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$variant => $text,)+
                }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.name())
            }
        }

        impl std::str::FromStr for $name {
            type Err = crate::terms::UnknownTerm;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                match text {
                    $($text => Ok(Self::$variant),)+
                    _ => Err(crate::terms::UnknownTerm {
                        found: text.to_owned(),
                        vocabulary: $what,
                        known: Self::NAMES,
                    }),
                }
            }
        }
    };
}
