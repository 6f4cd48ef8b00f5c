//! `export`: every record of a revision, checked against what the server and the checkpoint say of it.

use std::path::Path;

use dashwright_api::v1;
use dashwright_log::{Digest, Note};
use sha2::{Digest as _, Sha256};

use super::connection::Connection;
use super::file::{Existing, Pending, Readers};
use super::json::{Layout, json};
use crate::args::{Export, Table, format};
use crate::dataset::{STANDARD_INPUT, checkpoint_of};
use crate::failure::{Failure, KeepingFailure, StatedBy};
use crate::{out, progress, text, wiring};

/// Writes an export to a file or to standard output.
pub(crate) fn export(arguments: Export) -> Result<(), Failure> {
    wiring::block_on_until_signal(run(arguments))
}

async fn run(arguments: Export) -> Result<(), Failure> {
    let Export { to, table, read_at, client } = arguments;
    let request = v1::ExportRecordsRequest { read_at: read_at.message(), format: format(table).into() };
    let said = |end: &_, to| {
        if client.json {
            json("ExportEnd", end, Layout::Wide)
        } else {
            Ok(text::exported(end, to, table, out::columns()))
        }
    };
    if to == Path::new(STANDARD_INPUT) {
        let connection = Connection::open(&client).await?;
        let end = receive(&connection, request, table, out::write).await?;
        out::aside(&said(&end, None)?);
        return Ok(());
    }
    let begin = |path: &Path| Pending::begin(path, Existing::Replace, Readers::Everybody);
    // A table is no content of which a checkpoint speaks.
    let (mut file, mut note) =
        (begin(&to)?, table.is_none().then(|| begin(&checkpoint_of(&to))).transpose()?);
    let connection = Connection::open(&client).await?;
    let end = receive(&connection, request, table, |bytes| Ok(file.write(bytes)?)).await?;
    file.finish()?;
    if let Some(mut note) = note.take() {
        note.write(end.checkpoint.as_bytes())?;
        note.finish()?;
    }
    out::print(&said(&end, Some(&to))?)
}

/// Hands on every piece, and checks at the end what was received.
async fn receive(
    connection: &Connection,
    request: v1::ExportRecordsRequest,
    table: Option<Table>,
    mut write: impl FnMut(&[u8]) -> Result<(), Failure>,
) -> Result<v1::ExportEnd, Failure> {
    let bar = progress::spinner("receiving: {bytes} {bytes_per_sec}");
    let mut pieces = connection.answer(connection.curation().export_records(request).await)?;
    let mut received = Received::default();
    loop {
        let Some(piece) = connection.item(pieces.message().await)? else {
            return Err(KeepingFailure::CutShort { bytes: received.bytes }.into());
        };
        let v1::ExportRecordsResponse { chunk, end } = piece;
        received.add(&chunk);
        write(&chunk)?;
        bar.set_position(received.bytes);
        if let Some(end) = end {
            bar.finish_and_clear();
            received.check(&end, table)?;
            return Ok(end);
        }
    }
}

/// What was received.
#[derive(Default)]
struct Received {
    bytes: u64,
    hash: Sha256,
}

impl Received {
    fn add(&mut self, chunk: &[u8]) {
        self.bytes += chunk.len() as u64;
        self.hash.update(chunk);
    }

    /// Compares it with what the server says, and with the checkpoint.
    fn check(self, end: &v1::ExportEnd, table: Option<Table>) -> Result<(), KeepingFailure> {
        let v1::ExportEnd { revision, records: _, bytes: stated, checkpoint, sha256 } = end;
        if self.bytes != *stated {
            return Err(KeepingFailure::Length { stated: *stated, found: self.bytes });
        }
        let found = Digest(self.hash.finalize().into());
        let other = |by, stated| Err(KeepingFailure::Content { by, stated, found });
        if *sha256 != found.to_string() {
            return other(StatedBy::Server, sha256.clone());
        }
        if table.is_some() {
            return Ok(());
        }
        let revision = revision.clone().unwrap_or_default();
        if revision.content_hash != found.to_string() {
            return other(StatedBy::Server, revision.content_hash);
        }
        let note = Note::parse(checkpoint).map_err(KeepingFailure::Checkpoint)?;
        let named = note.checkpoint();
        if named.revision != revision.number {
            return Err(KeepingFailure::OtherRevision { revision: revision.number, named: named.revision });
        }
        if named.content_hash != found {
            return other(StatedBy::Checkpoint, named.content_hash.to_string());
        }
        Ok(())
    }
}

#[cfg(test)]
#[path = "export_tests.rs"]
mod tests;
