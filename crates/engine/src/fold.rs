//! The fold: what each entry of the log changes.
//!
//! A publish is one small change however large its draft: it says that the draft's items now count as a revision. Such a
//! layer is settled later, a bounded number of items with each following entry: they move to the current records, and
//! what they replace moves to the versions. So no batch grows with a draft, and each is applied wholly or not at all.

use dashwright_log::StoredEntry;
use dashwright_store::{Changes, Space, Store, StoreError};

use crate::entry::{
    DATASET_INIT, DRAFT_CREATE, DRAFT_EDIT, DatasetInit, DraftCreate, DraftEdit, FORMAT, PayloadError,
    REVISION_PUBLISH, RevisionPublish, key_of_line, payload,
};
use crate::layout::{self, LayoutError};
use crate::state::{DatasetFacts, DraftFacts, RevisionFacts, State};

/// Items that are settled with each entry: no fewer than an entry brings, so that layers do not pile up, and a batch of
/// about a thousand is where the store is fastest.
pub const SETTLED_PER_ENTRY: usize = 1_000;

/// Why an entry can not be folded.
#[derive(Debug, thiserror::Error)]
pub enum FoldError {
    /// A newer version wrote it.
    #[error("`{kind}` is no kind of entry that this version knows")]
    UnknownKind {
        /// The kind.
        kind: String,
    },
    /// A newer version began the dataset.
    #[error("the dataset has format {found}, this version reads formats up to {FORMAT}")]
    NewerFormat {
        /// Its format.
        found: u32,
    },
    /// The payload is malformed.
    #[error(transparent)]
    Payload(#[from] PayloadError),
    /// The first entry does not begin a dataset, or a later one does.
    #[error("`{kind}` stands where it can not stand")]
    OutOfPlace {
        /// The kind.
        kind: String,
    },
    /// The draft does not exist, or is published.
    #[error("there is no open draft `{draft}`")]
    NoOpenDraft {
        /// Its id.
        draft: String,
    },
    /// A draft of that id exists.
    #[error("there is a draft `{draft}` already")]
    DraftExists {
        /// Its id.
        draft: String,
    },
    /// The revision does not follow the last one.
    #[error("revision {found} stands where revision {expected} belongs")]
    Revision {
        /// The one that belongs here.
        expected: u64,
        /// The one that stands here.
        found: u64,
    },
    /// Facts have no JSON form.
    #[error("the facts of the entry have no JSON form")]
    Facts(#[source] serde_json::Error),
    /// The store failed; a rebuild mends it.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The store holds something of another layout; a rebuild mends it.
    #[error(transparent)]
    Layout(#[from] LayoutError),
}

/// Folds one entry into the state and returns what it changes in the store, which must stand at the entry before.
pub(crate) fn fold(
    state: &mut State,
    store: &Store,
    stored: &StoredEntry,
    settled: usize,
) -> Result<Changes, FoldError> {
    let kind = stored.entry.kind.as_str();
    if (kind == DATASET_INIT) != state.dataset.is_none() {
        return Err(FoldError::OutOfPlace { kind: kind.to_owned() });
    }
    let mut changes = Changes::new();
    match kind {
        DATASET_INIT => init(state, &mut changes, stored)?,
        DRAFT_CREATE => create(state, &mut changes, stored)?,
        DRAFT_EDIT => edit(state, &mut changes, stored)?,
        REVISION_PUBLISH => publish(state, &mut changes, stored)?,
        _ => return Err(FoldError::UnknownKind { kind: kind.to_owned() }),
    }
    settle(state, store, &mut changes, settled)?;
    Ok(changes)
}

fn init(state: &mut State, changes: &mut Changes, stored: &StoredEntry) -> Result<(), FoldError> {
    let DatasetInit { incarnation, format } = payload(&stored.entry)?;
    if format > FORMAT {
        return Err(FoldError::NewerFormat { found: format });
    }
    let facts = DatasetFacts { incarnation, time: stored.entry.time.clone() };
    changes.put(Space::Meta, layout::DATASET, layout::facts(&facts).map_err(FoldError::Facts)?);
    state.dataset = Some(facts);
    Ok(())
}

fn create(state: &mut State, changes: &mut Changes, stored: &StoredEntry) -> Result<(), FoldError> {
    let DraftCreate { draft, base_revision } = payload(&stored.entry)?;
    if state.drafts.contains_key(&draft) {
        return Err(FoldError::DraftExists { draft });
    }
    let facts = DraftFacts { number: stored.entry.sequence.0, base_revision, published: None };
    put_draft(changes, &draft, &facts)?;
    state.drafts.insert(draft, facts);
    Ok(())
}

fn edit(state: &State, changes: &mut Changes, stored: &StoredEntry) -> Result<(), FoldError> {
    let DraftEdit { draft, puts, deletes } = payload(&stored.entry)?;
    let open = state.drafts.get(&draft).filter(|facts| facts.published.is_none());
    let Some(DraftFacts { number, .. }) = open else { return Err(FoldError::NoOpenDraft { draft }) };
    for line in puts {
        let malformed = |source| PayloadError { kind: DRAFT_EDIT.to_owned(), source };
        let key = key_of_line(line.get()).map_err(malformed)?;
        let value = layout::put(line.get().as_bytes());
        changes.put(Space::Draft, layout::draft_key(*number, key.as_bytes()), value);
    }
    for key in deletes {
        changes.put(Space::Draft, layout::draft_key(*number, key.as_bytes()), layout::deleted());
    }
    Ok(())
}

fn publish(state: &mut State, changes: &mut Changes, stored: &StoredEntry) -> Result<(), FoldError> {
    let RevisionPublish { draft, revision, content_hash, changed, records } = payload(&stored.entry)?;
    let expected = state.revision() + 1;
    if revision != expected {
        return Err(FoldError::Revision { expected, found: revision });
    }
    let open = state.drafts.get_mut(&draft).filter(|facts| facts.published.is_none());
    let Some(facts) = open else { return Err(FoldError::NoOpenDraft { draft }) };
    facts.published = Some(revision);
    put_draft(changes, &draft, facts)?;
    let (sequence, time) = (stored.entry.sequence.0, stored.entry.time.clone());
    let facts = RevisionFacts { revision, sequence, content_hash, time, changed, records };
    let value = layout::facts(&facts).map_err(FoldError::Facts)?;
    changes.put(Space::Meta, layout::revision_key(revision), value);
    if let Some(id) = &stored.entry.request_id {
        changes.put(Space::Meta, layout::request_key(id), revision.to_be_bytes());
    }
    state.last = Some(facts);
    Ok(())
}

/// Settles up to `most` items of the oldest layer.
fn settle(state: &mut State, store: &Store, changes: &mut Changes, most: usize) -> Result<(), FoldError> {
    let layers = state.drafts.iter().filter_map(|(id, facts)| Some((facts.published?, id, facts.number)));
    let Some((revision, id, number)) = layers.min() else { return Ok(()) };
    let id = id.clone();
    let items = store.scan(Space::Draft, &number.to_be_bytes(), None, most)?;
    if items.len() < most {
        changes.delete(Space::Meta, layout::draft_facts_key(&id));
        state.drafts.remove(&id);
    }
    for (stored_key, value) in items {
        let (_, key) = layout::split_draft_key(&stored_key)?;
        if let Some(old) = store.get(Space::Record, key)? {
            let (old_revision, line) = layout::split_record(key, &old)?;
            changes.put(Space::Version, layout::version_key(key, old_revision), layout::put(line));
        }
        if let Some(line) = layout::split_version(key, &value)? {
            changes.put(Space::Record, key, layout::record(revision, line));
        } else {
            changes.delete(Space::Record, key);
            changes.put(Space::Version, layout::version_key(key, revision), layout::deleted());
        }
        changes.delete(Space::Draft, stored_key);
    }
    Ok(())
}

fn put_draft(changes: &mut Changes, id: &str, facts: &DraftFacts) -> Result<(), FoldError> {
    let value = layout::facts(facts).map_err(FoldError::Facts)?;
    changes.put(Space::Meta, layout::draft_facts_key(id), value);
    Ok(())
}
