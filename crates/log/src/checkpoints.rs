//! Where checkpoints are kept: the port, and its implementation in memory.
//!
//! They are kept apart from the log that they speak of, because a history that is rewritten as a whole agrees with
//! itself, and only with a checkpoint from before it does not.

use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::checkpoint::{Checkpoint, CheckpointError, Note};
use crate::digest::Digest;
use crate::port::IoFault;

/// Checkpoints in the order in which they were given out. Calls block.
pub trait Checkpoints: Send + Sync {
    /// The last one.
    fn latest(&self) -> Option<Kept>;

    /// Keeps a checkpoint in note form; it is durable when this returns.
    ///
    /// # Errors
    /// See [`KeepError`].
    fn append(&self, note: &str) -> Result<(), KeepError>;

    /// All that can be read, and what cannot.
    ///
    /// # Errors
    /// When the file system fails.
    fn all(&self) -> Result<KeptList, IoFault>;
}

/// A checkpoint that was kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The note, exactly as it was handed in.
    pub note: String,
    /// What it says.
    pub checkpoint: Checkpoint,
}

impl Kept {
    /// Takes a note that is a checkpoint.
    pub(crate) fn of(note: String) -> Result<Kept, CheckpointError> {
        let checkpoint = Note::parse(&note)?.checkpoint().clone();
        Ok(Kept { note, checkpoint })
    }
}

/// The kept checkpoints, and what stands between them.
#[derive(Debug, Default)]
pub struct KeptList {
    /// Those that can be read, in order.
    pub kept: Vec<Kept>,
    /// Lines that are not what was written; they cost none of the others.
    pub damaged: Vec<CheckpointDamage>,
}

/// A line that is not what was written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line} of `{}` is damaged", file.display())]
pub struct CheckpointDamage {
    /// The file.
    pub file: PathBuf,
    /// The line, from 1.
    pub line: u64,
    /// What is wrong with it.
    pub source: CheckpointFault,
}

/// What is wrong with a line of kept checkpoints.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CheckpointFault {
    /// It does not have the form that is written.
    #[error("the line does not have the form of a kept checkpoint")]
    Form,
    /// The hash does not hold.
    #[error("the line states the hash {stated} and its note has {actual}")]
    Hash {
        /// What the line says.
        stated: Digest,
        /// What its note hashes to.
        actual: Digest,
    },
    /// The hash holds and the note is no checkpoint.
    #[error("the note is not a checkpoint")]
    Note(#[source] CheckpointError),
}

/// Why a checkpoint was not kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeepError {
    /// The text is not a checkpoint.
    #[error(transparent)]
    Invalid(#[from] CheckpointError),
    /// An earlier write failed, so that what is on disk is uncertain until a restart reads it again. Never retried.
    #[error("an earlier write to the checkpoints failed, they take no more until a restart")]
    Poisoned,
    /// This write failed.
    #[error(transparent)]
    Io(#[from] IoFault),
}

/// Checkpoints in memory, for tests and for datasets that need not outlive the process.
#[derive(Debug, Default)]
pub struct MemoryCheckpoints {
    kept: Mutex<Vec<Kept>>,
}

impl MemoryCheckpoints {
    /// No checkpoints yet.
    #[must_use]
    pub fn new() -> MemoryCheckpoints {
        MemoryCheckpoints::default()
    }

    fn kept(&self) -> MutexGuard<'_, Vec<Kept>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Checkpoints for MemoryCheckpoints {
    fn latest(&self) -> Option<Kept> {
        self.kept().last().cloned()
    }

    fn append(&self, note: &str) -> Result<(), KeepError> {
        let kept = Kept::of(note.to_owned())?;
        self.kept().push(kept);
        Ok(())
    }

    fn all(&self) -> Result<KeptList, IoFault> {
        Ok(KeptList { kept: self.kept().clone(), damaged: Vec::new() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conforms() {
        crate::conformance::checkpoints::run(|| Box::new(MemoryCheckpoints::new()));
    }
}
