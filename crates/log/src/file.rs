//! The log in files: JSON Lines segments that are synchronised before anything is acknowledged.
//!
//! ```text
//! DIR/FORMAT                           the format number
//! DIR/LOCK                             held by the one process that has the directory open
//! DIR/log/00000000000000000001.jsonl   a segment, named after its first entry
//! DIR/checkpoints.jsonl                the checkpoints that were given out
//! DIR/RESTORING                        until a trail is restored as a whole; a directory without FORMAT is no dataset
//! ```
//!
//! A write or synchronisation that fails is never retried: what is on disk is then uncertain, so appends stop and
//! reads go on until a restart has read the files again.

mod checkpoints;
mod directory;
mod disk;
#[cfg(test)]
mod failing;
mod read;
mod restore;
mod scan;
mod segment;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

pub use checkpoints::{
    CHECKPOINTS_FILE, CheckpointsReport, FileCheckpoints, OpenedCheckpoints, read_checkpoints,
};
pub use directory::FORMAT;
pub use restore::{RestoreError, Restored};

use crate::entry::{NewEntry, StoredEntry, chain};
use crate::port::{AppendError, Damage, Head, IoFault, Log, Operation, ReadError, Sequence};
use crate::signal::Signal;
use disk::{Disk, Handle, RealDisk, fault};
use scan::{Depth, Scan};
use segment::Segment;

/// Bytes at which a segment is closed and the next begun: small enough to copy and to open in an editor, large enough
/// that a million entries are a few dozen files.
pub const SEGMENT_BYTES: u64 = 64 * 1024 * 1024;

/// Bytes of disk that appends leave free: room for the store's files and for a person to act, because a disk that is
/// filled to the last byte cannot even be tidied up safely.
pub const RESERVE_BYTES: u64 = 64 * 1024 * 1024;

/// Choices that a deployment or a test may make.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct FileOptions {
    /// See [`SEGMENT_BYTES`].
    pub segment_bytes: u64,
    /// See [`RESERVE_BYTES`].
    pub reserve_bytes: u64,
}

impl Default for FileOptions {
    fn default() -> FileOptions {
        FileOptions { segment_bytes: SEGMENT_BYTES, reserve_bytes: RESERVE_BYTES }
    }
}

/// The log in the files of one data directory, held exclusively until dropped.
pub struct FileLog {
    log: PathBuf,
    disk: Arc<dyn Disk>,
    options: FileOptions,
    writer: Mutex<Writer>,
    segments: Mutex<Vec<Segment>>,
    signal: Signal,
    _lock: directory::Lock,
}

/// An opened log and what opening it found.
#[derive(Debug)]
pub struct Opened {
    /// The log.
    pub log: FileLog,
    /// What was found.
    pub report: OpenReport,
}

/// What reading a log found.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct OpenReport {
    /// The last entry.
    pub head: Head,
    /// How many files the log is kept in.
    pub segments: usize,
    /// Entries verified by hash and chain; fewer than the head's sequence when earlier ones were taken on trust.
    pub verified_entries: u64,
    /// Bytes of those entries' lines.
    pub verified_bytes: u64,
    /// How the last segment ends. On opening, what it describes has been mended.
    pub tail: Tail,
    /// Files in the log directory that are no segments; they are left alone.
    pub strangers: Vec<PathBuf>,
}

/// How the last segment ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tail {
    /// With a whole line, or the log is empty.
    Whole,
    /// With a whole entry that lacks its line feed: the entry is kept and the line feed added.
    Unended {
        /// The segment.
        file: PathBuf,
        /// The line, from 1.
        line: u64,
        /// Bytes of the line.
        bytes: u64,
    },
    /// With the remains of an interrupted write, never acknowledged: they are cut off.
    Torn {
        /// The segment.
        file: PathBuf,
        /// The line, from 1.
        line: u64,
        /// Where the remains begin.
        offset: u64,
        /// Their length.
        bytes: u64,
    },
}

