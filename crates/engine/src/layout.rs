//! How state is laid out in the store: the keys and values of each space.
//!
//! ```text
//! Record   KEY                      revision, line        the current records, but for what is not settled yet
//! Version  KEY 00 revision          put, line | deleted   what settled revisions have replaced, and deletions
//! Draft    draft number, KEY        seen, put, line | deleted   open drafts, and published ones that are not settled yet
//! Meta     "dataset"                facts                 the history
//! Meta     "draft/" id              facts                 the drafts that are open or of which there are items
//! Meta     "key/" id                facts                 every key that was made
//! Meta     "revision/" revision     facts                 every revision
//! Meta     "request/" request id    facts                 what a request led to
//! Meta     "outcome/" state, number   facts             every outcome that was reported
//! Meta     "accepted/" draft number, number             outcomes that are accepted in a draft which is open
//! Leaf     sequence                 hash                  the entry as a leaf of the Merkle tree
//! Index    "r" KEY 00 sequence                            entries that put or delete a record, or report on it
//! Index    "a" actor 00 sequence                          entries by an actor
//! Index    "k" kind 00 sequence                           entries of a kind
//! Index    "d" draft id 00 sequence                       entries of a draft
//! Index    "t" milliseconds, sequence                     entries by their time
//! Index    "p" draft id             revision              the revision that a draft became
//! ```
//!
//! KEY is a record's key as `part/kit-7`; `seen` is the last revision when the item was made; numbers are 8 bytes, big-endian, so that they sort; facts are JSON.

use std::sync::Arc;

use dashwright_log::Digest;
use serde::{Deserialize, Serialize};

use crate::outcomes::OutcomeState;

pub(crate) const DATASET: &[u8] = b"dataset";
pub(crate) const DRAFTS: &[u8] = b"draft/";
pub(crate) const KEYS: &[u8] = b"key/";
pub(crate) const REVISIONS: &[u8] = b"revision/";
pub(crate) const REQUESTS: &[u8] = b"request/";
pub(crate) const OUTCOMES: &[u8] = b"outcome/";
pub(crate) const ACCEPTED: &[u8] = b"accepted/";

const PUT: u8 = b'+';
const DELETED: u8 = b'-';

/// A stored item that is not what this module writes, though its checksum holds: another version wrote it.
#[derive(Debug, thiserror::Error)]
#[error("the store holds an item of another layout under `{}`", key.escape_ascii())]
pub struct LayoutError {
    /// Its key.
    pub key: Vec<u8>,
}

/// A version of a record: its line, or nothing where it was deleted.
pub(crate) type Version = Option<Arc<str>>;

pub(crate) fn draft_facts_key(id: &str) -> Vec<u8> {
    [DRAFTS, id.as_bytes()].concat()
}

pub(crate) fn revision_key(revision: u64) -> Vec<u8> {
    [REVISIONS, &revision.to_be_bytes()].concat()
}

pub(crate) fn request_key(id: &str) -> Vec<u8> {
    [REQUESTS, id.as_bytes()].concat()
}

pub(crate) fn key_key(id: &str) -> Vec<u8> {
    [KEYS, id.as_bytes()].concat()
}

/// What the keys of outcomes in a state begin with.
pub(crate) fn outcomes_prefix(state: OutcomeState) -> Vec<u8> {
    [OUTCOMES, &[state.letter()]].concat()
}

pub(crate) fn outcome_key(state: OutcomeState, number: u64) -> Vec<u8> {
    [outcomes_prefix(state), number.to_be_bytes().to_vec()].concat()
}

/// What the keys of the outcomes begin with that are accepted in a draft.
pub(crate) fn acceptances_prefix(draft: u64) -> Vec<u8> {
    [ACCEPTED, &draft.to_be_bytes()].concat()
}

pub(crate) fn acceptance_key(draft: u64, outcome: u64) -> Vec<u8> {
    [acceptances_prefix(draft), outcome.to_be_bytes().to_vec()].concat()
}

/// What an index is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Index {
    Record,
    Actor,
    Kind,
    Draft,
}

impl Index {
    fn letter(self) -> u8 {
        match self {
            Index::Record => b'r',
            Index::Actor => b'a',
            Index::Kind => b'k',
            Index::Draft => b'd',
        }
    }
}

/// What the index items of a value begin with.
pub(crate) fn index_prefix(index: Index, value: &str) -> Vec<u8> {
    [&[index.letter()], value.as_bytes(), &[0]].concat()
}

pub(crate) fn index_key(index: Index, value: &str, sequence: u64) -> Vec<u8> {
    [index_prefix(index, value), sequence.to_be_bytes().to_vec()].concat()
}

pub(crate) const TIMES: &[u8] = b"t";

pub(crate) fn time_key(milliseconds: u64, sequence: u64) -> Vec<u8> {
    [TIMES, &milliseconds.to_be_bytes(), &sequence.to_be_bytes()].concat()
}

