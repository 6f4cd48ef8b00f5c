//! sled, contained: the only module that names it.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::error::StoreError;

/// A failure that the database reported.
#[derive(Debug, thiserror::Error)]
#[error("the database failed")]
pub struct BackendError(#[source] sled::Error);

/// Puts and deletes that are applied together.
pub(crate) type Batch = sled::Batch;

/// Bytes that the database lends.
pub(crate) type Bytes = sled::IVec;

/// An open database whose panics are errors. After a panic nothing more is asked of it: what its structures then hold
/// is uncertain.
#[derive(Debug)]
pub(crate) struct Backend {
    db: Option<sled::Db>,
    panicked: AtomicBool,
}

/// Why a database was not opened.
#[derive(Debug)]
pub(crate) enum OpenFault {
    /// Its files are damaged.
    Panicked,
    /// Its files are damaged, as it says itself.
    Failed(BackendError),
    /// Another process has it.
    InUse,
    /// The cause lies outside the files.
    Directory(io::Error),
}

impl Backend {
    pub(crate) fn open(directory: &Path, cache_bytes: u64) -> Result<Backend, OpenFault> {
        // No flusher thread: if it panics, closing the database waits for it for ever. The store flushes itself.
        let config = sled::Config::new().path(directory).cache_capacity(cache_bytes).flush_every_ms(None);
        match catch_unwind(AssertUnwindSafe(|| config.open())) {
            Ok(Ok(db)) => Ok(Backend { db: Some(db), panicked: AtomicBool::new(false) }),
            Ok(Err(error)) => Err(judge(error)),
            Err(_) => Err(OpenFault::Panicked),
        }
    }

    pub(crate) fn get(&self, key: &[u8]) -> Result<Option<Bytes>, StoreError> {
        self.contain(|db| db.get(key))
    }

    pub(crate) fn apply(&self, batch: Batch) -> Result<(), StoreError> {
        self.contain(|db| db.apply_batch(batch))
    }

    /// Hands what was applied to the operating system. Nothing rests on it; it only shortens the replay after a kill.
    pub(crate) fn flush(&self) -> Result<(), StoreError> {
        self.contain(|db| db.flush()).map(|_bytes| ())
    }

    pub(crate) fn size_on_disk(&self) -> Result<u64, StoreError> {
        self.contain(|db| db.size_on_disk())
    }

    /// The items from `start` on, in the order of their keys.
    pub(crate) fn items_from(&self, start: Vec<u8>) -> Result<Items<'_>, StoreError> {
        let items = self.contain(|db| Ok(db.range(start..)))?;
        Ok(Items { backend: self, items, backwards: false })
    }

    /// The items up to and including `end`, in the reverse order of their keys.
    pub(crate) fn items_back_from(&self, end: Vec<u8>) -> Result<Items<'_>, StoreError> {
        let items = self.contain(|db| Ok(db.range(..=end)))?;
        Ok(Items { backend: self, items, backwards: true })
    }

    /// Runs an operation; a panic in it is an error, and so is everything after it.
    fn contain<T>(&self, run: impl FnOnce(&sled::Db) -> sled::Result<T>) -> Result<T, StoreError> {
        let db = self.db.as_ref().filter(|_| !self.panicked.load(Ordering::Acquire));
        let db = db.ok_or(StoreError::Panicked)?;
        contain(&self.panicked, || run(db))
    }
}

impl Drop for Backend {
    fn drop(&mut self) {
        let db = self.db.take();
        if catch_unwind(AssertUnwindSafe(|| drop(db))).is_err() {
            tracing::error!("the database panicked while it was closed");
        }
    }
}

/// A run over items, each step contained.
pub(crate) struct Items<'b> {
    backend: &'b Backend,
    items: sled::Iter,
    backwards: bool,
}

impl Iterator for Items<'_> {
    type Item = Result<(Bytes, Bytes), StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        let Items { backend, items, backwards } = self;
        let mut step = || if *backwards { items.next_back() } else { items.next() };
        backend.contain(|_| step().transpose()).transpose()
    }
}

fn contain<T>(panicked: &AtomicBool, run: impl FnOnce() -> sled::Result<T>) -> Result<T, StoreError> {
    match catch_unwind(AssertUnwindSafe(run)) {
        Ok(result) => Ok(result.map_err(BackendError)?),
        Err(_) => {
            panicked.store(true, Ordering::Release);
            tracing::error!("the database panicked");
            Err(StoreError::Panicked)
        }
    }
}

/// Tells damage, which a rebuild mends, from what a rebuild would only make worse.
fn judge(error: sled::Error) -> OpenFault {
    use io::ErrorKind::{PermissionDenied, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
    match error {
        // The database gives a held lock no kind of its own.
        sled::Error::Io(error) if error.to_string().starts_with("could not acquire lock") => OpenFault::InUse,
        sled::Error::Io(error)
            if matches!(
                error.kind(),
                PermissionDenied | QuotaExceeded | ReadOnlyFilesystem | StorageFull
            ) =>
        {
            OpenFault::Directory(error)
        }
        other => OpenFault::Failed(BackendError(other)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_an_error_and_the_last_answer() {
        let root = tempfile::tempdir().unwrap();
        let backend = Backend::open(root.path(), 1 << 20).unwrap();
        backend.get(b"key").unwrap();
        let panicked = backend.contain(|_| -> sled::Result<()> { panic!("as a damaged page makes it") });
        assert!(matches!(panicked, Err(StoreError::Panicked)));
        assert!(matches!(backend.get(b"key"), Err(StoreError::Panicked)));
        assert!(matches!(backend.flush(), Err(StoreError::Panicked)));
        assert!(matches!(backend.items_from(Vec::new()).map(|_| ()), Err(StoreError::Panicked)));
    }
}
