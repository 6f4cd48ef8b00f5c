//! Edits that keep references right: a record renamed, a part superseded, a vehicle line split, a record retired.
//!
//! Each is worked out on the records as a draft would make them, and says which records it touches, where, and what it saw
//! and left for a person to decide.

mod accept;
mod rename;
mod retire;
mod split;
mod supersede;

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use dashwright_model::Faults;
use dashwright_model::exchange::{self, ExchangeError};
use dashwright_model::record::{Record, RecordKey, RecordKind};
use dashwright_quantity::{IdError, Label, ModelYear, PartId, Prose, TermId, VehicleId, YearMonth};
use dashwright_snapshot::Snapshot;

/// An edit of many records that one sentence says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BulkEdit {
    /// A record gets another id, a vocabulary term another name, or both.
    Rename {
        /// Which.
        record: RecordKey,
        /// The new id.
        id: Option<TermId>,
        /// The new name; the earlier one becomes an alias.
        name: Option<Label>,
    },
    /// A part is superseded by another.
    Supersede {
        /// The part.
        part: PartId,
        /// Its successor.
        by: PartId,
    },
    /// A vehicle line becomes two.
    Split {
        /// The line; it keeps its id and what lies before.
        line: VehicleId,
        /// Where.
        at: SplitAt,
        /// The id of the other half.
        new_line: VehicleId,
    },
    /// A part can no longer be had; a record of another kind is taken from the catalogue.
    Retire {
        /// Which.
        record: RecordKey,
    },
}

/// Where a vehicle line is split.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SplitAt {
    /// Before this model year.
    ModelYear(ModelYear),
    /// Before this month of building.
    BuildMonth {
        /// The month.
        month: YearMonth,
        /// How to tell it on the car; the line's own words without it.
        how_to_tell: Option<Prose>,
    },
}

/// What an edit does to a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Touch {
    /// It is made.
    Made,
    /// It has another id now; the record of the earlier id is deleted.
    Renamed,
    /// It has another name now, and the earlier one as an alias.
    Named,
    /// What it named by the earlier id or name, it names by the new one.
    Follows,
    /// It is superseded now.
    Superseded,
    /// It names the successor beside the part.
    NamesSuccessor,
    /// It ends earlier now.
    Shortened,
    /// It can no longer be had.
    Discontinued,
    /// It is deleted.
    Deleted,
    /// It no longer names what was taken from the catalogue.
    Forgets,
    /// It expects the answer that it is given now.
    Accepts,
}

/// A record that an edit touches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Touched {
    /// Which, by the id that it has afterwards.
    pub record: RecordKey,
    /// What becomes of it.
    pub touch: Touch,
    /// The fields, joined by dots.
    pub paths: Vec<String>,
}

/// What an edit saw and did not change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Remark {
    /// The superseded part is still what lies in this box.
    StillInTheBox,
    /// The part needs the retired part and no other will do: no plan has it any longer.
    NeedsTheRetired,
    /// The part was superseded by the retired one, so that nothing takes its place any longer.
    LosesItsSuccessor,
    /// The statement did not hold for the whole line, and holds for one half of it.
    HoldsForOneHalf,
    /// Both halves have the patterns of vehicle identification numbers of the line.
    SharesVinPatterns,
}

/// A record that an edit leaves for a person to look at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remarked {
    /// Which.
    pub record: RecordKey,
    /// What about it.
    pub remark: Remark,
    /// The field, joined by dots.
    pub path: String,
}

/// What an edit comes to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BulkOutcome {
    /// Records that name the one that is edited. They come first, so that an edit that was broken off can be made again.
    pub others: Vec<Record>,
    /// The edited records themselves.
    pub own: Vec<Record>,
    /// Records that are deleted, last of all.
    pub deleted: Vec<RecordKey>,
    /// What is touched, in the order of the records' keys.
    pub touched: Vec<Touched>,
    /// What is left for a person to decide, in the order of the records' keys.
    pub remarks: Vec<Remarked>,
}

/// Why an edit is not made.
#[derive(Debug)]
pub enum BulkError {
    /// There is no such record.
    NoRecord(RecordKey),
    /// There is one already.
    Exists(RecordKey),
    /// The record is so already: nothing would change.
    NothingToDo(RecordKey),
    /// Only vocabulary terms have a name of their own.
    NoName(RecordKey),
    /// The line has nothing on one side of where it is to be split.
    NotWithin(RecordKey),
    /// A golden question is not answered at all, so that there is no answer to accept.
    NoAnswer(RecordKey, String),
    /// The successor is itself superseded or discontinued.
    NotToBeHad(RecordKey),
    /// Records name it where nothing can take its place.
    StillNamed {
        /// The record.
        record: RecordKey,
        /// The first of them, with the field.
        first: Vec<(RecordKey, String)>,
        /// How many there are.
        total: usize,
    },
    /// A record would contradict itself.
    Contradicts {
        /// Which.
        record: RecordKey,
        /// In what.
        faults: Faults,
    },
    /// A record of the draft or the dataset can not be read.
    Unreadable(Box<ExchangeError>),
    /// An id is none, which no record has.
    Id(IdError),
}

/// Records that are told one by one; the rest is counted.
pub const MAX_NAMED: usize = 20;

