//! Findings: what is wrong with a dataset, or wants a person's eye.
//!
//! An error makes answers wrong and keeps a draft from being published, unless the dataset had it before. A warning does not.
//! What a record can not even state is no finding: a price without a currency, a record without evidence, a lead without a
//! function are refused when the record is read.

mod between;
mod geometry;
mod settings;
mod upkeep;
mod wiring;

use std::collections::BTreeSet;
use std::fmt;

use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_snapshot::Snapshot;

use crate::golden::{GoldenAnswer, golden_answers};
use crate::holes::Hole;

/// One thing that is wrong, or wants a person's eye.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// The record in which it shows.
    pub record: RecordKey,
    /// The field in which it shows, names and indexes joined by dots.
    pub path: String,
    /// What is wrong.
    pub kind: FindingKind,
    /// The other record that it is about.
    pub other: Option<RecordKey>,
    /// What is wrong, in words, with both sides.
    pub text: String,
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Answers are wrong: no draft that brings it in is published.
    Error,
    /// A person should look at it.
    Warning,
}

/// What may be found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FindingKind {
    /// Two records have one key.
    SameKey,
    /// A record is named that does not exist.
    Dangling,
    /// A vocabulary term is named that names something else.
    WrongTerm,
    /// Two vehicle lines overlap.
    Overlap,
    /// A chain of supersessions leads back to its beginning.
    SupersessionLoop,
    /// A lead comes from a plug that its part does not occupy.
    ForeignLead,
    /// A switch or selector is set twice for some pair of radio and vehicle.
    SetTwice,
    /// A switch or selector is set by nothing for some pair of radio and vehicle.
    NeverSet,
    /// A lead gives what the lead of every radio gives as well: joined, they would feed each other.
    GiverToGiver,
    /// Something lies where the opening is.
    InTheOpening,
    /// The frame of a kit is smaller than what it says to take.
    NarrowFrame,
    /// A radio names no socket, and plans would take it to have none.
    NoSockets,
    /// A golden question is answered otherwise than a person found right.
    GoldenAnswer,
    /// No part mates a factory plug.
    UnmatedPlug,
    /// Nothing names the record, or it serves no vehicle.
    Orphan,
    /// A superseded part at the end of whose chain nothing can be had.
    NoSuccessorLeft,
    /// A part needs another, of which none can be had.
    NeedsUnavailable,
    /// A part needs another that it can not be used with.
    NeedsItsConflict,
    /// A part that can be had has no price.
    NoPrice,
    /// A price in another currency than most: sums can not be made with it.
    OtherCurrency,
    /// The record is only assumed.
    Assumed,
    /// More jobs contradicted the record than confirmed it.
    Contradicted,
    /// Nothing covers a need that must be met.
    Hole,
}

impl FindingKind {
    /// How much it matters.
    #[must_use]
    pub const fn severity(self) -> Severity {
        match self {
            Self::SameKey
            | Self::Dangling
            | Self::WrongTerm
            | Self::Overlap
            | Self::SupersessionLoop
            | Self::ForeignLead
            | Self::SetTwice
            | Self::NeverSet
            | Self::GiverToGiver
            | Self::InTheOpening
            | Self::NarrowFrame
            | Self::NoSockets
            | Self::GoldenAnswer => Severity::Error,
            Self::UnmatedPlug
            | Self::Orphan
            | Self::NoSuccessorLeft
            | Self::NeedsUnavailable
            | Self::NeedsItsConflict
            | Self::NoPrice
            | Self::OtherCurrency
            | Self::Assumed
            | Self::Contradicted
            | Self::Hole => Severity::Warning,
        }
    }
}

impl Finding {
    /// How much it matters.
    #[must_use]
    pub const fn severity(&self) -> Severity {
        self.kind.severity()
    }

    /// What tells whether two datasets have the same finding. A wrong answer that becomes another wrong answer is a new one; of the
    /// others, the words may count what has nothing to do with it.
    fn identity(&self) -> (&RecordKey, &str, FindingKind, Option<&RecordKey>, &str) {
        let Self { record, path, kind, other, text } = self;
        let text = if *kind == FindingKind::GoldenAnswer { text.as_str() } else { "" };
        (record, path, *kind, other.as_ref(), text)
    }

    /// Whether it is about a record.
    #[must_use]
    pub fn is_about(&self, record: &RecordKey) -> bool {
        self.record == *record || self.other.as_ref() == Some(record)
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Everything that is found in a dataset that compiles, errors first, then in the order of records and fields. What keeps one
/// from compiling is found before: see [`Finding::from`] a clash.
#[must_use]
pub fn findings(snapshot: &Snapshot, holes: &[Hole], golden: &[GoldenAnswer]) -> Vec<Finding> {
    let mut found = errors(snapshot, golden);
    upkeep::find(snapshot, &mut found);
    wiring::find_unmated(snapshot, &mut found);
    found.extend(holes.iter().map(Finding::from));
    sort(&mut found);
    found
}

/// Errors first, then in the order of records and fields.
pub fn sort(found: &mut [Finding]) {
    found.sort_by(|one, other| (one.severity(), one).cmp(&(other.severity(), other)));
}

/// The errors alone, in order: what a publish looks at.
#[must_use]
pub fn errors(snapshot: &Snapshot, golden: &[GoldenAnswer]) -> Vec<Finding> {
    let mut found = Vec::new();
    settings::find(snapshot, &mut found);
    wiring::find_givers(snapshot, &mut found);
    geometry::find(snapshot, &mut found);
    wiring::find_bare_radios(snapshot, &mut found);
    found.extend(golden.iter().filter(|answer| !answer.is_right()).map(Finding::from));
    found.sort();
    found
}

/// The errors that a dataset has and an earlier one had not.
#[must_use]
pub fn new_errors(before: &Snapshot, after: &Snapshot) -> Vec<Finding> {
    let mut found = errors(after, &golden_answers(after));
    if !found.is_empty() {
        let known = errors(before, &golden_answers(before));
        let known: BTreeSet<_> = known.iter().map(Finding::identity).collect();
        found.retain(|it| !known.contains(&it.identity()));
    }
    found
}

/// Adds a finding whose words begin with the record.
fn add(
    found: &mut Vec<Finding>,
    record: (RecordKind, &dashwright_quantity::TermId),
    path: impl Into<String>,
    kind: FindingKind,
    other: Option<RecordKey>,
    words: &str,
) {
    let (kind_of_record, id) = record;
    let record = RecordKey { kind: kind_of_record, id: id.clone() };
    let text = format!("`{record}` {words}");
    found.push(Finding { record, path: path.into(), kind, other, text });
}

#[cfg(test)]
#[path = "findings/tests.rs"]
mod tests;
