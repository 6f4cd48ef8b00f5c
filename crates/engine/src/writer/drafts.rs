//! What the writer does with drafts.

use std::sync::Arc;

use dashwright_log::Digest;
use dashwright_model::record::RecordKey;
use dashwright_snapshot::Snapshot;
use dashwright_store::Space;

use super::{Drafted, Published, WriteError, Writer, Writes};
use crate::drafts::{draft_item, from_state};
use crate::edit::{EtagMismatch, Expected, etag, item_etag};
use crate::entry::{
    DRAFT_CREATE, DRAFT_DISCARD, DRAFT_EDIT, DraftCreate, DraftDiscard, DraftEdit, REVISION_PUBLISH,
    RevisionPublish,
};
use crate::layout;
use crate::state::{DraftFacts, RequestFacts, RevisionFacts};
use crate::surroundings::Origin;
use crate::token::RevisionToken;
use crate::view::View;

/// A draft that was compiled, as the caller found it.
pub(crate) struct Compiled {
    pub(crate) draft: String,
    pub(crate) edits: u64,
    pub(crate) changed: u64,
    /// The revision that it was compiled for.
    pub(crate) onto: u64,
    pub(crate) snapshot: Arc<Snapshot>,
}

/// A draft and the dataset as a caller found them.
pub(crate) struct Stand {
    pub(crate) draft: String,
    pub(crate) edits: u64,
    pub(crate) revision: u64,
}

/// A change of a record, and what it is to find.
pub(crate) struct Wanted {
    pub(crate) key: RecordKey,
    pub(crate) expected: Expected,
    pub(crate) deletes: bool,
}

/// Mismatches that are told one by one; the rest is counted.
const MAX_MISMATCHES: usize = 20;

impl Writer {
    /// What an earlier publish of this request led to.
    pub(crate) fn published_earlier(
        &self,
        request_id: Option<&str>,
    ) -> Result<Option<Published>, WriteError> {
        let earlier = self.earlier(request_id, REVISION_PUBLISH)?.and_then(|facts| facts.revision);
        let Some(revision) = earlier else { return Ok(None) };
        let key = layout::revision_key(revision);
        let facts = self.store.get(Space::Meta, &key).map_err(|error| self.store_failed(&error))?;
        let Some(facts) = facts else { return Ok(None) };
        Ok(Some(self.published(&layout::read_facts(&key, &facts)?, true)))
    }

    pub(crate) fn create(&mut self, origin: &Origin, base_revision: u64) -> Result<Drafted, WriteError> {
        if let Some(earlier) = self.drafted_earlier(origin, DRAFT_CREATE, None)? {
            return Ok(earlier);
        }
        let draft = self.surroundings.new_id();
        // An entry that can not be folded would keep every later start from following the log.
        if self.state.drafts.contains_key(&draft) {
            return Err(WriteError::DraftExists { draft });
        }
        self.append(origin, DRAFT_CREATE, &[DraftCreate { draft: draft.clone(), base_revision }])?;
        self.drafted(draft)
    }

    /// Puts edits into a draft; they are made durable together. Only one edit may have a request id: a crash between
    /// two would leave a request that is neither done nor not.
    pub(crate) fn edit(
        &mut self,
        origin: &Origin,
        draft: &str,
        edits: &[DraftEdit],
    ) -> Result<Drafted, WriteError> {
        if let Some(earlier) = self.drafted_earlier(origin, DRAFT_EDIT, Some(draft))? {
            return Ok(earlier);
        }
        self.free_draft(draft)?;
        self.append(origin, DRAFT_EDIT, edits)?;
        self.drafted(draft.to_owned())
    }

    /// Puts edits of an import into a draft: the first ones only if the draft is as the caller found it. Only the last edit
    /// of the import has its request id.
    pub(crate) fn import(
        &mut self,
        origin: &Origin,
        first: Option<&Stand>,
        mut edits: Vec<DraftEdit>,
    ) -> Result<Option<Drafted>, WriteError> {
        let Some(part) = edits.first().and_then(|edit| edit.import.clone()) else { return Ok(None) };
        let Some(draft) = edits.first().map(|edit| edit.draft.clone()) else { return Ok(None) };
        if let Some(earlier) = self.drafted_earlier(origin, DRAFT_EDIT, Some(&draft))? {
            return Ok(Some(earlier));
        }
        if let Some(Stand { draft, edits: found, revision }) = first {
            self.stands_at(draft, *found, *revision)?;
        }
        self.open_draft(&draft)?.refuse_other_import(&draft, &part)?;
        let last = edits.pop_if(|edit| edit.import.as_ref().is_some_and(|import| import.last));
        if !edits.is_empty() {
            let begin = Origin { request_id: None, ..origin.clone() };
            self.append(&begin, DRAFT_EDIT, &edits)?;
        }
        let Some(last) = last else { return Ok(None) };
        self.append(origin, DRAFT_EDIT, &[last])?;
        self.drafted(draft).map(Some)
    }

