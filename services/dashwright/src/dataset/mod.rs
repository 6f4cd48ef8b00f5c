//! The dataset of a directory: begun, loaded, opened, verified.
//!
//! ```text
//! DIR/FORMAT, DIR/LOCK, DIR/log/   the log, which is what is durable
//! DIR/checkpoints.jsonl            the checkpoints that were given out
//! DIR/key-secret                   what keys are proven with; in no backup
//! DIR/store/                       the materialised copy, which is rebuilt from the log when it is doubtful
//! DIR/imports/                     files that are being received, until they are in a draft; in no backup
//! ```

mod audit;
mod key;
mod load;
mod restore;
mod secret;
mod verify;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use dashwright_engine::{Engine, Ground, Origin, initialise};
use dashwright_log::{CHECKPOINTS_FILE, FileCheckpoints, FileLog, FileOptions, Head, Log, OpenError};
use dashwright_store::{Store, StoreError};

pub(crate) use audit::{Checked, CheckedKind, audit_verify, checkpoint_of, kept_checkpoint};
pub(crate) use key::make_key;
pub(crate) use load::{LoadFailure, STANDARD_INPUT, publish_quietly, read_edits};
pub(crate) use restore::{Restored, restore};
pub(crate) use secret::signer;
pub(crate) use verify::verify;

use crate::failure::Failure;
use crate::memory;
use crate::wiring::Machine;

/// The file that a directory has exactly when a dataset was begun in it.
const FORMAT_FILE: &str = "FORMAT";
/// Where files are received.
const IMPORTS: &str = "imports";
/// Where the materialised copy is.
const STORE: &str = "store";

/// Where the files are received that are imported into the dataset of a directory.
pub(crate) fn imports_of(directory: &Path) -> PathBuf {
    directory.join(IMPORTS)
}

/// Opens the dataset of a directory, after it was begun and loaded where that is asked for. Blocks.
///
/// Records are read and checked before anything is begun, so that a faulty file leaves no directory behind.
pub(crate) fn open(
    directory: &Path,
    init: bool,
    load: Option<&Path>,
    signer: Option<&Path>,
) -> Result<Engine, Failure> {
    if !init && !is_dataset(directory) {
        return Err(OpenError::NotADataset { directory: directory.to_owned() }.into());
    }
    let records = load.map(load::read).transpose()?;
    if init {
        begin(directory)?;
    }
    let engine = start(directory, signer)?;
    if let Some(records) = records {
        let revision = engine.view().revision();
        if revision > 0 {
            return Err(Failure::HasRevision { directory: directory.to_owned(), revision });
        }
        let file = load.map(|file| file.display().to_string()).unwrap_or_default();
        load::publish(&engine, records, &origin(&format!("initial load of {file}")))?;
    }
    Ok(engine)
}

/// Begins a dataset in a missing or empty directory, or where an earlier attempt was interrupted.
pub(crate) fn begin(directory: &Path) -> Result<(), Failure> {
    let log = match FileLog::create(directory, FileOptions::default()) {
        Ok(log) => log,
        Err(error @ OpenError::AlreadyADataset { .. }) => {
            let log = FileLog::open(directory, FileOptions::default())?.log;
            if log.head() != Head::EMPTY || was_begun(directory)? {
                return Err(error.into());
            }
            log
        }
        Err(error) => return Err(error.into()),
    };
    Ok(initialise(&log, &Machine, &origin("begin a dataset"))?)
}

/// Whether there is something that only entries lead to: where the log is empty then, it was lost.
fn was_begun(directory: &Path) -> Result<bool, Failure> {
    let store = store_of(directory);
    if directory.join(CHECKPOINTS_FILE).exists() || !store.is_dir() {
        return Ok(directory.join(CHECKPOINTS_FILE).exists());
    }
    // As a copy: this one may still be held for a moment when the start wants it.
    let scratch = tempfile::tempdir().map_err(Failure::System)?;
    let copy = scratch.path().join(STORE);
    verify::copy_directory(&store, &copy).map_err(Failure::System)?;
    Ok(Store::open(&copy)?.store.applied().is_some())
}

/// Starts the engine on the log and the store of a directory; checkpoints are signed with the key of a file.
pub(crate) fn start(directory: &Path, signer: Option<&Path>) -> Result<Engine, Failure> {
    // The database changes what it opens: not in a directory that a newer version wrote, or that is no dataset.
    FileLog::check(directory)?;
    // The store knows which entries were verified before, so it is opened first; who has the directory, the log says.
    let store = match Store::open(&directory.join(STORE)) {
        Ok(opened) => opened.store,
        Err(error @ StoreError::InUse { .. }) => {
            FileLog::open(directory, FileOptions::default())?;
            return Err(error.into());
        }
        Err(error) => return Err(error.into()),
    };
    let known = store.applied().unwrap_or(Head::EMPTY);
    let opened = match FileLog::open_trusting(directory, known, FileOptions::default()) {
        // The store is of another history: the engine fills it anew, from a log that is verified as a whole.
        Err(OpenError::Disagrees { .. }) => FileLog::open(directory, FileOptions::default())?,
        opened => opened?,
    };
    let key_secret = secret::key_secret(directory)?;
    let secret_id = key_secret.id();
    let ground = Ground {
        checkpoints: Arc::new(FileCheckpoints::open(directory)?.checkpoints),
        key_secret,
        log: Arc::new(opened.log),
        store,
        signer: signer.map(secret::signer).transpose()?,
        surroundings: Arc::new(Machine),
    };
    let (engine, report) = dashwright_engine::start(ground)?;
    memory::give_back();
    warn_of_dead_keys(&engine, &secret_id);
    tracing::info!(
        records = report.records,
        replayed = report.replayed,
        replay_ms = report.replay.as_millis(),
        read_ms = report.read.as_millis(),
        compile_ms = report.compile.as_millis(),
        "started"
    );
    Ok(engine)
}

/// Keys that were made under another secret let nobody in; without a word nobody would know why.
fn warn_of_dead_keys(engine: &Engine, secret_id: &str) {
    let ring = engine.keys().borrow().clone();
    let dead = ring.keys().filter(|key| key.revoked.is_none() && key.secret_id != secret_id).count();
    if dead > 0 {
        tracing::warn!(
            dead,
            "keys were made under another secret than that of the directory: they let nobody in"
        );
    }
}

/// Who asks for what the command line asks for: the account that the program runs under.
pub(crate) fn origin(reason: &str) -> Origin {
    let account = std::env::var("USER").or_else(|_| std::env::var("USERNAME"));
    let actor = format!("command line, {}", account.as_deref().unwrap_or("unknown account"));
    Origin { actor, reason: reason.to_owned(), request_id: None }
}

fn is_dataset(directory: &Path) -> bool {
    directory.join(FORMAT_FILE).exists()
}

/// The store's directory.
fn store_of(directory: &Path) -> PathBuf {
    directory.join(STORE)
}
