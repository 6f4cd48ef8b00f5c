//! `ExportRecords`: every record of a revision, the same bytes every time.

use std::sync::Arc;

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_log::Digest;
use dashwright_model::exchange::parse_line;
use dashwright_model::record::RecordKind;
use dashwright_model::rows::Format;
use dashwright_model::table::{TableKind, to_row};
use dashwright_snapshot::KeptRecord;
use futures_util::Stream;
use sha2::{Digest as _, Sha256};
use tonic::Status;

use crate::from_proto::{FieldFaults, exchange_format, read_at};
use crate::limits::CHUNK_BYTES;
use crate::{Refusal, Service, to_proto};

/// The pieces of an export.
pub(crate) type Export = super::Pieces<v1::ExportRecordsResponse>;

impl Service {
    pub(crate) async fn export(&self, request: v1::ExportRecordsRequest) -> Result<Export, Refusal> {
        let v1::ExportRecordsRequest { read_at: at, format } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let format = faults.take("format", exchange_format(format)).flatten().unwrap_or(Format::JsonLines);
        let view = self.view(faults.or(at)?).await?;
        let checkpoint = self.engine.checkpoint_of(&view);
        Ok(Box::pin(pieces(Source { view, format, checkpoint })))
    }
}

/// What is exported.
struct Source {
    view: Arc<View>,
    format: Format,
    checkpoint: String,
}

impl Source {
    fn kinds(&self) -> Vec<RecordKind> {
        match self.format {
            Format::JsonLines => RecordKind::ALL.to_vec(),
            Format::Table(table) => vec![table.kind()],
        }
    }

    fn write(&self, kept: &KeptRecord, chunk: &mut Vec<u8>) -> Result<(), Refusal> {
        match self.format {
            Format::JsonLines => {
                chunk.extend_from_slice(kept.text.as_bytes());
                chunk.push(b'\n');
            }
            Format::Table(table) => chunk.extend_from_slice(row(table, kept)?.as_bytes()),
        }
        Ok(())
    }
}

/// A record as the row of a table.
fn row(table: TableKind, kept: &KeptRecord) -> Result<String, Refusal> {
    let record = parse_line(kept.text.as_bytes(), 0).map_err(|_| Refusal::Damaged)?;
    to_row(table, &record).map_err(|_| Refusal::Damaged)
}

/// Where an export has come to: the place of the next record among its kind.
#[derive(Default)]
struct Place {
    kind: usize,
    record: usize,
    records: u64,
    bytes: u64,
    hash: Sha256,
    ended: bool,
}

/// Made as they are read: a reader that does not read holds one piece.
fn pieces(source: Source) -> impl Stream<Item = Result<v1::ExportRecordsResponse, Status>> + Send {
    futures_util::stream::unfold(Place::default(), move |mut place| {
        let piece = next_piece(&source, &mut place).transpose();
        // Nothing comes behind a failure.
        place.ended |= matches!(piece, Some(Err(_)));
        async move { piece.map(|piece| (piece.map_err(Status::from), place)) }
    })
}

fn next_piece(source: &Source, place: &mut Place) -> Result<Option<v1::ExportRecordsResponse>, Refusal> {
    if place.ended {
        return Ok(None);
    }
    let mut chunk = Vec::new();
    if let (Format::Table(table), 0) = (source.format, place.bytes) {
        chunk.extend_from_slice(table.header().as_bytes());
    }
    let (view, kinds) = (&source.view, source.kinds());
    while let Some(kind) = kinds.get(place.kind) {
        let Some(kept) = view.snapshot().records(*kind).get(place.record) else {
            (place.kind, place.record) = (place.kind + 1, 0);
            continue;
        };
        if !chunk.is_empty() && chunk.len() + kept.text.len() >= CHUNK_BYTES {
            break;
        }
        source.write(kept, &mut chunk)?;
        place.record += 1;
        place.records += 1;
    }
    place.bytes += chunk.len() as u64;
    place.hash.update(&chunk);
    place.ended = chunk.is_empty();
    let end = place.ended.then(|| v1::ExportEnd {
        revision: Some(to_proto::dataset_revision(view)),
        records: place.records,
        bytes: place.bytes,
        checkpoint: source.checkpoint.clone(),
        sha256: Digest(place.hash.clone().finalize().into()).to_string(),
    });
    Ok(Some(v1::ExportRecordsResponse { chunk, end }))
}
