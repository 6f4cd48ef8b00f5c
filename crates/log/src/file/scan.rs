//! Reading a whole log, or its end, and telling a torn tail from damage. Changes nothing.

use std::path::{Path, PathBuf};

use super::disk::{Disk, fault};
use super::segment::{self, Lines, Segment};
use super::{OpenError, Tail};
use crate::entry::{LineFault, MAX_LINE_BYTES, VerifiedLine};
use crate::port::{Damage, Head, IoFault, Operation, Sequence};

/// What a scan found.
#[derive(Debug)]
pub(crate) struct Scan {
    pub(crate) segments: Vec<Segment>,
    pub(crate) head: Head,
    pub(crate) tail: Tail,
    /// Bytes of the last segment up to the end of its last whole entry.
    pub(crate) length: u64,
    pub(crate) verified_entries: u64,
    pub(crate) verified_bytes: u64,
    pub(crate) strangers: Vec<PathBuf>,
}

/// How much of a log is verified.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Depth {
    /// The entry to begin with: earlier segments are taken on trust. The empty head verifies everything.
    pub(crate) known: Head,
    /// Whether entries are decoded as well.
    pub(crate) decode: bool,
}

/// Verifies every entry from the segment that holds the known one on. Of earlier segments only the last entry is read, to
/// prove that the next segment continues it.
/// `observe` sees each entry's bytes once they are verified.
pub(crate) fn scan(
    disk: &dyn Disk,
    log: &Path,
    depth: Depth,
    observe: &mut dyn FnMut(&[u8]),
) -> Result<Scan, OpenError> {
    let (scan, firsts) = start(disk, log)?;
    let known = depth.known;
    let fully = firsts.iter().rposition(|first| first.0 <= known.sequence.0).unwrap_or(0);
    let mut scanner = Scanner { disk, depth, observe, found: known == Head::EMPTY, scan };
    for (place, first) in firsts.iter().enumerate() {
        let path = segment::path(log, *first);
        let expected = scanner.scan.head.sequence.next();
        if *first != expected {
            return Err(damage(&path, 1, LineFault::Sequence { expected, found: *first }).into());
        }
        match firsts.get(place + 1) {
            Some(next) if place < fully => scanner.skip(&path, *first, *next)?,
            next => scanner.verify(&path, *first, next.is_none())?,
        }
    }
    if !scanner.found {
        return Err(OpenError::Behind { known, found: scanner.scan.head });
    }
    Ok(scanner.scan)
}

fn start(disk: &dyn Disk, log: &Path) -> Result<(Scan, Vec<Sequence>), IoFault> {
    let names = disk.list(log).map_err(fault(Operation::ListDirectory, log))?;
    let mut firsts = Vec::new();
    let mut strangers = Vec::new();
    for name in names {
        match segment::parse_name(&name) {
            Some(first) => firsts.push(first),
            None => strangers.push(log.join(name)),
        }
    }
    let scan = Scan {
        segments: Vec::new(),
        head: Head::EMPTY,
        tail: Tail::Whole,
        length: 0,
        verified_entries: 0,
        verified_bytes: 0,
        strangers,
    };
    Ok((scan, firsts))
}

struct Scanner<'a> {
    disk: &'a dyn Disk,
    depth: Depth,
    observe: &'a mut dyn FnMut(&[u8]),
    found: bool,
    scan: Scan,
}

