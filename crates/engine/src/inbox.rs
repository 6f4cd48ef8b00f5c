//! Files that are being received: kept beside the dataset until they are imported, so that a broken-off transfer goes on.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufReader, Write as _};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, SystemTime};

use dashwright_log::{Digest, RESERVE_BYTES};
use dashwright_model::rows::Format;

use crate::import::Rows;

/// The largest file: thirteen times the vehicle lines of a large catalogue.
pub const MAX_IMPORT_BYTES: u64 = 2 << 30;
/// Files that are kept at once: a back office has no more transfers on their way, and their bytes are bounded.
pub const MAX_KEPT_IMPORTS: usize = 8;
/// How long a file is kept that nobody goes on with: who broke off in the evening goes on the next day.
pub const IMPORT_KEPT: Duration = Duration::from_secs(36 * 60 * 60);

/// Why a file was not received.
#[derive(Debug, thiserror::Error)]
pub enum ReceiveError {
    /// Another stream is receiving the same.
    #[error("the same import is being received in another stream")]
    Busy,
    /// As many files are kept as allowed.
    #[error("{MAX_KEPT_IMPORTS} imports are being received, which is the limit")]
    Full,
    /// The disk has no room for it.
    #[error("the disk has no room for the file: {free} bytes are free and {needed} are needed")]
    NoSpace {
        /// Bytes that are free.
        free: u64,
        /// Bytes that are needed, reserve included.
        needed: u64,
    },
    /// A chunk is not the next one, or goes beyond the end of the file.
    #[error(
        "the next chunk is number {sequence}, begins at byte {offset} and ends at byte {bytes} at the latest"
    )]
    OutOfPlace {
        /// The number of the next one.
        sequence: u64,
        /// Where it begins.
        offset: u64,
        /// Bytes of the file.
        bytes: u64,
    },
    /// A chunk is not what its hash says.
    #[error("the chunk at byte {offset} is not what its SHA-256 says")]
    AlteredChunk {
        /// Where it begins.
        offset: u64,
    },
    /// The file as a whole is not what its hash says.
    #[error("the file that came is not what its SHA-256 says; send it anew")]
    AlteredFile,
    /// The stream ended before the file did.
    #[error("the stream ended after {received} of {bytes} bytes")]
    Incomplete {
        /// Bytes that came.
        received: u64,
        /// Bytes of the file.
        bytes: u64,
    },
    /// The stream was silent for too long.
    #[error("no chunk came for {} s", CHUNK_PATIENCE.as_secs())]
    Silent,
    /// The file system refused.
    #[error("the file can not be kept")]
    Io(#[from] io::Error),
}

impl ReceiveError {
    /// The field of the request that is wrong, where one is.
    pub fn field(&self) -> Option<&'static str> {
        match self {
            Self::OutOfPlace { .. } => Some("chunk.offset"),
            Self::AlteredChunk { .. } => Some("chunk.sha256"),
            Self::AlteredFile => Some("begin.sha256"),
            Self::Incomplete { .. } => Some("begin.bytes"),
            Self::Busy | Self::Full | Self::NoSpace { .. } | Self::Silent | Self::Io(_) => None,
        }
    }
}

/// How long the next chunk is waited for: a client sends them one after the other.
pub const CHUNK_PATIENCE: Duration = Duration::from_secs(60);

/// Where files are received.
#[derive(Clone, Debug)]
pub struct Inbox {
    directory: PathBuf,
    receiving: Arc<Mutex<BTreeSet<String>>>,
}

/// What is received.
#[derive(Clone, Debug)]
pub struct Announced {
    /// The request of the import.
    pub request_id: String,
    /// Bytes of the file.
    pub bytes: u64,
    /// SHA-256 of it.
    pub content: Digest,
}

/// A chunk as it came.
pub struct Chunk {
    /// Its place in the stream, from 0.
    pub sequence: u64,
    /// The place of its first byte in the file.
    pub offset: u64,
    /// The bytes.
    pub data: Vec<u8>,
    /// Their SHA-256.
    pub sha256: Vec<u8>,
}

impl Inbox {
    /// Receives files in a directory, which is made when it is first needed.
    #[must_use]
    pub fn new(directory: PathBuf) -> Inbox {
        Inbox { directory, receiving: Arc::default() }
    }

