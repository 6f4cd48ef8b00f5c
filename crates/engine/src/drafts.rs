//! Drafts as callers change, read and publish them.

use std::collections::BTreeSet;
use std::sync::{Arc, PoisonError};
use std::time::Instant;

use dashwright_model::exchange::{self, ExchangeError};
use dashwright_model::record::{Record, RecordKey};
use dashwright_store::Space;
use serde_json::value::RawValue;

use crate::edit::{Delete, Put};
use crate::engine::Engine;
use crate::entry::DraftEdit;
use crate::keys::holder_of;
use crate::layout;
use crate::load::{Counted, EDIT_BYTES, EDIT_RECORDS, LoadError, prepare, read_all, write};
use crate::state::{DraftFacts, StateError};
use crate::surroundings::Origin;
use crate::view::View;
use crate::writer::{Compiled, Drafted, Published, Wanted, WriteError};

/// What a draft does to a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DraftItem {
    /// The key of the record, as `part/kit-7`.
    pub record: String,
    /// The record's line; none where it is to be deleted.
    pub line: Option<Arc<str>>,
    /// The last revision when the curator last looked at what the dataset makes of the record.
    pub seen: u64,
}

/// How a draft is to be published.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Conditions {
    /// The draft as it was looked at, by its etag; whatever is in it by now without it.
    pub etag: Option<String>,
    /// Whoever edited it may not publish it.
    pub separate_publisher: bool,
    /// Everything but the publishing itself.
    pub validate_only: bool,
}

/// How often a publish is begun again because another one came before it.
const REBASES: usize = 32;
/// Collisions that are told one by one; the rest is counted.
const MAX_COLLISIONS: usize = 20;

impl Engine {
    /// Begins a draft on the last revision. Blocks, like every change.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn create_draft(&self, origin: &Origin) -> Result<Drafted, WriteError> {
        let (origin, base) = (origin.clone(), self.view().revision());
        self.ask(move |writer| writer.create(&origin, base))
    }

    /// Puts records into a draft, or marks records for deletion: all of them or nothing. Each must find what it expects.
    /// With `validate_only` the draft is told as it would be, and stays as it is.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn edit_draft(
        &self,
        origin: &Origin,
        draft: &str,
        puts: Vec<Put>,
        deletes: Vec<Delete>,
        validate_only: bool,
    ) -> Result<Drafted, WriteError> {
        let lines = puts.iter().map(|put| exchange::to_line(&put.record)).collect::<Result<Vec<_>, _>>()?;
        let deleted: Vec<String> = deletes.iter().map(|delete| delete.key.to_string()).collect();
        let texts = lines.iter().chain(&deleted);
        let (records, bytes) = (lines.len() + deleted.len(), texts.map(|text| text.len() + 3).sum());
        if records > EDIT_RECORDS || bytes > EDIT_BYTES {
            return Err(WriteError::LargeEdit { records, bytes });
        }
        let mut wanted = Vec::with_capacity(records);
        for Put { record, expected } in puts {
            wanted.push(Wanted { key: record.key()?, expected, deletes: false });
        }
        wanted.extend(deletes.into_iter().map(|Delete { key, expected }| Wanted {
            key,
            expected,
            deletes: true,
        }));
        let puts = lines.into_iter().map(RawValue::from_string).collect::<Result<_, _>>()?;
        let edit = DraftEdit { puts, deletes: deleted, ..DraftEdit::new(draft) };
        let origin = origin.clone();
        if validate_only {
            return self.ask(move |writer| writer.edit_checked(&origin, edit, &wanted, true));
        }
        self.ask_for_edit(origin, edit, wanted)
    }

    /// Throws a draft away; true where this repeats an earlier request.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn discard_draft(&self, origin: &Origin, draft: &str) -> Result<bool, WriteError> {
        let (origin, draft) = (origin.clone(), draft.to_owned());
        self.ask(move |writer| writer.discard(&origin, &draft))
    }

    /// Makes a draft the next revision: all of it at one instant, or nothing. Where revisions were published since its items
    /// were made, it is carried over to the last one, unless both have changed a record.
    ///
    /// # Errors
    /// See [`LoadError`].
    pub fn publish_draft(
        &self,
        origin: &Origin,
        draft: &str,
        conditions: &Conditions,
    ) -> Result<Published, LoadError<ExchangeError>> {
        if let Some(earlier) = self.published_earlier(origin).map_err(write)? {
            return Ok(earlier);
        }
        // One at a time: each takes a dataset's worth of memory, and whoever compiles beside another does so in vain.
        let _one = self.shared.publishing.lock().unwrap_or_else(PoisonError::into_inner);
        // Who has waited may have waited for the same request.
        if let Some(earlier) = self.published_earlier(origin).map_err(write)? {
            return Ok(earlier);
        }
        let mut left = REBASES;
        let begin = Instant::now();
        loop {
            let compiled = self.compile_draft(origin, draft, conditions)?;
            let published = if conditions.validate_only {
                self.ask(move |writer| writer.would_publish(&compiled))
            } else {
                let origin = origin.clone();
                self.ask(move |writer| writer.publish(&origin, compiled))
            };
            match published {
                Err(WriteError::Outdated { .. }) if left > 0 => left -= 1,
                published => {
                    if published.is_ok() && !conditions.validate_only {
                        self.shared.figures.publishes.observe(begin.elapsed().as_secs_f64());
                    }
                    return published.map_err(write);
                }
            }
        }
    }

    /// What the dataset is with a draft in it, having refused what can not be published.
    fn compile_draft(
        &self,
        origin: &Origin,
        draft: &str,
        conditions: &Conditions,
    ) -> Result<Compiled, LoadError<ExchangeError>> {
        let view = self.view();
        let facts = self.open_draft(draft).map_err(write)?;
        refuse(origin, draft, &facts, conditions).map_err(write)?;
        let items = self.items_of(&facts, None, usize::MAX).map_err(|error| write(from_state(error)))?;
        if items.is_empty() {
            return Err(write(WriteError::EmptyDraft { draft: draft.to_owned() }));
        }
        self.refuse_collisions(draft, &view, &items).map_err(write)?;
        let (puts, deletes) = changes(&items)?;
        let snapshot = Arc::new(prepare(&view, puts, &deletes, Counted::All)?.snapshot);
        let (changed, onto) = (items.len() as u64, view.revision());
        Ok(Compiled { draft: draft.to_owned(), edits: facts.edits, changed, onto, snapshot })
    }

    fn refuse_collisions(&self, draft: &str, view: &View, items: &[DraftItem]) -> Result<(), WriteError> {
        let layers = self.shared.layers().map_err(from_state)?;
        let (mut first, mut total) = (Vec::new(), 0);
        for item in items {
            if self.shared.collision(view, &layers, item).map_err(from_state)?.is_some() {
                total += 1;
                if first.len() < MAX_COLLISIONS {
                    first.push(item.record.clone());
                }
            }
        }
        if total == 0 { Ok(()) } else { Err(WriteError::Collides { draft: draft.to_owned(), first, total }) }
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

    /// What a draft does to one record, if anything.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn item_of(&self, draft: &DraftFacts, record: &RecordKey) -> Result<Option<DraftItem>, StateError> {
        let stored = layout::draft_key(draft.number, record.to_string().as_bytes());
        let value = self.shared.store.get(Space::Draft, &stored)?;
        value.map(|value| draft_item(&stored, &value)).transpose()
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
        items.iter().map(|(stored, value)| draft_item(stored, value)).collect()
    }
}

