//! What the writer does with drafts.

use std::sync::Arc;

use dashwright_log::Digest;
use dashwright_snapshot::Snapshot;
use dashwright_store::Space;

use super::{Drafted, Published, WriteError, Writer, Writes};
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
    pub(crate) snapshot: Arc<Snapshot>,
}

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
        self.open_draft(draft)?;
        self.append(origin, DRAFT_EDIT, edits)?;
        self.drafted(draft.to_owned())
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
        let Compiled { draft, edits, changed, snapshot } = compiled;
        let (base, found) = self.open_draft(&draft).map(|facts| (facts.base_revision, facts.edits))?;
        let current = self.state.revision();
        if base != current {
            return Err(WriteError::Outdated { base, current });
        }
        if found != edits {
            return Err(WriteError::DraftMoved { draft });
        }
        let content_hash = Digest(snapshot.content_hash());
        let (revision, records) = (current + 1, crate::load::count(&snapshot));
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

    /// Keeps a checkpoint. What it speaks of is durable already, so that a failure stops later writes only.
    pub(crate) fn keep(&self, note: &str) {
        if let Err(error) = self.shared.keep(note) {
            tracing::error!(%error, "a checkpoint was not kept, writes stop until a restart");
            self.shared.stop(Writes::StoppedByCheckpoints);
        }
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
