//! Writes the trail of a data directory to standard output, for `tests/oracles/trail_oracle.py`.

use std::error::Error;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use dashwright_log::{
    Checkpoint, Digest, FileLog, FileOptions, Log, MAX_READ_BYTES, Origin, Sequence, TrailWriter,
};

fn main() -> Result<(), Box<dyn Error>> {
    let directory = std::env::args().nth(1).ok_or("name a data directory")?;
    let log = FileLog::open(Path::new(&directory), FileOptions::default())?.log;
    let out = BufWriter::with_capacity(MAX_READ_BYTES / 8, io::stdout().lock());
    let mut trail = TrailWriter::new(out, "example", "2026-01-31T10:00:00Z")?;
    while trail.head() != log.head() {
        for entry in log.read_from(Sequence(trail.head().sequence.0 + 1), usize::MAX)? {
            trail.push(&entry)?;
        }
    }
    let origin = Origin::of("example")?;
    let (size, root) = (trail.head().sequence.0, trail.root());
    let note = Checkpoint { origin, size, root, revision: 1, content_hash: Digest::ZERO }.encode_unsigned();
    trail.finish(&note)?.0.flush()?;
    Ok(())
}
