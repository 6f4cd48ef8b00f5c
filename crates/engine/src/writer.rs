//! The one writer: a thread that alone appends to the log.

mod drafts;
mod group;
mod keys;
mod outcomes;

use std::sync::Arc;
use std::sync::mpsc::Receiver;

use dashwright_log::{AppendError, Digest, Head, KindError, Log, NewEntry, StoredEntry, leaf_hash};
use dashwright_quantity::IdError;
use dashwright_store::{Space, Store, StoreError};
use serde::Serialize;
use serde_json::value::to_raw_value;

use crate::edit::EtagMismatch;
use crate::fold::{FoldError, fold};
use crate::keys::TooManyLive;
use crate::layout::{self, LayoutError};
use crate::outcomes::OutcomeError;
use crate::shared::Shared;
use crate::state::{DraftFacts, RequestFacts, State};
use crate::surroundings::{Origin, Surroundings};
use crate::token::RevisionToken;

pub(crate) use drafts::{Compiled, Stand, Wanted};
pub(crate) use group::WaitingEdit;
#[cfg(test)]
pub(crate) use group::{BYTES_TOGETHER, gather};
pub use keys::{MadeKey, NewKey};

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
    /// The checkpoint with the publish as the last entry, as a note.
    pub checkpoint: String,
    /// Whether this is the first result of a repeated request.
    pub repeated: bool,
}

