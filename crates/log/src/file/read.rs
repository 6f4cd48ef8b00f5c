//! Reading entries back from the segments, verified, while appends go on.

use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::disk::Disk;
use super::scan::damage;
use super::segment::{self, Lines, Segment};
use crate::entry::{LineFault, StoredEntry, VerifiedLine};
use crate::port::{Damage, Head, MAX_READ_BYTES, ReadError, Sequence};

/// Reads from `from` up to `head`, bounded as the port says. Only acknowledged entries are read: whatever a failed
/// write left behind `head` is not looked at.
pub(crate) fn read(
    disk: &dyn Disk,
    log: &Path,
    segments: &Mutex<Vec<Segment>>,
    head: Head,
    from: Sequence,
    limit: usize,
) -> Result<Vec<StoredEntry>, ReadError> {
    let from = from.max(Sequence::FIRST);
    let mut reader = Reader { from, limit, head, room: MAX_READ_BYTES, before: None, entries: Vec::new() };
    let mut next = from;
    while next <= head.sequence && reader.entries.len() < limit {
        let Some((first, nearest, offset)) = locate(segments, next) else {
            return Err(damage(log, 1, LineFault::Missing).into());
        };
        let path = segment::path(log, first);
        let mut lines = Lines::open(disk, &path, offset)?;
        let mut segment = ReadSegment { first, next: nearest, offsets: Vec::new() };
        let more = reader.read_segment(&mut lines, &mut segment)?;
        segment.remember(segments);
        if !more {
            break;
        }
        if segment.next <= head.sequence && !begins_segment(segments, segment.next) {
            return Err(segment.damage(&path, LineFault::Missing).into());
        }
        next = segment.next;
    }
    Ok(reader.entries)
}

struct Reader {
    from: Sequence,
    limit: usize,
    head: Head,
    room: usize,
    before: Option<Head>,
    entries: Vec<StoredEntry>,
}

impl Reader {
    /// Reads one segment to its end, or until enough has been read: then false.
    fn read_segment(&mut self, lines: &mut Lines, segment: &mut ReadSegment) -> Result<bool, ReadError> {
        let path = lines.path().to_owned();
        while segment.next <= self.head.sequence && self.entries.len() < self.limit {
            let offset = lines.next_offset();
            let Some(line) = lines.next()? else { return Ok(true) };
            let stored = self.read_line(line, segment.next).map_err(|fault| segment.damage(&path, fault))?;
            segment.offsets.push((segment.next, offset));
            segment.next = segment.next.next();
            if let Some(stored) = stored {
                if stored.bytes.len() > self.room {
                    return Ok(false);
                }
                self.room -= stored.bytes.len();
                self.entries.push(stored);
            }
        }
        Ok(false)
    }

    /// Verifies a line, and decodes it if it was asked for.
    fn read_line(&mut self, line: &[u8], expected: Sequence) -> Result<Option<StoredEntry>, LineFault> {
        let line = line.strip_suffix(b"\n").ok_or(LineFault::Unended)?;
        let verified = VerifiedLine::of(line)?;
        if let Some(before) = self.before {
            verified.follows(before)?;
        } else if verified.sequence != expected {
            return Err(LineFault::Sequence { expected, found: verified.sequence });
        }
        let head = verified.head();
        if head.sequence == self.head.sequence && head != self.head {
            return Err(LineFault::Chain { expected: self.head.digest, found: head.digest });
        }
        self.before = Some(head);
        if expected < self.from { Ok(None) } else { verified.decode().map(Some) }
    }
}

/// A segment as far as it has been read.
struct ReadSegment {
    first: Sequence,
    next: Sequence,
    offsets: Vec<(Sequence, u64)>,
}

impl ReadSegment {
    /// Keeps the offsets that were passed, so that the next read begins nearer.
    fn remember(&self, segments: &Mutex<Vec<Segment>>) {
        let mut segments = lock(segments);
        let Some(segment) = segments.iter_mut().rfind(|segment| segment.first == self.first) else { return };
        for (sequence, offset) in &self.offsets {
            segment.note(*sequence, *offset);
        }
    }

    fn damage(&self, path: &Path, fault: LineFault) -> Box<Damage> {
        damage(path, self.next.0 - self.first.0 + 1, fault)
    }
}

/// The segment that holds `sequence`, the nearest entry in it whose offset is known, and that offset.
fn locate(segments: &Mutex<Vec<Segment>>, sequence: Sequence) -> Option<(Sequence, Sequence, u64)> {
    let segments = lock(segments);
    let place = segments.partition_point(|segment| segment.first <= sequence).checked_sub(1)?;
    let segment = segments.get(place)?;
    let (nearest, offset) = segment.nearest(sequence);
    Some((segment.first, nearest, offset))
}

fn begins_segment(segments: &Mutex<Vec<Segment>>, sequence: Sequence) -> bool {
    lock(segments).binary_search_by_key(&sequence, |segment| segment.first).is_ok()
}

fn lock(segments: &Mutex<Vec<Segment>>) -> MutexGuard<'_, Vec<Segment>> {
    // Offsets are pushed one at a time and only hints: a panic cannot leave them wrong.
    segments.lock().unwrap_or_else(PoisonError::into_inner)
}
