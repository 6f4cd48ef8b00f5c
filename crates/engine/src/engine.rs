//! The engine: the current view for readers, and the way to the writer.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Instant;

use arc_swap::ArcSwap;
use dashwright_log::Digest;
use dashwright_snapshot::Snapshot;
use dashwright_store::{Space, Store};
use tokio::sync::{oneshot, watch};

use crate::content;
use crate::layout;
use crate::load::Pace;
use crate::state::{DatasetFacts, DraftFacts, RevisionFacts, StateError};
use crate::view::{AS_OF_KEPT, Freshness, View, ViewError};
use crate::writer::{Answer, Command, QUEUED_COMMANDS, WriteError, Writer, Writes};

/// The one writer and the current view of a dataset. Clones are handles of the same engine; the last one to go ends the
/// writer and closes store and log.
#[derive(Clone)]
pub struct Engine {
    // Before the shared part, so that the writer has ended when the store goes.
    handle: Arc<Handle>,
    shared: Arc<Shared>,
    pub(crate) pace: Pace,
}

impl Engine {
    pub(crate) fn new(shared: Arc<Shared>, pace: Pace, writer: Writer) -> std::io::Result<Engine> {
        let (commands, received) = sync_channel(QUEUED_COMMANDS);
        let thread =
            std::thread::Builder::new().name("writer".into()).spawn(move || writer.run(&received))?;
        let handle = Handle { commands: Some(commands), thread: Some(thread) };
        Ok(Engine { handle: Arc::new(handle), shared, pace })
    }

    /// The view of the last revision, without waiting and without a lock.
    #[must_use]
    pub fn view(&self) -> Arc<View> {
        self.shared.view.load_full()
    }

    /// The view that a read asks for. Waits until `deadline` for a revision that is not published yet; an earlier
    /// revision is compiled on a thread for blocking work. Needs a runtime with time.
    ///
    /// # Errors
    /// See [`ViewError`].
    pub async fn view_at(&self, freshness: Freshness, deadline: Instant) -> Result<Arc<View>, ViewError> {
        let (token, exactly) = match freshness {
            Freshness::Latest => return Ok(self.view()),
            Freshness::AtLeast(token) => (token, false),
            Freshness::Exactly(token) => (token, true),
        };
        let view = self.view();
        if !token.is_of(view.incarnation()) {
            return Err(ViewError::OtherHistory);
        }
        let view = self.wait_for(token.revision(), deadline).await?;
        if !exactly || view.revision() == token.revision() {
            return Ok(view);
        }
        let shared = Arc::clone(&self.shared);
        let read = tokio::task::spawn_blocking(move || shared.as_of(token.revision()));
        read.await.map_err(|_| ViewError::BrokenOff)?
    }

    /// Whether writes are taken.
    #[must_use]
    pub fn writes(&self) -> Writes {
        self.shared.writes()
    }

    /// A receiver of the number of the last revision, told of every change.
    #[must_use]
    pub fn revisions(&self) -> watch::Receiver<u64> {
        self.shared.revision.subscribe()
    }

    async fn wait_for(&self, revision: u64, deadline: Instant) -> Result<Arc<View>, ViewError> {
        let mut reached = self.revisions();
        let waiting = reached.wait_for(|current| *current >= revision);
        let _ = tokio::time::timeout_at(deadline.into(), waiting).await;
        let view = self.view();
        if view.revision() < revision {
            return Err(ViewError::NotReached { wanted: revision, current: view.revision() });
        }
        Ok(view)
    }

    /// Asks the writer and waits for its answer.
    pub(crate) fn ask<T>(&self, command: impl FnOnce(Answer<T>) -> Command) -> Result<T, WriteError> {
        let (answer, answered) = oneshot::channel();
        let commands = self.handle.commands.as_ref().ok_or(WriteError::Ended)?;
        commands.send(command(answer)).map_err(|_| WriteError::Ended)?;
        answered.blocking_recv().map_err(|_| WriteError::Ended)?
    }
}

impl std::fmt::Debug for Engine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Engine").field("revision", &self.view().revision()).finish_non_exhaustive()
    }
}

