//! `backup`: the whole trail in a file, which is there only when all of it came and was verified.

use std::io::BufReader;
use std::ops::ControlFlow;

use dashwright_api::v1;
use dashwright_log::{TrailReport, read_trail};
use serde_json::json;
use tokio::task::spawn_blocking;

use super::connection::Connection;
use super::file::{Existing, Pending, Readers};
use crate::args::Backup;
use crate::failure::{Failure, KeepingFailure};
use crate::{out, progress, text, wiring};

/// Takes a backup.
pub(crate) fn backup(arguments: Backup) -> Result<(), Failure> {
    wiring::block_on_until_signal(run(arguments))
}

/// Its owner alone can read the file: it holds who did what, and all that was never published.
async fn run(arguments: Backup) -> Result<(), Failure> {
    let Backup { to, reason, client } = arguments;
    let mut file = Pending::begin(&to, Existing::Keep, Readers::Owner)?;
    let connection = Connection::open(&client).await?;
    let mut pieces = connection.answer(connection.keys().backup(v1::BackupRequest { reason }).await)?;
    let bar = progress::spinner("receiving: {bytes} {bytes_per_sec}");
    while let Some(v1::BackupResponse { chunk }) = connection.item(pieces.message().await)? {
        file.write(&chunk)?;
        bar.inc(chunk.len() as u64);
    }
    bar.set_message("verifying");
    // On a thread of its own, so that a signal ends it.
    let (file, report) =
        spawn_blocking(move || verified(file)).await.map_err(|e| Failure::System(e.into()))??;
    bar.finish_and_clear();
    file.finish()?;
    out::print(&if client.json { as_json(&report) } else { text::backed_up(&report, &to, out::columns()) })
}

fn verified(mut file: Pending) -> Result<(Pending, TrailReport), KeepingFailure> {
    let written = BufReader::new(file.written()?);
    let report = read_trail(written, |_| ControlFlow::Continue(())).map_err(KeepingFailure::Backup)?;
    Ok((file, report))
}

/// The calls have no message for it.
fn as_json(report: &TrailReport) -> String {
    let TrailReport { header, entries, bytes, head, root, note } = report;
    let value = json!({
        "incarnation": header.incarnation,
        "made": header.made,
        "entries": entries,
        "bytes": bytes,
        "head": { "sequence": head.sequence.0, "sha256": head.digest.to_string() },
        "root": root.to_string(),
        "checkpoint": note,
    });
    format!("{value:#}\n")
}
