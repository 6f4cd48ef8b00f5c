//! Typed ids: an id of one kind of record can not stand where another kind is meant.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, de::Error as _};

/// The longest id: long enough for a readable one, short enough for a key in every index.
pub const MAX_ID_BYTES: usize = 64;

/// What is wrong with an id.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IdError {
    /// Nothing was given.
    Empty,
    /// Longer than [`MAX_ID_BYTES`].
    TooLong {
        /// How many bytes were given.
        bytes: usize,
    },
    /// A character that is not a lower-case letter, a digit, `-` or `.`.
    Character {
        /// The place of the character, counted from 1.
        position: usize,
        /// The character.
        found: char,
    },
    /// `-` or `.` at an end.
    Edge,
}

impl fmt::Display for IdError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the id is empty"),
            Self::TooLong { bytes } => write!(f, "the id has {bytes} bytes, {MAX_ID_BYTES} are allowed"),
            Self::Character { position, found } => write!(
                f,
                "character {position} of the id, `{}`, is not one of a-z, 0-9, `-` and `.`",
                found.escape_default()
            ),
            Self::Edge => write!(f, "an id begins and ends with a letter or a digit"),
        }
    }
}

impl std::error::Error for IdError {}

fn check(text: &str) -> Result<(), IdError> {
    if text.is_empty() {
        return Err(IdError::Empty);
    }
    if text.len() > MAX_ID_BYTES {
        return Err(IdError::TooLong { bytes: text.len() });
    }
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '.';
    if let Some((index, found)) = text.chars().enumerate().find(|(_, c)| !allowed(*c)) {
        return Err(IdError::Character { position: index + 1, found });
    }
    if text.starts_with(['-', '.']) || text.ends_with(['-', '.']) {
        return Err(IdError::Edge);
    }
    Ok(())
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(transparent)]
        pub struct $name(Arc<str>);

        impl $name {
            /// The text of the id.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }

            /// The same id without its kind: ids of all kinds have one form.
            #[must_use]
            pub fn as_term(&self) -> TermId {
                TermId(Arc::clone(&self.0))
            }
        }

        impl FromStr for $name {
            type Err = IdError;

            fn from_str(text: &str) -> Result<Self, IdError> {
                check(text).map(|()| Self(text.into()))
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<$name> for Arc<str> {
            fn from(id: $name) -> Self {
                id.0
            }
        }

        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
                text.parse().map_err(D::Error::custom)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({
                    "type": "string",
                    "maxLength": MAX_ID_BYTES,
                    "pattern": "^[a-z0-9]([a-z0-9.-]*[a-z0-9])?$",
                })
            }
        }
    };
}

id!(/// The id of a vehicle line.
    VehicleId);
id!(/// The id of a dash.
    DashId);
id!(/// The id of a factory audio system.
    AudioId);
id!(/// The id of an aftermarket radio.
    RadioId);
id!(/// The id of a part.
    PartId);
id!(/// The id of a golden question.
    GoldenId);
id!(/// The id of a vocabulary term: a make, a brand, a plug family, a name.
    TermId);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_keep_to_their_form() {
        let refused = |text: &str| text.parse::<PartId>().unwrap_err();
        assert_eq!(refused(""), IdError::Empty);
        assert_eq!(refused("Abc"), IdError::Character { position: 1, found: 'A' });
        assert_eq!(refused("a b"), IdError::Character { position: 2, found: ' ' });
        assert_eq!(refused("-a"), IdError::Edge);
        assert_eq!(refused("a."), IdError::Edge);
        assert_eq!(refused(&"a".repeat(65)), IdError::TooLong { bytes: 65 });
        assert_eq!("kit-7.2".parse::<PartId>().unwrap().as_str(), "kit-7.2");
    }
}
