//! `ImportRecords`: a file of records put into a draft, all of it or nothing.

use std::ops::ControlFlow;

use dashwright_api::v1;
use dashwright_engine::keys::Caller;
use dashwright_engine::{Announced, CHUNK_PATIENCE, Chunk, Engine, ImportProgress, ReceiveError, Receiving};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Status, Streaming};
use v1::import_records_request::Piece as Sent;
use v1::import_records_response::Piece;

use crate::from_proto::{FieldFaults, FieldProblem, ImportOrder, import_begin};
use crate::limits::CHUNKS_IN_FLIGHT;
use crate::{Refusal, Service, to_proto};

/// The pieces of an answer.
pub(crate) type Importing = super::Pieces<v1::ImportRecordsResponse>;
type Sender = mpsc::Sender<Result<v1::ImportRecordsResponse, Status>>;
type Requests = Streaming<v1::ImportRecordsRequest>;

impl Service {
    pub(crate) fn importing(&self, caller: Caller, requests: Requests) -> Importing {
        let service = self.clone();
        let (sender, receiver) = mpsc::channel(CHUNKS_IN_FLIGHT);
        tokio::spawn(async move {
            if let Err(refusal) = service.import(caller, requests, &sender).await {
                // Nobody listens any longer, or somebody is told why.
                let _gone = sender.send(Err(refusal.into())).await;
            }
        });
        Box::pin(ReceiverStream::new(receiver))
    }

    async fn import(&self, caller: Caller, mut requests: Requests, to: &Sender) -> Result<(), Refusal> {
        let order = self.order(caller, &mut requests, to).await?;
        if let Some(end) = self.end_of_earlier(&order).await? {
            tell(to, Piece::End(end)).await;
            return Ok(());
        }
        let receiving = self.receive(&order.announced, &mut requests, to).await?;
        let to = to.clone();
        self.blocking(move |engine| finish(engine, &order, &receiving, &to)).await
    }

    /// What the first message orders.
    async fn order(
        &self,
        caller: Caller,
        requests: &mut Requests,
        to: &Sender,
    ) -> Result<ImportOrder, Refusal> {
        let begin = match self.next_piece(requests, to).await? {
            Some(Sent::Begin(begin)) => Ok(begin),
            Some(Sent::Chunk(_)) | None => Err(FieldProblem::Missing),
        };
        let mut faults = FieldFaults::default();
        let begin = faults.take("begin", begin);
        let order = begin.and_then(|begin| import_begin(begin, &caller, &mut faults));
        faults.with(order)
    }

    /// What the request came to before. Nobody is to send a file for a draft that is not there.
    async fn end_of_earlier(&self, order: &ImportOrder) -> Result<Option<v1::ImportEnd>, Refusal> {
        let (origin, draft) = (order.origin.clone(), order.import.draft.clone());
        self.blocking(move |engine| match engine.imported_earlier(&origin, &draft)? {
            Some(earlier) => Ok(Some(to_proto::import_end(engine, &earlier)?)),
            None => Ok(engine.open_draft(&draft).map(|_| None)?),
        })
        .await
    }

    /// The next message; nothing at the end of the stream. Once nobody is answered any more, because the caller went or its key
    /// ended, nothing more is taken.
    async fn next_piece(&self, requests: &mut Requests, to: &Sender) -> Result<Option<Sent>, Refusal> {
        let next = tokio::select! {
            biased;
            () = to.closed() => return Err(Refusal::Draining),
            next = tokio::time::timeout(CHUNK_PATIENCE, requests.message()) => next,
            () = self.going_down() => return Err(Refusal::Draining),
        };
        let message = next.map_err(|_| ReceiveError::Silent)?;
        let message =
            message.map_err(|status| Refusal::of_transport(status.code()).unwrap_or(Refusal::Draining))?;
        Ok(message.and_then(|message| message.piece))
    }

    /// Receives what has not come yet.
    async fn receive(
        &self,
        announced: &Announced,
        requests: &mut Requests,
        to: &Sender,
    ) -> Result<Receiving, Refusal> {
        let (inbox, announced) = (self.inbox.clone(), announced.clone());
        let mut receiving = self.blocking(move |_| Ok(inbox.begin(&announced)?)).await?;
        tell(to, Piece::Ready(v1::ImportReady { offset: receiving.received() })).await;
        while !receiving.is_whole() {
            let Some(Sent::Chunk(chunk)) = self.next_piece(requests, to).await? else { break };
            receiving = self.blocking(move |_| Ok(receiving.with(&taken(chunk))?)).await?;
        }
        self.blocking(move |_| Ok(receiving.checked()?)).await
    }
}

fn taken(chunk: v1::ImportChunk) -> Chunk {
    let v1::ImportChunk { sequence, offset, data, sha256 } = chunk;
    Chunk { sequence, offset, data, sha256 }
}

/// Imports what was received. The file stays where a repetition of the request would need it.
fn finish(engine: &Engine, order: &ImportOrder, receiving: &Receiving, to: &Sender) -> Result<(), Refusal> {
    let ImportOrder { origin, import, format, announced: _ } = order;
    let open = || receiving.rows(*format);
    let mut progress = |progress: ImportProgress| {
        let piece = Piece::Progress(to_proto::import_progress(progress));
        match to.blocking_send(Ok(v1::ImportRecordsResponse { piece: Some(piece) })) {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    };
    let imported = engine.import(origin, import, &open, &mut progress)?;
    // Nobody listens any longer, and nothing was begun: a repetition goes on with the file.
    let Some(imported) = imported else { return Ok(()) };
    receiving.remove();
    let end = to_proto::import_end(engine, &imported)?;
    let _gone = to.blocking_send(Ok(v1::ImportRecordsResponse { piece: Some(Piece::End(end)) }));
    Ok(())
}

/// Whoever no longer listens is not told.
async fn tell(to: &Sender, piece: Piece) {
    let _gone = to.send(Ok(v1::ImportRecordsResponse { piece: Some(piece) })).await;
}
