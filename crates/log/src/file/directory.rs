//! The data directory: its format number, its lock, and how a new one comes to be.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

use fs4::{FileExt, TryLockError};

use super::checkpoints::CHECKPOINTS_FILE;
use super::disk::{Disk, Handle, fault};
use super::{OpenError, segment};
use crate::port::{IoFault, Operation};

/// The number of the format that this code writes; it changes with anything that an older version would misread.
pub const FORMAT: u32 = 1;

pub(crate) const LOG_DIRECTORY: &str = "log";

const FORMAT_FILE: &str = "FORMAT";
const FORMAT_DRAFT: &str = "FORMAT.new";
const FORMAT_WORDS: &str = "dashwright data, format ";
const LOCK_FILE: &str = "LOCK";

/// Marks a directory that a trail is being restored into, until it is a dataset.
const RESTORING_FILE: &str = "RESTORING";

/// Most bytes of the format file: its words and any number of 32 bits, with room to spare.
const MAX_FORMAT_BYTES: u64 = 128;

/// Most bytes read from a lock file: a process number.
const MAX_LOCK_BYTES: u64 = 20;

/// What a new directory may already hold: a creation that was interrupted, and what a fresh file system holds.
const ALLOWED_IN_NEW: [&str; 4] = [LOCK_FILE, FORMAT_DRAFT, LOG_DIRECTORY, "lost+found"];

/// The exclusive right to a data directory, held until dropped.
#[derive(Debug)]
pub(crate) struct Lock {
    _file: File,
}

/// Refuses a directory that is not a dataset of a format that this code reads; changes nothing.
pub(crate) fn check_format(disk: &dyn Disk, directory: &Path) -> Result<(), OpenError> {
    let path = directory.join(FORMAT_FILE);
    let file = match disk.open_read(&path) {
        Ok(file) => file,
        Err(error) if is_absent(&error) => {
            return Err(OpenError::NotADataset { directory: directory.to_owned() });
        }
        Err(error) => return Err(fault(Operation::OpenFile, &path)(error).into()),
    };
    let mut bytes = Vec::new();
    file.take(MAX_FORMAT_BYTES).read_to_end(&mut bytes).map_err(fault(Operation::ReadFile, &path))?;
    match parse_format(&bytes) {
        Some(FORMAT) => Ok(()),
        Some(found) if found > FORMAT => {
            Err(OpenError::NewerFormat { directory: directory.to_owned(), found, supported: FORMAT })
        }
        _ => Err(OpenError::UnreadableFormat { file: path }),
    }
}

/// Takes the directory for this process.
pub(crate) fn lock(directory: &Path) -> Result<Lock, OpenError> {
    let path = directory.join(LOCK_FILE);
    let locking = || fault(Operation::LockFile, &path);
    let mut options = OpenOptions::new();
    let mut file =
        options.read(true).write(true).create(true).truncate(false).open(&path).map_err(locking())?;
    match FileExt::try_lock(&file) {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            return Err(OpenError::InUse { directory: directory.to_owned(), process: holder(&file) });
        }
        Err(TryLockError::Error(error)) => return Err(locking()(error).into()),
    }
    // The number only helps a person find the other process, so it need not be durable.
    let number = format!("{}\n", std::process::id());
    file.set_len(0)
        .and_then(|()| file.rewind())
        .and_then(|()| file.write_all(number.as_bytes()))
        .map_err(locking())?;
    Ok(Lock { _file: file })
}

/// Refuses a directory that another process has taken; changes nothing.
pub(crate) fn check_free(directory: &Path) -> Result<(), OpenError> {
    let path = directory.join(LOCK_FILE);
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(error) if is_absent(&error) => return Ok(()),
        Err(error) => return Err(fault(Operation::OpenFile, &path)(error).into()),
    };
    match FileExt::try_lock_shared(&file) {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => {
            Err(OpenError::InUse { directory: directory.to_owned(), process: holder(&file) })
        }
        Err(TryLockError::Error(error)) => Err(fault(Operation::LockFile, &path)(error).into()),
    }
}

/// Refuses a directory in which no dataset can be begun; changes nothing.
pub(crate) fn check_new(disk: &dyn Disk, directory: &Path) -> Result<(), OpenError> {
    match disk.list(directory) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(fault(Operation::ListDirectory, directory)(error).into()),
        Ok(_) => refuse_occupied(disk, directory).map(drop),
    }
}

/// Makes an empty dataset in a directory that is missing, empty, or left by an interrupted creation or restoration.
pub(crate) fn create(disk: &dyn Disk, directory: &Path) -> Result<Lock, OpenError> {
    let lock = begin(disk, directory)?;
    unmark(disk, directory)?;
    write_format(disk, directory)?;
    Ok(lock)
}

/// Takes such a directory and marks it, so that whatever is put into it before [`complete`] can be told from a person's
/// files, and cleared, after an interruption.
pub(crate) fn begin_restoring(disk: &dyn Disk, directory: &Path) -> Result<Lock, OpenError> {
    let lock = begin(disk, directory)?;
    let mark = directory.join(RESTORING_FILE);
    match disk.create(&mark) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => {
            return Err(fault(Operation::CreateFile, &mark)(error).into());
        }
        _ => {}
    }
    disk.sync_dir(directory).map_err(fault(Operation::SyncDirectory, directory))?;
    Ok(lock)
}

