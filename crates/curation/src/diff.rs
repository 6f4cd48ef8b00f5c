//! How two revisions differ: record by record, field by field.

use std::cmp::Ordering;

use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_snapshot::{KeptRecord, Snapshot};
use serde_json::Value;

/// How a record differs between two revisions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordDiff<'s> {
    /// Which record.
    pub key: RecordKey,
    /// What became of it.
    pub change: RecordChange<'s>,
}

/// What became of a record: the lines before and after.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordChange<'s> {
    /// It is in the later revision only.
    Added(&'s str),
    /// It is in the earlier revision only.
    Deleted(&'s str),
    /// It is in both, and not the same.
    Changed(&'s str, &'s str),
}

/// How a field differs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldDiff {
    /// Where, as a JSON Pointer (RFC 6901).
    pub path: String,
    /// Its value before; nothing where it was not there.
    pub before: Option<Value>,
    /// Its value after; nothing where it is not there.
    pub after: Option<Value>,
}

/// The records that differ, in the order of kind and id.
#[must_use]
pub fn diff<'s>(from: &'s Snapshot, to: &'s Snapshot) -> Vec<RecordDiff<'s>> {
    RecordKind::ALL.iter().flat_map(|kind| diff_of_kind(*kind, from, to)).collect()
}

/// Both sides are in the order of their ids, so that one pass over them finds what differs.
fn diff_of_kind<'s>(kind: RecordKind, from: &'s Snapshot, to: &'s Snapshot) -> Vec<RecordDiff<'s>> {
    let (mut before, mut after) = (from.records(kind), to.records(kind));
    let mut found = Vec::new();
    loop {
        let order = match (before.first(), after.first()) {
            (Some(one), Some(other)) => one.id.cmp(&other.id),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => return found,
        };
        let one = if order.is_le() { take(&mut before) } else { None };
        let other = if order.is_ge() { take(&mut after) } else { None };
        let (kept, change) = match (one, other) {
            (Some(one), Some(other)) if *one.text == *other.text => continue,
            (Some(one), Some(other)) => (other, RecordChange::Changed(&one.text, &other.text)),
            (Some(one), None) => (one, RecordChange::Deleted(&one.text)),
            (None, Some(other)) => (other, RecordChange::Added(&other.text)),
            (None, None) => return found,
        };
        found.push(RecordDiff { key: RecordKey { kind, id: kept.id.clone() }, change });
    }
}

fn take<'s>(records: &mut &'s [KeptRecord]) -> Option<&'s KeptRecord> {
    let (first, rest) = records.split_first()?;
    *records = rest;
    Some(first)
}

impl RecordChange<'_> {
    /// The fields that differ, below the kind: of a record that was added or deleted, each of its own.
    ///
    /// # Errors
    /// When a line is not JSON, which no snapshot holds.
    pub fn fields(&self) -> serde_json::Result<Vec<FieldDiff>> {
        let (before, after) = match self {
            RecordChange::Added(after) => (None, Some(fields_of(after)?)),
            RecordChange::Deleted(before) => (Some(fields_of(before)?), None),
            RecordChange::Changed(before, after) => (Some(fields_of(before)?), Some(fields_of(after)?)),
        };
        let empty = || Value::Object(serde_json::Map::new());
        Ok(field_diffs(&before.unwrap_or_else(empty), &after.unwrap_or_else(empty)))
    }
}

/// What stands below the kind of a line.
fn fields_of(line: &str) -> serde_json::Result<Value> {
    let record: serde_json::Map<String, Value> = serde_json::from_str(line)?;
    Ok(record.into_iter().next().map_or(Value::Null, |(_, fields)| fields))
}

/// Where two values differ: as deep as both are objects, or lists of the same length. A list that grew or shrank differs as
/// a whole, because nobody can say which of its items is which.
#[must_use]
pub fn field_diffs(before: &Value, after: &Value) -> Vec<FieldDiff> {
    let mut found = Vec::new();
    compare("", Some(before), Some(after), &mut found);
    found
}

fn compare(path: &str, before: Option<&Value>, after: Option<&Value>, found: &mut Vec<FieldDiff>) {
    match (before, after) {
        (Some(before), Some(after)) if before == after => {}
        (Some(Value::Object(before)), Some(Value::Object(after))) => {
            let added = after.keys().filter(|name| !before.contains_key(*name));
            let mut names: Vec<&String> = before.keys().chain(added).collect();
            names.sort_unstable();
            for name in names {
                let below = format!("{path}/{}", name.replace('~', "~0").replace('/', "~1"));
                compare(&below, before.get(name), after.get(name), found);
            }
        }
        (Some(Value::Array(before)), Some(Value::Array(after))) if before.len() == after.len() => {
            for (place, (before, after)) in before.iter().zip(after).enumerate() {
                compare(&format!("{path}/{place}"), Some(before), Some(after), found);
            }
        }
        _ => {
            let path = path.to_owned();
            found.push(FieldDiff { path, before: before.cloned(), after: after.cloned() });
        }
    }
}

#[cfg(test)]
mod tests;