/// The writer's thread, which ends with the handle.
struct Handle {
    commands: Option<SyncSender<Command>>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.commands = None;
        if self.thread.take().is_some_and(|thread| thread.join().is_err()) {
            tracing::error!("the writer panicked");
        }
    }
}

/// What readers and the writer share.
pub(crate) struct Shared {
    view: ArcSwap<View>,
    revision: watch::Sender<u64>,
    writes: AtomicU8,
    store: Arc<Store>,
    dataset: DatasetFacts,
    earlier: Mutex<VecDeque<Arc<View>>>,
}

impl Shared {
    pub(crate) fn new(view: View, dataset: DatasetFacts, store: Arc<Store>) -> Shared {
        let revision = watch::Sender::new(view.revision());
        let (writes, earlier) = (AtomicU8::new(Writes::Taken as u8), Mutex::default());
        Shared { view: ArcSwap::from_pointee(view), revision, writes, store, dataset, earlier }
    }

    pub(crate) fn swap(&self, view: View) {
        let revision = view.revision();
        self.view.store(Arc::new(view));
        self.revision.send_replace(revision);
    }

    pub(crate) fn writes(&self) -> Writes {
        match self.writes.load(Ordering::Acquire) {
            0 => Writes::Taken,
            1 => Writes::StoppedByLog,
            _ => Writes::StoppedByStore,
        }
    }

    pub(crate) fn stop(&self, writes: Writes) {
        self.writes.store(writes as u8, Ordering::Release);
    }

    /// The view of an earlier revision, kept from the last time or compiled anew; one at a time.
    pub(crate) fn as_of(&self, revision: u64) -> Result<Arc<View>, ViewError> {
        let mut kept = self.earlier.lock().unwrap_or_else(PoisonError::into_inner);
        let place = kept.iter().position(|view| view.revision() == revision);
        let view = match place.and_then(|place| kept.remove(place)) {
            Some(view) => view,
            None => Arc::new(self.compile(revision)?),
        };
        kept.truncate(AS_OF_KEPT - 1);
        kept.push_front(Arc::clone(&view));
        Ok(view)
    }

    fn compile(&self, revision: u64) -> Result<View, ViewError> {
        let facts = self.revision_facts(revision)?;
        let published = match &facts {
            Some(facts) => facts.content_hash,
            None if revision == 0 => Digest::of(b""),
            None => return Err(ViewError::NotKept { revision, oldest: self.oldest()? }),
        };
        let layers = self.layers()?;
        let sources = content::as_of(&self.store, &layers, revision)?;
        let snapshot = Snapshot::build(sources)
            .map_err(|source| ViewError::NotCompiled { revision, source: Box::new(source) })?;
        let found = Digest(snapshot.content_hash());
        if found != published {
            return Err(ViewError::Altered { revision, published, found });
        }
        Ok(View::new(Arc::new(snapshot), &self.dataset, facts.as_ref()))
    }

    fn revision_facts(&self, revision: u64) -> Result<Option<RevisionFacts>, StateError> {
        let key = layout::revision_key(revision);
        let facts = self.store.get(Space::Meta, &key)?;
        Ok(facts.map(|facts| layout::read_facts(&key, &facts)).transpose()?)
    }

    /// The oldest revision that is kept; the empty dataset is known as long as the first revision is.
    fn oldest(&self) -> Result<u64, StateError> {
        let first = self.store.scan(Space::Meta, layout::REVISIONS, None, 1)?;
        let Some((key, facts)) = first.first() else { return Ok(0) };
        let facts: RevisionFacts = layout::read_facts(key, facts)?;
        Ok(if facts.revision == 1 { 0 } else { facts.revision })
    }

    /// Published drafts that are not settled, read before their items are.
    fn layers(&self) -> Result<BTreeMap<u64, u64>, StateError> {
        let mut layers = BTreeMap::new();
        for (key, facts) in self.store.scan(Space::Meta, layout::DRAFTS, None, usize::MAX)? {
            let DraftFacts { number, published, .. } = layout::read_facts(&key, &facts)?;
            layers.extend(published.map(|revision| (number, revision)));
        }
        Ok(layers)
    }
}
