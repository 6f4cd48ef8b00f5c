//! The fold: what each entry of the log changes.
//!
//! A publish is one small change however large its draft: it says that the draft's items now count as a revision. Such a
//! layer is settled later, a bounded number of items with each following entry: they move to the current records, and
//! what they replace moves to the versions. So no batch grows with a draft, and each is applied wholly or not at all.

mod index;
mod outcomes;
mod settle;

use std::collections::{BTreeMap, BTreeSet};

use dashwright_log::{Origin, OriginError, StoredEntry};
use dashwright_store::{Changes, Space, Store, StoreError};

use crate::entry::{
    DATASET_INIT, DATASET_RESTORE, DRAFT_CREATE, DRAFT_DISCARD, DRAFT_EDIT, DatasetInit, DatasetRestore,
    DraftCreate, DraftDiscard, DraftEdit, FORMAT, KEY_CREATE, KEY_REVOKE, KeyRevoke, OPERATOR_CALL,
    OUTCOME_REJECT, OUTCOME_REPORT, OperatorCall, PayloadError, REVISION_PUBLISH, RevisionPublish,
    key_of_line, payload,
};
use crate::keys::KeyFacts;
use crate::layout::{self, Index, LayoutError};
use crate::state::{DatasetFacts, DraftFacts, Fate, Lineage, RequestFacts, RevisionFacts, State};

pub(crate) use index::milliseconds;
pub use settle::SETTLED_PER_ENTRY;

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
    /// The name of a history can not stand in a checkpoint.
    #[error(transparent)]
    Incarnation(#[from] OriginError),
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
    /// The outcome does not exist, or is resolved.
    #[error("there is no open outcome {outcome}")]
    NoOpenOutcome {
        /// Its number.
        outcome: u64,
    },
    /// A key of that id exists.
    #[error("there is a key `{key}` already")]
    KeyExists {
        /// Its id.
        key: String,
    },
    /// The key does not exist, or is revoked.
    #[error("there is no key `{key}` to revoke")]
    NoKey {
        /// Its id.
        key: String,
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
    let mut step = Step { state, changes: Changes::new(), stored };
    match kind {
        DATASET_INIT => step.init()?,
        DATASET_RESTORE => step.restore()?,
        DRAFT_CREATE => step.create()?,
        DRAFT_EDIT => step.edit(store)?,
        DRAFT_DISCARD => step.discard(store)?,
        REVISION_PUBLISH => step.publish(store)?,
        OUTCOME_REPORT => step.report_outcome()?,
        OUTCOME_REJECT => step.reject_outcome(store)?,
        KEY_CREATE => step.create_key()?,
        KEY_REVOKE => step.revoke_key()?,
        OPERATOR_CALL => step.operator_call()?,
        _ => return Err(FoldError::UnknownKind { kind: kind.to_owned() }),
    }
    step.index_entry();
    let Step { state, mut changes, .. } = step;
    settle::settle(state, store, &mut changes, settled)?;
    Ok(changes)
}

/// One entry on its way into the state.
struct Step<'s> {
    state: &'s mut State,
    changes: Changes,
    stored: &'s StoredEntry,
}

