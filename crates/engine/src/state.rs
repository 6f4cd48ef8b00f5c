//! What the engine remembers between two entries: everything but the records themselves.

use std::collections::BTreeMap;

use dashwright_log::Digest;
use dashwright_store::{Space, Store, StoreError};
use serde::{Deserialize, Serialize};

use crate::layout::{self, LayoutError};

/// State without records.
#[derive(Clone, Debug, Default)]
pub(crate) struct State {
    /// Nothing before the first entry.
    pub(crate) dataset: Option<DatasetFacts>,
    /// The last revision; nothing before the first.
    pub(crate) last: Option<RevisionFacts>,
    /// The drafts of which the store holds items, by id.
    pub(crate) drafts: BTreeMap<String, DraftFacts>,
}

/// The history.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DatasetFacts {
    pub(crate) incarnation: String,
    pub(crate) time: String,
}

/// A revision.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RevisionFacts {
    pub(crate) revision: u64,
    pub(crate) sequence: u64,
    pub(crate) content_hash: Digest,
    pub(crate) time: String,
    pub(crate) changed: u64,
    pub(crate) records: u64,
}

/// A draft.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DraftFacts {
    /// The sequence of the entry that made it; its items are kept under this number.
    pub(crate) number: u64,
    pub(crate) base_revision: u64,
    /// The revision that it became.
    pub(crate) published: Option<u64>,
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
        let published = |draft: &DraftFacts| draft.published.map(|revision| (draft.number, revision));
        self.drafts.values().filter_map(published).collect()
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
        } else if !key.starts_with(layout::REQUESTS) {
            return Err(LayoutError { key: key.to_vec() });
        }
        Ok(())
    }
}
