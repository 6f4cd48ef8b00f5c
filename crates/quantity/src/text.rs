//! Bounded texts: a label on one line, and a sentence or two for a person to read.

use std::fmt;
use std::sync::Arc;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, de::Error as _};

/// The longest label: it has to fit into a table cell on a counter's screen.
pub const MAX_LABEL_CHARS: usize = 120;
/// The longest prose: a paragraph that a person reads out, not a document.
pub const MAX_PROSE_CHARS: usize = 1_000;

/// What is wrong with a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextError {
    /// Nothing, or only white space.
    Empty,
    /// Longer than allowed.
    TooLong {
        /// How many characters were given.
        chars: usize,
        /// How many are allowed.
        most: usize,
    },
    /// A control character (a line break in a label counts as one).
    Control {
        /// The place of the character, counted from 1.
        position: usize,
    },
    /// White space at an end, which nobody sees and every comparison trips over.
    Untrimmed,
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the text is empty"),
            Self::TooLong { chars, most } => write!(f, "the text has {chars} characters, {most} are allowed"),
            Self::Control { position } => {
                write!(f, "character {position} of the text is a control character")
            }
            Self::Untrimmed => write!(f, "the text begins or ends with white space"),
        }
    }
}

impl std::error::Error for TextError {}

fn checked(text: &str, most: usize, line_breaks: bool) -> Result<Arc<str>, TextError> {
    if text.trim().is_empty() {
        return Err(TextError::Empty);
    }
    if text.trim() != text {
        return Err(TextError::Untrimmed);
    }
    let chars = text.chars().count();
    if chars > most {
        return Err(TextError::TooLong { chars, most });
    }
    match text.chars().position(|c| c.is_control() && !(line_breaks && c == '\n')) {
        Some(index) => Err(TextError::Control { position: index + 1 }),
        None => Ok(text.into()),
    }
}

macro_rules! text {
    ($(#[$doc:meta])* $name:ident, $most:expr, line_breaks: $breaks:literal) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(transparent)]
        pub struct $name(Arc<str>);

        impl $name {
            /// Takes a text of the allowed length without control characters.
            ///
            /// # Errors
            /// When the text is empty, too long, untrimmed, or holds a control character.
            pub fn new(text: &str) -> Result<Self, TextError> {
                checked(text, $most, $breaks).map(Self)
            }

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
                Self::new(&text).map_err(D::Error::custom)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "string", "minLength": 1, "maxLength": $most })
            }
        }
    };
}

text!(/// A name, a title or a code: one line.
    Label, MAX_LABEL_CHARS, line_breaks: false);
text!(/// A sentence or a short paragraph for a person.
    Prose, MAX_PROSE_CHARS, line_breaks: true);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_keep_to_their_form() {
        assert_eq!(Label::new(""), Err(TextError::Empty));
        assert_eq!(Label::new(" \t"), Err(TextError::Empty));
        assert_eq!(Label::new(" a"), Err(TextError::Untrimmed));
        assert_eq!(Label::new("a\nb"), Err(TextError::Control { position: 2 }));
        assert_eq!(Label::new(&"ä".repeat(121)), Err(TextError::TooLong { chars: 121, most: 120 }));
        assert!(Label::new(&"ä".repeat(120)).is_ok());
        assert!(Prose::new("a\nb").is_ok());
        assert!(Prose::new("a\u{0}b").is_err());
    }
}
