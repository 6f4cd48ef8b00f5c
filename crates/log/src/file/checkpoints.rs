//! Checkpoints in a file beside the log, one line each, synchronised before they count as kept.
//!
//! ```text
//! {"sha256":"<hex digest of the note>","note":"<the note as a JSON string>"}
//! ```
//!
//! A checkpoint is evidence about the log and can be made again from it, so that a damaged line is reported and never
//! stands in the way of the others, or of the log.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use super::Tail;
use super::directory::is_absent;
use super::disk::{Disk, Handle, RealDisk, fault};
use super::segment::Lines;
use crate::checkpoints::{CheckpointDamage, CheckpointFault, Checkpoints, KeepError, Kept, KeptList};
use crate::digest::Digest;
use crate::port::{IoFault, Operation};

/// The file's name in a data directory.
pub const CHECKPOINTS_FILE: &str = "checkpoints.jsonl";

/// Checkpoints in the file of one data directory. Whoever holds the directory's log may open it, and nobody else.
pub struct FileCheckpoints {
    directory: PathBuf,
    path: PathBuf,
    disk: Arc<dyn Disk>,
    writer: Mutex<Writer>,
    durable: Mutex<Durable>,
}

/// Opened checkpoints and what opening them found.
#[derive(Debug)]
pub struct OpenedCheckpoints {
    /// The checkpoints.
    pub checkpoints: FileCheckpoints,
    /// What was found.
    pub report: CheckpointsReport,
}

/// What reading kept checkpoints found.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct CheckpointsReport {
    /// Whether there is a file; it comes with the first checkpoint.
    pub present: bool,
    /// How many checkpoints can be read.
    pub kept: u64,
    /// The last of them.
    pub latest: Option<Kept>,
    /// Lines that cannot be read.
    pub damaged: Vec<CheckpointDamage>,
    /// How the file ends. On opening, what it describes has been mended.
    pub tail: Tail,
}

impl FileCheckpoints {
    /// Opens the checkpoints of the dataset in `directory`, whose log the caller has open.
    ///
    /// # Errors
    /// When the file system fails.
    pub fn open(directory: &Path) -> Result<OpenedCheckpoints, IoFault> {
        FileCheckpoints::open_on(Arc::new(RealDisk), directory)
    }

    pub(crate) fn open_on(disk: Arc<dyn Disk>, directory: &Path) -> Result<OpenedCheckpoints, IoFault> {
        let path = directory.join(CHECKPOINTS_FILE);
        let (report, length) = scan(&*disk, &path, u64::MAX, &mut |_| ())?;
        let (handle, length) = mend(&*disk, directory, &path, &report, length)?;
        report.trace(&path);
        let durable = Mutex::new(Durable { latest: report.latest.clone(), length });
        let writer = Mutex::new(Writer { failed: false, handle });
        let directory = directory.to_owned();
        let checkpoints = FileCheckpoints { directory, path, disk, writer, durable };
        Ok(OpenedCheckpoints { checkpoints, report })
    }

    fn durable(&self) -> MutexGuard<'_, Durable> {
        self.durable.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self, writer: &mut Writer, line: &[u8]) -> Result<(), IoFault> {
        let path = &self.path;
        let handle = match &writer.handle {
            Some(handle) => handle,
            None => {
                let file = self.disk.create(path).map_err(fault(Operation::CreateFile, path))?;
                let synced = self.disk.sync_dir(&self.directory);
                synced.map_err(fault(Operation::SyncDirectory, &self.directory))?;
                writer.handle.insert(Handle::new(file, path))
            }
        };
        self.disk.write(handle, line).map_err(fault(Operation::WriteFile, path))?;
        self.disk.sync(handle).map_err(fault(Operation::SyncFile, path))
    }
}

impl Checkpoints for FileCheckpoints {
    fn latest(&self) -> Option<Kept> {
        self.durable().latest.clone()
    }

    fn append(&self, note: &str) -> Result<(), KeepError> {
        let kept = Kept::of(note.to_owned())?;
        let mut line = encode(note);
        line.push(b'\n');
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        if writer.failed {
            return Err(KeepError::Poisoned);
        }
        // Set first, so that a panic leaves it set like an error.
        writer.failed = true;
        self.write(&mut writer, &line)?;
        writer.failed = false;
        let mut durable = self.durable();
        durable.length += line.len() as u64;
        durable.latest = Some(kept);
        Ok(())
    }

    /// Reads what is durable: whatever a failed write left behind it is not looked at.
    fn all(&self) -> Result<KeptList, IoFault> {
        let length = self.durable().length;
        let mut kept = Vec::new();
        let (report, _) = scan(&*self.disk, &self.path, length, &mut |it| kept.push(it))?;
        Ok(KeptList { kept, damaged: report.damaged })
    }
}

impl std::fmt::Debug for FileCheckpoints {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FileCheckpoints").field("path", &self.path).finish_non_exhaustive()
    }
}

/// Reads the checkpoints of the dataset in `directory` without opening it: it may be open elsewhere, and nothing is
/// changed.
///
/// # Errors
/// When the file system fails.
pub fn read_checkpoints(directory: &Path, mut visit: impl FnMut(Kept)) -> Result<CheckpointsReport, IoFault> {
    Ok(scan(&RealDisk, &directory.join(CHECKPOINTS_FILE), u64::MAX, &mut visit)?.0)
}

