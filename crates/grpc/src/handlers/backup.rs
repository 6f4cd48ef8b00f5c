//! `Backup`: the whole trail up to now, as the file that a dataset is restored from.

use std::io::{self, Write};

use dashwright_api::v1;
use dashwright_engine::keys::Caller;
use dashwright_engine::{Engine, Origin};
use dashwright_log::{Sequence, TrailWriter};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;

use crate::from_proto::{FieldFaults, reason_of};
use crate::limits::{CHUNK_BYTES, CHUNKS_IN_FLIGHT};
use crate::{Refusal, Service};

/// The pieces of a backup.
pub(crate) type Backup = ReceiverStream<Result<v1::BackupResponse, Status>>;

/// Entries that are read from the log at once.
const READ_AT_ONCE: usize = 64;

impl Service {
    pub(crate) async fn backup_of(
        &self,
        caller: Caller,
        request: v1::BackupRequest,
    ) -> Result<Backup, Refusal> {
        let v1::BackupRequest { reason } = request;
        let mut faults = FieldFaults::default();
        let reason = faults.take("reason", reason_of(reason));
        let origin = Origin { actor: caller.actor(), reason: faults.with(reason)?, request_id: None };
        let (size, note) = self.blocking(move |engine| begin(engine, &origin)).await?;
        let (pieces, stream) = mpsc::channel(CHUNKS_IN_FLIGHT);
        let engine = self.engine.clone();
        tokio::task::spawn_blocking(move || send(&engine, &pieces, size, &note));
        Ok(ReceiverStream::new(stream))
    }
}

/// Notes who takes a backup, and keeps the checkpoint that it will end with: how many entries, and its note.
fn begin(engine: &Engine, origin: &Origin) -> Result<(u64, String), Refusal> {
    engine.note_operator_call(origin, "Backup")?;
    let size = engine.trail_size();
    let note = engine.checkpoint_at(size)?;
    engine.keep_checkpoint(note.clone())?;
    Ok((size, note))
}

/// Sends the first `size` entries; says why when that was broken off.
fn send(engine: &Engine, pieces: &mpsc::Sender<Result<v1::BackupResponse, Status>>, size: u64, note: &str) {
    let out = Sender { pieces: pieces.clone(), waiting: Vec::new() };
    // A reader that has gone ends the work: its write fails, and so does this send.
    if let Err(error) = write(engine, out, size, note) {
        tracing::warn!(%error, "a backup was broken off");
        drop(pieces.blocking_send(Err(Refusal::Damaged.into())));
    }
}

/// Writes the first `size` entries as a trail that ends with the note.
fn write(engine: &Engine, out: Sender, size: u64, note: &str) -> io::Result<()> {
    let view = engine.view();
    let mut trail = TrailWriter::new(out, view.incarnation(), &engine.now()).map_err(io::Error::other)?;
    let mut next = Sequence::FIRST;
    while next.0 <= size {
        let entries = engine.log().read_from(next, READ_AT_ONCE).map_err(io::Error::other)?;
        let Some(last) = entries.last() else { return Err(io::ErrorKind::UnexpectedEof.into()) };
        next = last.entry.sequence.next();
        for stored in entries.iter().filter(|stored| stored.entry.sequence.0 <= size) {
            trail.push(stored).map_err(io::Error::other)?;
        }
    }
    trail.finish(note).map_err(io::Error::other)?;
    Ok(())
}

/// Gathers what is written into pieces and sends them; waits while the reader is behind.
struct Sender {
    pieces: mpsc::Sender<Result<v1::BackupResponse, Status>>,
    waiting: Vec<u8>,
}

impl Write for Sender {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.waiting.extend_from_slice(bytes);
        while self.waiting.len() >= CHUNK_BYTES {
            let rest = self.waiting.split_off(CHUNK_BYTES);
            self.send(rest)?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.waiting.is_empty() { Ok(()) } else { self.send(Vec::new()) }
    }
}

impl Sender {
    /// Sends what waits; `rest` waits from then on.
    fn send(&mut self, rest: Vec<u8>) -> io::Result<()> {
        let chunk = std::mem::replace(&mut self.waiting, rest);
        let sent = self.pieces.blocking_send(Ok(v1::BackupResponse { chunk }));
        sent.map_err(|_| io::ErrorKind::BrokenPipe.into())
    }
}
