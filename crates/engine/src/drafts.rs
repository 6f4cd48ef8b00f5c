//! Drafts as callers change, read and publish them.

use std::collections::BTreeSet;
use std::sync::Arc;

use dashwright_model::exchange::{self, ExchangeError};
use dashwright_model::record::{Record, RecordKey};
use dashwright_store::Space;
use serde_json::value::RawValue;

use crate::engine::Engine;
use crate::entry::{DRAFT_EDIT, DraftEdit};
use crate::layout;
use crate::load::{Counted, EDIT_BYTES, EDIT_RECORDS, LoadError, prepare, read_all, write};
use crate::state::{DraftFacts, StateError};
use crate::surroundings::Origin;
use crate::writer::{Compiled, Drafted, Published, WriteError};

/// What a draft does to a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DraftItem {
    /// The key of the record, as `part/kit-7`.
    pub record: String,
    /// The record's line; none where it is to be deleted.
    pub line: Option<Arc<str>>,
}

impl Engine {
    /// Begins a draft on the last revision. Blocks, like every change.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn create_draft(&self, origin: &Origin) -> Result<Drafted, WriteError> {
        let (origin, base) = (origin.clone(), self.view().revision());
        self.ask(move |writer| writer.create(&origin, base))
    }

    /// Puts records into a draft, or marks records for deletion: all of them or nothing.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn edit_draft(
        &self,
        origin: &Origin,
        draft: &str,
        puts: &[Record],
        deletes: &BTreeSet<RecordKey>,
    ) -> Result<Drafted, WriteError> {
        let lines = puts.iter().map(exchange::to_line).collect::<Result<Vec<_>, _>>()?;
        let deletes: Vec<String> = deletes.iter().map(ToString::to_string).collect();
        let texts = lines.iter().chain(&deletes);
        let (records, bytes) = (lines.len() + deletes.len(), texts.map(|text| text.len() + 3).sum());
        if records > EDIT_RECORDS || bytes > EDIT_BYTES {
            return Err(WriteError::LargeEdit { records, bytes });
        }
        // A repetition must not be refused for what it has deleted itself; without deletions the writer knows it.
        if !deletes.is_empty() {
            if let Some(earlier) = self.drafted_earlier(origin, draft)? {
                return Ok(earlier);
            }
            self.refuse_unknown(draft, &deletes)?;
        }
        let puts = lines.into_iter().map(RawValue::from_string).collect::<Result<_, _>>()?;
        let edit = DraftEdit { draft: draft.to_owned(), puts, deletes };
        self.ask_for_edit(origin.clone(), edit)
    }

    /// Throws a draft away; true where this repeats an earlier request.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn discard_draft(&self, origin: &Origin, draft: &str) -> Result<bool, WriteError> {
        let (origin, draft) = (origin.clone(), draft.to_owned());
        self.ask(move |writer| writer.discard(&origin, &draft))
    }

    /// Makes a draft the next revision: all of it at one instant, or nothing.
    ///
    /// # Errors
    /// See [`LoadError`].
    pub fn publish_draft(&self, origin: &Origin, draft: &str) -> Result<Published, LoadError<ExchangeError>> {
        if let Some(earlier) = self.published_earlier(origin).map_err(write)? {
            return Ok(earlier);
        }
        let view = self.view();
        let facts = self.open_draft(draft).map_err(write)?;
        let (base, current) = (facts.base_revision, view.revision());
        if base != current {
            return Err(write(WriteError::Outdated { base, current }));
        }
        let items = self.items_of(&facts, None, usize::MAX).map_err(|error| write(from_state(error)))?;
        if items.is_empty() {
            return Err(write(WriteError::EmptyDraft { draft: draft.to_owned() }));
        }
        let changed = items.len() as u64;
        let lines = items.iter().filter_map(|item| item.line.as_deref());
        let puts = read_all(lines.map(|line| exchange::parse_line(line.as_bytes(), 0)))?;
        let deleted = items.iter().filter(|item| item.line.is_none()).map(|item| item.record.parse());
        let deletes = deleted.collect::<Result<BTreeSet<RecordKey>, _>>().map_err(LoadError::Key)?;
        let snapshot = Arc::new(prepare(&view, puts, &deletes, Counted::All)?.snapshot);
        let compiled = Compiled { draft: draft.to_owned(), edits: facts.edits, changed, snapshot };
        let origin = origin.clone();
        self.ask(move |writer| writer.publish(&origin, compiled)).map_err(write)
    }

    /// The open drafts, in the order in which they were begun.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn drafts(&self) -> Result<Vec<(String, DraftFacts)>, StateError> {
        let mut drafts = self.shared.drafts()?;
        drafts.retain(|(_, facts)| facts.is_open());
        drafts.sort_by_key(|(_, facts)| facts.number);
        Ok(drafts)
    }

    /// An open draft.
    ///
    /// # Errors
    /// [`WriteError::NoOpenDraft`] and failures of the store.
    pub fn open_draft(&self, draft: &str) -> Result<DraftFacts, WriteError> {
        let key = layout::draft_facts_key(draft);
        let facts = self.shared.store.get(Space::Meta, &key)?;
        let facts: Option<DraftFacts> = facts.map(|facts| layout::read_facts(&key, &facts)).transpose()?;
        let open = facts.filter(DraftFacts::is_open);
        open.ok_or_else(|| WriteError::NoOpenDraft { draft: draft.to_owned() })
    }

    /// At most `limit` items of a draft whose keys are beyond `after`, in the order of their keys.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn items_of(
        &self,
        draft: &DraftFacts,
        after: Option<&str>,
        limit: usize,
    ) -> Result<Vec<DraftItem>, StateError> {
        let after = after.map(|key| layout::draft_key(draft.number, key.as_bytes()));
        let prefix = draft.number.to_be_bytes();
        let items = self.shared.store.scan(Space::Draft, &prefix, after.as_deref(), limit)?;
        let item = |(stored, value): &dashwright_store::Item| {
            let (_, key) = layout::split_draft_key(stored)?;
            let line = layout::split_version(key, value)?.map(|line| layout::text(key, line)).transpose()?;
            Ok(DraftItem { record: layout::text(key, key)?.to_string(), line })
        };
        items.iter().map(item).collect()
    }

    /// What an earlier edit of this request led to, whatever has become of the draft since.
    fn drafted_earlier(&self, origin: &Origin, draft: &str) -> Result<Option<Drafted>, WriteError> {
        let (origin, draft) = (origin.clone(), draft.to_owned());
        self.ask(move |writer| writer.drafted_earlier(&origin, DRAFT_EDIT, Some(&draft)))
    }

    /// Refuses deletions of what is neither in the dataset nor in the draft.
    fn refuse_unknown(&self, draft: &str, deletes: &[String]) -> Result<(), WriteError> {
        if deletes.is_empty() {
            return Ok(());
        }
        let (facts, view) = (self.open_draft(draft)?, self.view());
        for record in deletes {
            let key = record.parse::<RecordKey>().ok();
            let kept = key.is_some_and(|key| view.snapshot().record(key.kind, key.id.as_str()).is_some());
            let drafted = layout::draft_key(facts.number, record.as_bytes());
            if !kept && self.shared.store.get(Space::Draft, &drafted)?.is_none() {
                return Err(WriteError::NoRecord { record: record.clone() });
            }
        }
        Ok(())
    }
}

fn from_state(error: StateError) -> WriteError {
    match error {
        StateError::Store(error) => error.into(),
        StateError::Layout(error) => error.into(),
    }
}
