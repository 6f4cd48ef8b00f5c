//! Edits of a draft: what is put or deleted, and what the curator expects to find there.

use std::collections::BTreeSet;
use std::sync::Arc;

use dashwright_log::Digest;
use dashwright_model::record::{Record, RecordKey};
use serde_json::value::RawValue;

use crate::entry::DraftEdit;
use crate::load::{EDIT_BYTES, EDIT_RECORDS};

/// Hexadecimal digits of an etag: half of a SHA-256, which nobody meets twice by chance.
const ETAG_DIGITS: usize = 32;

/// A record that is put into a draft.
#[derive(Clone, Debug)]
pub struct Put {
    /// The record; one of the same key is replaced.
    pub record: Record,
    /// What is to be there before.
    pub expected: Expected,
}

/// A record that is marked in a draft for deletion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delete {
    /// Which record.
    pub key: RecordKey,
    /// What is to be there before.
    pub expected: Expected,
}

impl Put {
    /// Puts a record over whatever is there.
    #[must_use]
    pub fn over(record: Record) -> Self {
        Self { record, expected: Expected::Anything }
    }
}

impl Delete {
    /// Deletes whatever is there.
    #[must_use]
    pub fn over(key: RecordKey) -> Self {
        Self { key, expected: Expected::Anything }
    }
}

/// What a change of a record expects to find: in the draft, or where the draft says nothing of the record, in the dataset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expected {
    /// No record.
    Nothing,
    /// Whatever is there; it is replaced unseen.
    Anything,
    /// The record of this etag.
    Etag(String),
}

/// A record that is not what a change expects.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EtagMismatch {
    /// The key of the record.
    pub record: String,
    /// The etag of what is there; none where there is no record.
    pub current: Option<String>,
}

/// The etag of a record's line: it changes with every change of the record, and with nothing else.
#[must_use]
pub fn etag(line: &str) -> String {
    let mut digits = Digest::of(line.as_bytes()).to_string();
    digits.truncate(ETAG_DIGITS);
    digits
}

/// What a draft does to a record, as a curator has seen it: also what the dataset has become meanwhile, where it collides.
pub(crate) fn item_etag(line: Option<&str>, collides_with: Option<Option<&str>>) -> String {
    let own = line.unwrap_or_default();
    match collides_with {
        None => etag(own),
        Some(theirs) => etag(&format!("{own}\n{}", theirs.unwrap_or_default())),
    }
}

/// A record's line, or nothing where it is deleted.
pub(crate) type Line = (RecordKey, Option<Arc<str>>);

/// Changes in their order, in as few edits as they fit into.
pub(crate) fn draft_edits(
    draft: &str,
    lines: impl IntoIterator<Item = Line>,
    keeps: &BTreeSet<String>,
) -> Result<Vec<DraftEdit>, serde_json::Error> {
    let (mut edits, mut edit, mut bytes) = (Vec::new(), DraftEdit::new(draft), 0);
    for (key, line) in lines {
        let key = key.to_string();
        let kept = keeps.contains(&key);
        let more =
            line.as_ref().map_or(key.len(), |line| line.len()) + 3 + if kept { key.len() + 3 } else { 0 };
        let records = edit.puts.len() + edit.deletes.len();
        if records > 0 && (records == EDIT_RECORDS || bytes + more > EDIT_BYTES) {
            edits.push(std::mem::replace(&mut edit, DraftEdit::new(draft)));
            bytes = 0;
        }
        bytes += more;
        if kept {
            edit.keeps.push(key.clone());
        }
        match line {
            Some(line) => edit.puts.push(RawValue::from_string(line.to_string())?),
            None => edit.deletes.push(key),
        }
    }
    edits.push(edit);
    Ok(edits)
}