/// Why a directory was not opened or created. Nothing in it was changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// There is no dataset.
    #[error("`{}` holds no dataset", directory.display())]
    NotADataset {
        /// The directory asked for.
        directory: PathBuf,
    },
    /// A dataset was to be created where one is.
    #[error("`{}` holds a dataset already", directory.display())]
    AlreadyADataset {
        /// The directory asked for.
        directory: PathBuf,
    },
    /// A dataset was to be created among other files.
    #[error("`{}` is not empty, it holds `{found}`", directory.display())]
    Occupied {
        /// The directory asked for.
        directory: PathBuf,
        /// One of the names in it.
        found: String,
    },
    /// A newer version wrote the directory.
    #[error("`{}` has format {found}, this version reads formats up to {supported}", directory.display())]
    NewerFormat {
        /// The directory asked for.
        directory: PathBuf,
        /// Its format.
        found: u32,
        /// The newest format known.
        supported: u32,
    },
    /// The format file does not state a format.
    #[error("`{}` does not state a format", file.display())]
    UnreadableFormat {
        /// The format file.
        file: PathBuf,
    },
    /// Another process has the directory open.
    #[error("`{}` is in use by {}", directory.display(), name_process(*process))]
    InUse {
        /// The directory asked for.
        directory: PathBuf,
        /// The process that has it, where it could be told.
        process: Option<u32>,
    },
    /// Stored bytes are not what was written.
    #[error(transparent)]
    Damaged(#[from] Box<Damage>),
    /// The log ends before an entry that is known to have been in it: its end is lost, or it is an older copy.
    #[error("the log ends with {found} and once held {known}")]
    Behind {
        /// The entry that is known.
        known: Head,
        /// The last entry found.
        found: Head,
    },
    /// The log holds another entry in the place of a known one: it is the log of another history.
    #[error("the log holds {found} where it once held {known}")]
    Disagrees {
        /// The entry that is known.
        known: Head,
        /// The entry found in its place.
        found: Head,
    },
    /// The file system failed.
    #[error(transparent)]
    Io(#[from] IoFault),
}

impl FileLog {
    /// Makes an empty dataset in `directory`, which is missing or empty, and opens it.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn create(directory: &Path, options: FileOptions) -> Result<FileLog, OpenError> {
        FileLog::create_on(Arc::new(RealDisk), directory, options)
    }

    /// Opens the dataset in `directory` and verifies every entry by hash and chain.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn open(directory: &Path, options: FileOptions) -> Result<Opened, OpenError> {
        FileLog::open_trusting(directory, Head::EMPTY, options)
    }

    /// Opens the dataset in `directory` and verifies the entries from the segment on that holds `known`, an entry that a
    /// caller has verified earlier. Earlier segments are verified when they are read.
    ///
    /// # Errors
    /// See [`OpenError`]; in particular [`OpenError::Behind`] and [`OpenError::Disagrees`].
    pub fn open_trusting(directory: &Path, known: Head, options: FileOptions) -> Result<Opened, OpenError> {
        FileLog::open_on(Arc::new(RealDisk), directory, known, options)
    }

    /// Refuses a directory that is no dataset, or is of a format that this version does not read. Nothing is changed, and
    /// nothing else is to be opened in the directory before.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn check(directory: &Path) -> Result<(), OpenError> {
        directory::check_format(&RealDisk, directory)
    }

    /// Refuses a directory in which [`FileLog::create`] would make no dataset. Nothing is changed.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn check_new(directory: &Path) -> Result<(), OpenError> {
        directory::check_new(&RealDisk, directory)
    }

    /// Refuses a directory that another process has open. Nothing is changed; for the moment of the question a process that
    /// wants to open it is kept out.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn check_free(directory: &Path) -> Result<(), OpenError> {
        directory::check_free(directory)
    }

    /// Verifies and decodes every entry without opening the dataset: it may be open elsewhere, and nothing is changed.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn verify(directory: &Path) -> Result<OpenReport, OpenError> {
        FileLog::verify_visiting(directory, &mut |_| ())
    }

    /// [`FileLog::verify`], showing the stored bytes of each entry in order.
    ///
    /// # Errors
    /// See [`OpenError`].
    pub fn verify_visiting(directory: &Path, visit: &mut dyn FnMut(&[u8])) -> Result<OpenReport, OpenError> {
        directory::check_format(&RealDisk, directory)?;
        let depth = Depth { known: Head::EMPTY, decode: true };
        Ok(report(scan::scan(&RealDisk, &directory::log_directory(directory), depth, visit)?).0)
    }

    fn create_on(disk: Arc<dyn Disk>, directory: &Path, options: FileOptions) -> Result<FileLog, OpenError> {
        let lock = directory::create(&*disk, directory)?;
        Ok(FileLog::start(disk, directory, lock, Head::EMPTY, options)?.log)
    }

    fn open_on(
        disk: Arc<dyn Disk>,
        directory: &Path,
        known: Head,
        options: FileOptions,
    ) -> Result<Opened, OpenError> {
        directory::check_format(&*disk, directory)?;
        let lock = directory::lock(directory)?;
        // An interrupted creation may have left the format file's name where only this boot of the machine sees it.
        disk.sync_dir(directory).map_err(fault(Operation::SyncDirectory, directory))?;
        FileLog::start(disk, directory, lock, known, options)
    }

    fn start(
        disk: Arc<dyn Disk>,
        directory: &Path,
        lock: directory::Lock,
        known: Head,
        options: FileOptions,
    ) -> Result<Opened, OpenError> {
        let log = directory::log_directory(directory);
        let scan = scan::scan(&*disk, &log, Depth { known, decode: false }, &mut |_| ())?;
        let current = mend(&*disk, &log, &scan)?;
        let (report, segments) = report(scan);
        report.trace(directory);
        let writer = Writer { failed: false, head: report.head, current };
        let signal = Signal::new(report.head);
        let (writer, segments) = (Mutex::new(writer), Mutex::new(segments));
        let log = FileLog { log, disk, options, writer, segments, signal, _lock: lock };
        Ok(Opened { log, report })
    }

    fn refuse_full_disk(&self, bytes: u64) -> Result<(), AppendError> {
        let measured = self.disk.free_space(&self.log);
        let free = measured.map_err(fault(Operation::MeasureFreeSpace, &self.log))?;
        let needed = self.options.reserve_bytes + bytes;
        if free < needed { Err(AppendError::NoSpace { free, needed }) } else { Ok(()) }
    }

    /// The segment that `bytes` go to: the current one while they fit, otherwise a new one.
    fn roll<'w>(&self, writer: &'w mut Writer, bytes: u64) -> Result<&'w mut Current, IoFault> {
        let limit = self.options.segment_bytes;
        let fits = |current: &Current| current.length == 0 || current.length + bytes <= limit;
        let first = writer.head.sequence.next();
        let current = match writer.current.take().filter(fits) {
            Some(current) => current,
            None => {
                let path = segment::path(&self.log, first);
                let file = self.disk.create(&path).map_err(fault(Operation::CreateFile, &path))?;
                self.disk.sync_dir(&self.log).map_err(fault(Operation::SyncDirectory, &self.log))?;
                self.segments().push(Segment::new(first));
                Current { handle: Handle::new(file, &path), length: 0 }
            }
        };
        Ok(writer.current.insert(current))
    }

    fn write(&self, writer: &mut Writer, lines: &[u8]) -> Result<u64, IoFault> {
        let current = self.roll(writer, lines.len() as u64)?;
        let path = &current.handle.path;
        self.disk.write(&current.handle, lines).map_err(fault(Operation::WriteFile, path))?;
        self.disk.sync(&current.handle).map_err(fault(Operation::SyncFile, path))?;
        let offset = current.length;
        current.length += lines.len() as u64;
        Ok(offset)
    }

    fn segments(&self) -> MutexGuard<'_, Vec<Segment>> {
        // Offsets are pushed one at a time and only hints: a panic cannot leave them wrong.
        self.segments.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Log for FileLog {
    fn head(&self) -> Head {
        self.signal.head()
    }

    fn append_all(&self, expected: Head, new: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        if writer.failed {
            return Err(AppendError::Poisoned);
        }
        let actual = writer.head;
        if actual != expected {
            return Err(AppendError::HeadMoved { expected, actual });
        }
        let stored = chain(actual, new)?;
        let Some(head) = stored.last().map(StoredEntry::head) else { return Ok(stored) };
        let (lines, ends) = lines(&stored);
        self.refuse_full_disk(lines.len() as u64)?;

        // Set first, so that a panic leaves it set like an error.
        writer.failed = true;
        let mut offset = self.write(&mut writer, &lines)?;
        if let Some(segment) = self.segments().last_mut() {
            for (entry, bytes) in stored.iter().zip(ends) {
                segment.note(entry.entry.sequence, offset);
                offset += bytes;
            }
        }
        writer.head = head;
        writer.failed = false;
        self.signal.advance(head);
        Ok(stored)
    }

    fn read_from(&self, from: Sequence, limit: usize) -> Result<Vec<StoredEntry>, ReadError> {
        read::read(&*self.disk, &self.log, &self.segments, self.signal.head(), from, limit)
    }

    fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head {
        self.signal.wait_beyond(sequence, timeout)
    }
}

