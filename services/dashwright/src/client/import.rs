//! `draft import`: a file of records, sent in chunks; what was broken off goes on where it ended.

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};

use dashwright_api::v1;
use dashwright_log::Digest;
use indicatif::ProgressBar;
use tokio::sync::mpsc;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio_stream::wrappers::ReceiverStream;
use v1::import_records_request::Piece as Sent;
use v1::import_records_response::Piece;

use super::change::Change;
use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::{Bulk, DraftImport, format};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, progress, text, wiring};

/// Bytes of a chunk: what the schema calls a good size.
const CHUNK_BYTES: usize = 256 * 1024;
/// Chunks that are read and not sent yet.
const CHUNKS_IN_FLIGHT: usize = 4;

/// Puts the records of a file into a draft, or tells what is wrong with it.
pub(crate) fn import(arguments: DraftImport) -> Result<(), Failure> {
    wiring::block_on_until_signal(run(arguments))
}

async fn run(arguments: DraftImport) -> Result<(), Failure> {
    let DraftImport { draft: draft_id, file: path, table, on_conflict, bulk } = arguments;
    let Bulk { validate_only, changing, client } = bulk;
    let change = Change::of(changing);
    let (content, bytes) = measured(path.clone()).await?;
    let begin = v1::ImportBegin {
        change: change.message(),
        draft_id,
        format: format(table).into(),
        on_conflict: on_conflict.message().into(),
        bytes,
        sha256: content.to_string(),
        validate_only,
    };
    let connection = Connection::open(&client).await?;
    let end = change.outcome(send(&connection, begin, path.clone()).await)?;
    out::print(&if client.json {
        json("ImportEnd", &end, Layout::Wide)?
    } else {
        text::imported(&end, &path, validate_only, out::columns())
    })?;
    if end.faults_total == 0 {
        Ok(())
    } else {
        let named_as_table = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("csv"));
        let untold_table = table.is_none() && named_as_table;
        Err(KeepingFailure::FileFaults { faults: end.faults_total, untold_table }.into())
    }
}

fn unreadable(path: &Path) -> impl Fn(io::Error) -> Failure + '_ {
    |source| Failure::File { file: path.to_owned(), source }
}

/// Hash and length of a file.
async fn measured(path: PathBuf) -> Result<(Digest, u64), Failure> {
    let measure = spawn_blocking(move || {
        let file = File::open(&path).map_err(unreadable(&path))?;
        Digest::of_all(file).map_err(unreadable(&path))
    });
    measure.await.map_err(|error| Failure::System(error.into()))?
}

/// Sends what is to come, and the bytes that are asked for, until the server says what came of it.
async fn send(
    connection: &Connection,
    begin: v1::ImportBegin,
    path: PathBuf,
) -> Result<v1::ImportEnd, Failure> {
    let bar = progress::bar(begin.bytes, "sending {bar:30} {bytes} of {total_bytes}");
    let (chunks, requests) = mpsc::channel(CHUNKS_IN_FLIGHT);
    let first = v1::ImportRecordsRequest { piece: Some(Sent::Begin(begin)) };
    // There is room for the first.
    let _sent = chunks.send(first).await;
    let (mut chunks, mut sending) = (Some(chunks), None);
    let called = connection.curation().import_records(ReceiverStream::new(requests)).await;
    let mut pieces = connection.answer(called)?;
    loop {
        let piece = match pieces.message().await {
            Ok(Some(answer)) => answer.piece,
            Ok(None) => return Err(KeepingFailure::ImportCutShort.into()),
            Err(status) => {
                // A file that can not be read on ends the stream: that is why the server refused it.
                unread(sending).await?;
                return connection.item(Err(status));
            }
        };
        match piece {
            Some(Piece::Ready(v1::ImportReady { offset })) => {
                if let Some(chunks) = chunks.take() {
                    bar.set_position(offset);
                    let (path, bar) = (path.clone(), bar.clone());
                    sending = Some(spawn_blocking(move || send_chunks(&path, offset, &chunks, &bar)));
                }
            }
            Some(Piece::Progress(progress)) => show(&bar, &progress),
            Some(Piece::End(end)) => {
                bar.finish_and_clear();
                return Ok(end);
            }
            None => {}
        }
    }
}

/// Why the file was not read to its end.
async fn unread(sending: Option<JoinHandle<Result<(), Failure>>>) -> Result<(), Failure> {
    match sending {
        Some(sending) if sending.is_finished() => {
            sending.await.map_err(|error| Failure::System(error.into()))?
        }
        _ => Ok(()),
    }
}

fn send_chunks(
    path: &Path,
    mut offset: u64,
    chunks: &mpsc::Sender<v1::ImportRecordsRequest>,
    bar: &ProgressBar,
) -> Result<(), Failure> {
    let mut file = File::open(path).map_err(unreadable(path))?;
    file.seek(SeekFrom::Start(offset)).map_err(unreadable(path))?;
    for sequence in 0.. {
        let mut data = Vec::with_capacity(CHUNK_BYTES);
        (&file).take(CHUNK_BYTES as u64).read_to_end(&mut data).map_err(unreadable(path))?;
        if data.is_empty() {
            break;
        }
        let (length, sha256) = (data.len() as u64, Digest::of(&data).0.to_vec());
        let chunk = v1::ImportChunk { sequence, offset, data, sha256 };
        if chunks.blocking_send(v1::ImportRecordsRequest { piece: Some(Sent::Chunk(chunk)) }).is_err() {
            // The call has ended, and says why.
            break;
        }
        offset += length;
        bar.set_position(offset);
    }
    Ok(())
}

fn show(bar: &ProgressBar, progress: &v1::ImportProgress) {
    let v1::ImportProgress { rows, written, total } = *progress;
    if total == 0 {
        progress::change(bar, rows, None, "reading {spinner} {human_pos} rows");
    } else {
        progress::change(bar, written, Some(total), "putting {bar:30} {human_pos} of {human_len} records");
    }
}