/// What a draft puts and deletes.
pub(crate) fn changes(
    items: &[DraftItem],
) -> Result<(Vec<Record>, BTreeSet<RecordKey>), LoadError<ExchangeError>> {
    let lines = items.iter().filter_map(|item| item.line.as_deref());
    let puts = read_all(lines.map(|line| exchange::parse_line(line.as_bytes(), 0)))?;
    let deleted = items.iter().filter(|item| item.line.is_none()).map(|item| item.record.parse());
    let deletes = deleted.collect::<Result<BTreeSet<RecordKey>, _>>().map_err(LoadError::Key)?;
    Ok((puts, deletes))
}

/// An item of a draft as the store has it.
pub(crate) fn draft_item(stored: &[u8], value: &[u8]) -> Result<DraftItem, StateError> {
    let (_, key) = layout::split_draft_key(stored)?;
    let (seen, line) = layout::split_item(key, value)?;
    let line = line.map(|line| layout::text(key, line)).transpose()?;
    Ok(DraftItem { record: layout::text(key, key)?.to_string(), line, seen })
}

fn refuse(
    origin: &Origin,
    draft: &str,
    facts: &DraftFacts,
    conditions: &Conditions,
) -> Result<(), WriteError> {
    let Conditions { etag, separate_publisher, validate_only: _ } = conditions;
    facts.refuse_import(draft)?;
    if etag.as_ref().is_some_and(|etag| *etag != facts.etag(draft)) {
        return Err(WriteError::DraftMoved { draft: draft.to_owned() });
    }
    let publisher = holder_of(&origin.actor);
    if *separate_publisher && facts.editors.iter().any(|editor| holder_of(editor) == publisher) {
        return Err(WriteError::OwnEdits { draft: draft.to_owned() });
    }
    Ok(())
}

pub(crate) fn from_state(error: StateError) -> WriteError {
    match error {
        StateError::Store(error) => error.into(),
        StateError::Layout(error) => error.into(),
    }
}