/// Makes a dataset of a directory that was restored into.
pub(crate) fn complete(disk: &dyn Disk, directory: &Path) -> Result<(), OpenError> {
    write_format(disk, directory)?;
    Ok(unmark(disk, directory)?)
}

/// Leaves a directory as it was before it was restored into.
pub(crate) fn abandon(disk: &dyn Disk, directory: &Path) -> Result<(), IoFault> {
    clear(disk, directory)?;
    unmark(disk, directory)
}

fn begin(disk: &dyn Disk, directory: &Path) -> Result<Lock, OpenError> {
    disk.create_dir(directory).map_err(fault(Operation::CreateDirectory, directory))?;
    if let Some(parent) = directory.parent().filter(|parent| !parent.as_os_str().is_empty()) {
        disk.sync_dir(parent).map_err(fault(Operation::SyncDirectory, parent))?;
    }
    refuse_occupied(disk, directory)?;
    let lock = lock(directory)?;
    let marked = refuse_occupied(disk, directory)?;
    let log = directory.join(LOG_DIRECTORY);
    disk.create_dir(&log).map_err(fault(Operation::CreateDirectory, &log))?;
    if marked {
        clear(disk, directory)?;
    }
    Ok(lock)
}

/// Refuses a directory that holds anything of somebody else's; says whether a restoration into it was interrupted.
fn refuse_occupied(disk: &dyn Disk, directory: &Path) -> Result<bool, OpenError> {
    let log = directory.join(LOG_DIRECTORY);
    let names = disk.list(directory).map_err(fault(Operation::ListDirectory, directory))?;
    let holds = |name: &str| names.iter().any(|it| it == name);
    if holds(FORMAT_FILE) {
        return Err(OpenError::AlreadyADataset { directory: directory.to_owned() });
    }
    let marked = holds(RESTORING_FILE);
    let expected = |name: &str| {
        ALLOWED_IN_NEW.contains(&name) || marked && [RESTORING_FILE, CHECKPOINTS_FILE].contains(&name)
    };
    let mut stranger = names.iter().find(|name| !expected(name)).cloned();
    if stranger.is_none() && holds(LOG_DIRECTORY) {
        let inside = disk.list(&log).map_err(fault(Operation::ListDirectory, &log))?;
        stranger = inside.into_iter().find(|name| !marked || segment::parse_name(name).is_none());
    }
    match stranger {
        Some(found) => Err(OpenError::Occupied { directory: directory.to_owned(), found }),
        None => Ok(marked),
    }
}

/// Removes what an interrupted restoration wrote.
fn clear(disk: &dyn Disk, directory: &Path) -> Result<(), IoFault> {
    let log = directory.join(LOG_DIRECTORY);
    for name in disk.list(&log).map_err(fault(Operation::ListDirectory, &log))? {
        if segment::parse_name(&name).is_some() {
            remove(disk, &log.join(name))?;
        }
    }
    remove(disk, &directory.join(CHECKPOINTS_FILE))?;
    disk.sync_dir(&log).map_err(fault(Operation::SyncDirectory, &log))
}

fn unmark(disk: &dyn Disk, directory: &Path) -> Result<(), IoFault> {
    remove(disk, &directory.join(RESTORING_FILE))?;
    disk.sync_dir(directory).map_err(fault(Operation::SyncDirectory, directory))
}

/// Removes a file, if it is there.
fn remove(disk: &dyn Disk, path: &Path) -> Result<(), IoFault> {
    match disk.remove(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            Err(fault(Operation::RemoveFile, path)(error))
        }
        _ => Ok(()),
    }
}

/// The format file comes last and by rename: a directory that has one is complete.
fn write_format(disk: &dyn Disk, directory: &Path) -> Result<(), OpenError> {
    let (draft, path) = (directory.join(FORMAT_DRAFT), directory.join(FORMAT_FILE));
    remove(disk, &draft)?;
    let handle = Handle::new(disk.create(&draft).map_err(fault(Operation::CreateFile, &draft))?, &draft);
    let text = format!("{FORMAT_WORDS}{FORMAT}\n");
    disk.write(&handle, text.as_bytes()).map_err(fault(Operation::WriteFile, &draft))?;
    disk.sync(&handle).map_err(fault(Operation::SyncFile, &draft))?;
    disk.rename(&draft, &path).map_err(fault(Operation::RenameFile, &path))?;
    disk.sync_dir(directory).map_err(fault(Operation::SyncDirectory, directory))?;
    Ok(())
}

fn parse_format(bytes: &[u8]) -> Option<u32> {
    let text = std::str::from_utf8(bytes).ok()?;
    text.strip_prefix(FORMAT_WORDS)?.strip_suffix('\n')?.parse().ok()
}

fn holder(file: &File) -> Option<u32> {
    let mut text = String::new();
    file.take(MAX_LOCK_BYTES).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}

pub(crate) fn is_absent(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory)
}

/// The directory that the segments of a dataset are in.
pub(crate) fn log_directory(directory: &Path) -> PathBuf {
    directory.join(LOG_DIRECTORY)
}
