//! Reading the trail: entries by what they concern, revisions, proofs and checkpoints.

mod filter;

use dashwright_log::{Digest, Log, PublicKey, ReadError, Sequence, StoredEntry};
use dashwright_store::{Space, StoreError};

use crate::engine::Engine;
use crate::keys::KeyFacts;
use crate::layout::{self, LayoutError};
use crate::state::{RevisionFacts, StateError};
use crate::surroundings::Origin;
use crate::token::RevisionToken;
use crate::view::View;
use crate::writer::{MadeKey, NewKey, WriteError};

pub use filter::Filter;

/// Entries that are read from the log at once.
const READ_AT_ONCE: usize = 256;

/// Entries of the trail that a filter lets through.
#[derive(Debug)]
pub struct Listed {
    /// Those of the page, each with the revision in which its draft was published.
    pub entries: Vec<(StoredEntry, Option<u64>)>,
    /// How many there are in all.
    pub total: u64,
}

/// A proof of RFC 6962, and what it proves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// Entries of the (longer) trail.
    pub size: u64,
    /// Its root.
    pub root: Digest,
    /// The hashes of the proof.
    pub hashes: Vec<Digest>,
    /// Of an inclusion proof, the leaf; of a consistency proof, the root of the shorter trail.
    pub of: Digest,
}

/// Why the trail could not be read.
#[derive(Debug, thiserror::Error)]
pub enum TrailError {
    /// There is no such entry, or there are not as many.
    #[error("the trail has {size} entries, {wanted} was asked for")]
    Beyond {
        /// What was asked for.
        wanted: u64,
        /// How many there are.
        size: u64,
    },
    /// The log failed.
    #[error(transparent)]
    Log(#[from] ReadError),
    /// The store failed.
    #[error(transparent)]
    State(#[from] StateError),
    /// The payload of an entry can not be read.
    #[error(transparent)]
    Payload(#[from] crate::entry::PayloadError),
}

impl From<StoreError> for TrailError {
    fn from(error: StoreError) -> Self {
        TrailError::State(error.into())
    }
}

impl From<LayoutError> for TrailError {
    fn from(error: LayoutError) -> Self {
        TrailError::State(error.into())
    }
}

impl Engine {
    /// How many entries the trail has.
    #[must_use]
    pub fn trail_size(&self) -> u64 {
        self.shared.with_tree(dashwright_log::Tree::size)
    }

    /// The log, to be read in its order.
    #[must_use]
    pub fn log(&self) -> &dyn Log {
        &*self.shared.log
    }

    /// The entries up to `size` that a filter lets through: of those, at most `limit` after the first `skip`, in the
    /// order of the trail or against it. Blocks.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn entries(
        &self,
        filter: &Filter,
        size: u64,
        latest_first: bool,
        (skip, limit): (usize, usize),
    ) -> Result<Listed, TrailError> {
        // Whoever pages may say any size: what is looked through is never more than there is.
        let mut sequences = filter.sequences(&self.shared, size.min(self.trail_size()))?;
        if latest_first {
            sequences.reverse();
        }
        let wanted: Vec<u64> = sequences.iter().skip(skip).take(limit).copied().collect();
        let mut entries = Vec::with_capacity(wanted.len());
        for stored in self.read_each(wanted)? {
            let revision = self.published_in(&stored)?;
            entries.push((stored, revision));
        }
        if latest_first {
            entries.reverse();
        }
        Ok(Listed { entries, total: sequences.len() as u64 })
    }

    /// The revisions before `before`, the latest first; at most `limit`.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn revisions_before(&self, before: u64, limit: usize) -> Result<Vec<RevisionFacts>, TrailError> {
        let last = before.saturating_sub(1).min(self.view().revision());
        let first = last.saturating_sub(limit as u64);
        let mut found = Vec::new();
        for revision in (first + 1..=last).rev() {
            found.extend(self.shared.revision_facts(revision)?);
        }
        Ok(found)
    }

    /// What is known of a revision.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn revision(&self, revision: u64) -> Result<Option<RevisionFacts>, TrailError> {
        Ok(self.shared.revision_facts(revision)?)
    }

    /// The name that callers know a revision by.
    #[must_use]
    pub fn token_of(&self, revision: u64) -> RevisionToken {
        RevisionToken::new(self.shared.dataset().incarnation_of(revision), revision)
    }

