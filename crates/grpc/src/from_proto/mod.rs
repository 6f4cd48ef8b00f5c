//! From messages to questions: free functions named by the noun. A field's error has its path, and all come at once.

mod bulk;
mod change;
mod exchange;
mod feed;
mod key;
mod order;
mod outcome;
mod read_at;
mod rules;
mod sheet;
mod vehicle;

use std::fmt;

use dashwright_engine::TokenError;
use dashwright_model::Need;
use dashwright_model::exchange::ExchangeError;
use dashwright_model::record::RecordKind;
use dashwright_model::vin::VinError;
use dashwright_quantity::{DateError, IdError, MAX_ID_BYTES, MoneyError, OutOfRange, TextError};

pub(crate) use bulk::bulk_edit;
pub(crate) use change::{
    change, change_without_reason, draft_id, draft_id_in, edits, filter, new_key, reason_of, record_key_text,
    revert, revision_number,
};
pub(crate) use exchange::{ImportOrder, exchange_format, import_begin};
pub(crate) use feed::feed;
pub(crate) use key::{record_key, record_kind};
pub(crate) use order::{Order, cart_lines, order, part, radio};
pub(crate) use outcome::{Job, accepting, job, outcome_filter, outcome_number, outcome_place};
pub(crate) use read_at::{exactly, read_at};
pub(crate) use sheet::{paper, picture_kind};
pub(crate) use vehicle::vehicle_question;

/// A malformed field.
#[derive(Debug)]
pub struct FieldFault {
    /// Where: field names joined by dots, as in the schema.
    pub path: String,
    /// What is wrong.
    pub problem: FieldProblem,
}

/// What is wrong with a field.
#[derive(Debug)]
pub enum FieldProblem {
    /// It is missing.
    Missing,
    /// A text of the wrong form.
    Text(TextError),
    /// Not an identification number.
    Vin(VinError),
    /// Not a year or a month.
    Date(DateError),
    /// Not an id.
    Id(IdError),
    /// A number that the enum of the schema does not have.
    UnknownTerm {
        /// The number.
        found: i32,
    },
    /// Not a revision token.
    RevisionToken(TokenError),
    /// A page token of another request, or an altered one.
    PageToken,
    /// A number that its unit does not allow here.
    Measure(OutOfRange),
    /// Not 64 hexadecimal digits.
    NoSha256,
    /// The bytes are no message of the call.
    NoMessage,
    /// Not a currency.
    Money(MoneyError),
    /// Not a record of the dataset.
    Record(Box<ExchangeError>),
    /// A record of another kind than is put there.
    OtherKind {
        /// Its kind.
        found: RecordKind,
    },
    /// Not the key of a record.
    NoKey {
        /// As given.
        found: String,
    },
    /// Not a UUID.
    NoUuid,
    /// Not a time.
    Time {
        /// As given.
        found: String,
    },
    /// Not a name: too long, or with control characters.
    NoName {
        /// Characters that a name may have.
        most: usize,
    },
    /// A text of too many bytes.
    LongText {
        /// Bytes given.
        bytes: usize,
        /// Bytes allowed.
        most: usize,
    },
    /// The same thing is said twice.
    Twice,
    /// A need that can not be consented to losing: nothing would be left to install.
    NeverLost {
        /// The need.
        need: Need,
    },
    /// The catalogue has no record of this id.
    NoSuchRecord {
        /// The id.
        id: String,
        /// Ids of records that are called like it, the likest first.
        nearest: Vec<String>,
    },
    /// The plan does not rest on it.
    NotRestedOn {
        /// The key of the record.
        record: String,
    },
    /// It leaves more vehicle lines than are listed by a question.
    ManyLines {
        /// How many.
        found: u32,
        /// The most.
        most: usize,
    },
    /// Stated where it may not be: the first cart of a stream states the revision for all.
    OnlyInFirst,
    /// Stated where it says nothing.
    OnlyWith {
        /// The field beside which it would say something.
        other: &'static str,
    },
    /// Larger than allowed.
    Above {
        /// The value.
        found: u32,
        /// The greatest value allowed.
        most: usize,
    },
}