impl std::fmt::Debug for FileLog {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FileLog").field("log", &self.log).field("head", &self.signal.head()).finish()
    }
}

impl OpenReport {
    fn trace(&self, directory: &Path) {
        let OpenReport { head, segments, verified_entries, verified_bytes, tail, strangers } = self;
        let directory = directory.display();
        match tail {
            Tail::Whole => {}
            Tail::Unended { file, line, .. } => {
                tracing::warn!(file = %file.display(), line, "added the line feed that an interrupted write left out");
            }
            Tail::Torn { file, line, offset, bytes } => {
                tracing::warn!(file = %file.display(), line, offset, bytes, "cut off the remains of an interrupted write");
            }
        }
        for stranger in strangers {
            tracing::warn!(file = %stranger.display(), "left alone a file that is no segment of the log");
        }
        tracing::info!(%directory, head = head.sequence.0, segments, verified_entries, verified_bytes, "opened the log");
    }
}

/// What only the thread that appends may touch.
#[derive(Debug)]
struct Writer {
    failed: bool,
    head: Head,
    current: Option<Current>,
}

/// The segment that is being appended to.
#[derive(Debug)]
struct Current {
    handle: Handle,
    length: u64,
}

/// Mends the tail of the last segment and makes durable what an earlier process may have written and not synchronised:
/// everything read back counts as acknowledged from here on.
fn mend(disk: &dyn Disk, log: &Path, scan: &Scan) -> Result<Option<Current>, IoFault> {
    let Some(last) = scan.segments.last() else { return Ok(None) };
    let path = segment::path(log, last.first);
    let file = disk.open_append(&path).map_err(fault(Operation::OpenFile, &path))?;
    let handle = Handle::new(file, &path);
    let mut length = scan.length;
    match &scan.tail {
        Tail::Whole => {}
        Tail::Unended { bytes, .. } => {
            disk.write(&handle, b"\n").map_err(fault(Operation::WriteFile, &path))?;
            length += bytes + 1;
        }
        Tail::Torn { offset, .. } => {
            disk.cut(&handle, *offset).map_err(fault(Operation::CutFile, &path))?;
        }
    }
    disk.sync(&handle).map_err(fault(Operation::SyncFile, &path))?;
    disk.sync_dir(log).map_err(fault(Operation::SyncDirectory, log))?;
    Ok(Some(Current { handle, length }))
}

fn report(scan: Scan) -> (OpenReport, Vec<Segment>) {
    let Scan { segments, head, tail, length: _, verified_entries, verified_bytes, strangers } = scan;
    let report =
        OpenReport { head, segments: segments.len(), verified_entries, verified_bytes, tail, strangers };
    (report, segments)
}

/// The lines of a batch as one write, and the length of each.
fn lines(stored: &[StoredEntry]) -> (Vec<u8>, Vec<u64>) {
    let mut lines = Vec::new();
    let mut lengths = Vec::with_capacity(stored.len());
    for entry in stored {
        let before = lines.len();
        lines.append(&mut entry.line());
        lines.push(b'\n');
        lengths.push((lines.len() - before) as u64);
    }
    (lines, lengths)
}

fn name_process(process: Option<u32>) -> String {
    process.map_or_else(|| "another process".to_owned(), |number| format!("process {number}"))
}
