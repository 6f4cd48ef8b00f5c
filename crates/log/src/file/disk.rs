//! The seam between the file log and the file system: every operation that a test can make fail.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::port::{IoFault, Operation};

/// The file-system operations that the file log uses.
pub(crate) trait Disk: Send + Sync {
    /// Names in a directory, in byte order.
    fn list(&self, directory: &Path) -> io::Result<Vec<String>>;
    /// Creates a directory and its missing parents.
    fn create_dir(&self, directory: &Path) -> io::Result<()>;
    /// Makes the names in a directory durable.
    fn sync_dir(&self, directory: &Path) -> io::Result<()>;
    /// Creates a file that must not exist, for appending.
    fn create(&self, file: &Path) -> io::Result<File>;
    /// Opens an existing file for appending.
    fn open_append(&self, file: &Path) -> io::Result<File>;
    /// Opens an existing file for reading.
    fn open_read(&self, file: &Path) -> io::Result<File>;
    /// Appends all of `bytes`.
    fn write(&self, handle: &Handle, bytes: &[u8]) -> io::Result<()>;
    /// Makes the content and length of a file durable.
    fn sync(&self, handle: &Handle) -> io::Result<()>;
    /// Cuts a file to `length`.
    fn cut(&self, handle: &Handle, length: u64) -> io::Result<()>;
    /// Renames a file over whatever has the new name.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, file: &Path) -> io::Result<()>;
    /// Bytes that this process may still write.
    fn free_space(&self, directory: &Path) -> io::Result<u64>;
}

/// An open file with its name, for messages and for tests that follow what became durable.
#[derive(Debug)]
pub(crate) struct Handle {
    pub(crate) file: File,
    pub(crate) path: PathBuf,
}

impl Handle {
    pub(crate) fn new(file: File, path: &Path) -> Handle {
        Handle { file, path: path.to_owned() }
    }
}

/// Names the operation and the file that an error belongs to.
pub(crate) fn fault(operation: Operation, path: &Path) -> impl FnOnce(io::Error) -> IoFault + '_ {
    move |source| IoFault { operation, path: path.to_owned(), source }
}

/// The operating system's file system.
#[derive(Debug)]
pub(crate) struct RealDisk;

impl Disk for RealDisk {
    fn list(&self, directory: &Path) -> io::Result<Vec<String>> {
        let name = |entry: io::Result<fs::DirEntry>| Ok(entry?.file_name().to_string_lossy().into_owned());
        let mut names = fs::read_dir(directory)?.map(name).collect::<io::Result<Vec<_>>>()?;
        names.sort_unstable();
        Ok(names)
    }

    fn create_dir(&self, directory: &Path) -> io::Result<()> {
        fs::create_dir_all(directory)
    }

    fn sync_dir(&self, directory: &Path) -> io::Result<()> {
        // Only Unix lets a directory be opened and synchronised; elsewhere its names are durable with the file system.
        if cfg!(unix) { File::open(directory)?.sync_all() } else { Ok(()) }
    }

    fn create(&self, file: &Path) -> io::Result<File> {
        OpenOptions::new().append(true).create_new(true).open(file)
    }

    fn open_append(&self, file: &Path) -> io::Result<File> {
        OpenOptions::new().append(true).open(file)
    }

    fn open_read(&self, file: &Path) -> io::Result<File> {
        File::open(file)
    }

    fn write(&self, handle: &Handle, bytes: &[u8]) -> io::Result<()> {
        (&handle.file).write_all(bytes)
    }

    fn sync(&self, handle: &Handle) -> io::Result<()> {
        handle.file.sync_data()
    }

    fn cut(&self, handle: &Handle, length: u64) -> io::Result<()> {
        handle.file.set_len(length)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, file: &Path) -> io::Result<()> {
        fs::remove_file(file)
    }

    fn free_space(&self, directory: &Path) -> io::Result<u64> {
        fs4::available_space(directory)
    }
}
