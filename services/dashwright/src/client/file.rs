//! Files that are there as a whole or not at all: written beside their place, made durable, then renamed into it.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::failure::KeepingFailure;

/// What a file in the making is called behind its name, so that one that a crash has left is recognised.
const PARTIAL: &str = ".partial";
/// Who may read and write a file, before the umask.
#[cfg(unix)]
const EVERYBODY: u32 = 0o666;
#[cfg(unix)]
const OWNER: u32 = 0o600;

/// What becomes of a file that has the name already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Existing {
    /// It is replaced, at one instant.
    Replace,
    /// It stays, and the new one is refused.
    Keep,
}

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Readers {
    /// Whoever the umask lets.
    Everybody,
    /// Its owner alone.
    Owner,
}

/// A file in the making. It goes when it is dropped before it is finished.
#[derive(Debug)]
pub(super) struct Pending {
    file: BufWriter<NamedTempFile>,
    path: PathBuf,
    existing: Existing,
}

impl Pending {
    /// Begins a file, so that what can not be written is told before anything is asked for.
    ///
    /// # Errors
    /// When it can not be written there, or is there already and must stay.
    pub(super) fn begin(path: &Path, existing: Existing, readers: Readers) -> Result<Self, KeepingFailure> {
        let unwritable = |source| KeepingFailure::Unwritable { path: path.to_owned(), source };
        let taken = fs::symlink_metadata(path).is_ok();
        if taken && existing == Existing::Keep {
            return Err(KeepingFailure::Exists { path: path.to_owned() });
        }
        let name = path.file_name().filter(|_| !path.is_dir());
        let Some(name) = name else { return Err(unwritable(io::ErrorKind::IsADirectory.into())) };
        let mut prefix = name.to_owned();
        prefix.push(".");
        let mut builder = tempfile::Builder::new();
        builder.prefix(&prefix).suffix(PARTIAL);
        #[cfg(unix)]
        builder.permissions(permissions(readers));
        let file = builder.tempfile_in(directory_of(path)).map_err(unwritable)?;
        Ok(Self { file: BufWriter::new(file), path: path.to_owned(), existing })
    }

    /// Writes bytes.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub(super) fn write(&mut self, bytes: &[u8]) -> Result<(), KeepingFailure> {
        let Self { file, path, existing: _ } = self;
        file.write_all(bytes).map_err(|source| KeepingFailure::Unwritable { path: path.clone(), source })
    }

    /// What was written so far, to be read from its start.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub(super) fn written(&mut self) -> Result<File, KeepingFailure> {
        let Self { file, path, existing: _ } = self;
        let opened = file.flush().and_then(|()| file.get_ref().reopen());
        opened.map_err(|source| KeepingFailure::Unwritable { path: path.clone(), source })
    }

    /// Puts the file into its place.
    ///
    /// # Errors
    /// When the operating system refuses; then nothing is there that was not.
    pub(super) fn finish(self) -> Result<(), KeepingFailure> {
        let Self { file, path, existing } = self;
        let placed = file.into_inner().map_err(io::IntoInnerError::into_error).and_then(|file| {
            file.as_file().sync_all()?;
            match existing {
                Existing::Replace => file.persist(&path).map_err(|error| error.error),
                Existing::Keep => file.persist_noclobber(&path).map_err(|error| error.error),
            }
        });
        match placed.and_then(|_| sync_directory(directory_of(&path))) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                Err(KeepingFailure::Exists { path })
            }
            placed => placed.map_err(|source| KeepingFailure::Unwritable { path, source }),
        }
    }
}

/// Writes a whole file.
///
/// # Errors
/// When the operating system refuses, or there is one that must stay; then nothing is there that was not.
pub(super) fn write_whole(path: &Path, text: &str, existing: Existing) -> Result<(), KeepingFailure> {
    let mut file = Pending::begin(path, existing, Readers::Everybody)?;
    file.write(text.as_bytes())?;
    file.finish()
}

#[cfg(unix)]
fn permissions(readers: Readers) -> fs::Permissions {
    use std::os::unix::fs::PermissionsExt as _;
    fs::Permissions::from_mode(match readers {
        Readers::Everybody => EVERYBODY,
        Readers::Owner => OWNER,
    })
}

fn directory_of(path: &Path) -> &Path {
    let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    parent.unwrap_or(Path::new("."))
}

/// A new name is durable once its directory is.
#[cfg(unix)]
fn sync_directory(directory: &Path) -> io::Result<()> {
    File::open(directory)?.sync_all()
}

/// Directories are not opened as files here.
#[cfg(not(unix))]
fn sync_directory(_: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
#[path = "file_tests.rs"]
mod tests;
