//! The trail: a whole log in one file, for backups and for whoever wants to check it elsewhere.
//!
//! ```text
//! {"dashwright_trail":1,"incarnation":"…","made":"<time>"}
//! the lines of the log, byte for byte
//! {"sha256":"<of the inner object>","manifest":{"entries":N,"bytes":B,"sha256":"…","head":{…},"note":"…"}}
//! ```
//!
//! `bytes` and the inner `sha256` are over everything before the last line, and `note` is a checkpoint of exactly these
//! entries. A trail without its last line was interrupted and is taken for nothing else.

use std::io::{self, BufRead, Read, Write};
use std::ops::ControlFlow;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::checkpoint::{CheckpointError, Note, Origin};
use crate::digest::Digest;
use crate::entry::{LineFault, MAX_LINE_BYTES, StoredEntry, VerifiedLine, is_utc_time};
use crate::merkle::{Frontier, leaf_hash};
use crate::port::{Head, Sequence};

/// The number of the form that this code writes; it changes with anything that an older version would misread.
pub const TRAIL_FORMAT: u32 = 1;

const MANIFEST_HEAD: &[u8] = br#"{"sha256":""#;
const MANIFEST_MIDDLE: &[u8] = br#"","manifest":"#;
const MANIFEST_TAIL: &[u8] = b"}";

/// Writes a trail, entry by entry, in bounded memory. Without [`TrailWriter::finish`] the trail stays incomplete.
pub struct TrailWriter<W: Write> {
    out: W,
    written: Written,
    header: TrailHeader,
}

/// The first line of a trail.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrailHeader {
    #[serde(rename = "dashwright_trail")]
    format: u32,
    /// The incarnation of the dataset.
    pub incarnation: String,
    /// When the trail was made, as an RFC 3339 time in UTC ending in `Z`.
    pub made: String,
}

impl<W: Write> TrailWriter<W> {
    /// Begins a trail of the dataset `incarnation`, made at `made`.
    ///
    /// # Errors
    /// See [`TrailWriteError`].
    pub fn new(mut out: W, incarnation: &str, made: &str) -> Result<TrailWriter<W>, TrailWriteError> {
        let (incarnation, made) = (incarnation.to_owned(), made.to_owned());
        let header = TrailHeader { format: TRAIL_FORMAT, incarnation, made };
        if !header.is_well_formed() {
            return Err(TrailWriteError::Header { header });
        }
        let mut written = Written::default();
        let line = json_line(&header);
        out.write_all(&line)?;
        written.take(&line);
        Ok(TrailWriter { out, written, header })
    }

    /// Adds the next entry.
    ///
    /// # Errors
    /// See [`TrailWriteError`]; the trail is incomplete from then on.
    pub fn push(&mut self, entry: &StoredEntry) -> Result<(), TrailWriteError> {
        let mut line = entry.line();
        let verified = VerifiedLine::of(&line).map_err(TrailWriteError::Entry)?;
        self.written.follow(&verified).map_err(TrailWriteError::Entry)?;
        line.push(b'\n');
        self.out.write_all(&line)?;
        self.written.take(&line);
        Ok(())
    }

    /// The last entry so far.
    #[must_use]
    pub fn head(&self) -> Head {
        self.written.head
    }

    /// The Merkle root over the entries so far.
    #[must_use]
    pub fn root(&self) -> Digest {
        self.written.edge.root()
    }

    /// Completes the trail with `note`, a checkpoint of exactly the entries that were added, and flushes it.
    ///
    /// # Errors
    /// See [`TrailWriteError`].
    pub fn finish(mut self, note: &str) -> Result<(W, TrailReport), TrailWriteError> {
        let Written { bytes, head, .. } = self.written;
        let sha256 = self.written.hash();
        let manifest = Manifest { entries: head.sequence.0, bytes, sha256, head, note: note.to_owned() };
        let report = manifest.check(self.header, &self.written).map_err(TrailWriteError::Note)?;
        self.out.write_all(&manifest.line())?;
        self.out.flush()?;
        Ok((self.out, report))
    }
}

impl<W: Write> std::fmt::Debug for TrailWriter<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("TrailWriter").field("head", &self.written.head).finish_non_exhaustive()
    }
}

