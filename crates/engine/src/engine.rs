//! The engine: the current view for readers, and the way to the writer.

use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Instant;

use dashwright_log::Tree;
use tokio::sync::{oneshot, watch};

use crate::entry::DraftEdit;
use crate::figures::Figures;
use crate::keys::KeyRing;
use crate::load::Pace;
use crate::shared::Shared;
use crate::surroundings::Origin;
use crate::view::{Freshness, View, ViewError};
use crate::writer::{Command, Drafted, QUEUED_COMMANDS, WaitingEdit, Wanted, WriteError, Writer, Writes};

/// The one writer and the current view of a dataset. Clones are handles of the same engine; the last one to go ends the
/// writer and closes store and log.
#[derive(Clone)]
pub struct Engine {
    // Before the shared part, so that the writer has ended when the store goes.
    handle: Arc<Handle>,
    pub(crate) shared: Arc<Shared>,
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
        self.shared.view()
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
        if !token.is_of(self.shared.dataset().incarnation_of(token.revision())) {
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

    /// What was measured since the start.
    #[must_use]
    pub fn figures(&self) -> &Figures {
        &self.shared.figures
    }

    /// How many entries the log has.
    #[must_use]
    pub fn log_entries(&self) -> u64 {
        self.shared.with_tree(Tree::size)
    }

    /// Whether writes are taken.
    #[must_use]
    pub fn writes(&self) -> Writes {
        self.shared.writes()
    }

    /// A receiver of the number of the last revision, told of every change.
    #[must_use]
    pub fn revisions(&self) -> watch::Receiver<u64> {
        self.shared.revisions()
    }

    /// A receiver of the keys, told of every change.
    #[must_use]
    pub fn keys(&self) -> watch::Receiver<Arc<KeyRing>> {
        self.shared.watch_keys()
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

    /// Has the writer do something, and waits for it. Blocks.
    pub(crate) fn ask<T: Send + 'static>(
        &self,
        what: impl FnOnce(&mut Writer) -> Result<T, WriteError> + Send + 'static,
    ) -> Result<T, WriteError> {
        let (answer, answered) = oneshot::channel();
        // A caller that no longer waits has changed nothing about what was done.
        let command = Command::Do(Box::new(move |writer| drop(answer.send(what(writer)))));
        self.send(command, answered)
    }

    /// Has the writer make an edit, and waits for it. Blocks.
    pub(crate) fn ask_for_edit(
        &self,
        origin: Origin,
        edit: DraftEdit,
        wanted: Vec<Wanted>,
    ) -> Result<Drafted, WriteError> {
        let (answer, answered) = oneshot::channel();
        self.send(Command::Edit(Box::new(WaitingEdit { origin, edit, wanted, answer })), answered)
    }

    fn send<T>(
        &self,
        command: Command,
        answered: oneshot::Receiver<Result<T, WriteError>>,
    ) -> Result<T, WriteError> {
        let commands = self.handle.commands.as_ref().ok_or(WriteError::Ended)?;
        commands.send(command).map_err(|_| WriteError::Ended)?;
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
