//! What a record must satisfy beyond the form of its fields, and the type that says it does.

use std::fmt;
use std::ops::Deref;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, de::Error as _};

/// One thing that is wrong inside a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where: field names and indexes, joined by dots (`audio_options.1.code`).
    pub path: String,
    /// What.
    pub kind: FaultKind,
}

/// The ways in which a record can contradict itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// A list that must name something names nothing.
    EmptyList,
    /// More items than allowed.
    TooMany {
        /// How many there are.
        count: usize,
        /// How many are allowed.
        most: usize,
    },
    /// The same key stands twice in a list.
    Repeated {
        /// The key.
        key: String,
    },
    /// A lower bound above its upper bound.
    Backwards,
    /// A value that must be above zero.
    Zero,
    /// A field that another field's value makes necessary.
    MissingBeside {
        /// The field whose value asks for it.
        because: &'static str,
    },
    /// A field that another field's value makes meaningless.
    OutOfPlaceBeside {
        /// The field whose value rules it out.
        because: &'static str,
    },
    /// A number beyond a count that the record itself states.
    Beyond {
        /// The number.
        found: u32,
        /// The greatest number possible.
        most: u32,
    },
    /// A record that refers to itself.
    SelfReference,
    /// A question that asks for nothing.
    NothingAsked,
    /// A condition that holds for nothing or says nothing.
    SaysNothing,
    /// Two preferred leads, or two defaults, where there can be one.
    TwoPreferred {
        /// What both are preferred for.
        key: String,
    },
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::EmptyList => write!(f, "must name at least one"),
            Self::TooMany { count, most } => write!(f, "has {count} items, {most} are allowed"),
            Self::Repeated { key } => write!(f, "names `{key}` twice"),
            Self::Backwards => write!(f, "ends before it begins"),
            Self::Zero => write!(f, "must be above zero"),
            Self::MissingBeside { because } => write!(f, "is missing, though `{because}` asks for it"),
            Self::OutOfPlaceBeside { because } => write!(f, "has no meaning beside `{because}`"),
            Self::Beyond { found, most } => write!(f, "is `{found}`, at most {most} is possible here"),
            Self::SelfReference => write!(f, "refers to the record itself"),
            Self::NothingAsked => write!(f, "asks for nothing: say what is known of the vehicle"),
            Self::SaysNothing => write!(f, "says nothing: name a condition, or `ANY`"),
            Self::TwoPreferred { key } => write!(f, "has two preferred entries for `{key}`"),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` {}", self.path, self.kind)
    }
}

/// Everything that is wrong inside a record, in the order of its fields.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Adds a fault at a path.
    pub fn add(&mut self, path: impl Into<String>, kind: FaultKind) {
        self.0.push(Fault { path: path.into(), kind });
    }

    /// Adds a fault unless the condition holds.
    pub fn unless(&mut self, holds: bool, path: impl Into<String>, kind: FaultKind) {
        if !holds {
            self.add(path, kind);
        }
    }

    /// A list that must have 1 to `most` items.
    pub fn some<T>(&mut self, path: &str, items: &[T], most: usize) {
        self.unless(!items.is_empty(), path, FaultKind::EmptyList);
        self.at_most(path, items, most);
    }

    /// A list that may have up to `most` items.
    pub fn at_most<T>(&mut self, path: &str, items: &[T], most: usize) {
        self.unless(items.len() <= most, path, FaultKind::TooMany { count: items.len(), most });
    }

    /// Keys of a list that must differ.
    pub fn distinct<K: Ord + fmt::Display>(&mut self, path: &str, keys: impl IntoIterator<Item = K>) {
        let mut seen = std::collections::BTreeSet::new();
        for key in keys {
            if seen.contains(&key) {
                self.add(path, FaultKind::Repeated { key: key.to_string() });
            }
            seen.insert(key);
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.0.iter().enumerate() {
            let separator = if index == 0 { "" } else { "; " };
            write!(f, "{separator}{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// A type whose fields have to agree with each other.
pub trait Check {
    /// Adds everything that does not agree.
    fn check(&self, faults: &mut Faults);
}

/// A value that has passed its [`Check`]: there is no other way to make one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Valid<T>(T);

impl<T: Check> Valid<T> {
    /// Takes a value whose fields agree.
    ///
    /// # Errors
    /// Everything that does not agree, at once.
    pub fn new(value: T) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        value.check(&mut faults);
        if faults.0.is_empty() { Ok(Self(value)) } else { Err(faults) }
    }

    /// The value, to be changed and checked again.
    pub fn into_inner(self) -> T {
        self.0
    }
}

impl<T> Deref for Valid<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<'de, T: Check + Deserialize<'de>> Deserialize<'de> for Valid<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::new(T::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl<T: JsonSchema> JsonSchema for Valid<T> {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        T::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}
