//! Whether a dataset's directory may be written by who asks, without writing anything.

use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

/// A path that is to be written, and why it is not.
type Unwritable = (PathBuf, io::Error);

/// The first path of a dataset that may not be written. Files are opened and left as they are; in directories a file without a name
/// is made, which is gone when it is closed.
pub(super) fn first_unwritable(dataset: &Path) -> Option<Unwritable> {
    look(dataset).err()
}

fn look(path: &Path) -> Result<(), Unwritable> {
    let at = |error| (path.to_owned(), error);
    if !path.is_dir() {
        return match OpenOptions::new().append(true).open(path) {
            // Who serves it just now takes away what it needs no longer.
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            opened => opened.map(drop).map_err(at),
        };
    }
    tempfile::tempfile_in(path).map_err(at)?;
    for entry in fs::read_dir(path).map_err(at)? {
        look(&entry.map_err(at)?.path())?;
    }
    Ok(())
}

/// The directory in which a dataset would be begun, where nothing may be made in it.
pub(super) fn unwritable_for_new(dataset: &Path) -> Option<Unwritable> {
    // What a relative path begins in has no name, and is not found under none.
    let named = |path| if path == Path::new("") { Path::new(".") } else { path };
    let there = dataset.ancestors().map(named).find(|path| path.exists())?;
    tempfile::tempfile_in(there).err().map(|error| (there.to_owned(), error))
}
