//! Segments: the files that a log is cut into, and where their entries begin.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use super::disk::{Disk, fault};
use crate::entry::MAX_LINE_BYTES;
use crate::port::{IoFault, Operation, Sequence};

/// Entries per remembered offset: finding an entry reads at most this many others first, and a million small entries
/// cost 64 KiB of memory.
pub(crate) const ENTRIES_PER_OFFSET: u64 = 256;

/// Bytes per remembered offset: where entries are large, finding one reads less than this of others first. As much as is
/// read at once anyway.
pub(crate) const BYTES_PER_OFFSET: u64 = READ_BYTES as u64;

/// Bytes read from a file at once: large enough that the system calls cost nothing beside the hashing, small enough that
/// reading one entry does not read much else.
const READ_BYTES: usize = 64 * 1024;

const SUFFIX: &str = ".jsonl";
const NAME_DIGITS: usize = 20;

/// One file of the log, named after its first entry.
#[derive(Debug)]
pub(crate) struct Segment {
    pub(crate) first: Sequence,
    /// Some entries and where they begin, in their order, as far as the file has been read.
    places: Vec<(Sequence, u64)>,
}

impl Segment {
    pub(crate) fn new(first: Sequence) -> Segment {
        Segment { first, places: vec![(first, 0)] }
    }

    /// Remembers where an entry begins, if it is far enough behind the last one that is remembered.
    pub(crate) fn note(&mut self, sequence: Sequence, offset: u64) {
        let (last, last_offset) = self.places.last().copied().unwrap_or((self.first, 0));
        let entries = sequence.0.saturating_sub(last.0);
        let bytes = offset.saturating_sub(last_offset);
        if entries >= ENTRIES_PER_OFFSET || (entries > 0 && bytes >= BYTES_PER_OFFSET) {
            self.places.push((sequence, offset));
        }
    }

    /// The nearest remembered entry at or before `sequence`, and where it begins.
    pub(crate) fn nearest(&self, sequence: Sequence) -> (Sequence, u64) {
        let beyond = self.places.partition_point(|(place, _)| *place <= sequence);
        self.places.get(beyond.saturating_sub(1)).copied().unwrap_or((self.first, 0))
    }
}

/// The file name of the segment that begins with `first`; names sort as numbers.
pub(crate) fn name(first: Sequence) -> String {
    format!("{:0NAME_DIGITS$}{SUFFIX}", first.0)
}

/// The path of the segment that begins with `first`.
pub(crate) fn path(log: &Path, first: Sequence) -> PathBuf {
    log.join(name(first))
}

/// The first entry of the segment with this file name; `None` when it is no segment's name.
pub(crate) fn parse_name(name: &str) -> Option<Sequence> {
    let digits = name.strip_suffix(SUFFIX)?;
    if digits.len() != NAME_DIGITS || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    digits.parse().ok().map(Sequence).filter(|first| first.0 > 0)
}

/// Reads the lines of a segment in order, with bounded memory.
pub(crate) struct Lines {
    path: PathBuf,
    reader: BufReader<File>,
    line: Vec<u8>,
    offset: u64,
    next_offset: u64,
}

impl Lines {
    pub(crate) fn open(disk: &dyn Disk, path: &Path, offset: u64) -> Result<Lines, IoFault> {
        let mut file = disk.open_read(path).map_err(fault(Operation::OpenFile, path))?;
        file.seek(SeekFrom::Start(offset)).map_err(fault(Operation::ReadFile, path))?;
        let reader = BufReader::with_capacity(READ_BYTES, file);
        Ok(Lines { path: path.to_owned(), reader, line: Vec::new(), offset, next_offset: offset })
    }

    /// The next line with its line feed, if it has one; `None` at the end of the file. A line that is longer than any
    /// entry is returned in part.
    pub(crate) fn next(&mut self) -> Result<Option<&[u8]>, IoFault> {
        self.offset = self.next_offset;
        self.line.clear();
        let most = MAX_LINE_BYTES as u64 + 2;
        let read = self.reader.by_ref().take(most).read_until(b'\n', &mut self.line);
        let read = read.map_err(fault(Operation::ReadFile, &self.path))?;
        self.next_offset += read as u64;
        Ok((read > 0).then_some(&self.line))
    }

    /// Where the line last returned begins.
    pub(crate) fn offset(&self) -> u64 {
        self.offset
    }

    /// Where the next line begins.
    pub(crate) fn next_offset(&self) -> u64 {
        self.next_offset
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }
}

/// Reads the last `bytes` of a file, or all of it when it is shorter.
pub(crate) fn read_end(mut file: File, bytes: u64) -> io::Result<Vec<u8>> {
    let length = file.seek(SeekFrom::End(0))?;
    file.seek(SeekFrom::Start(length.saturating_sub(bytes)))?;
    let mut end = Vec::new();
    file.take(bytes).read_to_end(&mut end)?;
    Ok(end)
}

/// Reads a file from `offset` to its end.
pub(crate) fn read_from(mut file: File, offset: u64) -> io::Result<Vec<u8>> {
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(offset))?;
    file.read_to_end(&mut tail)?;
    Ok(tail)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_numbers_of_twenty_digits() {
        assert_eq!(name(Sequence(42)), "00000000000000000042.jsonl");
        assert_eq!(parse_name("00000000000000000042.jsonl"), Some(Sequence(42)));
        for stranger in [
            "42.jsonl",
            "00000000000000000000.jsonl",
            "00000000000000000042.json",
            "-0000000000000000042.jsonl",
        ] {
            assert_eq!(parse_name(stranger), None, "{stranger}");
        }
    }

    #[test]
    fn finds_the_nearest_remembered_entry() {
        let mut segment = Segment::new(Sequence(1001));
        for (step, offset) in [(0, 0), (1, 9), (255, 6_900), (256, 7_000), (511, 14_000), (520, 15_000)] {
            segment.note(Sequence(1001 + step), offset);
        }
        assert_eq!(segment.nearest(Sequence(1001 + 255)), (Sequence(1001), 0));
        assert_eq!(segment.nearest(Sequence(1001 + 256)), (Sequence(1001 + 256), 7_000));
        assert_eq!(segment.nearest(Sequence(1001 + 515)), (Sequence(1001 + 256), 7_000), "511 is too near");
        assert_eq!(segment.nearest(Sequence(1001 + 900)), (Sequence(1001 + 520), 15_000));
        // Somebody else has read the same part of the file again.
        segment.note(Sequence(1001 + 300), 8_000);
        assert_eq!(segment.nearest(Sequence(1001 + 400)), (Sequence(1001 + 256), 7_000));
    }

    #[test]
    fn large_entries_are_remembered_by_their_bytes() {
        let mut segment = Segment::new(Sequence(1));
        let large = BYTES_PER_OFFSET * 3 / 4;
        for step in 0..10 {
            segment.note(Sequence(1 + step), step * large);
        }
        // Every second one begins far enough behind the last one remembered.
        for step in 0..10 {
            let remembered = step / 2 * 2;
            assert_eq!(segment.nearest(Sequence(1 + step)), (Sequence(1 + remembered), remembered * large));
        }
    }
}
