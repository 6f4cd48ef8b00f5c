//! What the engine remembers between two entries: everything but the records themselves.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_log::Digest;
use dashwright_store::{Space, Store, StoreError};
use serde::{Deserialize, Serialize};

use crate::entry::ImportPart;
use crate::keys::KeyFacts;
use crate::layout::{self, LayoutError};
use crate::outcomes::OutcomeState;
use crate::writer::WriteError;

/// State without records.
#[derive(Clone, Debug, Default)]
pub(crate) struct State {
    /// Nothing before the first entry.
    pub(crate) dataset: Option<DatasetFacts>,
    /// The last revision; nothing before the first.
    pub(crate) last: Option<RevisionFacts>,
    /// The drafts that are open, and those whose items the store still holds, by id.
    pub(crate) drafts: BTreeMap<String, DraftFacts>,
    /// Every key that was made, by id.
    pub(crate) keys: BTreeMap<String, KeyFacts>,
    /// How many outcomes wait for a curator; the outcomes themselves stay in the store.
    pub(crate) open_outcomes: u64,
}

/// The history.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DatasetFacts {
    pub(crate) time: String,
    /// The histories that led here, the earliest first: the one that was begun, and one for each restore.
    pub(crate) lineage: Vec<Lineage>,
}

/// A history, and the last revision before it began.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Lineage {
    pub(crate) incarnation: String,
    pub(crate) after_revision: u64,
}

impl DatasetFacts {
    /// The name of the current history.
    pub(crate) fn incarnation(&self) -> &str {
        self.lineage.last().map_or("", |last| last.incarnation.as_str())
    }

    /// The name of the history in which a revision was published, or will be. One that was published before a backup was
    /// taken keeps its name in what is restored from it, for it is the same.
    pub(crate) fn incarnation_of(&self, revision: u64) -> &str {
        let published_in = self.lineage.iter().rev().find(|lineage| lineage.after_revision < revision);
        published_in.or(self.lineage.first()).map_or("", |lineage| lineage.incarnation.as_str())
    }
}

/// A revision.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RevisionFacts {
    /// Its number.
    pub revision: u64,
    /// The entry that made it.
    pub sequence: u64,
    /// SHA-256 over its export.
    pub content_hash: Digest,
    /// When it was published.
    pub time: String,
    /// Who published it.
    pub actor: String,
    /// Why.
    pub reason: String,
    /// The draft that it was.
    pub draft: String,
    /// How many records were put or deleted.
    pub changed: u64,
    /// How many records the dataset holds in it.
    pub records: u64,
}

/// A draft.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DraftFacts {
    /// The sequence of the entry that made it; its items are kept under this number.
    pub number: u64,
    /// The revision that it starts from.
    pub base_revision: u64,
    /// Who began it.
    pub owner: String,
    /// When.
    pub time: String,
    /// Why.
    pub reason: String,
    /// How many edits it has taken.
    pub edits: u64,
    /// Who edited it.
    pub editors: BTreeSet<String>,
    /// An import of which it has some parts and not the last: until then it takes nothing else and is not published.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub import: Option<Box<ImportPart>>,
    /// What became of it.
    pub fate: Fate,
}

/// What became of a draft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// Nothing yet.
    Open,
    /// It is a revision.
    Published(u64),
    /// It was thrown away.
    Discarded,
}

/// What a request led to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RequestFacts {
    /// The kind of its entry.
    pub(crate) kind: String,
    /// What it was about: a draft, a key or an outcome.
    pub(crate) of: String,
    /// The draft as the request left it.
    pub(crate) draft: Option<DraftFacts>,
    /// The revision that it made.
    pub(crate) revision: Option<u64>,
}

impl DraftFacts {
    /// What changes with every edit of it.
    #[must_use]
    pub fn etag(&self, id: &str) -> String {
        crate::edit::etag(&format!("{id} {}", self.edits))
    }

    /// Refuses it while an import in it is unfinished.
    pub(crate) fn refuse_import(&self, draft: &str) -> Result<(), WriteError> {
        match self.import.as_deref() {
            None => Ok(()),
            Some(ImportPart { request_id, .. }) => {
                let (draft, request_id) = (draft.to_owned(), request_id.clone());
                Err(WriteError::ImportUnfinished { draft, request_id })
            }
        }
    }

    /// Refuses it while an import in it is unfinished, unless it is the same one: also with the same file, and the same wish.
    pub(crate) fn refuse_other_import(&self, draft: &str, part: &ImportPart) -> Result<(), WriteError> {
        let same = |begun: &ImportPart| {
            (&begun.request_id, begun.content, begun.on_conflict)
                == (&part.request_id, part.content, part.on_conflict)
        };
        if self.import.as_deref().is_none_or(same) { Ok(()) } else { self.refuse_import(draft) }
    }

    /// Whether it takes edits and can be published.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.fate == Fate::Open
    }
}

/// Why state could not be read from the store. A rebuild mends it.
#[derive(Debug, thiserror::Error)]
pub enum StateError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An item is of another layout.
    #[error(transparent)]
    Layout(#[from] LayoutError),
}

/// The number of a published draft whose items are not settled, and its revision.
pub(crate) fn layer(draft: &DraftFacts) -> Option<(u64, u64)> {
    if let Fate::Published(revision) = draft.fate { Some((draft.number, revision)) } else { None }
}

impl State {
    /// Reads the state, having proved that none of it is missing.
    pub(crate) fn read(store: &Store) -> Result<State, StateError> {
        let mut state = State::default();
        let mut wrong = None;
        store.for_each(Space::Meta, |key, value| {
            if let Err(error) = state.take(key, value) {
                wrong.get_or_insert(error);
            }
        })?;
        wrong.map_or(Ok(state), |error| Err(error.into()))
    }

    /// The number of the last revision; that of a dataset without any is 0.
    pub(crate) fn revision(&self) -> u64 {
        self.last.as_ref().map_or(0, |last| last.revision)
    }

    /// Published drafts whose items are not settled: the revision of each draft number.
    pub(crate) fn layers(&self) -> BTreeMap<u64, u64> {
        self.drafts.values().filter_map(layer).collect()
    }

    fn take(&mut self, key: &[u8], value: &[u8]) -> Result<(), LayoutError> {
        if key == layout::DATASET {
            self.dataset = Some(layout::read_facts(key, value)?);
        } else if key.starts_with(layout::REVISIONS) {
            // Keys come in order, so that the last one stays.
            self.last = Some(layout::read_facts(key, value)?);
        } else if let Some(id) = key.strip_prefix(layout::DRAFTS) {
            let id = layout::text(key, id)?;
            self.drafts.insert(id.to_string(), layout::read_facts(key, value)?);
        } else if let Some(id) = key.strip_prefix(layout::KEYS) {
            let id = layout::text(key, id)?;
            self.keys.insert(id.to_string(), layout::read_facts(key, value)?);
        } else if key.starts_with(&layout::outcomes_prefix(OutcomeState::Open)) {
            self.open_outcomes += 1;
        } else if ![layout::REQUESTS, layout::OUTCOMES, layout::ACCEPTED].iter().any(|it| key.starts_with(it))
        {
            return Err(LayoutError { key: key.to_vec() });
        }
        Ok(())
    }
}