    /// Proof that an entry stands in the trail of so many entries.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn inclusion(&self, sequence: u64, size: u64) -> Result<Proof, TrailError> {
        self.shared.with_tree(|tree| {
            let beyond = |wanted| TrailError::Beyond { wanted, size: tree.size() };
            let index = sequence.checked_sub(1).ok_or_else(|| beyond(sequence))?;
            let root = tree.root_at(size).ok_or_else(|| beyond(size))?;
            let of = tree.leaf(index).ok_or_else(|| beyond(sequence))?;
            let hashes = tree.inclusion(index, size).ok_or_else(|| beyond(sequence))?;
            Ok(Proof { size, root, hashes, of })
        })
    }

    /// Proof that the trail of `to` entries continues the one of `from`.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn consistency(&self, from: u64, to: u64) -> Result<Proof, TrailError> {
        self.shared.with_tree(|tree| {
            let beyond = |wanted| TrailError::Beyond { wanted, size: tree.size() };
            let root = tree.root_at(to).ok_or_else(|| beyond(to))?;
            let of = tree.root_at(from).ok_or_else(|| beyond(from))?;
            let hashes = tree.consistency(from, to).ok_or_else(|| beyond(from.max(to)))?;
            Ok(Proof { size: to, root, hashes, of })
        })
    }

    /// The checkpoint of the first `size` entries, as a note.
    ///
    /// # Errors
    /// See [`TrailError`].
    pub fn checkpoint_at(&self, size: u64) -> Result<String, TrailError> {
        let beyond = || TrailError::Beyond { wanted: size, size: self.trail_size() };
        self.shared.checkpoint_at(size)?.ok_or_else(beyond)
    }

    /// The time, as entries say it.
    #[must_use]
    pub fn now(&self) -> String {
        self.shared.now()
    }

    /// Keeps a checkpoint that is given out beside those of the publishes. Blocks.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn keep_checkpoint(&self, note: String) -> Result<(), WriteError> {
        self.ask(move |writer| {
            writer.go_on()?;
            writer.keep(&note);
            writer.go_on()
        })
    }

    /// The checkpoint with the publish of the view's revision as its last entry; of revision 0, the one of the first entry.
    #[must_use]
    pub fn checkpoint_of(&self, view: &View) -> String {
        self.shared.checkpoint_of_view(view)
    }

    /// The key that checkpoints are signed with.
    #[must_use]
    pub fn verifier_key(&self) -> Option<&PublicKey> {
        self.shared.signer().map(dashwright_log::Signer::public_key)
    }

    /// Makes a key. Blocks, like every change.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn create_key(&self, origin: &Origin, new: NewKey) -> Result<MadeKey, WriteError> {
        let origin = origin.clone();
        self.ask(move |writer| writer.create_key(&origin, new))
    }

    /// Ends a key; true where this repeats an earlier request.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn revoke_key(&self, origin: &Origin, key: &str) -> Result<(KeyFacts, bool), WriteError> {
        let (origin, key) = (origin.clone(), key.to_owned());
        self.ask(move |writer| writer.revoke_key(&origin, &key))
    }

    /// Leaves a trace of a call of the operator that changes nothing.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn note_operator_call(&self, origin: &Origin, call: &'static str) -> Result<(), WriteError> {
        let origin = origin.clone();
        self.ask(move |writer| writer.operator_call(&origin, call))
    }

    /// The entries of these sequences in the order of the trail; those that stand side by side are read together.
    fn read_each(&self, mut wanted: Vec<u64>) -> Result<Vec<StoredEntry>, TrailError> {
        wanted.sort_unstable();
        let (mut entries, mut left) = (Vec::with_capacity(wanted.len()), wanted.as_slice());
        while let Some(first) = left.first() {
            let side_by_side = left.iter().zip(*first..).take_while(|(wanted, next)| *wanted == next).count();
            let read = self.shared.log.read_from(Sequence(*first), side_by_side)?;
            // The log may return fewer: it bounds their bytes.
            left = left.get(read.len().max(1)..).unwrap_or_default();
            entries.extend(read);
        }
        Ok(entries)
    }

    fn published_in(&self, stored: &StoredEntry) -> Result<Option<u64>, TrailError> {
        let Some(draft) = crate::entry::draft_of(&stored.entry)? else { return Ok(None) };
        let key = layout::publication_key(&draft);
        let revision = self.shared.store.get(Space::Index, &key)?;
        Ok(revision.map(|revision| layout::read_number(&key, &revision)).transpose()?)
    }
}