impl fmt::Display for BulkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRecord(record) => write!(f, "there is no record `{record}`"),
            Self::Exists(record) => write!(f, "there is a record `{record}` already"),
            Self::NothingToDo(record) => write!(f, "`{record}` is so already"),
            Self::NoName(record) => {
                write!(f, "`{record}` has no name of its own; only vocabulary terms have")
            }
            Self::NotWithin(record) => {
                write!(f, "`{record}` has nothing on one side of where it is to be split")
            }
            Self::NoAnswer(record, why) => {
                write!(f, "`{record}` is not answered at all ({why}), so that there is no answer to accept")
            }
            Self::NotToBeHad(record) => {
                write!(f, "`{record}` can no longer be had and takes no other part's place")
            }
            Self::StillNamed { record, first, total } => {
                write!(f, "{total} fields name `{record}` where nothing can take its place")?;
                for (place, (other, path)) in first.iter().enumerate() {
                    write!(f, "{} `{path}` of `{other}`", if place == 0 { ":" } else { "," })?;
                }
                Ok(())
            }
            Self::Contradicts { record, faults } => write!(f, "`{record}` would contradict itself: {faults}"),
            Self::Unreadable(error) => write!(f, "{error}"),
            Self::Id(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for BulkError {}

/// The records of a dataset as a draft would make them.
pub struct Drafted<'d> {
    snapshot: &'d Snapshot,
    /// What the draft does to each record: its line, or nothing where it is deleted.
    items: &'d BTreeMap<RecordKey, Option<Arc<str>>>,
}

impl<'d> Drafted<'d> {
    /// A dataset beneath the items of a draft.
    #[must_use]
    pub fn new(snapshot: &'d Snapshot, items: &'d BTreeMap<RecordKey, Option<Arc<str>>>) -> Self {
        Self { snapshot, items }
    }

    /// What an edit comes to on these records.
    ///
    /// # Errors
    /// See [`BulkError`].
    pub fn bulk(&self, edit: &BulkEdit) -> Result<BulkOutcome, BulkError> {
        let mut outcome = match edit {
            BulkEdit::Rename { record, id, name } => self.rename(record, id.as_ref(), name.as_ref())?,
            BulkEdit::Supersede { part, by } => self.supersede(part, by)?,
            BulkEdit::Split { line, at, new_line } => self.split(line, at, new_line)?,
            BulkEdit::Retire { record } => self.retire(record)?,
        };
        outcome.touched.sort_by(|one, other| (&one.record, one.touch).cmp(&(&other.record, other.touch)));
        outcome.remarks.sort_by(|one, other| {
            (&one.record, one.remark, &one.path).cmp(&(&other.record, other.remark, &other.path))
        });
        Ok(outcome)
    }

    fn line_of(&self, key: &RecordKey) -> Option<&str> {
        match self.items.get(key) {
            Some(line) => line.as_deref(),
            None => self.snapshot.record(key.kind, key.id.as_str()).map(|kept| &*kept.text),
        }
    }

    fn get(&self, key: &RecordKey) -> Result<Record, BulkError> {
        read(self.line_of(key).ok_or_else(|| BulkError::NoRecord(key.clone()))?)
    }

    fn refuse_existing(&self, key: &RecordKey) -> Result<(), BulkError> {
        if self.line_of(key).is_some() { Err(BulkError::Exists(key.clone())) } else { Ok(()) }
    }

    /// Every record in whose line the text stands: those that name an id or a name are among them, and only these are read.
    fn with_text(&self, kinds: &[RecordKind], text: &str) -> Result<Vec<Record>, BulkError> {
        let mut found = Vec::new();
        for kind in kinds {
            let kept = self.snapshot.records(*kind).iter().filter(|kept| {
                kept.text.contains(text)
                    && !self.items.contains_key(&RecordKey { kind: *kind, id: kept.id.clone() })
            });
            for kept in kept {
                found.push(read(&kept.text)?);
            }
        }
        let drafted = self.items.iter().filter(|(key, _)| kinds.contains(&key.kind));
        for line in drafted.filter_map(|(_, line)| line.as_deref()).filter(|line| line.contains(text)) {
            found.push(read(line)?);
        }
        Ok(found)
    }

    /// Every record that names another, with the fields in which it does.
    fn naming(&self, target: &RecordKey) -> Result<Vec<(Record, Vec<String>)>, BulkError> {
        let mut naming = Vec::new();
        for record in self.with_text(RecordKind::ALL, target.id.as_str())? {
            let paths = paths_to(&record, target);
            if !paths.is_empty() {
                naming.push((record, paths));
            }
        }
        Ok(naming)
    }
}

fn read(line: &str) -> Result<Record, BulkError> {
    exchange::parse_line(line.as_bytes(), 0).map_err(|error| BulkError::Unreadable(Box::new(error)))
}

/// The fields in which a record names another.
fn paths_to(record: &Record, target: &RecordKey) -> Vec<String> {
    let references = record.references().into_iter().filter(|reference| reference.target == *target);
    let mut paths: Vec<String> = references.map(|reference| reference.path).collect();
    paths.dedup();
    paths
}

fn key_of(record: &Record) -> Result<RecordKey, BulkError> {
    record.key().map_err(BulkError::Id)
}

fn part_key(id: &PartId) -> RecordKey {
    RecordKey { kind: RecordKind::Part, id: id.as_term() }
}

fn line_key(id: &VehicleId) -> RecordKey {
    RecordKey { kind: RecordKind::Vehicle, id: id.as_term() }
}

/// The record, or in what it contradicts itself.
fn sound<T>(record: &RecordKey, made: Result<T, Faults>) -> Result<T, BulkError> {
    made.map_err(|faults| BulkError::Contradicts { record: record.clone(), faults })
}

impl BulkOutcome {
    fn touch(&mut self, record: &RecordKey, touch: Touch, paths: Vec<String>) {
        self.touched.push(Touched { record: record.clone(), touch, paths });
    }

    fn remark(&mut self, record: &RecordKey, remark: Remark, path: impl Into<String>) {
        self.remarks.push(Remarked { record: record.clone(), remark, path: path.into() });
    }
}

#[cfg(test)]
#[path = "bulk/tests.rs"]
mod tests;
