//! `PreviewDraft`: what a draft changes in the plans.

use std::ops::ControlFlow;

use dashwright_api::v1;
use dashwright_engine::Engine;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;
use v1::preview_draft_response::Piece;

use crate::from_proto::{FieldFaults, draft_id};
use crate::limits::{CHUNKS_IN_FLIGHT, PREVIEW_GROUPS, PREVIEW_STEP};
use crate::{Refusal, Service, to_proto};

/// The pieces of a preview.
pub(crate) type Previewing = super::Pieces<v1::PreviewDraftResponse>;
type Sender = mpsc::Sender<Result<v1::PreviewDraftResponse, Status>>;

impl Service {
    pub(crate) fn preview(&self, request: v1::PreviewDraftRequest) -> Result<Previewing, Refusal> {
        let v1::PreviewDraftRequest { draft_id: id } = request;
        let mut faults = FieldFaults::default();
        let id = draft_id(id, &mut faults);
        let id = faults.with(id)?;
        let engine = self.engine.clone();
        let (sender, receiver) = mpsc::channel(CHUNKS_IN_FLIGHT);
        tokio::task::spawn_blocking(move || {
            if let Err(refusal) = tell(&engine, &id, &sender) {
                // Nobody listens any longer, or somebody is told why.
                let _ = sender.blocking_send(Err(refusal.into()));
            }
        });
        Ok(Box::pin(ReceiverStream::new(receiver)))
    }
}

/// Makes a preview and sends it; stops where nobody listens any longer.
fn tell(engine: &Engine, id: &str, sender: &Sender) -> Result<(), Refusal> {
    let send =
        |piece: Piece| sender.blocking_send(Ok(v1::PreviewDraftResponse { piece: Some(piece) })).is_ok();
    let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let made = engine.preview_draft(id, |(done, total)| {
        let progress = v1::PreviewProgress { done: count(done), total: count(total) };
        if done % PREVIEW_STEP != 0 || send(Piece::Progress(progress)) {
            ControlFlow::Continue(())
        } else {
            ControlFlow::Break(())
        }
    })?;
    let Some(it) = made else { return Ok(()) };
    let end = to_proto::preview_end(engine, id, &it)?;
    let groups = it.preview.groups.iter().take(PREVIEW_GROUPS);
    let sent = groups.map(|group| Piece::Group(to_proto::plan_change_group(group))).all(send);
    if sent {
        send(Piece::End(end));
    }
    Ok(())
}
