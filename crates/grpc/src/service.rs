//! What the handlers share: the engine, and the answers encoded from its current view.

use std::num::NonZeroU32;
use std::path::PathBuf;
use std::sync::Arc;

use arc_swap::ArcSwap;
use dashwright_engine::{Engine, Freshness, Inbox, View};
use tokio::sync::watch;

use crate::auth::AuthFigures;
use crate::guard::end_of_wait;
use crate::limits::LIMITS;
use crate::observe::connections::ConnectionFigures;
use crate::shared::Answers;
use crate::status::Refusal;

/// The services, over one engine. Clones share everything.
#[derive(Clone)]
pub struct Service {
    pub(crate) engine: Engine,
    answers: Arc<ArcSwap<Answers>>,
    auth: Arc<AuthFigures>,
    connections: Arc<ConnectionFigures>,
    end: watch::Sender<bool>,
    pub(crate) inbox: Inbox,
    /// Whether whoever edited a draft may not publish it.
    pub(crate) separate_publisher: bool,
    /// How often one caller may call.
    pub(crate) calls_per_second: NonZeroU32,
}

impl Service {
    /// Answers from an engine's views. Files that are imported are received in a directory, which is made when it is needed.
    #[must_use]
    pub fn new(engine: Engine, imports: PathBuf) -> Self {
        let answers = Arc::new(ArcSwap::from_pointee(Answers::new(engine.view())));
        let end = watch::Sender::new(false);
        let inbox = Inbox::new(imports);
        Self {
            engine,
            answers,
            auth: Arc::default(),
            connections: Arc::default(),
            end,
            inbox,
            separate_publisher: false,
            calls_per_second: LIMITS.calls_per_second,
        }
    }

    /// The engine that it answers from.
    #[must_use]
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// Refuses that somebody publishes a draft that they have edited.
    #[must_use]
    pub fn with_separate_publisher(self, separate_publisher: bool) -> Self {
        Self { separate_publisher, ..self }
    }

    /// Takes so many calls a second of each key, or of each address where no key is asked for, and as many at once.
    #[must_use]
    pub fn with_calls_per_second(self, calls_per_second: NonZeroU32) -> Self {
        Self { calls_per_second, ..self }
    }

    /// What was counted of callers who were let in and who were not.
    #[must_use]
    pub fn auth_figures(&self) -> Arc<AuthFigures> {
        Arc::clone(&self.auth)
    }

    /// What was counted of connections.
    pub(crate) fn connection_figures(&self) -> &ConnectionFigures {
        &self.connections
    }

    /// Ends the streams that have no end of their own.
    pub(crate) fn go_down(&self) {
        self.end.send_replace(true);
    }

    /// Whether the service goes down.
    pub(crate) fn is_going_down(&self) -> bool {
        *self.end.borrow()
    }

    /// By which whoever waits learns that the service goes down.
    pub(crate) fn end(&self) -> watch::Receiver<bool> {
        self.end.subscribe()
    }

    /// Waits until the service goes down.
    pub(crate) async fn going_down(&self) {
        // The sender lives as long as this service.
        let _ = self.end.subscribe().wait_for(|ending| *ending).await;
    }

    /// Asks the engine on a thread for blocking work.
    pub(crate) async fn blocking<T: Send + 'static>(
        &self,
        ask: impl FnOnce(&Engine) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let engine = self.engine.clone();
        let asked = tokio::task::spawn_blocking(move || ask(&engine)).await;
        // A panic there is this caller's panic, which the guard turns into INTERNAL.
        asked.unwrap_or_else(|error| match error.try_into_panic() {
            Ok(panic) => std::panic::resume_unwind(panic),
            Err(_) => Err(Refusal::Draining),
        })
    }

    /// The view that a read asks for.
    pub(crate) async fn view(&self, freshness: Freshness) -> Result<Arc<View>, Refusal> {
        self.engine.view_at(freshness, end_of_wait()).await.map_err(|error| {
            let incarnation = self.engine.view().incarnation().to_owned();
            Refusal::View { incarnation, error: Box::new(error) }
        })
    }

    /// The view that a read asks for, with the answers encoded from it; those of the latest view are kept.
    pub(crate) async fn answers(&self, freshness: Freshness) -> Result<Arc<Answers>, Refusal> {
        let view = match freshness {
            Freshness::Latest => self.engine.view(),
            freshness => self.view(freshness).await?,
        };
        let kept = self.answers.load_full();
        if Arc::ptr_eq(&kept.view, &view) {
            return Ok(kept);
        }
        let fresh = Arc::new(Answers::new(view));
        if freshness == Freshness::Latest {
            // Two calls may both do this after a publish; the second swap loses nothing but a few encoded answers.
            self.answers.store(Arc::clone(&fresh));
        }
        Ok(fresh)
    }
}