/// The time of a time's index item.
pub(crate) fn split_time_key(key: &[u8]) -> Result<u64, LayoutError> {
    let time = key.strip_prefix(TIMES).and_then(|rest| rest.first_chunk());
    time.map(|time| u64::from_be_bytes(*time)).ok_or_else(|| other_layout(key))
}

/// The entry that an index item is of: its key ends with it.
pub(crate) fn indexed(key: &[u8]) -> Result<u64, LayoutError> {
    number(key, key.split_last_chunk().map(|(_, sequence)| sequence))
}

/// The entry that a leaf is of, and its hash.
pub(crate) fn leaf(key: &[u8], value: &[u8]) -> Result<(u64, Digest), LayoutError> {
    let hash: [u8; 32] = value.try_into().map_err(|_| other_layout(key))?;
    Ok((read_number(key, key)?, Digest(hash)))
}

pub(crate) fn publication_key(draft: &str) -> Vec<u8> {
    [b"p", draft.as_bytes()].concat()
}

/// A number that is a whole value.
pub(crate) fn read_number(key: &[u8], value: &[u8]) -> Result<u64, LayoutError> {
    number(key, value.try_into().ok())
}

fn number(key: &[u8], bytes: Option<&[u8; 8]>) -> Result<u64, LayoutError> {
    bytes.map(|bytes| u64::from_be_bytes(*bytes)).ok_or_else(|| other_layout(key))
}

pub(crate) fn draft_key(number: u64, key: &[u8]) -> Vec<u8> {
    [&number.to_be_bytes(), key].concat()
}

pub(crate) fn split_draft_key(stored: &[u8]) -> Result<(u64, &[u8]), LayoutError> {
    let (number, key) = stored.split_first_chunk().ok_or_else(|| other_layout(stored))?;
    Ok((u64::from_be_bytes(*number), key))
}

/// What the keys of a record's versions begin with.
pub(crate) fn versions_prefix(key: &[u8]) -> Vec<u8> {
    [key, &[0]].concat()
}

pub(crate) fn version_key(key: &[u8], revision: u64) -> Vec<u8> {
    [key, &[0], &revision.to_be_bytes()].concat()
}

pub(crate) fn split_version_key(stored: &[u8]) -> Result<(&[u8], u64), LayoutError> {
    let (rest, revision) = stored.split_last_chunk().ok_or_else(|| other_layout(stored))?;
    let key = rest.strip_suffix(&[0]).ok_or_else(|| other_layout(stored))?;
    Ok((key, u64::from_be_bytes(*revision)))
}

pub(crate) fn record(revision: u64, line: &[u8]) -> Vec<u8> {
    [&revision.to_be_bytes(), line].concat()
}

/// The revision and line of a current record.
pub(crate) fn split_record<'v>(key: &[u8], value: &'v [u8]) -> Result<(u64, &'v [u8]), LayoutError> {
    let (revision, line) = value.split_first_chunk().ok_or_else(|| other_layout(key))?;
    Ok((u64::from_be_bytes(*revision), line))
}

pub(crate) fn put(line: &[u8]) -> Vec<u8> {
    [&[PUT], line].concat()
}

pub(crate) fn deleted() -> Vec<u8> {
    vec![DELETED]
}

/// An item of a draft: a version, behind the last revision that its curator could see.
pub(crate) fn item(seen: u64, version: Vec<u8>) -> Vec<u8> {
    [&seen.to_be_bytes()[..], &version].concat()
}

/// What [`item`] puts together.
pub(crate) fn split_item<'v>(key: &[u8], value: &'v [u8]) -> Result<(u64, Option<&'v [u8]>), LayoutError> {
    let (seen, version) = value.split_first_chunk().ok_or_else(|| other_layout(key))?;
    Ok((u64::from_be_bytes(*seen), split_version(key, version)?))
}

/// The line of a put, nothing of a deletion.
pub(crate) fn split_version<'v>(key: &[u8], value: &'v [u8]) -> Result<Option<&'v [u8]>, LayoutError> {
    match value.split_first() {
        Some((&PUT, line)) => Ok(Some(line)),
        Some((&DELETED, [])) => Ok(None),
        _ => Err(other_layout(key)),
    }
}

pub(crate) fn text(key: &[u8], line: &[u8]) -> Result<Arc<str>, LayoutError> {
    std::str::from_utf8(line).map(Arc::from).map_err(|_| other_layout(key))
}

pub(crate) fn facts(facts: &impl Serialize) -> Result<Vec<u8>, serde_json::Error> {
    serde_json::to_vec(facts)
}

pub(crate) fn read_facts<'v, T: Deserialize<'v>>(key: &[u8], value: &'v [u8]) -> Result<T, LayoutError> {
    serde_json::from_slice(value).map_err(|_| other_layout(key))
}

fn other_layout(key: &[u8]) -> LayoutError {
    LayoutError { key: key.to_vec() }
}