impl Scanner<'_> {
    /// Takes a segment on trust, but for its last entry.
    fn skip(&mut self, path: &Path, first: Sequence, next: Sequence) -> Result<(), OpenError> {
        let file = self.disk.open_read(path).map_err(fault(Operation::OpenFile, path))?;
        let end = segment::read_end(file, MAX_LINE_BYTES as u64 + 2);
        let end = end.map_err(fault(Operation::ReadFile, path))?;
        let expected = Sequence(next.0 - 1);
        let line_damage = |source| damage(path, next.0 - first.0, source);
        let whole = end.strip_suffix(b"\n").ok_or_else(|| line_damage(LineFault::Unended))?;
        let last = whole.rsplit(|byte| *byte == b'\n').next().unwrap_or(whole);
        let verified = VerifiedLine::of(last).map_err(line_damage)?;
        if verified.sequence != expected {
            return Err(line_damage(LineFault::Sequence { expected, found: verified.sequence }).into());
        }
        self.scan.head = verified.head();
        self.scan.segments.push(Segment::new(first));
        Ok(())
    }

    /// Verifies a segment line by line.
    fn verify(&mut self, path: &Path, first: Sequence, last: bool) -> Result<(), OpenError> {
        let mut segment = Segment::new(first);
        let mut lines = Lines::open(self.disk, path, 0)?;
        self.scan.length = 0;
        while let Some(line) = lines.next()? {
            let bytes = line.len() as u64;
            match check(line, self.scan.head, self.depth.decode) {
                Ok(verified) => {
                    self.scan.length += bytes;
                    self.accept(&verified, bytes)?;
                }
                Err(source) => {
                    let number = self.scan.head.sequence.next().0 - first.0 + 1;
                    self.bad_line(lines.offset(), last, damage(path, number, source))?;
                    break;
                }
            }
            segment.note(self.scan.head.sequence, lines.offset());
        }
        self.scan.segments.push(segment);
        Ok(())
    }

    fn accept(&mut self, verified: &VerifiedLine<'_>, bytes: u64) -> Result<(), OpenError> {
        let (known, head) = (self.depth.known, verified.head());
        self.scan.head = head;
        self.scan.verified_entries += 1;
        self.scan.verified_bytes += bytes;
        if head.sequence == known.sequence {
            self.found = true;
            if head != known {
                return Err(OpenError::Disagrees { known, found: head });
            }
        }
        (self.observe)(verified.bytes);
        Ok(())
    }

    /// Decides whether the bad line at `offset` is what an interrupted write leaves, or damage.
    ///
    /// An append writes whole lines after the last one, so an interrupted one leaves the beginning of its bytes and, when
    /// the file grew before the bytes arrived, zeros, which no line contains. Anything else was whole once: a bad line
    /// that is ended and free of zeros, one with a valid line behind it, or one in a segment that is not the last.
    fn bad_line(&mut self, offset: u64, last: bool, damage: Box<Damage>) -> Result<(), OpenError> {
        if !last || matches!(damage.source, LineFault::Terminator) {
            return Err(damage.into());
        }
        let path = &damage.file;
        let file = self.disk.open_read(path).map_err(fault(Operation::OpenFile, path))?;
        let tail = segment::read_from(file, offset).map_err(fault(Operation::ReadFile, path))?;
        let (file, line, bytes) = (path.clone(), damage.line, tail.len() as u64);
        if matches!(damage.source, LineFault::Unended)
            && let Ok(verified) = VerifiedLine::of(&tail)
        {
            self.scan.tail = Tail::Unended { file, line, bytes };
            return self.accept(&verified, bytes);
        }
        let mut lines = tail.split_inclusive(|byte| *byte == b'\n');
        let interrupted = lines.next().is_some_and(|bad| !bad.ends_with(b"\n") || bad.contains(&0));
        let valid = |line: &[u8]| line.strip_suffix(b"\n").is_some_and(|line| VerifiedLine::of(line).is_ok());
        if !interrupted || lines.any(valid) {
            return Err(damage.into());
        }
        self.scan.tail = Tail::Torn { file, line, offset, bytes };
        Ok(())
    }
}

/// Verifies one line, terminator included, as the continuation of `head`.
fn check(line: &[u8], head: Head, decode: bool) -> Result<VerifiedLine<'_>, LineFault> {
    let whole = line.strip_suffix(b"\n");
    let verified = VerifiedLine::of(whole.unwrap_or(line)).map_err(|fault| match line.split_last() {
        // The whole line is there and only its terminator has changed.
        Some((_, rest)) if whole.is_none() && VerifiedLine::of(rest).is_ok() => LineFault::Terminator,
        _ => fault,
    })?;
    verified.follows(head)?;
    if decode {
        verified.decode()?;
    }
    if whole.is_none() { Err(LineFault::Unended) } else { Ok(verified) }
}

pub(crate) fn damage(file: &Path, line: u64, source: LineFault) -> Box<Damage> {
    Box::new(Damage { file: file.to_owned(), line, source })
}
