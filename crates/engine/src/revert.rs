//! Going back: a draft that takes one publish back, or that makes the content of an old revision the next one.
//!
//! History is never rewound: what comes of it is an ordinary draft, which is looked at and published like any other.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use dashwright_curation::{RecordChange, RecordDiff, diff};
use dashwright_model::record::RecordKey;
use dashwright_snapshot::Snapshot;

use crate::edit::draft_edits;
use crate::engine::Engine;
use crate::entry::DRAFT_EDIT;
use crate::surroundings::Origin;
use crate::view::ViewError;
use crate::writer::{Drafted, WriteError};

/// How to go back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Revert {
    /// What this revision changed is changed back.
    TakeBack,
    /// The next revision has the content of this one, whatever was published since.
    Content,
}

/// Why no draft goes back.
#[derive(Debug, thiserror::Error)]
pub enum RevertError {
    /// The revision can not be read.
    #[error(transparent)]
    View(#[from] ViewError),
    /// Later revisions have changed the same records, and taking this one back would undo that as well.
    #[error("{total} records were changed again since")]
    ChangedSince {
        /// The first of them.
        first: Vec<RecordKey>,
        /// How many there are.
        total: usize,
    },
    /// There is nothing to change back.
    #[error("the latest revision is the same already")]
    NothingToDo,
    /// The draft was not made.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Records that are told one by one; the rest is counted.
const MAX_TOLD: usize = 20;

/// What becomes of each record: its line, or nothing where it is to be deleted.
type Edits = BTreeMap<RecordKey, Option<Arc<str>>>;

impl Engine {
    /// Makes a draft that goes back. Blocks: earlier revisions are compiled.
    ///
    /// # Errors
    /// See [`RevertError`].
    pub fn revert(&self, origin: &Origin, revision: u64, how: Revert) -> Result<Drafted, RevertError> {
        let repeated = origin.clone();
        if let Some(earlier) = self.ask(move |writer| writer.drafted_earlier(&repeated, DRAFT_EDIT, None))? {
            return Ok(earlier);
        }
        let latest = self.view();
        let edits = match how {
            Revert::Content => {
                let old = self.shared.as_of(revision)?;
                changed_to(&diff(latest.snapshot(), old.snapshot()))
            }
            Revert::TakeBack => {
                let after = self.shared.as_of(revision)?;
                let before = self.shared.as_of(revision.saturating_sub(1))?;
                let back = diff(after.snapshot(), before.snapshot());
                refuse_changed_since(&back, after.snapshot(), latest.snapshot())?;
                let mut edits = changed_to(&back);
                edits.retain(|key, line| line.as_deref() != line_of(latest.snapshot(), key));
                edits
            }
        };
        if edits.is_empty() {
            return Err(RevertError::NothingToDo);
        }
        Ok(self.draft_of(origin, latest.revision(), edits)?)
    }

    /// A draft with these edits. One that was broken off before is begun anew.
    fn draft_of(&self, origin: &Origin, base: u64, edits: Edits) -> Result<Drafted, WriteError> {
        let begin = Origin { request_id: None, ..origin.clone() };
        let draft = self.ask(move |writer| writer.create(&begin, base))?.id;
        let edits = draft_edits(&draft, edits, &BTreeSet::new())?;
        let origin = origin.clone();
        self.ask(move |writer| writer.edit_whole(&origin, &draft, edits))
    }
}

/// What the differences make of each record.
fn changed_to(differences: &[RecordDiff<'_>]) -> Edits {
    let line = |change: &RecordChange<'_>| match change {
        RecordChange::Added(after) | RecordChange::Changed(_, after) => Some(Arc::from(*after)),
        RecordChange::Deleted(_) => None,
    };
    differences.iter().map(|it| (it.key.clone(), line(&it.change))).collect()
}

/// A record that is neither as the revision left it nor as it was before was changed by somebody else since.
fn refuse_changed_since(
    back: &[RecordDiff<'_>],
    after: &Snapshot,
    latest: &Snapshot,
) -> Result<(), RevertError> {
    let before = |change: &RecordChange<'_>| match change {
        RecordChange::Added(before) | RecordChange::Changed(_, before) => Some((*before).to_owned()),
        RecordChange::Deleted(_) => None,
    };
    let changed = back.iter().filter(|it| {
        let now = line_of(latest, &it.key);
        now != line_of(after, &it.key) && now != before(&it.change).as_deref()
    });
    let changed: Vec<RecordKey> = changed.map(|it| it.key.clone()).collect();
    let total = changed.len();
    if total == 0 {
        return Ok(());
    }
    Err(RevertError::ChangedSince { first: changed.into_iter().take(MAX_TOLD).collect(), total })
}

fn line_of<'s>(snapshot: &'s Snapshot, key: &RecordKey) -> Option<&'s str> {
    snapshot.record(key.kind, key.id.as_str()).map(|kept| &*kept.text)
}