    /// Begins to receive a file, or goes on.
    ///
    /// # Errors
    /// See [`ReceiveError`].
    pub fn begin(&self, announced: &Announced) -> Result<Receiving, ReceiveError> {
        let Announced { request_id, bytes, content } = announced;
        let name = format!("{request_id}-{content}");
        let place = self.take(&name)?;
        fs::create_dir_all(&self.directory)?;
        let kept = self.tidy()?;
        let path = self.directory.join(&name);
        if kept.len() >= MAX_KEPT_IMPORTS && !kept.contains(&path) {
            return Err(ReceiveError::Full);
        }
        let file = OpenOptions::new().create(true).append(true).open(&path)?;
        // A file of this name was begun for the same content; beyond its length there is nothing of it.
        if file.metadata()?.len() > *bytes {
            file.set_len(0)?;
        }
        let received = file.metadata()?.len();
        let (free, needed) = (fs4::available_space(&self.directory)?, bytes - received + RESERVE_BYTES);
        if free < needed {
            return Err(ReceiveError::NoSpace { free, needed });
        }
        let (bytes, content) = (*bytes, *content);
        Ok(Receiving { path, file, received, sequence: 0, bytes, content, _place: place })
    }

    fn take(&self, name: &str) -> Result<Place, ReceiveError> {
        let mut receiving = self.receiving.lock().unwrap_or_else(PoisonError::into_inner);
        if !receiving.insert(name.to_owned()) {
            return Err(ReceiveError::Busy);
        }
        Ok(Place { name: name.to_owned(), receiving: Arc::clone(&self.receiving) })
    }

    /// Removes what nobody went on with, and tells what is left.
    fn tidy(&self) -> io::Result<Vec<PathBuf>> {
        let (mut kept, now) = (Vec::new(), SystemTime::now());
        for entry in fs::read_dir(&self.directory)? {
            let path = entry?.path();
            let changed = fs::metadata(&path)?.modified()?;
            // A clock that was set back makes a file no older.
            let age = now.duration_since(changed).unwrap_or_default();
            if age > IMPORT_KEPT {
                fs::remove_file(&path)?;
            } else {
                kept.push(path);
            }
        }
        Ok(kept)
    }
}

/// That nobody else receives the same.
#[derive(Debug)]
struct Place {
    name: String,
    receiving: Arc<Mutex<BTreeSet<String>>>,
}

impl Drop for Place {
    fn drop(&mut self) {
        self.receiving.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.name);
    }
}

/// A file that is being received.
#[derive(Debug)]
pub struct Receiving {
    path: PathBuf,
    file: File,
    received: u64,
    sequence: u64,
    bytes: u64,
    content: Digest,
    _place: Place,
}

impl Receiving {
    /// How many bytes have come.
    #[must_use]
    pub fn received(&self) -> u64 {
        self.received
    }

    /// Whether all bytes have come.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.received == self.bytes
    }

    /// The rows of the file, from the first.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub fn rows(&self, format: Format) -> io::Result<Rows<'static>> {
        Ok(format.read(BufReader::new(File::open(&self.path)?)))
    }

    /// Takes the next chunk.
    ///
    /// # Errors
    /// See [`ReceiveError`].
    pub fn with(mut self, chunk: &Chunk) -> Result<Receiving, ReceiveError> {
        self.take(chunk)?;
        Ok(self)
    }

    fn take(&mut self, chunk: &Chunk) -> Result<(), ReceiveError> {
        let Chunk { sequence, offset, data, sha256 } = chunk;
        let in_place = (*sequence, *offset) == (self.sequence, self.received);
        if !in_place || data.len() as u64 > self.bytes - self.received {
            let Receiving { sequence, received: offset, bytes, .. } = *self;
            return Err(ReceiveError::OutOfPlace { sequence, offset, bytes });
        }
        if Digest::of(data).0.as_slice() != sha256.as_slice() {
            return Err(ReceiveError::AlteredChunk { offset: *offset });
        }
        // What a full disk has taken of a chunk is of the file: who begins anew goes on behind it.
        self.file.write_all(data)?;
        self.sequence += 1;
        self.received += data.len() as u64;
        Ok(())
    }

    /// The file, once the whole is compared with its hash. What is not the same is thrown away: nobody can tell where it differs.
    ///
    /// # Errors
    /// See [`ReceiveError`].
    pub fn checked(self) -> Result<Receiving, ReceiveError> {
        self.check()?;
        Ok(self)
    }

    fn check(&self) -> Result<(), ReceiveError> {
        let Receiving { received, bytes, .. } = *self;
        if !self.is_whole() {
            return Err(ReceiveError::Incomplete { received, bytes });
        }
        if Digest::of_all(File::open(&self.path)?)?.0 == self.content {
            return Ok(());
        }
        self.remove();
        Err(ReceiveError::AlteredFile)
    }

    /// Removes the file: it is imported, or will never be.
    pub fn remove(&self) {
        if let Err(error) = fs::remove_file(&self.path) {
            tracing::warn!(%error, path = %self.path.display(), "an imported file was not removed; it goes with time");
        }
    }
}

#[cfg(test)]
#[path = "inbox_tests.rs"]
mod tests;
