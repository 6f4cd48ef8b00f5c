//! `restore`: a data directory from a backup, and nothing where the backup is not whole.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use std::time::SystemTime;

use dashwright_engine::{Engine, restored};
use dashwright_log::{FileLog, FileOptions};
use serde_json::json;

use crate::args::Restore;
use crate::failure::{Failure, KeepingFailure};
use crate::wiring::Machine;
use crate::{out, text};

use super::{audit, origin, start};

/// What was restored, and what it is now.
#[derive(Debug)]
pub(crate) struct Restored {
    /// Entries of the backup.
    pub(crate) entries: u64,
    /// When the backup was made.
    pub(crate) made: String,
    /// The history that the backup is of.
    pub(crate) before: String,
    /// The history that goes on in the directory.
    pub(crate) incarnation: String,
    /// The latest revision.
    pub(crate) revision: u64,
    /// The hash of its records.
    pub(crate) content: String,
    /// Keys that live in the backup, none of which is taken here.
    pub(crate) keys: usize,
}

/// Makes a data directory from a backup, and starts it once, so that what is there is known to be what was published.
pub(crate) fn restore(arguments: &Restore) -> Result<(), Failure> {
    let Restore { file, data, checkpoint, reason, json } = arguments;
    let given = checkpoint.as_deref().map(audit::kept_checkpoint).transpose()?;
    audit::trail(file, given.as_ref())?;
    let (entries, made, before) = copy(file, data, reason)?;
    let engine = start(data, None)?;
    let done = told(&engine, entries, made, before);
    out::print(&if *json { as_json(data, &done) } else { text::restored(data, &done, out::columns()) })
}

/// Copies the trail: its entries, when it was made, and its history.
fn copy(file: &Path, data: &Path, reason: &str) -> Result<(u64, String, String), Failure> {
    let unreadable = |source| KeepingFailure::Unreadable { path: file.to_owned(), source };
    let input = BufReader::new(File::open(file).map_err(unreadable)?);
    let origin = origin(reason);
    let restored = FileLog::restore(data, input, FileOptions::default(), |trail| {
        restored(trail.head, &Machine, &origin).map_err(Into::into)
    });
    let restored = restored.map_err(|source| KeepingFailure::Restore {
        file: file.to_owned(),
        directory: data.to_owned(),
        source: Box::new(source),
    })?;
    let trail = restored.trail;
    Ok((trail.entries, trail.header.made, trail.header.incarnation))
}

fn told(engine: &Engine, entries: u64, made: String, before: String) -> Restored {
    let view = engine.view();
    Restored {
        entries,
        made,
        before,
        incarnation: view.incarnation().to_owned(),
        revision: view.revision(),
        content: view.content_hash().to_string(),
        keys: live_keys(engine),
    }
}

fn live_keys(engine: &Engine) -> usize {
    let (keys, now) = (engine.keys(), SystemTime::now());
    let ring = keys.borrow();
    ring.keys().filter(|facts| ring.is_live(&facts.id, now)).count()
}

fn as_json(directory: &Path, done: &Restored) -> String {
    let Restored { entries, made, before, incarnation, revision, content, keys } = done;
    let value = json!({
        "directory": directory.display().to_string(),
        "entries": entries,
        "made": made,
        "incarnationBefore": before,
        "incarnation": incarnation,
        "revision": revision,
        "contentHash": content,
        "keysNotTaken": keys,
    });
    format!("{value:#}\n")
}
