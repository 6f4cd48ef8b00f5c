//! `ExportRecords`: every record of a revision, the same bytes every time.

use std::sync::Arc;

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::record::RecordKind;
use futures_util::Stream;
use tonic::Status;

use crate::from_proto::{FieldFaults, read_at};
use crate::limits::CHUNK_BYTES;
use crate::{Refusal, Service, to_proto};

/// The pieces of an export.
pub(crate) type Export = super::Pieces<v1::ExportRecordsResponse>;

impl Service {
    pub(crate) async fn export(&self, request: v1::ExportRecordsRequest) -> Result<Export, Refusal> {
        let v1::ExportRecordsRequest { read_at: at } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let view = self.view(faults.or(at)?).await?;
        let checkpoint = self.engine.checkpoint_of(&view);
        Ok(Box::pin(pieces(view, checkpoint)))
    }
}

/// Where an export has come to: the place of the next record among its kind.
struct Place {
    kind: usize,
    record: usize,
    records: u64,
    bytes: u64,
    ended: bool,
}

/// Made as they are read: a reader that does not read holds one piece.
fn pieces(
    view: Arc<View>,
    checkpoint: String,
) -> impl Stream<Item = Result<v1::ExportRecordsResponse, Status>> + Send {
    let begin = Place { kind: 0, record: 0, records: 0, bytes: 0, ended: false };
    futures_util::stream::unfold(begin, move |mut place| {
        let piece = next_piece(&view, &checkpoint, &mut place);
        async move { piece.map(|piece| (Ok(piece), place)) }
    })
}

fn next_piece(view: &View, checkpoint: &str, place: &mut Place) -> Option<v1::ExportRecordsResponse> {
    if place.ended {
        return None;
    }
    let mut chunk = Vec::new();
    while let Some(kind) = RecordKind::ALL.get(place.kind) {
        let Some(kept) = view.snapshot().records(*kind).get(place.record) else {
            (place.kind, place.record) = (place.kind + 1, 0);
            continue;
        };
        if !chunk.is_empty() && chunk.len() + kept.text.len() >= CHUNK_BYTES {
            break;
        }
        chunk.extend_from_slice(kept.text.as_bytes());
        chunk.push(b'\n');
        place.record += 1;
        place.records += 1;
    }
    place.bytes += chunk.len() as u64;
    place.ended = chunk.is_empty();
    let end = place.ended.then(|| v1::ExportEnd {
        revision: Some(to_proto::dataset_revision(view)),
        records: place.records,
        bytes: place.bytes,
        checkpoint: checkpoint.to_owned(),
    });
    Some(v1::ExportRecordsResponse { chunk, end })
}