impl Step<'_> {
    fn init(&mut self) -> Result<(), FoldError> {
        let DatasetInit { incarnation, format } = payload(&self.stored.entry)?;
        let time = self.stored.entry.time.clone();
        self.dataset(DatasetFacts { time, lineage: Vec::new() }, incarnation, format)
    }

    fn restore(&mut self) -> Result<(), FoldError> {
        let DatasetRestore { incarnation, format, backup: _ } = payload(&self.stored.entry)?;
        match self.state.dataset.clone() {
            Some(facts) => self.dataset(facts, incarnation, format),
            None => Err(FoldError::OutOfPlace { kind: DATASET_RESTORE.to_owned() }),
        }
    }

    /// From here on the history has this name.
    fn dataset(
        &mut self,
        mut facts: DatasetFacts,
        incarnation: String,
        format: u32,
    ) -> Result<(), FoldError> {
        if format > FORMAT {
            return Err(FoldError::NewerFormat { found: format });
        }
        Origin::of(&incarnation)?;
        facts.lineage.push(Lineage { incarnation, after_revision: self.state.revision() });
        self.put_meta(layout::DATASET.to_vec(), &facts)?;
        self.state.dataset = Some(facts);
        Ok(())
    }

    fn create(&mut self) -> Result<(), FoldError> {
        let DraftCreate { draft, base_revision } = payload(&self.stored.entry)?;
        if self.state.drafts.contains_key(&draft) {
            return Err(FoldError::DraftExists { draft });
        }
        let entry = &self.stored.entry;
        let facts = DraftFacts {
            number: entry.sequence.0,
            base_revision,
            owner: entry.actor.clone(),
            time: entry.time.clone(),
            reason: entry.reason.clone(),
            edits: 0,
            editors: BTreeSet::new(),
            import: None,
            fate: Fate::Open,
        };
        self.put_draft(&draft, facts, None)
    }

    fn edit(&mut self, store: &Store) -> Result<(), FoldError> {
        let DraftEdit { draft, puts, deletes, keeps, accepts, import } = payload(&self.stored.entry)?;
        let mut facts = self.open(&draft)?;
        let seen = self.seen_before(store, facts.number, &keeps)?;
        let last = import.as_ref().map_or(self.state.revision(), |import| import.seen);
        let mut edited = Vec::new();
        let mut item = |key: &str, version| {
            let item = layout::item(*seen.get(key).unwrap_or(&last), version);
            self.changes.put(Space::Draft, layout::draft_key(facts.number, key.as_bytes()), item);
            let sequence = self.stored.entry.sequence.0;
            self.changes.put(Space::Index, layout::index_key(Index::Record, key, sequence), []);
        };
        for line in puts {
            let malformed = |source| PayloadError { kind: DRAFT_EDIT.to_owned(), source };
            let key = key_of_line(line.get()).map_err(malformed)?;
            item(&key, layout::put(line.get().as_bytes()));
            edited.push(key);
        }
        for key in deletes {
            item(&key, layout::deleted());
        }
        if let Some(acceptance) = accepts {
            self.accept_outcome(store, &acceptance, (&draft, facts.number), edited)?;
        }
        facts.edits += 1;
        facts.editors.insert(self.stored.entry.actor.clone());
        facts.import = import.filter(|import| !import.last);
        self.put_draft(&draft, facts, None)
    }

    /// The revisions that the items of these records were made on.
    fn seen_before(
        &self,
        store: &Store,
        draft: u64,
        keeps: &[String],
    ) -> Result<BTreeMap<String, u64>, FoldError> {
        let mut seen = BTreeMap::new();
        for key in keeps {
            let stored = layout::draft_key(draft, key.as_bytes());
            if let Some(value) = store.get(Space::Draft, &stored)? {
                seen.insert(key.clone(), layout::split_item(&stored, &value)?.0);
            }
        }
        Ok(seen)
    }

    fn discard(&mut self, store: &Store) -> Result<(), FoldError> {
        let DraftDiscard { draft } = payload(&self.stored.entry)?;
        let facts = DraftFacts { fate: Fate::Discarded, ..self.open(&draft)? };
        self.end_acceptances(store, facts.number, true)?;
        self.put_draft(&draft, facts, None)
    }

    fn publish(&mut self, store: &Store) -> Result<(), FoldError> {
        let RevisionPublish { draft, revision, content_hash, changed, records } =
            payload(&self.stored.entry)?;
        let expected = self.state.revision() + 1;
        if revision != expected {
            return Err(FoldError::Revision { expected, found: revision });
        }
        let facts = DraftFacts { fate: Fate::Published(revision), ..self.open(&draft)? };
        self.end_acceptances(store, facts.number, false)?;
        self.put_draft(&draft, facts, Some(revision))?;
        self.changes.put(Space::Index, layout::publication_key(&draft), revision.to_be_bytes());
        let entry = &self.stored.entry;
        let facts = RevisionFacts {
            revision,
            sequence: entry.sequence.0,
            content_hash,
            time: entry.time.clone(),
            actor: entry.actor.clone(),
            reason: entry.reason.clone(),
            draft,
            changed,
            records,
        };
        self.put_meta(layout::revision_key(revision), &facts)?;
        self.state.last = Some(facts);
        Ok(())
    }

    fn create_key(&mut self) -> Result<(), FoldError> {
        let facts: KeyFacts = payload(&self.stored.entry)?;
        if self.state.keys.contains_key(facts.id.as_str()) {
            return Err(FoldError::KeyExists { key: facts.id.to_string() });
        }
        self.put_key(facts)
    }

    fn revoke_key(&mut self) -> Result<(), FoldError> {
        let KeyRevoke { key } = payload(&self.stored.entry)?;
        let live = self.state.keys.get(&key).filter(|facts| facts.revoked.is_none());
        let Some(facts) = live.cloned() else { return Err(FoldError::NoKey { key }) };
        self.put_key(KeyFacts { revoked: Some(self.stored.entry.time.clone()), ..facts })
    }

    fn operator_call(&mut self) -> Result<(), FoldError> {
        let OperatorCall { call: _ } = payload(&self.stored.entry)?;
        Ok(())
    }

    fn open(&self, draft: &str) -> Result<DraftFacts, FoldError> {
        let open = self.state.drafts.get(draft).filter(|facts| facts.is_open());
        open.cloned().ok_or_else(|| FoldError::NoOpenDraft { draft: draft.to_owned() })
    }

    fn put_draft(&mut self, id: &str, facts: DraftFacts, revision: Option<u64>) -> Result<(), FoldError> {
        self.put_meta(layout::draft_facts_key(id), &facts)?;
        self.index(Index::Draft, id);
        self.request(id, Some(&facts), revision)?;
        self.state.drafts.insert(id.to_owned(), facts);
        Ok(())
    }

    fn put_key(&mut self, facts: KeyFacts) -> Result<(), FoldError> {
        self.put_meta(layout::key_key(facts.id.as_str()), &facts)?;
        self.request(facts.id.as_str(), None, None)?;
        self.state.keys.insert(facts.id.to_string(), facts);
        Ok(())
    }

    /// What the request of this entry led to, so that a repetition leads to the same.
    fn request(
        &mut self,
        of: &str,
        draft: Option<&DraftFacts>,
        revision: Option<u64>,
    ) -> Result<(), FoldError> {
        let entry = &self.stored.entry;
        let Some(id) = &entry.request_id else { return Ok(()) };
        let (kind, of) = (entry.kind.as_str().to_owned(), of.to_owned());
        let facts = RequestFacts { kind, of, draft: draft.cloned(), revision };
        self.put_meta(layout::request_key(id), &facts)
    }

    fn put_meta(&mut self, key: Vec<u8>, facts: &impl serde::Serialize) -> Result<(), FoldError> {
        self.changes.put(Space::Meta, key, layout::facts(facts).map_err(FoldError::Facts)?);
        Ok(())
    }
}
