//! The one writer: a thread that alone appends to the log.

use std::sync::Arc;
use std::sync::mpsc::Receiver;

use dashwright_log::{AppendError, Digest, Head, KindError, Log, NewEntry, StoredEntry};
use dashwright_snapshot::Snapshot;
use dashwright_store::{Space, Store, StoreError};
use serde::Serialize;
use serde_json::value::to_raw_value;
use tokio::sync::oneshot;

use crate::engine::Shared;
use crate::entry::{DRAFT_CREATE, DRAFT_EDIT, DraftCreate, DraftEdit, REVISION_PUBLISH, RevisionPublish};
use crate::fold::{FoldError, fold};
use crate::layout::{self, LayoutError};
use crate::state::{RevisionFacts, State};
use crate::surroundings::{Origin, Surroundings};
use crate::token::RevisionToken;
use crate::view::View;

/// Commands that wait for the writer: enough that it never idles, few enough that a caller soon learns of a jam.
pub const QUEUED_COMMANDS: usize = 64;

/// What a publish led to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// The number of the revision.
    pub revision: u64,
    /// The revision as callers know it.
    pub token: RevisionToken,
    /// SHA-256 over the export of the dataset.
    pub content_hash: Digest,
    /// How many records were put or deleted.
    pub changed: u64,
    /// How many records the dataset holds.
    pub records: u64,
    /// Whether this is the first result of a repeated request.
    pub repeated: bool,
}

/// Whether writes are taken. Reads always go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Writes {
    /// They are.
    Taken = 0,
    /// A write to the log failed; a restart reads again what is in it.
    StoppedByLog = 1,
    /// The store failed; a restart fills it anew from the log.
    StoppedByStore = 2,
}

