//! Data directories in which anything may stand: a segment of the log, and the checkpoints that were kept.

use std::fs;

use dashwright_log::{CHECKPOINTS_FILE, FileCheckpoints, FileLog, FileOptions, Tail, read_checkpoints};

/// What stands between the segment and the checkpoints.
const BETWEEN: &str = "\n===\n";

/// The first segment of a log.
const SEGMENT: &str = "log/00000000000000000001.jsonl";

/// A directory is opened or refused. One that is opened is whole from then on, and its entries are the same.
pub(crate) fn hold(bytes: &[u8]) {
    let split = bytes.windows(BETWEEN.len()).position(|window| window == BETWEEN.as_bytes());
    let (segment, kept) = split.map_or((bytes, &b""[..]), |at| (&bytes[..at], &bytes[at + BETWEEN.len()..]));
    let place = tempfile::tempdir().expect("a temporary directory");
    let directory = place.path().join("data");
    drop(FileLog::create(&directory, options()).expect("a directory of its own"));
    fs::write(directory.join(SEGMENT), segment).expect("a file of its own");
    fs::write(directory.join(CHECKPOINTS_FILE), kept).expect("a file of its own");

    let verified = FileLog::verify(&directory);
    let opened = FileLog::open(&directory, options()).map(|opened| opened.report);
    match (&verified, &opened) {
        (Ok(seen), Ok(report)) => {
            assert_eq!((seen.head, seen.verified_entries), (report.head, report.verified_entries));
            let again = FileLog::open(&directory, options()).expect("it was mended").report;
            assert_eq!((again.head, &again.tail), (report.head, &Tail::Whole));
        }
        (Ok(_), Err(error)) => panic!("verified and not opened: {error}"),
        (Err(error), _) => assert!(!error.to_string().is_empty()),
    }

    let mut seen = Vec::new();
    let read = read_checkpoints(&directory, |kept| seen.push(kept)).expect("a file of its own");
    assert_eq!(read.kept, u64::try_from(seen.len()).expect("few"));
    let opened = FileCheckpoints::open(&directory).expect("damage costs no start").report;
    assert_eq!((opened.kept, &opened.latest), (read.kept, &seen.last().cloned()));
    let again = FileCheckpoints::open(&directory).expect("it was mended").report;
    assert_eq!((again.kept, again.latest, again.tail), (opened.kept, opened.latest, Tail::Whole));
}

fn options() -> FileOptions {
    let mut options = FileOptions::default();
    options.reserve_bytes = 0;
    options
}
