//! What can go wrong with a store.

use std::io;
use std::path::PathBuf;

use dashwright_log::Head;

use crate::backend::BackendError;
use crate::space::Space;
use crate::store::{MAX_KEY_BYTES, MAX_VALUE_BYTES};

/// Why an operation on the store failed. After [`Damaged`](StoreError::Damaged), [`Incomplete`](StoreError::Incomplete),
/// [`Panicked`](StoreError::Panicked) and [`Backend`](StoreError::Backend) the remedy is to rebuild it from the log.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// A stored value is not what was written.
    #[error("the value of a key among the {space} is damaged")]
    Damaged {
        /// The space.
        space: Space,
        /// The key.
        key: Vec<u8>,
    },
    /// Items are missing, extra or exchanged.
    #[error("the store holds {found} {space} where it was left with {expected}, or others than those")]
    Incomplete {
        /// The space.
        space: Space,
        /// How many items were written.
        expected: u64,
        /// How many are there; the same number when only their content differs.
        found: u64,
    },
    /// A value is too large.
    #[error("a value of {bytes} bytes is more than the {MAX_VALUE_BYTES} that are allowed")]
    LargeValue {
        /// The space.
        space: Space,
        /// The key.
        key: Vec<u8>,
        /// Bytes given.
        bytes: usize,
    },
    /// A key is too long.
    #[error("a key of {bytes} bytes is more than the {MAX_KEY_BYTES} that are allowed")]
    LongKey {
        /// The space.
        space: Space,
        /// Bytes given.
        bytes: usize,
    },
    /// The head to apply is not beyond the applied one.
    #[error("{given} is not beyond {applied}, which is applied already")]
    NotBeyond {
        /// The head given.
        given: Head,
        /// The head applied.
        applied: Head,
    },
    /// Another process has the store open.
    #[error("the store in `{}` is in use by another process", directory.display())]
    InUse {
        /// The directory.
        directory: PathBuf,
    },
    /// The directory cannot be used, for a reason that lies outside the store.
    #[error("the store's directory `{}` cannot be used", directory.display())]
    Directory {
        /// The directory.
        directory: PathBuf,
        /// What the operating system said.
        source: io::Error,
    },
    /// The database panicked, now or earlier; its state is uncertain and it is not used again.
    #[error("the database panicked and is not used again")]
    Panicked,
    /// A write failed earlier; what it left is uncertain and nothing more is written.
    #[error("an earlier write to the store failed, it takes no more")]
    Failed,
    /// The database failed.
    #[error(transparent)]
    Backend(#[from] BackendError),
}
