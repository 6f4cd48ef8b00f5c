//! `audit verify`: a data directory, a backup or an export against itself and against checkpoints, without a server.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read as _};
use std::path::{Path, PathBuf};

use dashwright_log::{
    Checkpoint, Digest, Head, Note, PublicKey, VerifyError, Witnessed, verify_directory, verify_trail,
};
use serde_json::json;
use sha2::{Digest as _, Sha256};

use crate::args::AuditVerify;
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text};

/// What the checkpoint of an export is called behind its name.
const CHECKPOINT: &str = ".checkpoint";
/// What a backup begins with.
const TRAIL_HEAD: &[u8] = br#"{"dashwright_trail":"#;
/// Bytes of a piece that is hashed at once.
const PIECE_BYTES: usize = 64 * 1024;

/// Checks a data directory, a backup or an export, and says what it is.
pub(crate) fn audit_verify(arguments: &AuditVerify) -> Result<(), Failure> {
    let AuditVerify { path, checkpoint, verifier_key, json } = arguments;
    let given = checkpoint.as_deref().map(kept_checkpoint).transpose()?;
    let checked = if path.is_dir() {
        directory(path, given.as_ref())?
    } else if is_trail(path)? {
        trail(path, given.as_ref())?
    } else {
        export(path, given.as_ref())?
    };
    let signed_by = verifier_key.as_ref().map(|key| signed(given.as_ref(), &checked, key)).transpose()?;
    out::print(&if *json {
        as_json(path, &checked, signed_by.as_deref())
    } else {
        text::verified(path, &checked, signed_by.as_deref(), out::columns())
    })
}

/// The file beside an export.
pub(crate) fn checkpoint_of(export: &Path) -> PathBuf {
    let mut name = export.as_os_str().to_owned();
    name.push(CHECKPOINT);
    name.into()
}

/// Reads a checkpoint that was kept.
pub(crate) fn kept_checkpoint(file: &Path) -> Result<Note, KeepingFailure> {
    let text = fs::read_to_string(file)
        .map_err(|source| KeepingFailure::Unreadable { path: file.to_owned(), source })?;
    Note::parse(&text).map_err(|source| KeepingFailure::KeptCheckpoint { path: file.to_owned(), source })
}

/// What was checked, and holds.
#[derive(Debug)]
pub(crate) struct Checked {
    /// What it is.
    pub(crate) kind: CheckedKind,
    /// Its own checkpoint as it is kept: of a directory the last one that was given out.
    pub(crate) note: Option<String>,
}

/// What kind of thing was checked.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum CheckedKind {
    /// A data directory or a backup.
    History {
        /// Whether it is a backup.
        is_backup: bool,
        /// The last entry.
        head: Head,
        /// The root over all entries.
        root: Digest,
        /// The checkpoints that it agrees with.
        witnessed: Witnessed,
    },
    /// An export.
    Export {
        /// Its bytes.
        bytes: u64,
        /// Its hash.
        content: Digest,
        /// The revision that its checkpoint names.
        revision: u64,
    },
}

fn directory(path: &Path, given: Option<&Note>) -> Result<Checked, Failure> {
    let report = verify_directory(path, &checkpoints(given)).map_err(|error| match error {
        VerifyError::Log(error) => Failure::Open(error),
        error => KeepingFailure::Directory(error).into(),
    })?;
    agrees(path, &report.witnessed)?;
    let damaged = report.checkpoints.damaged;
    if !damaged.is_empty() {
        let faults = damaged.iter().map(|fault| format!("{fault}: {}", fault.source)).collect();
        return Err(Failure::Damaged { directory: path.to_owned(), faults });
    }
    let note = report.checkpoints.latest.map(|kept| kept.note);
    let (head, root, witnessed) = (report.log.head, report.root, report.witnessed);
    Ok(Checked { kind: CheckedKind::History { is_backup: false, head, root, witnessed }, note })
}

/// Checks a backup.
pub(super) fn trail(path: &Path, given: Option<&Note>) -> Result<Checked, Failure> {
    let input = BufReader::new(File::open(path).map_err(|source| unreadable(path, source))?);
    let (report, witnessed) = verify_trail(input, &checkpoints(given))
        .map_err(|source| KeepingFailure::Trail { path: path.to_owned(), source })?;
    agrees(path, &witnessed)?;
    let (head, root, note) = (report.head, report.root, Some(report.note));
    Ok(Checked { kind: CheckedKind::History { is_backup: true, head, root, witnessed }, note })
}

