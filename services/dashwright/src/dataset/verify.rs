//! `verify`: every entry of the log by hash and chain, and the store against it. Nothing is changed.

use std::fs::{self, File};
use std::io;
use std::path::Path;

use dashwright_log::{FileLog, Head, OpenReport, Tail};
use dashwright_store::{Space, Store, StoreError};
use fs4::{FileExt, TryLockError};
use serde_json::json;

use crate::args::Verify;
use crate::failure::Failure;
use crate::out;

use super::store_of;

/// The file that the process which has the directory open holds locked.
const LOCK_FILE: &str = "LOCK";

/// What the store was found to be.
#[derive(Debug)]
enum StoreState {
    /// Another process has the directory open.
    InUse,
    /// There is none, or it is empty.
    Missing,
    /// It stands where the log ends, and every item of it is whole.
    Level,
    /// Whole, and behind the log by so many entries.
    Behind(u64),
    /// It is not to be relied on.
    Doubtful(String),
    /// It has applied entries that the log does not have.
    Ahead(Head),
}

/// Checks the files of a data directory.
pub(crate) fn verify(arguments: &Verify) -> Result<(), Failure> {
    let directory = arguments.directory.as_path();
    let report = FileLog::verify(directory)?;
    let store = store_state(directory, report.head)?;
    let text = if arguments.json { as_json(&report, &store) } else { as_text(directory, &report, &store) };
    out::print(&text)?;
    match store {
        StoreState::Ahead(applied) => {
            let fault = format!("the log ends with {}, the store has applied {applied}", report.head);
            Err(Failure::Damaged { directory: directory.to_owned(), faults: vec![fault] })
        }
        _ => Ok(()),
    }
}

/// Compares the store with the log. It is opened as a copy, because opening a database writes to it.
fn store_state(directory: &Path, head: Head) -> Result<StoreState, Failure> {
    let store = store_of(directory);
    if !store.is_dir() {
        return Ok(StoreState::Missing);
    }
    let Some(_lock) = lock(directory)? else { return Ok(StoreState::InUse) };
    let scratch = tempfile::tempdir().map_err(Failure::System)?;
    let copy = scratch.path().join("store");
    copy_directory(&store, &copy).map_err(Failure::System)?;
    let opened = match Store::open(&copy) {
        Ok(opened) => opened,
        Err(error) => return Ok(StoreState::Doubtful(error.to_string())),
    };
    if let Some((doubt, _)) = opened.report.set_aside {
        return Ok(StoreState::Doubtful(doubt.to_string()));
    }
    Ok(compare(&opened.store, head).unwrap_or_else(|error| StoreState::Doubtful(error.to_string())))
}

fn compare(store: &Store, head: Head) -> Result<StoreState, StoreError> {
    let Some(applied) = store.applied() else { return Ok(StoreState::Missing) };
    if applied.sequence > head.sequence {
        return Ok(StoreState::Ahead(applied));
    }
    Space::ALL.iter().try_for_each(|space| store.verify(*space))?;
    Ok(match head.sequence.0 - applied.sequence.0 {
        0 if applied == head => StoreState::Level,
        0 => StoreState::Doubtful(format!("it stands at {applied}, which is of another log")),
        behind => StoreState::Behind(behind),
    })
}

/// The directory's lock while nobody else has it.
fn lock(directory: &Path) -> Result<Option<File>, Failure> {
    let file = match File::open(directory.join(LOCK_FILE)) {
        Ok(file) => file,
        Err(error) => return Err(Failure::System(error)),
    };
    match FileExt::try_lock_shared(&file) {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(error)) => Err(Failure::System(error)),
    }
}

pub(super) fn copy_directory(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_directory(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}

fn as_text(directory: &Path, report: &OpenReport, store: &StoreState) -> String {
    let mut text = format!("{}\n", directory.display());
    let mut line = |name: &str, value: String| text.push_str(&format!("  {name:<8} {value}\n"));
    let (entries, bytes) = (count(report.verified_entries, "entry", "entries"), report.verified_bytes);
    let files = count(report.segments as u64, "file", "files");
    line("log", format!("{entries} in {files}, {bytes} bytes, all verified"));
    line("head", report.head.to_string());
    if let Some(tail) = tail_text(&report.tail) {
        line("tail", tail);
    }
    for stranger in &report.strangers {
        line("beside", format!("`{}` is no part of the log", stranger.display()));
    }
    line("store", store_text(store));
    text
}

fn tail_text(tail: &Tail) -> Option<String> {
    match tail {
        Tail::Whole => None,
        Tail::Unended { file, line, .. } => Some(format!(
            "line {line} of `{}` is whole but for its line feed, which the next start adds",
            file.display()
        )),
        Tail::Torn { file, line, bytes, .. } => Some(format!(
            "line {line} of `{}` is the rest of an interrupted write, never acknowledged: \
             the next start cuts off its {bytes} bytes",
            file.display()
        )),
    }
}

fn store_text(store: &StoreState) -> String {
    match store {
        StoreState::InUse => "not compared: a server has the directory open".to_owned(),
        StoreState::Missing => "none, or empty: the next start fills one from the log".to_owned(),
        StoreState::Level => "whole, and level with the log".to_owned(),
        StoreState::Behind(entries) => {
            let entries = count(*entries, "entry", "entries");
            format!("whole, and {entries} behind the log: the next start brings it forward")
        }
        StoreState::Doubtful(why) => format!("doubtful, the next start fills it anew from the log: {why}"),
        StoreState::Ahead(applied) => format!("ahead of the log, at {applied}: the log has lost entries"),
    }
}

fn count(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

fn as_json(report: &OpenReport, store: &StoreState) -> String {
    let state = match store {
        StoreState::InUse => "IN_USE",
        StoreState::Missing => "MISSING",
        StoreState::Level => "LEVEL",
        StoreState::Behind(_) => "BEHIND",
        StoreState::Doubtful(_) => "DOUBTFUL",
        StoreState::Ahead(_) => "AHEAD",
    };
    let value = json!({
        "head": { "sequence": report.head.sequence.0, "sha256": report.head.digest.to_string() },
        "verifiedEntries": report.verified_entries,
        "verifiedBytes": report.verified_bytes,
        "segments": report.segments,
        "tail": tail_text(&report.tail),
        "store": { "state": state, "text": store_text(store) },
    });
    format!("{value:#}\n")
}
