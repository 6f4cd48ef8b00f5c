//! The spaces that keys live in, and the changes that one log entry makes to them.

use std::collections::BTreeMap;
use std::fmt;

/// A space of keys. The numbers are stored and never reused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
#[non_exhaustive]
pub enum Space {
    /// The current records.
    Record = 1,
    /// Every version that a record has had.
    Version = 2,
    /// Drafts and their edits.
    Draft = 3,
    /// Facts about the dataset as a whole.
    Meta = 4,
    /// The hashes of the log's entries as leaves of its Merkle tree.
    Leaf = 5,
    /// Which entries of the log concern what.
    Index = 6,
}

impl Space {
    /// Every space.
    pub const ALL: [Space; 6] =
        [Space::Record, Space::Version, Space::Draft, Space::Meta, Space::Leaf, Space::Index];

    /// The number that is stored for the space.
    pub(crate) fn number(self) -> u8 {
        self as u8
    }

    /// A key of this space as the database stores it.
    pub(crate) fn full_key(self, key: &[u8]) -> Vec<u8> {
        let mut full = Vec::with_capacity(1 + key.len());
        full.push(self.number());
        full.extend_from_slice(key);
        full
    }
}

impl fmt::Display for Space {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Space::Record => "records",
            Space::Version => "versions",
            Space::Draft => "drafts",
            Space::Meta => "facts",
            Space::Leaf => "leaves",
            Space::Index => "index items",
        })
    }
}

/// What one entry of the log changes; the last change to a key counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    items: BTreeMap<(Space, Vec<u8>), Option<Vec<u8>>>,
}

impl Changes {
    /// No changes.
    #[must_use]
    pub fn new() -> Changes {
        Changes::default()
    }

    /// Sets a key.
    pub fn put(&mut self, space: Space, key: impl Into<Vec<u8>>, value: impl Into<Vec<u8>>) {
        self.items.insert((space, key.into()), Some(value.into()));
    }

    /// Removes a key; a missing one is no error.
    pub fn delete(&mut self, space: Space, key: impl Into<Vec<u8>>) {
        self.items.insert((space, key.into()), None);
    }

    /// How many keys change.
    #[must_use]
    pub fn len(&self) -> usize {
        self.items.len()
    }

    /// Whether nothing changes.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (Space, &[u8], Option<&[u8]>)> {
        self.items.iter().map(|((space, key), value)| (*space, key.as_slice(), value.as_deref()))
    }
}