/// Why a change was not made.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// An earlier failure has stopped writes until a restart.
    #[error("writes have stopped after a failure, reads go on")]
    Stopped {
        /// Where the failure was.
        writes: Writes,
    },
    /// The log did not take the entries.
    #[error(transparent)]
    Log(#[from] AppendError),
    /// The draft starts from a revision that is no longer the last.
    #[error("the draft starts from revision {base}, the last one is {current}")]
    Outdated {
        /// The revision that the draft starts from.
        base: u64,
        /// The last one.
        current: u64,
    },
    /// The id for a new draft is one that a draft has.
    #[error("there is a draft `{draft}` already")]
    DraftExists {
        /// The id.
        draft: String,
    },
    /// The draft does not exist, or is published.
    #[error("there is no open draft `{draft}`")]
    NoOpenDraft {
        /// Its id.
        draft: String,
    },
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The store holds something of another layout.
    #[error(transparent)]
    Layout(#[from] LayoutError),
    /// An entry has no JSON form.
    #[error("the entry has no JSON form")]
    NotJson(#[from] serde_json::Error),
    /// A kind of entry has no proper name.
    #[error(transparent)]
    Kind(#[from] KindError),
    /// The writer has ended.
    #[error("the writer has ended")]
    Ended,
}

/// Where the writer sends its answer.
pub(crate) type Answer<T> = oneshot::Sender<Result<T, WriteError>>;

/// What the writer is asked to do.
pub(crate) enum Command {
    /// What an earlier request led to.
    Earlier { request_id: String, answer: Answer<Option<Published>> },
    /// Begin a draft.
    Create { origin: Origin, base_revision: u64, answer: Answer<String> },
    /// Put edits into a draft, made durable together.
    Edit { origin: Origin, edits: Vec<DraftEdit>, answer: Answer<()> },
    /// Publish a draft whose revision is compiled already.
    Publish {
        origin: Origin,
        draft: String,
        changed: u64,
        snapshot: Arc<Snapshot>,
        answer: Answer<Published>,
    },
}

/// The writer.
pub(crate) struct Writer {
    pub(crate) log: Arc<dyn Log>,
    pub(crate) store: Arc<Store>,
    pub(crate) surroundings: Arc<dyn Surroundings>,
    pub(crate) shared: Arc<Shared>,
    pub(crate) state: State,
    pub(crate) head: Head,
    pub(crate) settled: usize,
}

impl Writer {
    /// Does what it is asked to until nobody can ask any more.
    pub(crate) fn run(mut self, commands: &Receiver<Command>) {
        while let Ok(command) = commands.recv() {
            // A caller that no longer waits has changed nothing about what was done.
            match command {
                Command::Earlier { request_id, answer } => drop(answer.send(self.earlier(Some(&request_id)))),
                Command::Create { origin, base_revision, answer } => {
                    drop(answer.send(self.create(&origin, base_revision)));
                }
                Command::Edit { origin, edits, answer } => drop(answer.send(self.edit(&origin, &edits))),
                Command::Publish { origin, draft, changed, snapshot, answer } => {
                    drop(answer.send(self.publish(&origin, draft, changed, snapshot)));
                }
            }
        }
        if let Err(error) = self.store.flush() {
            tracing::warn!(%error, "the store was not flushed; the next start replays more of the log");
        }
    }

    fn earlier(&self, request_id: Option<&str>) -> Result<Option<Published>, WriteError> {
        let Some(id) = request_id else { return Ok(None) };
        let Some(revision) = self.store.get(Space::Meta, &layout::request_key(id))? else { return Ok(None) };
        let key = [layout::REVISIONS, &revision].concat();
        let Some(facts) = self.store.get(Space::Meta, &key)? else { return Ok(None) };
        Ok(Some(self.published(&layout::read_facts(&key, &facts)?, true)))
    }

    fn create(&mut self, origin: &Origin, base_revision: u64) -> Result<String, WriteError> {
        let draft = self.surroundings.new_id();
        // An entry that can not be folded would keep every later start from following the log.
        if self.state.drafts.contains_key(&draft) {
            return Err(WriteError::DraftExists { draft });
        }
        self.append(origin, DRAFT_CREATE, &[DraftCreate { draft: draft.clone(), base_revision }])?;
        self.go_on()?;
        Ok(draft)
    }

    fn edit(&mut self, origin: &Origin, edits: &[DraftEdit]) -> Result<(), WriteError> {
        if let Some(edit) = edits.iter().find(|edit| self.open_base(&edit.draft).is_none()) {
            return Err(WriteError::NoOpenDraft { draft: edit.draft.clone() });
        }
        self.append(origin, DRAFT_EDIT, edits)?;
        self.go_on()
    }

    fn publish(
        &mut self,
        origin: &Origin,
        draft: String,
        changed: u64,
        snapshot: Arc<Snapshot>,
    ) -> Result<Published, WriteError> {
        if let Some(earlier) = self.earlier(origin.request_id.as_deref())? {
            return Ok(earlier);
        }
        let Some(base) = self.open_base(&draft) else { return Err(WriteError::NoOpenDraft { draft }) };
        let current = self.state.revision();
        if base != current {
            return Err(WriteError::Outdated { base, current });
        }
        let content_hash = Digest(snapshot.content_hash());
        let records = crate::load::count(&snapshot);
        let revision = current + 1;
        let entry = RevisionPublish { draft, revision, content_hash, changed, records };
        let stored = self.append(origin, REVISION_PUBLISH, &[entry])?;
        let place = stored.last().map(|stored| (stored.entry.sequence.0, stored.entry.time.clone()));
        let (sequence, time) = place.ok_or(WriteError::Ended)?;
        let facts = RevisionFacts { revision, sequence, content_hash, time, changed, records };
        // It is published once the log has it, whatever has become of the store.
        if let Some(dataset) = &self.state.dataset {
            self.shared.swap(View::new(snapshot, dataset, Some(&facts)));
        }
        tracing::info!(revision, changed, records, %content_hash, "published a revision");
        Ok(self.published(&facts, false))
    }

    /// Appends entries and folds them. After an error none was appended; what only the store failed to take is in the
    /// log, and writes stop.
    fn append(
        &mut self,
        origin: &Origin,
        kind: &str,
        payloads: &[impl Serialize],
    ) -> Result<Vec<StoredEntry>, WriteError> {
        self.go_on()?;
        let entry = |payload| new_entry(&*self.surroundings, origin, kind, payload);
        let entries = payloads.iter().map(entry).collect::<Result<Vec<_>, _>>()?;
        let stored = self.log.append_all(self.head, entries).inspect_err(|error| {
            if matches!(error, AppendError::Poisoned | AppendError::Io(_)) {
                tracing::error!(%error, "the log failed, writes stop until a restart");
                self.shared.stop(Writes::StoppedByLog);
            }
        })?;
        for stored in &stored {
            self.head = stored.head();
            if let Err(error) = self.apply(stored) {
                tracing::error!(%error, "the store failed, writes stop until a restart fills it anew");
                self.shared.stop(Writes::StoppedByStore);
                break;
            }
        }
        Ok(stored)
    }

    fn apply(&mut self, stored: &StoredEntry) -> Result<(), FoldError> {
        let changes = fold(&mut self.state, &self.store, stored, self.settled)?;
        Ok(self.store.apply(stored.head(), &changes)?)
    }

    fn go_on(&self) -> Result<(), WriteError> {
        match self.shared.writes() {
            Writes::Taken => Ok(()),
            writes => Err(WriteError::Stopped { writes }),
        }
    }

    /// The revision that an open draft starts from.
    fn open_base(&self, draft: &str) -> Option<u64> {
        let draft = self.state.drafts.get(draft).filter(|facts| facts.published.is_none())?;
        Some(draft.base_revision)
    }

    fn published(&self, facts: &RevisionFacts, repeated: bool) -> Published {
        let RevisionFacts { revision, sequence: _, content_hash, time: _, changed, records } = *facts;
        let incarnation = self.state.dataset.as_ref().map_or("", |dataset| dataset.incarnation.as_str());
        let token = RevisionToken::new(incarnation, revision);
        Published { revision, token, content_hash, changed, records, repeated }
    }
}

pub(crate) fn new_entry(
    surroundings: &dyn Surroundings,
    origin: &Origin,
    kind: &str,
    payload: &impl Serialize,
) -> Result<NewEntry, WriteError> {
    let Origin { actor, reason, request_id } = origin.clone();
    let (time, kind, payload) = (surroundings.now(), kind.parse()?, to_raw_value(payload)?);
    Ok(NewEntry { time, actor, reason, request_id, kind, payload })
}