    /// Puts edits into a draft that is as the caller found it, or tells what it would be.
    pub(crate) fn edit_at(
        &mut self,
        origin: &Origin,
        stand: &Stand,
        edits: Vec<DraftEdit>,
        validate_only: bool,
    ) -> Result<Drafted, WriteError> {
        let Stand { draft, edits: found, revision } = stand;
        if let Some(earlier) = self.drafted_earlier(origin, DRAFT_EDIT, Some(draft))? {
            return Ok(earlier);
        }
        self.is_at(draft, *found, *revision)?;
        if validate_only {
            self.go_on()?;
            let mut facts = self.open_draft(draft)?.clone();
            facts.edits += edits.len() as u64;
            return Ok(Drafted { id: draft.clone(), draft: facts, repeated: false });
        }
        self.edit_whole(origin, draft, edits)
    }

    /// Puts edits of one request into a draft. The last of them has the request id: what was broken off before is not done,
    /// and its repetition does the rest.
    pub(crate) fn edit_whole(
        &mut self,
        origin: &Origin,
        draft: &str,
        mut edits: Vec<DraftEdit>,
    ) -> Result<Drafted, WriteError> {
        let last = edits.pop();
        if !edits.is_empty() {
            let begin = Origin { request_id: None, ..origin.clone() };
            self.edit(&begin, draft, &edits)?;
        }
        self.edit(origin, draft, last.as_slice())
    }

    /// Puts one edit into a draft whose records are what it expects.
    pub(crate) fn edit_checked(
        &mut self,
        origin: &Origin,
        mut edit: DraftEdit,
        wanted: &[Wanted],
        validate_only: bool,
    ) -> Result<Drafted, WriteError> {
        let draft = edit.draft.clone();
        if let Some(earlier) = self.drafted_earlier(origin, DRAFT_EDIT, Some(&draft))? {
            return Ok(earlier);
        }
        let mut facts = self.free_draft(&draft)?.clone();
        edit.keeps = self.met(facts.number, wanted)?;
        if validate_only {
            self.go_on()?;
            facts.edits += 1;
            return Ok(Drafted { id: draft, draft: facts, repeated: false });
        }
        self.edit(origin, &draft, &[edit])
    }

    /// The records of whose item the curator knew, and not of what the dataset has become since; refuses what is not as expected.
    pub(super) fn met(&self, draft: u64, wanted: &[Wanted]) -> Result<Vec<String>, WriteError> {
        let (view, layers) = (self.shared.view(), self.state.layers());
        let (mut keeps, mut first, mut total) = (Vec::new(), Vec::new(), 0);
        for Wanted { key, expected, deletes } in wanted {
            let record = key.to_string();
            let stored = layout::draft_key(draft, record.as_bytes());
            let item = self.store.get(Space::Draft, &stored)?;
            let item = item.map(|value| draft_item(&stored, &value)).transpose().map_err(from_state)?;
            let kept = view.snapshot().record(key.kind, key.id.as_str());
            if *deletes && item.is_none() && kept.is_none() {
                return Err(WriteError::NoRecord { record });
            }
            let current = match &item {
                Some(item) => Some(self.shared.item_state(&view, &layers, item).map_err(from_state)?.etag),
                None => kept.map(|kept| etag(&kept.text)),
            };
            // Who knew of the item alone goes on to be compared with what was seen then.
            let own = item.as_ref().map(|item| item_etag(item.line.as_deref(), None));
            let is_there = item.as_ref().map_or(kept.is_some(), |item| item.line.is_some());
            match expected {
                Expected::Anything => {}
                // A deletion in the draft was seen, and not what the dataset has become since.
                Expected::Nothing if !is_there && item.is_some() => keeps.push(record),
                Expected::Nothing if !is_there => {}
                Expected::Etag(given) if current.as_ref() == Some(given) => {}
                Expected::Etag(given) if own.as_ref() == Some(given) => keeps.push(record),
                Expected::Nothing | Expected::Etag(_) => {
                    total += 1;
                    if first.len() < MAX_MISMATCHES {
                        first.push(EtagMismatch { record, current });
                    }
                }
            }
        }
        if total == 0 { Ok(keeps) } else { Err(WriteError::Etags { first, total }) }
    }

    pub(crate) fn discard(&mut self, origin: &Origin, draft: &str) -> Result<bool, WriteError> {
        if self.drafted_earlier(origin, DRAFT_DISCARD, Some(draft))?.is_some() {
            return Ok(true);
        }
        self.open_draft(draft)?;
        self.append(origin, DRAFT_DISCARD, &[DraftDiscard { draft: draft.to_owned() }])?;
        Ok(false)
    }

