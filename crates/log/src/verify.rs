//! A history against the checkpoints that were given out of it.
//!
//! Hashes and chain show that a history agrees with itself. Only a checkpoint from before shows that it is still the
//! same one: a rewritten, cut or rolled-back history has another root, or too few entries, at the checkpoint's size.

use std::collections::BTreeMap;
use std::io::BufRead;
use std::ops::ControlFlow;
use std::path::Path;

use crate::checkpoint::Checkpoint;
use crate::digest::Digest;
use crate::file::{CheckpointsReport, FileLog, OpenError, OpenReport, read_checkpoints};
use crate::merkle::{Frontier, leaf_hash};
use crate::port::IoFault;
use crate::trail::{TrailError, TrailReport, read_trail};

/// What verifying a data directory found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DirectoryReport {
    /// The log; its head's sequence is the number of entries.
    pub log: OpenReport,
    /// The Merkle root over all entries.
    pub root: Digest,
    /// The kept checkpoints.
    pub checkpoints: CheckpointsReport,
    /// The log against the kept checkpoints and those that the caller brought.
    pub witnessed: Witnessed,
}

/// What a history and its checkpoints say of each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Witnessed {
    /// How many checkpoints the history agrees with.
    pub agreeing: u64,
    /// How many entries the largest of them covers: these are as they were.
    pub covered: u64,
    /// The smallest checkpoint that the history does not agree with.
    pub disagreement: Option<Disagreement>,
}

/// A history that is not the one of a checkpoint.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Disagreement {
    /// Entries that the checkpoint covers are others.
    #[error(
        "the first {} entries have the root {actual} and had {} when the checkpoint of revision {} was given out; \
         the change is behind entry {agreed}",
        checkpoint.size, checkpoint.root, checkpoint.revision
    )]
    Rewritten {
        /// The checkpoint.
        checkpoint: Checkpoint,
        /// The root over as many entries now.
        actual: Digest,
        /// How many entries a smaller checkpoint proves to be as they were.
        agreed: u64,
    },
    /// Entries that the checkpoint covers are not there.
    #[error(
        "there are {entries} entries and there were {} when the checkpoint of revision {} was given out",
        checkpoint.size, checkpoint.revision
    )]
    Shortened {
        /// The checkpoint.
        checkpoint: Checkpoint,
        /// How many entries there are now.
        entries: u64,
    },
}

/// Why a directory could not be verified to its end.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum VerifyError {
    /// The log is not a log, or is damaged.
    #[error(transparent)]
    Log(#[from] OpenError),
    /// The checkpoints cannot be read.
    #[error(transparent)]
    Checkpoints(#[from] IoFault),
}

/// Verifies every entry of the dataset in `directory`, and the log against the checkpoints that are kept beside it and
/// those in `given`. The dataset may be open elsewhere, and nothing is changed.
///
/// # Errors
/// See [`VerifyError`]. A disagreement is no error but a finding.
pub fn verify_directory(directory: &Path, given: &[Checkpoint]) -> Result<DirectoryReport, VerifyError> {
    let mut witness = Witness::default();
    given.iter().for_each(|checkpoint| witness.add(checkpoint.clone()));
    // Before the log: an open log may grow, and then every checkpoint read is of entries that are there already.
    let checkpoints = read_checkpoints(directory, |kept| witness.add(kept.checkpoint))?;
    let log = FileLog::verify_visiting(directory, &mut |bytes| witness.take(bytes))?;
    let (root, witnessed) = witness.end();
    Ok(DirectoryReport { log, root, checkpoints, witnessed })
}

/// Reads a trail like [`read_trail`], and verifies it against the checkpoints in `given` as well.
///
/// # Errors
/// See [`TrailError`]. A disagreement is no error but a finding.
pub fn verify_trail(
    input: impl BufRead,
    given: &[Checkpoint],
) -> Result<(TrailReport, Witnessed), TrailError> {
    let mut witness = Witness::default();
    given.iter().for_each(|checkpoint| witness.add(checkpoint.clone()));
    let report = read_trail(input, |entry| {
        witness.take(&entry.bytes);
        ControlFlow::Continue(())
    })?;
    Ok((report, witness.end().1))
}

/// Compares checkpoints with a history as it passes by, in memory that does not grow with the history.
#[derive(Default)]
struct Witness {
    /// By size, so that each is met when as many entries have passed.
    waiting: BTreeMap<u64, Vec<Checkpoint>>,
    edge: Frontier,
    agreeing: u64,
    covered: u64,
    disagreement: Option<Disagreement>,
}

impl Witness {
    fn add(&mut self, checkpoint: Checkpoint) {
        self.waiting.entry(checkpoint.size).or_default().push(checkpoint);
    }

    fn take(&mut self, bytes: &[u8]) {
        if self.edge.size() == 0 {
            self.meet();
        }
        self.edge.push(leaf_hash(bytes));
        self.meet();
    }

    /// Compares the checkpoints of exactly the entries that have passed.
    fn meet(&mut self) {
        let Some(met) = self.waiting.remove(&self.edge.size()) else { return };
        let actual = self.edge.root();
        for checkpoint in met {
            if checkpoint.root == actual {
                self.agreeing += 1;
                self.covered = self.edge.size();
            } else if self.disagreement.is_none() {
                let agreed = self.covered;
                self.disagreement = Some(Disagreement::Rewritten { checkpoint, actual, agreed });
            }
        }
    }

    fn end(mut self) -> (Digest, Witnessed) {
        self.meet();
        let Witness { waiting, edge, agreeing, covered, disagreement } = self;
        let entries = edge.size();
        let beyond = waiting.into_values().flatten().next();
        let beyond = beyond.map(|checkpoint| Disagreement::Shortened { checkpoint, entries });
        (edge.root(), Witnessed { agreeing, covered, disagreement: disagreement.or(beyond) })
    }
}

#[cfg(test)]
mod tests;
