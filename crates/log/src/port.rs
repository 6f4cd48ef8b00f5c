//! The port: what every log does, whatever it is kept in.

use std::fmt;
use std::io;
use std::path::PathBuf;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::digest::Digest;
use crate::entry::{EntryError, LineFault, NewEntry, StoredEntry};

/// Most bytes of entries that one [`Log::append_all`] takes: one batch is encoded in memory as a whole, and a batch that
/// is cut short by a crash is repeated as a whole.
pub const MAX_BATCH_BYTES: usize = 16 * 1024 * 1024;

/// Most bytes of entries that one [`Log::read_from`] returns, so that a reader's memory does not depend on how large the
/// entries are. A single entry is always smaller.
pub const MAX_READ_BYTES: usize = 8 * 1024 * 1024;

/// The append-only log. Calls block; callers on an async runtime use a thread of their own.
///
/// An entry is durable before an append returns it. One process writes at a time; any number of threads may call.
pub trait Log: Send + Sync {
    /// The last durable entry.
    fn head(&self) -> Head;

    /// Appends several entries in order and makes them durable together, with one synchronisation.
    ///
    /// All of them are checked before the first is written. After an error none is acknowledged; a crash in the middle
    /// may leave a leading part of them in the log, which a reader after the restart sees like any other entry.
    ///
    /// # Errors
    /// See [`AppendError`].
    fn append_all(&self, expected: Head, entries: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError>;

    /// The entries from sequence `from` on, verified, at most `limit` and at most [`MAX_READ_BYTES`] of them; empty
    /// exactly when `from` is beyond the head or `limit` is 0.
    ///
    /// # Errors
    /// See [`ReadError`].
    fn read_from(&self, from: Sequence, limit: usize) -> Result<Vec<StoredEntry>, ReadError>;

    /// Waits until the head is beyond `sequence` or `timeout` has passed, and returns the head.
    fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head;

    /// Appends one entry if the head is still `expected`.
    ///
    /// # Errors
    /// See [`AppendError`].
    fn append(&self, expected: Head, entry: NewEntry) -> Result<StoredEntry, AppendError> {
        let stored = self.append_all(expected, vec![entry])?;
        stored.into_iter().next_back().ok_or(AppendError::Poisoned)
    }
}

/// The place of an entry in the log; the first is 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Sequence(pub u64);

impl Sequence {
    /// The place of the first entry.
    pub const FIRST: Sequence = Sequence(1);

    /// The place after this one.
    #[must_use]
    pub fn next(self) -> Sequence {
        Sequence(self.0 + 1)
    }
}

impl fmt::Display for Sequence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// The end of a log: the sequence and digest of its last entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// Sequence of the last entry; 0 when there is none.
    pub sequence: Sequence,
    /// Digest of the last entry; zero when there is none.
    pub digest: Digest,
}

impl Head {
    /// The head of a log without entries.
    pub const EMPTY: Head = Head { sequence: Sequence(0), digest: Digest::ZERO };
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "entry {} ({})", self.sequence, self.digest)
    }
}

/// Why entries were not appended. Nothing was acknowledged.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AppendError {
    /// Somebody else appended in between; read on and decide again.
    #[error("the log has moved on to {actual}, the append expected {expected}")]
    HeadMoved {
        /// What the caller took the head to be.
        expected: Head,
        /// What it is.
        actual: Head,
    },
    /// An entry is malformed.
    #[error("entry {position} of the batch is malformed")]
    Invalid {
        /// Place in the batch, from 0.
        position: usize,
        /// What is wrong with it.
        source: EntryError,
    },
    /// An entry, or the batch as a whole, has too many bytes.
    #[error("{bytes} bytes are more than the {limit} that are allowed at once")]
    TooLarge {
        /// Bytes given.
        bytes: usize,
        /// Bytes allowed.
        limit: usize,
    },
    /// The disk is nearly full; reads go on.
    #[error("{free} bytes are free and {needed} are needed, reserve included")]
    NoSpace {
        /// Bytes free to this process.
        free: u64,
        /// Bytes of the entries and of the reserve that is kept.
        needed: u64,
    },
    /// An earlier write failed, so that what is on disk is uncertain until a restart reads it again. Never retried.
    #[error("an earlier write to the log failed, it takes no more until a restart")]
    Poisoned,
    /// This write failed.
    #[error(transparent)]
    Io(#[from] IoFault),
}

/// Why entries could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The stored bytes are not what was written.
    #[error(transparent)]
    Damaged(#[from] Box<Damage>),
    /// The file system failed.
    #[error(transparent)]
    Io(#[from] IoFault),
}

/// A line that is not what was written, with more behind it than a torn write explains.
#[derive(Debug, thiserror::Error)]
#[error("line {line} of `{}` is damaged", file.display())]
pub struct Damage {
    /// The file.
    pub file: PathBuf,
    /// The line, from 1.
    pub line: u64,
    /// What is wrong with it.
    pub source: LineFault,
}

/// A file-system operation that failed.
#[derive(Debug, thiserror::Error)]
#[error("{operation} `{}` failed", path.display())]
pub struct IoFault {
    /// What was tried.
    pub operation: Operation,
    /// On which file or directory.
    pub path: PathBuf,
    /// What the operating system said.
    pub source: io::Error,
}

/// A kind of file-system operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the names are the documentation")]
pub enum Operation {
    ListDirectory,
    CreateDirectory,
    SyncDirectory,
    CreateFile,
    OpenFile,
    ReadFile,
    WriteFile,
    SyncFile,
    CutFile,
    RenameFile,
    RemoveFile,
    LockFile,
    MeasureFreeSpace,
}

impl fmt::Display for Operation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Operation::ListDirectory => "listing",
            Operation::CreateDirectory | Operation::CreateFile => "creating",
            Operation::SyncDirectory | Operation::SyncFile => "synchronising",
            Operation::OpenFile => "opening",
            Operation::ReadFile => "reading",
            Operation::WriteFile => "writing",
            Operation::CutFile => "cutting",
            Operation::RenameFile => "renaming",
            Operation::RemoveFile => "removing",
            Operation::LockFile => "locking",
            Operation::MeasureFreeSpace => "measuring the free space of",
        })
    }
}
