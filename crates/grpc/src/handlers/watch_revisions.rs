//! `WatchRevisions`: every revision from now on, or from an earlier one on.

use dashwright_api::v1;
use dashwright_engine::RevisionToken;
use futures_util::Stream;
use tokio::sync::watch;
use tonic::Status;
use v1::watch_revisions_response::Event;

use crate::from_proto::{FieldFaults, FieldProblem};
use crate::limits::LIMITS;
use crate::{Refusal, Service, to_proto};

/// What a watch tells.
pub(crate) type Watch = super::Pieces<v1::WatchRevisionsResponse>;

/// Where a watch stands.
struct Watching {
    service: Service,
    /// The last revision that was told.
    told: u64,
    revisions: watch::Receiver<u64>,
    ended: bool,
}

impl Service {
    pub(crate) async fn watch(&self, request: v1::WatchRevisionsRequest) -> Result<Watch, Refusal> {
        let v1::WatchRevisionsRequest { after } = request;
        let mut faults = FieldFaults::default();
        let after = (!after.is_empty()).then(|| {
            faults.take("after", after.parse::<RevisionToken>().map_err(FieldProblem::RevisionToken))
        });
        faults.or(())?;
        let revisions = self.engine.revisions();
        let told = match after.flatten() {
            // One that is not reached yet, or of another history, is refused as any read of it.
            Some(token) => {
                self.view(dashwright_engine::Freshness::AtLeast(token)).await?;
                token.revision()
            }
            None => *revisions.borrow(),
        };
        let begin = Watching { service: self.clone(), told, revisions, ended: false };
        Ok(Box::pin(events(begin)))
    }
}

fn events(begin: Watching) -> impl Stream<Item = Result<v1::WatchRevisionsResponse, Status>> + Send {
    futures_util::stream::unfold(begin, |mut watching| async move {
        let event = watching.next().await?;
        watching.ended = event.is_err();
        Some((event.map_err(Status::from), watching))
    })
}

impl Watching {
    async fn next(&mut self) -> Option<Result<v1::WatchRevisionsResponse, Refusal>> {
        if self.ended {
            return None;
        }
        let (told, service) = (self.told, self.service.clone());
        let reached = async { self.revisions.wait_for(|current| *current > told).await.is_ok() };
        tokio::select! {
            // Who has the last token goes on with it at another service, or here after a restart.
            () = service.going_down() => Some(Err(Refusal::Draining)),
            reached = tokio::time::timeout(LIMITS.heartbeat, reached) => match reached {
                Ok(true) => Some(self.tell(told + 1).await),
                Ok(false) => None,
                Err(_) => Some(Ok(self.beat())),
            },
        }
    }

    async fn tell(&mut self, revision: u64) -> Result<v1::WatchRevisionsResponse, Refusal> {
        let read = self.service.blocking(move |engine| Ok(engine.revision(revision)?));
        let facts = read.await?.ok_or(Refusal::Damaged)?;
        self.told = revision;
        let published = to_proto::revision(&self.service.engine, &facts);
        Ok(self.response(Event::Published(published)))
    }

    fn beat(&self) -> v1::WatchRevisionsResponse {
        let latest = to_proto::dataset_revision(&self.service.engine.view());
        self.response(Event::Heartbeat(latest))
    }

    fn response(&self, event: Event) -> v1::WatchRevisionsResponse {
        let resume_token = self.service.engine.token_of(self.told).to_string();
        v1::WatchRevisionsResponse { event: Some(event), resume_token }
    }
}
