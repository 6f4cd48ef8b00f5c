//! Making a data directory from a trail.
//!
//! The lines are written as they are, and the directory becomes a dataset only when the whole trail is verified, is
//! durable, was read back from the disk, and the entry that tells of the restoration is appended.

use std::error::Error;
use std::io::BufRead;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::checkpoints::FileCheckpoints;
use super::disk::{Disk, Handle, RealDisk, fault};
use super::{FileLog, FileOptions, OpenError, directory, segment};
use crate::checkpoints::{Checkpoints, KeepError};
use crate::entry::{NewEntry, StoredEntry};
use crate::port::{AppendError, Head, IoFault, Log, Operation};
use crate::trail::{TrailError, TrailReport, read_trail};

/// Bytes gathered before they are written: large enough that the system calls cost nothing beside the hashing.
const WRITE_BYTES: usize = 1024 * 1024;

/// A dataset that was made from a trail, open.
#[derive(Debug)]
pub struct Restored {
    /// The log.
    pub log: FileLog,
    /// What the trail held.
    pub trail: TrailReport,
    /// The entry that was appended to it.
    pub entry: StoredEntry,
}

/// Why a trail was not restored. The directory is then no dataset, and may be restored into again.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RestoreError {
    /// The directory cannot be used, or does not read back.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The trail is not whole.
    #[error(transparent)]
    Trail(#[from] TrailError),
    /// The disk is too small.
    #[error("{free} bytes are free and {needed} are needed, reserve included")]
    NoSpace {
        /// Bytes free to this process.
        free: u64,
        /// Bytes of the next write and of the reserve that is kept.
        needed: u64,
    },
    /// The file system failed.
    #[error(transparent)]
    Io(#[from] IoFault),
    /// What is on disk is not what was written.
    #[error("the disk holds {found} as the last and {written} was written")]
    ReadBack {
        /// The last entry that was written.
        written: Head,
        /// The last entry that was read back.
        found: Head,
    },
    /// The entry that tells of the restoration was not appended.
    #[error("the entry that tells of the restoration was not appended")]
    Append(#[from] AppendError),
    /// The trail's checkpoint was not kept.
    #[error("the checkpoint of the trail was not kept")]
    Keep(#[from] KeepError),
    /// The entry that tells of the restoration was not made.
    #[error("the entry that tells of the restoration was not made")]
    Entry(#[source] Box<dyn Error + Send + Sync>),
}

impl FileLog {
    /// Makes a dataset of `trail` in `directory`, which is missing or empty, or was left by an interruption of this; keeps
    /// the trail's checkpoint beside it, and appends the entry that `restored` makes of what the trail held.
    ///
    /// # Errors
    /// See [`RestoreError`].
    pub fn restore(
        directory: &Path,
        trail: impl BufRead,
        options: FileOptions,
        restored: impl FnOnce(&TrailReport) -> Result<NewEntry, Box<dyn Error + Send + Sync>>,
    ) -> Result<Restored, RestoreError> {
        FileLog::restore_on(Arc::new(RealDisk), directory, trail, options, restored)
    }

    pub(crate) fn restore_on(
        disk: Arc<dyn Disk>,
        directory: &Path,
        trail: impl BufRead,
        options: FileOptions,
        restored: impl FnOnce(&TrailReport) -> Result<NewEntry, Box<dyn Error + Send + Sync>>,
    ) -> Result<Restored, RestoreError> {
        let lock = directory::begin_restoring(&*disk, directory)?;
        let trail = match copy(&*disk, directory, trail, &options) {
            Ok(report) => report,
            Err(error) => {
                // The mark stays when this fails too, and the next attempt clears the directory.
                if let Err(left) = directory::abandon(&*disk, directory) {
                    tracing::warn!(directory = %directory.display(), %left, "left a broken restoration behind");
                }
                return Err(error);
            }
        };
        let opened = FileLog::start(disk.clone(), directory, lock, Head::EMPTY, options)?;
        let (written, found) = (trail.head, opened.report.head);
        if found != written {
            return Err(RestoreError::ReadBack { written, found });
        }
        let log = opened.log;
        let entry = log.append(found, restored(&trail).map_err(RestoreError::Entry)?)?;
        FileCheckpoints::open_on(disk.clone(), directory)?.checkpoints.append(&trail.note)?;
        directory::complete(&*disk, directory)?;
        Ok(Restored { log, trail, entry })
    }
}

/// Writes the lines of a trail to segments, and makes them durable.
fn copy(
    disk: &dyn Disk,
    directory: &Path,
    trail: impl BufRead,
    options: &FileOptions,
) -> Result<TrailReport, RestoreError> {
    let log = directory::log_directory(directory);
    let mut copier = Copier { disk, log, options, segment: None, waiting: Vec::new() };
    let mut failed = None;
    let read = read_trail(trail, |entry| match copier.push(entry) {
        Ok(()) => ControlFlow::Continue(()),
        Err(error) => {
            failed = Some(error);
            ControlFlow::Break(())
        }
    });
    if let Some(error) = failed {
        return Err(error);
    }
    let report = read?;
    copier.end_segment()?;
    let log = &copier.log;
    disk.sync_dir(log).map_err(fault(Operation::SyncDirectory, log))?;
    Ok(report)
}

struct Copier<'a> {
    disk: &'a dyn Disk,
    log: PathBuf,
    options: &'a FileOptions,
    /// The segment that is being filled, and its bytes so far.
    segment: Option<(Handle, u64)>,
    /// Bytes of it that are not written yet.
    waiting: Vec<u8>,
}

impl Copier<'_> {
    fn push(&mut self, entry: &StoredEntry) -> Result<(), RestoreError> {
        let line = [entry.line(), b"\n".to_vec()].concat();
        let bytes = line.len() as u64;
        let limit = self.options.segment_bytes;
        if self.segment.as_ref().is_some_and(|(_, length)| length + bytes > limit) {
            self.end_segment()?;
        }
        match &mut self.segment {
            Some((_, length)) => *length += bytes,
            None => {
                let path = segment::path(&self.log, entry.entry.sequence);
                let file = self.disk.create(&path).map_err(fault(Operation::CreateFile, &path))?;
                self.segment = Some((Handle::new(file, &path), bytes));
            }
        }
        self.waiting.extend(line);
        if self.waiting.len() < WRITE_BYTES { Ok(()) } else { self.flush() }
    }

    fn flush(&mut self) -> Result<(), RestoreError> {
        let Some((handle, _)) = &self.segment else { return Ok(()) };
        let free = self.disk.free_space(&self.log);
        let free = free.map_err(fault(Operation::MeasureFreeSpace, &self.log))?;
        let needed = self.options.reserve_bytes + self.waiting.len() as u64;
        if free < needed {
            return Err(RestoreError::NoSpace { free, needed });
        }
        self.disk.write(handle, &self.waiting).map_err(fault(Operation::WriteFile, &handle.path))?;
        self.waiting.clear();
        Ok(())
    }

    fn end_segment(&mut self) -> Result<(), RestoreError> {
        self.flush()?;
        let Some((handle, _)) = self.segment.take() else { return Ok(()) };
        Ok(self.disk.sync(&handle).map_err(fault(Operation::SyncFile, &handle.path))?)
    }
}

#[cfg(test)]
mod tests;