/// A draft as a change left it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drafted {
    /// Its id.
    pub id: String,
    /// What is known of it.
    pub draft: DraftFacts,
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
    /// A checkpoint could not be kept; a restart makes it again.
    StoppedByCheckpoints = 3,
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
    /// The request id is that of another request.
    #[error("the request id `{request_id}` is that of another request, a `{kind}` of `{of}`")]
    RequestReused {
        /// The id.
        request_id: String,
        /// What the other request did.
        kind: String,
        /// To what.
        of: String,
    },
    /// Others went on publishing in between, too often for another attempt.
    #[error("the draft was made ready for revision {base}, the last one is {current}")]
    Outdated {
        /// The revision that the draft was made ready for.
        base: u64,
        /// The last one.
        current: u64,
    },
    /// Records of the draft were changed by revisions that were published since, to something else.
    #[error("{total} records of the draft `{draft}` were changed by others since")]
    Collides {
        /// Its id.
        draft: String,
        /// The first of the records.
        first: Vec<String>,
        /// How many there are.
        total: usize,
    },
    /// Records are not what the edit expects.
    #[error("{total} records are not what the edit expects")]
    Etags {
        /// The first of them.
        first: Vec<EtagMismatch>,
        /// How many there are.
        total: usize,
    },
    /// Whoever edited a draft may not publish it.
    #[error("whoever edited the draft `{draft}` may not publish it")]
    OwnEdits {
        /// Its id.
        draft: String,
    },
    /// The id of a record is none.
    #[error(transparent)]
    Id(#[from] IdError),
    /// The draft was edited since it was looked at.
    #[error("the draft `{draft}` was edited since it was looked at")]
    DraftMoved {
        /// Its id.
        draft: String,
    },
    /// The id for a new draft is one that a draft has.
    #[error("there is a draft `{draft}` already")]
    DraftExists {
        /// The id.
        draft: String,
    },
    /// An import in the draft was broken off: its repetition finishes it, and until then the draft takes nothing else.
    #[error("an import in the draft `{draft}` is not finished: its request is `{request_id}`")]
    ImportUnfinished {
        /// The draft.
        draft: String,
        /// The request of the import.
        request_id: String,
    },
    /// The draft does not exist, is published, or was thrown away.
    #[error("there is no open draft `{draft}`")]
    NoOpenDraft {
        /// Its id.
        draft: String,
    },
    /// A record that is to be deleted is neither in the dataset nor in the draft.
    #[error("there is no record `{record}` to delete")]
    NoRecord {
        /// Its key.
        record: String,
    },
    /// An edit has more than one entry of the log holds.
    #[error(
        "an edit of {records} records and {bytes} bytes is more than the {} and {} that are allowed at once",
        crate::EDIT_RECORDS,
        crate::EDIT_BYTES
    )]
    LargeEdit {
        /// Puts and deletes.
        records: usize,
        /// Bytes of them.
        bytes: usize,
    },
    /// A draft without edits has nothing to publish.
    #[error("the draft `{draft}` holds nothing")]
    EmptyDraft {
        /// Its id.
        draft: String,
    },
    /// An outcome is not what the change takes it for.
    #[error(transparent)]
    Outcome(#[from] OutcomeError),
    /// The holder has as many live keys as allowed.
    #[error(transparent)]
    TooManyLive(#[from] TooManyLive),
    /// The first key is not an operator's, so that nobody could make the next.
    #[error("the first key has not the role of the operator, so that nobody could make another")]
    FirstKey,
    /// The key would have ended before it was made.
    #[error("the key would end at `{expires}`, which is over")]
    ExpiryOver {
        /// The time.
        expires: String,
    },
    /// The time is none.
    #[error("`{time}` is not an RFC 3339 time in UTC")]
    Time {
        /// As given.
        time: String,
    },
    /// There is no such key, or it is revoked.
    #[error("there is no key `{key}` that is not revoked")]
    NoKey {
        /// Its id.
        key: String,
    },
    /// The machine gives no random bytes.
    #[error("the machine gives no random bytes")]
    NoRandomness,
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

/// What the writer is asked to do; it sends its answer itself.
pub(crate) enum Command {
    /// Something of its own.
    Do(Box<dyn FnOnce(&mut Writer) + Send>),
    /// An edit of a draft, which may be made durable together with those behind it.
    Edit(Box<WaitingEdit>),
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
        let mut next = commands.recv().ok();
        while let Some(command) = next.take() {
            match command {
                Command::Do(what) => what(&mut self),
                Command::Edit(first) => {
                    let (group, behind) = group::gather(*first, commands);
                    self.edit_together(group);
                    next = behind;
                }
            }
            next = next.or_else(|| commands.recv().ok());
        }
        if let Err(error) = self.store.flush() {
            tracing::warn!(%error, "the store was not flushed; the next start replays more of the log");
        }
    }

    /// What an earlier request of this id led to, which was of this kind.
    pub(crate) fn earlier(
        &self,
        request_id: Option<&str>,
        kind: &str,
    ) -> Result<Option<RequestFacts>, WriteError> {
        let Some(id) = request_id else { return Ok(None) };
        let key = layout::request_key(id);
        let facts = self.store.get(Space::Meta, &key).map_err(|error| self.store_failed(&error))?;
        let Some(facts) = facts else { return Ok(None) };
        let facts: RequestFacts = layout::read_facts(&key, &facts)?;
        if facts.kind == kind {
            return Ok(Some(facts));
        }
        let RequestFacts { kind, of, .. } = facts;
        Err(WriteError::RequestReused { request_id: id.to_owned(), kind, of })
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
        self.append_entries(entries, &mut |_| ())
    }

    /// Appends entries with one synchronisation and folds them; `folded` is told of each in turn.
    fn append_entries(
        &mut self,
        entries: Vec<NewEntry>,
        folded: &mut dyn FnMut(&Writer),
    ) -> Result<Vec<StoredEntry>, WriteError> {
        let timer = self.shared.figures.appends.start_timer();
        let stored = self.log.append_all(self.head, entries).inspect_err(|error| {
            if matches!(error, AppendError::Poisoned | AppendError::Io(_)) {
                tracing::error!(%error, "the log failed, writes stop until a restart");
                self.shared.stop(Writes::StoppedByLog);
            }
        })?;
        timer.stop_and_record();
        for stored in &stored {
            self.head = stored.head();
            self.shared.grow(leaf_hash(&stored.bytes));
            if let Err(error) = self.apply(stored) {
                tracing::error!(%error, "the store failed, writes stop until a restart fills it anew");
                self.shared.stop(Writes::StoppedByStore);
            }
            folded(self);
        }
        Ok(stored)
    }

    /// Folds an entry, unless the store has failed before.
    fn apply(&mut self, stored: &StoredEntry) -> Result<(), FoldError> {
        if self.shared.writes() == Writes::StoppedByStore {
            return Ok(());
        }
        let changes = fold(&mut self.state, &self.store, stored, self.settled)?;
        Ok(self.store.apply(stored.head(), &changes)?)
    }

    /// A store that does not answer knows no earlier requests, so that nothing may be written beside it.
    pub(crate) fn store_failed(&self, error: &StoreError) -> WriteError {
        tracing::error!(%error, "the store failed, writes stop until a restart fills it anew");
        self.shared.stop(Writes::StoppedByStore);
        WriteError::Stopped { writes: Writes::StoppedByStore }
    }

    pub(crate) fn go_on(&self) -> Result<(), WriteError> {
        match self.shared.writes() {
            Writes::Taken => Ok(()),
            writes => Err(WriteError::Stopped { writes }),
        }
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