impl fmt::Display for FieldProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => write!(f, "is missing"),
            Self::Text(error) => write!(f, "is malformed: {error}"),
            Self::Vin(error) => write!(f, "is no vehicle identification number: {error}"),
            Self::Date(error) => write!(f, "is malformed: {error}"),
            Self::Id(error) => write!(f, "is malformed: {error}"),
            Self::RevisionToken(error) => write!(f, "is no revision token: {error}"),
            Self::PageToken => write!(f, "is no page token of this request"),
            Self::NoMessage => write!(f, "is no message of this call"),
            Self::Money(error) => write!(f, "is malformed: {error}"),
            Self::Record(error) => write!(f, "is no record: {error}"),
            Self::OtherKind { found } => write!(f, "is a {found} record, which does not belong there"),
            Self::NoKey { found } => write!(f, "is `{found}`, which is no key such as `part/kit-7`"),
            Self::NoUuid => write!(f, "is no UUID such as 0198f2c4-5b7e-7d3a-9c10-2f6e8a4b1d55"),
            Self::Time { found } => {
                write!(f, "is `{found}`, which is no RFC 3339 time in UTC such as 2026-01-31T09:05:00Z")
            }
            Self::NoName { most } => {
                write!(f, "is no name of at most {most} characters, none of them a control character")
            }
            Self::LongText { bytes, most } => write!(f, "has {bytes} bytes, at most {most} are allowed"),
            Self::Measure(error) => write!(f, "{error}"),
            Self::NoSha256 => write!(f, "is no SHA-256, which has 64 hexadecimal digits"),
            Self::Twice => write!(f, "is stated twice"),
            Self::NeverLost { need } => write!(f, "is `{need}`, without which nothing is installed"),
            Self::NoSuchRecord { id, nearest } => {
                write!(f, "is `{id}`, which the catalogue does not have")?;
                if !nearest.is_empty() {
                    write!(f, "; like it are `{}`", nearest.join("`, `"))?;
                }
                Ok(())
            }
            Self::ManyLines { found, most } => {
                write!(
                    f,
                    "leaves {found} vehicle lines, at most {most} are listed; say more, or nothing for all"
                )
            }
            Self::NotRestedOn { record } => {
                write!(f, "is `{record}`, which the plan does not rest on")
            }
            Self::OnlyInFirst => write!(f, "may be stated in the first cart of a stream only"),
            Self::OnlyWith { other } => write!(f, "says something beside `{other}` only"),
            Self::UnknownTerm { found } => write!(f, "is `{found}`, which is not a value of its enum"),
            Self::Above { found, most } => write!(f, "is `{found}`, at most {most} is allowed"),
        }
    }
}

/// Collects the faults of a request.
#[derive(Debug, Default)]
pub(crate) struct FieldFaults(Vec<FieldFault>);

impl FieldFaults {
    /// Whether there is none.
    pub(crate) const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The value, or nothing and a fault.
    pub(crate) fn take<T>(&mut self, path: &str, value: Result<T, FieldProblem>) -> Option<T> {
        match value {
            Ok(value) => Some(value),
            Err(problem) => {
                self.0.push(FieldFault { path: path.to_owned(), problem });
                None
            }
        }
    }

    /// Those of a message that stands in a field.
    pub(crate) fn within(&mut self, field: &str, others: Self) {
        let path = |fault: FieldFault| FieldFault { path: format!("{field}.{}", fault.path), ..fault };
        self.0.extend(others.0.into_iter().map(path));
    }

    /// The number of items on a page.
    pub(crate) fn page_size(&mut self, asked: u32, default: usize, most: usize) -> usize {
        match usize::try_from(asked) {
            Ok(0) => default,
            Ok(size) if size <= most => size,
            _ => {
                let problem = FieldProblem::Above { found: asked, most };
                self.0.push(FieldFault { path: "page_size".to_owned(), problem });
                default
            }
        }
    }

    /// The beginning of an id; one that is longer than any id begins none.
    pub(crate) fn prefix(&mut self, path: &str, text: &str) {
        if text.len() > MAX_ID_BYTES {
            let problem = FieldProblem::Id(IdError::TooLong { bytes: text.len() });
            self.0.push(FieldFault { path: path.to_owned(), problem });
        }
    }

    /// The number of items in a list that may have so many.
    pub(crate) fn count(&mut self, path: &str, found: usize, most: usize) {
        if found > most {
            let found = u32::try_from(found).unwrap_or(u32::MAX);
            self.0.push(FieldFault { path: path.to_owned(), problem: FieldProblem::Above { found, most } });
        }
    }

    /// Every fault at once, or the value that was taken without one.
    ///
    /// # Errors
    /// When there is any fault.
    pub(crate) fn with<T>(self, value: Option<T>) -> Result<T, crate::Refusal> {
        match value {
            Some(value) => self.or(value),
            None => Err(crate::Refusal::Fields(self.0)),
        }
    }

    /// Every fault at once, or the value.
    ///
    /// # Errors
    /// When there is any fault.
    pub(crate) fn or<T>(self, value: T) -> Result<T, crate::Refusal> {
        if self.0.is_empty() { Ok(value) } else { Err(crate::Refusal::Fields(self.0)) }
    }
}
