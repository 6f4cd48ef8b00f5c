//! Opening a store, and setting aside one that is doubtful.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::backend::{Backend, BackendError, OpenFault};
use crate::error::StoreError;
use crate::ledger::{LEDGER_KEY, Ledger};
use crate::store::{CACHE_BYTES, Store};

/// How many damaged stores are kept beside the current one, for a person to look at; the oldest goes first. They hold
/// nothing that the log does not, and each may be as large as the dataset.
pub const MAX_KEPT_ASIDE: usize = 3;

/// A store that is being opened, and what opening it found.
#[derive(Debug)]
pub struct Opened {
    /// The store; empty when it is new or the old one was set aside.
    pub store: Store,
    /// What was found.
    pub report: OpenReport,
}

/// What opening a store found.
#[derive(Debug, Default)]
#[non_exhaustive]
pub struct OpenReport {
    /// Unfinished snapshot files that were deleted: with one of them the database does not open.
    pub unfinished_snapshots: usize,
    /// Why the store was set aside, and where to.
    pub set_aside: Option<(Doubt, PathBuf)>,
}

/// Why a store is not to be relied on.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Doubt {
    /// The database panicked while it opened.
    #[error("the database panicked while it opened")]
    Panicked,
    /// The database did not open.
    #[error(transparent)]
    Failed(BackendError),
    /// It opened and its ledger could not be read.
    #[error("the ledger could not be read")]
    UnreadableLedger,
    /// The ledger is damaged or of another layout.
    #[error("the ledger is damaged or of another layout")]
    DamagedLedger,
    /// There are items and no ledger.
    #[error("there are items and no ledger")]
    NoLedger,
}

/// How long is waited for a lock that another one may be about to let go: longer than closing takes on a busy machine, short
/// enough for whoever is to be told that somebody else has it.
const PATIENCE: Duration = Duration::from_secs(1);
/// How often is looked.
const LOOK_EVERY: Duration = Duration::from_millis(10);

/// Opens the store in `directory`, or makes an empty one.
pub(crate) fn open(directory: &Path) -> Result<Opened, StoreError> {
    let unfinished_snapshots = delete_unfinished(directory).map_err(unusable(directory))?;
    let mut report = OpenReport { unfinished_snapshots, set_aside: None };
    let doubt = match try_open(directory)? {
        Ok(store) => return Ok(Opened { store, report }),
        Err(doubt) => doubt,
    };
    let aside = set_aside(directory).map_err(unusable(directory))?;
    tracing::warn!(%doubt, from = %directory.display(), to = %aside.display(), "set a doubtful store aside, to be rebuilt from the log");
    report.set_aside = Some((doubt, aside));
    match try_open(directory)? {
        Ok(store) => Ok(Opened { store, report }),
        Err(Doubt::Failed(error)) => Err(error.into()),
        Err(_) => Err(StoreError::Panicked),
    }
}

/// Removes the store's directory.
pub(crate) fn remove(directory: &Path) -> Result<(), StoreError> {
    match fs::remove_dir_all(directory) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(unusable(directory)(error)),
        _ => Ok(()),
    }
}

fn try_open(directory: &Path) -> Result<Result<Store, Doubt>, StoreError> {
    let backend = match open_backend(directory) {
        Ok(backend) => backend,
        Err(OpenFault::Panicked) => return Ok(Err(Doubt::Panicked)),
        Err(OpenFault::Failed(error)) => return Ok(Err(Doubt::Failed(error))),
        Err(OpenFault::InUse) => return Err(StoreError::InUse { directory: directory.to_owned() }),
        Err(OpenFault::Directory(error)) => return Err(unusable(directory)(error)),
    };
    Ok(read_ledger(&backend).map(|ledger| Store::new(directory, backend, ledger)))
}

/// The database's own threads let go of its lock a moment after it was closed.
fn open_backend(directory: &Path) -> Result<Backend, OpenFault> {
    let begin = Instant::now();
    loop {
        match Backend::open(directory, CACHE_BYTES) {
            Err(OpenFault::InUse) if begin.elapsed() < PATIENCE => {
                // sleep: nobody tells when a lock is let go.
                std::thread::sleep(LOOK_EVERY);
            }
            opened => return opened,
        }
    }
}

fn read_ledger(backend: &Backend) -> Result<Option<Ledger>, Doubt> {
    let Ok(stored) = backend.get(LEDGER_KEY) else { return Err(Doubt::UnreadableLedger) };
    if let Some(stored) = stored {
        return Ledger::decode(&stored).map(Some).ok_or(Doubt::DamagedLedger);
    }
    let Ok(mut items) = backend.items_from(Vec::new()) else { return Err(Doubt::UnreadableLedger) };
    match items.next() {
        None => Ok(None),
        Some(Ok(_)) => Err(Doubt::NoLedger),
        Some(Err(_)) => Err(Doubt::UnreadableLedger),
    }
}

/// Deletes snapshots that a crash left unfinished; the database would take one for a damaged snapshot.
fn delete_unfinished(directory: &Path) -> io::Result<usize> {
    let entries = match fs::read_dir(directory) {
        Ok(entries) => entries,
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            return Ok(0);
        }
        Err(error) => return Err(error),
    };
    let mut deleted = 0;
    for entry in entries {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with("snap.") && name.ends_with(".generating") {
            fs::remove_file(entry.path())?;
            deleted += 1;
        }
    }
    Ok(deleted)
}

/// Renames the directory to `NAME.damaged-<n>` with the first number beyond those that are there.
fn set_aside(directory: &Path) -> io::Result<PathBuf> {
    let mut kept = kept_aside(directory)?;
    let number = kept.last().map_or(1, |(number, _)| number + 1);
    let aside = aside_path(directory, number);
    fs::rename(directory, &aside)?;
    kept.push((number, aside.clone()));
    let surplus = kept.len().saturating_sub(MAX_KEPT_ASIDE);
    for (_, path) in kept.iter().take(surplus) {
        if path.is_dir() { fs::remove_dir_all(path)? } else { fs::remove_file(path)? }
    }
    Ok(aside)
}

fn kept_aside(directory: &Path) -> io::Result<Vec<(u64, PathBuf)>> {
    let prefix = aside_path(directory, "");
    let prefix = prefix.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let parent = match directory.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut kept = Vec::new();
    for entry in fs::read_dir(parent)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if let Some(number) = name.strip_prefix(&prefix).and_then(|number| number.parse().ok()) {
            kept.push((number, entry.path()));
        }
    }
    kept.sort_unstable();
    Ok(kept)
}

fn aside_path(directory: &Path, number: impl std::fmt::Display) -> PathBuf {
    let mut name = directory.file_name().unwrap_or_default().to_owned();
    name.push(format!(".damaged-{number}"));
    directory.with_file_name(name)
}

fn unusable(directory: &Path) -> impl FnOnce(io::Error) -> StoreError + '_ {
    |source| StoreError::Directory { directory: directory.to_owned(), source }
}