/// Why a trail could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TrailWriteError {
    /// The first line would not be readable.
    #[error("`{}` is no incarnation or `{}` is no RFC 3339 time in UTC", header.incarnation, header.made)]
    Header {
        /// As given.
        header: TrailHeader,
    },
    /// The entry does not continue the one before.
    #[error("the entry does not continue the trail")]
    Entry(#[source] LineFault),
    /// The checkpoint is not of these entries.
    #[error("the checkpoint does not belong to the trail")]
    Note(#[source] ManifestFault),
    /// Writing failed.
    #[error("writing the trail failed")]
    Io(#[from] io::Error),
}

/// What a complete trail holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrailReport {
    /// Its first line.
    pub header: TrailHeader,
    /// How many entries it has, from the first.
    pub entries: u64,
    /// Bytes before its last line.
    pub bytes: u64,
    /// The last entry.
    pub head: Head,
    /// The Merkle root over its entries, which is also the one in the note.
    pub root: Digest,
    /// The checkpoint in its last line, as a note.
    pub note: String,
}

/// Reads a trail in bounded memory and verifies everything that can be verified without a key: every entry's hash, the
/// chain, and at the end the manifest and the Merkle root. `visit` sees each entry after its line is verified and before
/// the rest is; what it does with them counts only when this returns a report.
///
/// # Errors
/// See [`TrailError`].
pub fn read_trail(
    input: impl BufRead,
    mut visit: impl FnMut(&StoredEntry) -> ControlFlow<()>,
) -> Result<TrailReport, TrailError> {
    let mut lines = TrailLines { input, line: Vec::new(), number: 0 };
    let mut read = Written::default();
    let header = read_header(lines.next()?)?;
    read.take(&lines.line);
    loop {
        let (number, next) = (lines.number + 1, read.head.sequence.next());
        let bad = |source| TrailError::Line { line: number, entry: next, source };
        let Some(line) = lines.next()?.and_then(|line| line.strip_suffix(b"\n")) else {
            // A line that is longer than any may be is damage; one that the file ends in is an interruption.
            let whole_line = lines.line.len() > MAX_LINE_BYTES + 1;
            let entries = read.head.sequence.0;
            return Err(if whole_line {
                bad(LineFault::TooLong)
            } else {
                TrailError::Incomplete { entries }
            });
        };
        if is_manifest(line) {
            return end(lines, read, header);
        }
        let verified = VerifiedLine::of(line).map_err(bad)?;
        read.follow(&verified).map_err(bad)?;
        let stored = verified.decode().map_err(bad)?;
        if visit(&stored).is_break() {
            return Err(TrailError::Stopped { line: number });
        }
        read.take(&lines.line);
    }
}

/// Why a trail is not accepted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TrailError {
    /// The first line is not that of a trail.
    #[error("line 1 is not the first line of a trail")]
    NotATrail,
    /// A newer version wrote it.
    #[error("the trail has format {found}, this version reads formats up to {supported}")]
    NewerFormat {
        /// Its format.
        found: u32,
        /// The newest format known.
        supported: u32,
    },
    /// An entry is not what was written.
    #[error("line {line} of the trail, where entry {entry} belongs, is damaged")]
    Line {
        /// The line, from 1.
        line: u64,
        /// The entry that belongs there.
        entry: Sequence,
        /// What is wrong with it.
        source: LineFault,
    },
    /// The trail ends without its last line: writing or copying it was interrupted.
    #[error("the trail is incomplete: it ends behind entry {entries} without its last line")]
    Incomplete {
        /// How many entries are whole.
        entries: u64,
    },
    /// The last line does not belong to the entries before it.
    #[error("line {line}, the last of the trail, does not belong to it")]
    Manifest {
        /// The line, from 1.
        line: u64,
        /// What is wrong with it.
        source: ManifestFault,
    },
    /// Something stands behind the last line.
    #[error("line {line} stands behind the end of the trail")]
    Trailing {
        /// The line, from 1.
        line: u64,
    },
    /// The visitor wanted no more.
    #[error("reading stopped at line {line} of the trail")]
    Stopped {
        /// The line, from 1.
        line: u64,
    },
    /// Reading failed.
    #[error("reading the trail failed")]
    Io(#[from] io::Error),
}

/// What is wrong with the last line of a trail.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ManifestFault {
    /// It does not have the form that is written.
    #[error("it does not have the form of a manifest")]
    Form,
    /// Its own hash does not hold.
    #[error("it states the hash {stated} for itself and has {actual}")]
    OwnHash {
        /// What it says.
        stated: Digest,
        /// What its bytes hash to.
        actual: Digest,
    },
    /// The number of entries differs.
    #[error("it states {stated} entries and there are {actual}")]
    Entries {
        /// What it says.
        stated: u64,
        /// What there are.
        actual: u64,
    },
    /// The number of bytes differs.
    #[error("it states {stated} bytes and there are {actual}")]
    Bytes {
        /// What it says.
        stated: u64,
        /// What there are.
        actual: u64,
    },
    /// The hash over everything before it differs.
    #[error("it states the hash {stated} for everything before it, which has {actual}")]
    Hash {
        /// What it says.
        stated: Digest,
        /// What the bytes hash to.
        actual: Digest,
    },
    /// The last entry differs.
    #[error("it states {stated} as the last, and that is {actual}")]
    Head {
        /// What it says.
        stated: Head,
        /// The last entry.
        actual: Head,
    },
    /// The note is no checkpoint.
    #[error("its note is not a checkpoint")]
    Note(#[from] CheckpointError),
    /// The checkpoint is of another log.
    #[error("its checkpoint is of `{found}` and the trail is of `{expected}`")]
    Origin {
        /// The trail's origin.
        expected: Origin,
        /// The checkpoint's.
        found: Origin,
    },
    /// The checkpoint is of more or fewer entries.
    #[error("its checkpoint is of {stated} entries and there are {actual}")]
    Size {
        /// What it says.
        stated: u64,
        /// What there are.
        actual: u64,
    },
    /// The checkpoint is of other entries.
    #[error("its checkpoint states the root {stated} and the entries have {actual}")]
    Root {
        /// What it says.
        stated: Digest,
        /// The root over the entries.
        actual: Digest,
    },
}

impl TrailHeader {
    fn is_well_formed(&self) -> bool {
        self.format == TRAIL_FORMAT
            && Origin::of(&self.incarnation).is_ok()
            && is_utc_time(self.made.as_bytes())
    }
}

/// What a trail amounts to, as far as it has been written or read.
struct Written {
    hash: Sha256,
    bytes: u64,
    head: Head,
    edge: Frontier,
}

impl Default for Written {
    fn default() -> Written {
        Written { hash: Sha256::new(), bytes: 0, head: Head::EMPTY, edge: Frontier::new() }
    }
}

impl Written {
    fn take(&mut self, line: &[u8]) {
        self.hash.update(line);
        self.bytes += line.len() as u64;
    }

    fn follow(&mut self, verified: &VerifiedLine<'_>) -> Result<(), LineFault> {
        verified.follows(self.head)?;
        self.head = verified.head();
        self.edge.push(leaf_hash(verified.bytes));
        Ok(())
    }

    fn hash(&self) -> Digest {
        Digest(self.hash.clone().finalize().into())
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    entries: u64,
    bytes: u64,
    sha256: Digest,
    head: Head,
    note: String,
}

impl Manifest {
    fn line(&self) -> Vec<u8> {
        // Numbers, digests and a string always have a JSON form.
        let inner = serde_json::to_vec(self).unwrap_or_default();
        let hash = Digest::of(&inner).to_hex();
        [MANIFEST_HEAD, &hash, MANIFEST_MIDDLE, &inner, MANIFEST_TAIL, b"\n"].concat()
    }

    fn parse(line: &[u8]) -> Result<Manifest, ManifestFault> {
        let (stated, inner) = unframe(line).ok_or(ManifestFault::Form)?;
        let actual = Digest::of(inner);
        if actual != stated {
            return Err(ManifestFault::OwnHash { stated, actual });
        }
        serde_json::from_slice(inner).map_err(|_| ManifestFault::Form)
    }

    fn check(&self, header: TrailHeader, actual: &Written) -> Result<TrailReport, ManifestFault> {
        let Manifest { entries, bytes, sha256, head, ref note } = *self;
        let (count, hash, root) = (actual.edge.size(), actual.hash(), actual.edge.root());
        if entries != count {
            return Err(ManifestFault::Entries { stated: entries, actual: count });
        }
        if bytes != actual.bytes {
            return Err(ManifestFault::Bytes { stated: bytes, actual: actual.bytes });
        }
        if sha256 != hash {
            return Err(ManifestFault::Hash { stated: sha256, actual: hash });
        }
        if head != actual.head {
            return Err(ManifestFault::Head { stated: head, actual: actual.head });
        }
        let parsed = Note::parse(note)?;
        let checkpoint = parsed.checkpoint();
        if checkpoint.size != count {
            return Err(ManifestFault::Size { stated: checkpoint.size, actual: count });
        }
        if checkpoint.root != root {
            return Err(ManifestFault::Root { stated: checkpoint.root, actual: root });
        }
        if checkpoint.origin.incarnation() != header.incarnation {
            let (found, expected) = (checkpoint.origin.clone(), Origin::of(&header.incarnation));
            return Err(
                expected.map_or(ManifestFault::Form, |expected| ManifestFault::Origin { expected, found })
            );
        }
        Ok(TrailReport { header, entries, bytes, head, root, note: note.clone() })
    }
}

struct TrailLines<R> {
    input: R,
    line: Vec<u8>,
    number: u64,
}

impl<R: BufRead> TrailLines<R> {
    /// The next line with its line feed, if it has one; `None` at the end.
    fn next(&mut self) -> io::Result<Option<&[u8]>> {
        self.line.clear();
        self.number += 1;
        let most = MAX_LINE_BYTES as u64 + 2;
        let read = self.input.by_ref().take(most).read_until(b'\n', &mut self.line)?;
        Ok((read > 0).then_some(&self.line))
    }
}

fn read_header(line: Option<&[u8]>) -> Result<TrailHeader, TrailError> {
    /// What the first line of every format says.
    #[derive(Deserialize)]
    struct AnyFormat {
        dashwright_trail: u32,
    }
    let line = line.ok_or(TrailError::NotATrail)?;
    match serde_json::from_slice(line) {
        Ok(AnyFormat { dashwright_trail: found }) if found > TRAIL_FORMAT => {
            return Err(TrailError::NewerFormat { found, supported: TRAIL_FORMAT });
        }
        _ => {}
    }
    let header: TrailHeader = serde_json::from_slice(line).map_err(|_| TrailError::NotATrail)?;
    if header.is_well_formed() && json_line(&header) == line {
        Ok(header)
    } else {
        Err(TrailError::NotATrail)
    }
}

/// Checks the last line, which was read last, against everything before it.
fn end<R: BufRead>(
    mut lines: TrailLines<R>,
    read: Written,
    header: TrailHeader,
) -> Result<TrailReport, TrailError> {
    let number = lines.number;
    let bad = |source| TrailError::Manifest { line: number, source };
    let manifest = Manifest::parse(lines.line.strip_suffix(b"\n").unwrap_or(&lines.line)).map_err(bad)?;
    if manifest.line() != lines.line {
        return Err(bad(ManifestFault::Form));
    }
    let report = manifest.check(header, &read).map_err(bad)?;
    match lines.next()? {
        Some(_) => Err(TrailError::Trailing { line: lines.number }),
        None => Ok(report),
    }
}

fn is_manifest(line: &[u8]) -> bool {
    line.get(MANIFEST_HEAD.len() + Digest::HEX_DIGITS..).is_some_and(|rest| rest.starts_with(MANIFEST_MIDDLE))
}

fn unframe(line: &[u8]) -> Option<(Digest, &[u8])> {
    let (hex, rest) = line.strip_prefix(MANIFEST_HEAD)?.split_at_checked(Digest::HEX_DIGITS)?;
    Some((Digest::from_hex(hex)?, rest.strip_prefix(MANIFEST_MIDDLE)?.strip_suffix(MANIFEST_TAIL)?))
}

fn json_line(value: &impl Serialize) -> Vec<u8> {
    // What is given here are numbers and strings, which always have a JSON form.
    let mut line = serde_json::to_vec(value).unwrap_or_default();
    line.push(b'\n');
    line
}

#[cfg(test)]
mod tests;
