//! What every entry adds to the indexes and to the Merkle tree.

use dashwright_log::leaf_hash;
use dashwright_store::Space;

use super::Step;
use crate::layout::{self, Index};

impl Step<'_> {
    /// The entry as a leaf, and under its actor, kind and time.
    pub(super) fn index_entry(&mut self) {
        let entry = &self.stored.entry;
        let sequence = entry.sequence.0;
        self.changes.put(Space::Leaf, sequence.to_be_bytes(), leaf_hash(&self.stored.bytes).0);
        self.changes.put(Space::Index, layout::time_key(milliseconds(&entry.time), sequence), []);
        self.index(Index::Actor, &entry.actor);
        self.index(Index::Kind, entry.kind.as_str());
    }

    pub(super) fn index(&mut self, index: Index, value: &str) {
        let sequence = self.stored.entry.sequence.0;
        self.changes.put(Space::Index, layout::index_key(index, value, sequence), []);
    }
}

/// An entry's time in milliseconds since 1970; the log takes no entry without one. One before that counts as 0.
pub(crate) fn milliseconds(time: &str) -> u64 {
    let since = humantime::parse_rfc3339(time).ok();
    let since = since.and_then(|time| time.duration_since(std::time::UNIX_EPOCH).ok());
    since.and_then(|since| u64::try_from(since.as_millis()).ok()).unwrap_or(0)
}
