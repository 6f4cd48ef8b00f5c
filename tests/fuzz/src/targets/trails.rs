//! Backups and the lines of logs, as bytes and with hashes that hold.

use std::ops::ControlFlow;

use dashwright_log::{Digest, LineFault, MAX_LINE_BYTES, StoredEntry, TrailWriter, read_trail};

/// How the input of a history begins whose lines are entries without their hashes.
const WITHOUT_HASHES: &[u8] = b"entries\n";

/// A trail is read or refused with a place; one that is read is written as the same bytes.
pub(crate) fn hold(bytes: &[u8]) {
    if let Some(entries) = bytes.strip_prefix(WITHOUT_HASHES) {
        for entry in entries.split(|byte| *byte == b'\n') {
            line(&framed(entry));
        }
        return;
    }
    for part in bytes.split(|byte| *byte == b'\n') {
        line(part);
    }
    let mut entries = Vec::new();
    let visit = |entry: &StoredEntry| {
        entries.push(entry.clone());
        ControlFlow::Continue(())
    };
    match read_trail(bytes, visit) {
        Ok(report) => {
            assert_eq!(report.entries, u64::try_from(entries.len()).expect("few"));
            let (incarnation, made) = (&report.header.incarnation, &report.header.made);
            let mut writer = TrailWriter::new(Vec::new(), incarnation, made).expect("a header that was read");
            entries.iter().for_each(|entry| writer.push(entry).expect("an entry that was read"));
            let (written, again) = writer.finish(&report.note).expect("a note that was read");
            assert!(written == bytes, "a trail is not written as it was read");
            assert_eq!(again, report);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// A line of a log is what was written for its entry, to the byte.
fn line(bytes: &[u8]) {
    match StoredEntry::decode(bytes) {
        Ok(stored) => {
            assert!(bytes.len() <= MAX_LINE_BYTES);
            assert_eq!(stored.line(), bytes);
            assert_eq!(stored.head().digest, Digest::of(&stored.bytes));
        }
        Err(LineFault::TooLong) => assert!(bytes.len() > MAX_LINE_BYTES),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// The line of an entry, as a log has it: written here once more, and not by the encoder.
fn framed(entry: &[u8]) -> Vec<u8> {
    let head = format!("{{\"sha256\":\"{}\",\"entry\":", Digest::of(entry));
    [head.as_bytes(), entry, b"}"].concat()
}