    pub(crate) fn publish(&mut self, origin: &Origin, compiled: Compiled) -> Result<Published, WriteError> {
        if let Some(earlier) = self.published_earlier(origin.request_id.as_deref())? {
            return Ok(earlier);
        }
        self.is_current(&compiled)?;
        let Compiled { draft, edits: _, changed, onto, snapshot } = compiled;
        let content_hash = Digest(snapshot.content_hash());
        let (revision, records) = (onto + 1, crate::load::count(&snapshot));
        let entry = RevisionPublish { draft: draft.clone(), revision, content_hash, changed, records };
        let stored = self.append(origin, REVISION_PUBLISH, &[entry])?;
        let entry = stored.into_iter().next_back().ok_or(WriteError::Ended)?.entry;
        let (sequence, time, actor, reason) = (entry.sequence.0, entry.time, entry.actor, entry.reason);
        let facts =
            RevisionFacts { revision, sequence, content_hash, time, actor, reason, draft, changed, records };
        // It is published once the log has it, whatever has become of the store.
        self.shared.swap(View::new(snapshot, self.shared.dataset(), Some(&facts)));
        let published = self.published(&facts, false);
        self.keep(&published.checkpoint);
        tracing::info!(revision, changed, records, %content_hash, "published a revision");
        Ok(published)
    }

    /// What a publish would lead to, as things are. It has no checkpoint.
    pub(crate) fn would_publish(&self, compiled: &Compiled) -> Result<Published, WriteError> {
        self.go_on()?;
        self.is_current(compiled)?;
        let Compiled { changed, onto, snapshot, .. } = compiled;
        let revision = onto + 1;
        Ok(Published {
            revision,
            token: RevisionToken::new(self.shared.dataset().incarnation_of(revision), revision),
            content_hash: Digest(snapshot.content_hash()),
            changed: *changed,
            records: crate::load::count(snapshot),
            checkpoint: String::new(),
            repeated: false,
        })
    }

    /// Whether neither the draft nor the dataset has moved since the draft was compiled.
    fn is_current(&self, compiled: &Compiled) -> Result<(), WriteError> {
        self.is_at(&compiled.draft, compiled.edits, compiled.onto)
    }

    fn is_at(&self, draft: &str, edits: u64, revision: u64) -> Result<(), WriteError> {
        self.free_draft(draft)?;
        self.stands_at(draft, edits, revision)
    }

    pub(crate) fn stands_at(&self, draft: &str, edits: u64, revision: u64) -> Result<(), WriteError> {
        let (found, current) = (self.open_draft(draft)?.edits, self.state.revision());
        if revision != current {
            return Err(WriteError::Outdated { base: revision, current });
        }
        if found == edits { Ok(()) } else { Err(WriteError::DraftMoved { draft: draft.to_owned() }) }
    }

    /// Keeps a checkpoint. What it speaks of is durable already, so that a failure stops later writes only.
    pub(crate) fn keep(&self, note: &str) {
        if let Err(error) = self.shared.keep(note) {
            tracing::error!(%error, "a checkpoint was not kept, writes stop until a restart");
            self.shared.stop(Writes::StoppedByCheckpoints);
        }
    }

    /// An open draft in which no import is unfinished.
    pub(super) fn free_draft(&self, draft: &str) -> Result<&DraftFacts, WriteError> {
        let facts = self.open_draft(draft)?;
        facts.refuse_import(draft)?;
        Ok(facts)
    }

    pub(super) fn open_draft(&self, draft: &str) -> Result<&DraftFacts, WriteError> {
        let open = self.state.drafts.get(draft).filter(|facts| facts.is_open());
        open.ok_or_else(|| WriteError::NoOpenDraft { draft: draft.to_owned() })
    }

    /// What an earlier request of this id led to, which was of this kind and about this draft.
    pub(crate) fn drafted_earlier(
        &self,
        origin: &Origin,
        kind: &str,
        draft: Option<&str>,
    ) -> Result<Option<Drafted>, WriteError> {
        let request_id = origin.request_id.as_deref();
        let Some(RequestFacts { kind, of, draft: facts, .. }) = self.earlier(request_id, kind)? else {
            return Ok(None);
        };
        match facts {
            Some(facts) if draft.is_none_or(|draft| draft == of) => {
                Ok(Some(Drafted { id: of, draft: facts, repeated: true }))
            }
            _ => {
                let request_id = request_id.unwrap_or_default().to_owned();
                Err(WriteError::RequestReused { request_id, kind, of })
            }
        }
    }

    pub(super) fn drafted(&self, id: String) -> Result<Drafted, WriteError> {
        // A store that failed over this entry has stopped writes; what the log has taken is told after the restart.
        self.go_on()?;
        let draft = self.open_draft(&id)?.clone();
        Ok(Drafted { id, draft, repeated: false })
    }

    fn published(&self, facts: &RevisionFacts, repeated: bool) -> Published {
        let RevisionFacts { revision, content_hash, changed, records, .. } = *facts;
        let token = RevisionToken::new(self.shared.dataset().incarnation_of(revision), revision);
        let checkpoint = self.shared.checkpoint_of(facts);
        Published { revision, token, content_hash, changed, records, checkpoint, repeated }
    }
}