impl CheckpointsReport {
    fn trace(&self, path: &Path) {
        let file = path.display();
        match &self.tail {
            Tail::Whole => {}
            Tail::Unended { line, .. } => {
                tracing::warn!(%file, line, "added the line feed that an interrupted write left out");
            }
            Tail::Torn { line, offset, bytes, .. } => {
                tracing::warn!(%file, line, offset, bytes, "cut off the remains of an interrupted write");
            }
        }
        for damage in &self.damaged {
            tracing::error!(%file, line = damage.line, fault = %damage.source, "passed over a damaged checkpoint");
        }
        if !self.present {
            tracing::info!(%file, "no checkpoint is kept yet, or their file is lost");
        }
    }
}

/// What only the thread that appends may touch.
#[derive(Debug)]
struct Writer {
    failed: bool,
    handle: Option<Handle>,
}

/// What counts as kept.
#[derive(Debug)]
struct Durable {
    latest: Option<Kept>,
    length: u64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    sha256: Digest,
    note: String,
}

fn encode(note: &str) -> Vec<u8> {
    // Digits and a string always have a JSON form.
    let line = Line { sha256: Digest::of(note.as_bytes()), note: note.to_owned() };
    serde_json::to_vec(&line).unwrap_or_default()
}

/// Decodes a line, terminator excluded, that is exactly what [`encode`] writes.
fn decode(line: &[u8]) -> Result<Kept, CheckpointFault> {
    let Line { sha256, note } = serde_json::from_slice(line).map_err(|_| CheckpointFault::Form)?;
    let actual = Digest::of(note.as_bytes());
    if actual != sha256 {
        return Err(CheckpointFault::Hash { stated: sha256, actual });
    }
    if encode(&note) != line {
        return Err(CheckpointFault::Form);
    }
    Kept::of(note).map_err(CheckpointFault::Note)
}

/// A bad line whose meaning depends on what follows.
struct Bad {
    line: u64,
    offset: u64,
    source: CheckpointFault,
    /// It has no end, or zeros that no line contains: what an interrupted write leaves.
    interrupted: bool,
}

/// Reads the lines that begin before `limit`, and tells a torn tail from damage: only what an interrupted write can have
/// left at the very end is a torn tail. Returns the length up to the end of the last line that stays.
fn scan(
    disk: &dyn Disk,
    path: &Path,
    limit: u64,
    visit: &mut dyn FnMut(Kept),
) -> Result<(CheckpointsReport, u64), IoFault> {
    let mut report =
        CheckpointsReport { present: true, kept: 0, latest: None, damaged: Vec::new(), tail: Tail::Whole };
    let mut lines = match Lines::open(disk, path, 0) {
        Ok(lines) => lines,
        Err(error) if is_absent(&error.source) => {
            report.present = false;
            return Ok((report, 0));
        }
        Err(error) => return Err(error),
    };
    let mut run: Vec<Bad> = Vec::new();
    let (mut number, mut ended, mut unended) = (0, true, None);
    while lines.next_offset() < limit {
        let offset = lines.next_offset();
        let Some(line) = lines.next()? else { break };
        if !ended {
            // The rest of a line that is longer than any line may be.
            ended = line.ends_with(b"\n");
            continue;
        }
        number += 1;
        ended = line.ends_with(b"\n");
        let bytes = line.len() as u64;
        match decode(line.strip_suffix(b"\n").unwrap_or(line)) {
            Ok(kept) => {
                report.damaged.extend(run.drain(..).map(|bad| bad.damage(path)));
                report.kept += 1;
                report.latest = Some(kept.clone());
                visit(kept);
                unended = (!ended).then(|| Tail::Unended { file: path.to_owned(), line: number, bytes });
            }
            Err(source) => {
                let interrupted = !ended || line.contains(&0);
                run.push(Bad { line: number, offset, source, interrupted });
            }
        }
    }
    let mut length = lines.next_offset();
    report.tail = unended.unwrap_or(Tail::Whole);
    if let Some(torn) = run.iter().position(|bad| bad.interrupted) {
        let file = path.to_owned();
        for torn in run.drain(torn..).take(1) {
            let bytes = length - torn.offset;
            length = torn.offset;
            report.tail = Tail::Torn { file: file.clone(), line: torn.line, offset: length, bytes };
        }
    }
    report.damaged.extend(run.into_iter().map(|bad| bad.damage(path)));
    Ok((report, length))
}

impl Bad {
    fn damage(self, path: &Path) -> CheckpointDamage {
        CheckpointDamage { file: path.to_owned(), line: self.line, source: self.source }
    }
}

/// Mends the tail and makes durable what an earlier process may have written and not synchronised.
fn mend(
    disk: &dyn Disk,
    directory: &Path,
    path: &Path,
    report: &CheckpointsReport,
    mut length: u64,
) -> Result<(Option<Handle>, u64), IoFault> {
    if !report.present {
        return Ok((None, 0));
    }
    let file = disk.open_append(path).map_err(fault(Operation::OpenFile, path))?;
    let handle = Handle::new(file, path);
    match &report.tail {
        Tail::Whole => {}
        Tail::Unended { .. } => {
            disk.write(&handle, b"\n").map_err(fault(Operation::WriteFile, path))?;
            length += 1;
        }
        Tail::Torn { offset, .. } => {
            disk.cut(&handle, *offset).map_err(fault(Operation::CutFile, path))?;
        }
    }
    disk.sync(&handle).map_err(fault(Operation::SyncFile, path))?;
    disk.sync_dir(directory).map_err(fault(Operation::SyncDirectory, directory))?;
    Ok((Some(handle), length))
}

#[cfg(test)]
mod tests;
