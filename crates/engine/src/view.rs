//! What readers take: one revision, compiled, that never changes.

use std::sync::Arc;

use dashwright_log::Digest;
use dashwright_snapshot::{BuildError, Snapshot};

use crate::state::{DatasetFacts, RevisionFacts, StateError};
use crate::token::RevisionToken;

/// Views of earlier revisions that are kept after they were asked for: one is compared with another at a time, and each
/// may be as large as the current one.
pub const AS_OF_KEPT: usize = 2;

/// One revision of the dataset. Immutable: a request takes it once and answers from it.
#[derive(Debug)]
pub struct View {
    snapshot: Arc<Snapshot>,
    incarnation: Arc<str>,
    token: RevisionToken,
    revision: u64,
    entries: u64,
    published_at: Arc<str>,
}

/// Which revision a read asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Freshness {
    /// The last one.
    Latest,
    /// That one or any after it.
    AtLeast(RevisionToken),
    /// Exactly that one.
    Exactly(RevisionToken),
}

/// Why there is no view to answer from.
#[derive(Debug, thiserror::Error)]
pub enum ViewError {
    /// The token names a revision of another history: of another dataset, or of the one that a backup was made of.
    #[error("the revision token is of another history of the dataset")]
    OtherHistory,
    /// The revision was not published in time.
    #[error("revision {wanted} is not reached, the last one is {current}")]
    NotReached {
        /// The one that was asked for.
        wanted: u64,
        /// The last one.
        current: u64,
    },
    /// The earlier revision could not be read.
    #[error(transparent)]
    Unreadable(#[from] StateError),
    /// There is no such revision among the earlier ones.
    #[error("revision {revision} is not kept, the oldest is {oldest}")]
    NotKept {
        /// The one that was asked for.
        revision: u64,
        /// The oldest that is kept.
        oldest: u64,
    },
    /// The earlier revision does not compile.
    #[error("revision {revision} does not compile")]
    NotCompiled {
        /// The one that was asked for.
        revision: u64,
        /// Why.
        source: Box<BuildError>,
    },
    /// The earlier revision has other content than was published.
    #[error("revision {revision} was published with the content {published} and has {found}")]
    Altered {
        /// The one that was asked for.
        revision: u64,
        /// The hash that was published.
        published: Digest,
        /// The hash that was found.
        found: Digest,
    },
    /// Reading the earlier revision ended without a result.
    #[error("reading the earlier revision was broken off")]
    BrokenOff,
}

impl View {
    /// The view of a revision, or of the empty dataset before the first.
    pub(crate) fn new(snapshot: Arc<Snapshot>, dataset: &DatasetFacts, last: Option<&RevisionFacts>) -> Self {
        let (revision, entries, time) =
            last.map_or((0, 1, &dataset.time), |last| (last.revision, last.sequence, &last.time));
        Self {
            snapshot,
            incarnation: dataset.incarnation().into(),
            token: RevisionToken::new(dataset.incarnation_of(revision), revision),
            revision,
            entries,
            published_at: time.as_str().into(),
        }
    }

    /// The dataset.
    #[must_use]
    pub fn snapshot(&self) -> &Arc<Snapshot> {
        &self.snapshot
    }

    /// The name of the current history, which the revision may be older than.
    #[must_use]
    pub fn incarnation(&self) -> &str {
        &self.incarnation
    }

    /// The number of the revision; 0 before anything was published.
    #[must_use]
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// How many entries the log had with the one that made the revision.
    pub(crate) fn entries(&self) -> u64 {
        self.entries
    }

    /// The revision as callers know it.
    #[must_use]
    pub fn token(&self) -> RevisionToken {
        self.token
    }

    /// SHA-256 over the export of the dataset.
    #[must_use]
    pub fn content_hash(&self) -> Digest {
        Digest(self.snapshot.content_hash())
    }

    /// When it was published, or the dataset begun; RFC 3339 in UTC.
    #[must_use]
    pub fn published_at(&self) -> &str {
        &self.published_at
    }
}

impl Drop for View {
    /// Lets go of the dataset on a thread of its own where nobody else holds it: freeing 150,000 vehicle lines takes longer than a
    /// thousand look-ups, and the last to hold a view is mostly a thread that answers.
    fn drop(&mut self) {
        let held = Arc::clone(&self.snapshot);
        // Of this view and `held`; where somebody else has it too, they will free it.
        if Arc::strong_count(&held) > 2 {
            return;
        }
        let free = move || {
            // This view lets go within moments of this method's end; whoever is last frees.
            while Arc::strong_count(&held) > 1 {
                std::thread::yield_now();
            }
        };
        // Without a thread to be had, the closure is dropped here and the dataset with this view: slower, and no loss.
        let _ = std::thread::Builder::new().name("dashwright-free".into()).spawn(free);
    }
}