fn export(path: &Path, given: Option<&Note>) -> Result<Checked, Failure> {
    let beside = checkpoint_of(path);
    let own = match (given, kept_checkpoint(&beside)) {
        // The one that was kept elsewhere is enough, and more than the one beside.
        (Some(_), Err(KeepingFailure::Unreadable { .. })) => None,
        (None, Err(KeepingFailure::Unreadable { source, .. })) => {
            return Err(KeepingFailure::NoCheckpoint { path: path.to_owned(), beside, source }.into());
        }
        (_, own) => Some(own?),
    };
    let (bytes, content) = hash(path).map_err(|source| unreadable(path, source))?;
    for note in own.iter().chain(given) {
        let Checkpoint { content_hash: stated, revision, .. } = *note.checkpoint();
        if stated != content {
            let path = path.to_owned();
            return Err(KeepingFailure::OtherExport { path, stated, revision, found: content }.into());
        }
    }
    let named = own.as_ref().or(given).map(|note| note.checkpoint().revision);
    let note = own.is_some().then(|| fs::read_to_string(&beside)).transpose();
    let note = note.map_err(|source| unreadable(&beside, source))?;
    let revision = named.unwrap_or_default();
    Ok(Checked { kind: CheckedKind::Export { bytes, content, revision }, note })
}

/// The checkpoint that was brought must be signed, or else the one that is part of what was checked.
fn signed(given: Option<&Note>, checked: &Checked, key: &PublicKey) -> Result<String, Failure> {
    let own = checked.note.as_deref().map(Note::parse).transpose().map_err(KeepingFailure::Checkpoint)?;
    let note = given.or(own.as_ref()).ok_or(KeepingFailure::NothingSigned)?;
    note.verify(key).map_err(KeepingFailure::Signature)?;
    Ok(key.name().to_owned())
}

fn agrees(path: &Path, witnessed: &Witnessed) -> Result<(), KeepingFailure> {
    match &witnessed.disagreement {
        Some(fault) => {
            Err(KeepingFailure::Disagrees { path: path.to_owned(), source: Box::new(fault.clone()) })
        }
        None => Ok(()),
    }
}

fn checkpoints(given: Option<&Note>) -> Vec<Checkpoint> {
    given.map(|note| note.checkpoint().clone()).into_iter().collect()
}

fn is_trail(path: &Path) -> Result<bool, KeepingFailure> {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(TRAIL_HEAD.len() as u64).read_to_end(&mut head));
    read.map(|_| head == TRAIL_HEAD).map_err(|source| unreadable(path, source))
}

fn hash(path: &Path) -> io::Result<(u64, Digest)> {
    let mut input = BufReader::with_capacity(PIECE_BYTES, File::open(path)?);
    let (mut bytes, mut hash) = (0, Sha256::new());
    loop {
        let piece = input.fill_buf()?;
        if piece.is_empty() {
            return Ok((bytes, Digest(hash.finalize().into())));
        }
        hash.update(piece);
        let length = piece.len();
        bytes += length as u64;
        input.consume(length);
    }
}

fn unreadable(path: &Path, source: io::Error) -> KeepingFailure {
    KeepingFailure::Unreadable { path: path.to_owned(), source }
}

fn as_json(path: &Path, checked: &Checked, signed_by: Option<&str>) -> String {
    let Checked { kind, note } = checked;
    let mut value = match kind {
        CheckedKind::History { is_backup, head, root, witnessed } => json!({
            "kind": if *is_backup { "BACKUP" } else { "DIRECTORY" },
            "entries": head.sequence.0,
            "head": { "sequence": head.sequence.0, "sha256": head.digest.to_string() },
            "root": root.to_string(),
            "agreeingCheckpoints": witnessed.agreeing,
            "coveredEntries": witnessed.covered,
        }),
        CheckedKind::Export { bytes, content, revision } => json!({
            "kind": "EXPORT",
            "bytes": bytes,
            "contentHash": content.to_string(),
            "revision": revision,
        }),
    };
    if let Some(object) = value.as_object_mut() {
        object.insert("path".to_owned(), json!(path.display().to_string()));
        object.insert("signedBy".to_owned(), json!(signed_by));
        object.insert("checkpoint".to_owned(), json!(note));
    }
    format!("{value:#}\n")
}

#[cfg(test)]
#[path = "audit_tests.rs"]
mod tests;
