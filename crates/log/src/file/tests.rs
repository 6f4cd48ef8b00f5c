//! The file log against torn, flipped, cut and missing files, failing operations, and other processes.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use super::failing::{FailingDisk, Failure};
use super::*;
use crate::conformance::{self, sample};
use crate::{Digest, LineFault};

/// So small that a handful of entries fill several segments.
const SMALL: FileOptions = FileOptions { segment_bytes: 1_500, reserve_bytes: 0 };

/// A dataset of `count` entries, some appended alone and some in batches, and its head.
fn filled(directory: &Path, count: usize) -> Vec<StoredEntry> {
    let log = FileLog::create(directory, SMALL).unwrap();
    let mut head = Head::EMPTY;
    for place in 0..count {
        head = log.append(head, sample(&place.to_string())).unwrap().head();
    }
    log.read_from(Sequence::FIRST, usize::MAX).unwrap()
}

fn segments(directory: &Path) -> Vec<PathBuf> {
    let mut files: Vec<_> =
        fs::read_dir(directory.join("log")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

fn digests(entries: &[StoredEntry]) -> Vec<Digest> {
    entries.iter().map(|stored| stored.digest).collect()
}

fn all(log: &FileLog) -> Vec<StoredEntry> {
    log.read_from(Sequence::FIRST, usize::MAX).unwrap()
}

#[test]
fn conforms() {
    let root = tempfile::tempdir().unwrap();
    let made = AtomicUsize::new(0);
    let make = |options: &FileOptions| -> Box<dyn Log> {
        let name = made.fetch_add(1, Ordering::Relaxed).to_string();
        Box::new(FileLog::create(&root.path().join(name), options.clone()).unwrap())
    };
    let ran = conformance::run(|| make(&FileOptions::default())) + conformance::run(|| make(&SMALL));
    assert_eq!(made.into_inner(), ran);
}

#[test]
fn survives_a_restart() {
    let root = tempfile::tempdir().unwrap();
    let written = filled(root.path(), 20);
    assert!(segments(root.path()).len() > 3);
    let Opened { log, report } = FileLog::open(root.path(), SMALL).unwrap();
    assert_eq!((report.verified_entries, &report.tail), (20, &Tail::Whole));
    assert_eq!(digests(&all(&log)), digests(&written));
    let more = log.append(log.head(), sample("more")).unwrap();
    drop(log);
    let report = FileLog::verify(root.path()).unwrap();
    assert_eq!(report.head, more.head());
    assert_eq!(FileLog::open(root.path(), SMALL).unwrap().report, report);
}

#[test]
fn lines_are_json_and_hash_outside_this_crate() {
    // Checked with a general JSON reader and `sha2` on the bytes between fixed offsets.
    use sha2::Digest as _;
    let root = tempfile::tempdir().unwrap();
    filled(root.path(), 3);
    let mut previous = "0".repeat(64);
    for line in segments(root.path())
        .iter()
        .flat_map(|file| fs::read_to_string(file).unwrap().lines().map(str::to_owned).collect::<Vec<_>>())
    {
        let value: serde_json::Value = serde_json::from_str(&line).unwrap();
        let hash: String = sha2::Sha256::digest(&line.as_bytes()[85..line.len() - 1])
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        assert_eq!(value["sha256"], hash.as_str());
        assert_eq!(value["entry"]["previous"], previous.as_str());
        previous = hash;
    }
}

#[test]
fn a_torn_tail_is_cut_at_every_offset() {
    let root = tempfile::tempdir().unwrap();
    let written = filled(root.path(), 10);
    let last = segments(root.path()).pop().unwrap();
    let bytes = fs::read(&last).unwrap();
    let begin = bytes[..bytes.len() - 1].iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
    let mut zeros = bytes.clone();
    zeros[begin + 40..].fill(0);
    for torn in (begin..bytes.len()).map(|length| bytes[..length].to_vec()).chain([zeros]) {
        fs::write(&last, &torn).unwrap();
        let Opened { log, report } = FileLog::open(root.path(), SMALL).unwrap();
        let kept = if torn.len() + 1 == bytes.len() { 10 } else { 9 };
        assert_eq!(digests(&all(&log)), digests(&written[..kept]), "{} bytes", torn.len());
        match report.tail {
            Tail::Whole => assert_eq!(torn.len(), begin),
            Tail::Unended { .. } => assert_eq!(torn.len() + 1, bytes.len()),
            Tail::Torn { offset, bytes, .. } => {
                assert_eq!((offset, bytes), (begin as u64, (torn.len() - begin) as u64));
            }
        }
        log.append(log.head(), sample("after")).unwrap();
        drop(log);
        assert_eq!(FileLog::verify(root.path()).unwrap().tail, Tail::Whole);
        for file in segments(root.path()).iter().filter(|file| **file > last) {
            fs::remove_file(file).unwrap();
        }
    }
}

#[test]
fn a_flip_in_any_byte_is_detected() {
    let root = tempfile::tempdir().unwrap();
    let written = filled(root.path(), 6);
    let known = written.last().unwrap().head();
    assert!(segments(root.path()).len() >= 2);
    let (mut refused, mut torn) = (0, 0);
    for file in segments(root.path()) {
        let bytes = fs::read(&file).unwrap();
        // Every byte with two of its bits in turn: the pairs of neighbouring bytes differ.
        for (at, bit) in (0..bytes.len()).flat_map(|at| [(at, at % 8), (at, (at * 5 + 3) % 8)]) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << bit;
            fs::write(&file, &flipped).unwrap();
            match FileLog::verify(root.path()) {
                Err(OpenError::Damaged(damage)) => {
                    assert_eq!(damage.file, file);
                    refused += 1;
                }
                // A letter that turned into a zero byte looks like a write that never arrived.
                Ok(report) => {
                    assert!(matches!(report.tail, Tail::Torn { .. }), "byte {at} bit {bit}");
                    assert_eq!(report.head, written[4].head());
                    torn += 1;
                    let trusting = FileLog::open_trusting(root.path(), known, SMALL);
                    assert!(matches!(trusting, Err(OpenError::Behind { .. })), "{trusting:?}");
                }
                Err(other) => panic!("byte {at} bit {bit}: {other:?}"),
            }
        }
        fs::write(&file, &bytes).unwrap();
    }
    assert!(refused > 4_000 && torn < 30, "{refused} refused, {torn} torn");
    assert_eq!(FileLog::verify(root.path()).unwrap().head, known);
}

#[test]
fn damage_names_file_and_line() {
    let root = tempfile::tempdir().unwrap();
    filled(root.path(), 12);
    let file = segments(root.path())[1].clone();
    let text = fs::read_to_string(&file).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines.len() >= 2);
    let without = |gone: usize| {
        let kept = lines.iter().enumerate().filter(|(at, _)| *at != gone).map(|(_, line)| *line);
        kept.collect::<Vec<_>>().join("\n") + "\n"
    };
    let swapped = [lines[1], lines[0]].join("\n") + "\n" + &lines[2..].join("\n") + "\n";
    for (case, content, line) in [
        ("edited", text.replacen("request", "Request", 1), 1),
        ("first line deleted", without(0), 1),
        ("second line deleted", without(1), 2),
        ("lines swapped", swapped, 1),
        ("blank line", text.replacen('\n', "\n\n", 1), 2),
        ("carriage return", text.replacen('\n', "\r\n", 1), 1),
        ("torn in the middle of the log", text[..text.len() - 9].to_owned(), lines.len() as u64),
        ("nothing left", String::new(), 1),
    ] {
        fs::write(&file, content).unwrap();
        let damage = match FileLog::open(root.path(), SMALL) {
            Err(OpenError::Damaged(damage)) => damage,
            other => panic!("{case}: {other:?}"),
        };
        let next = segments(root.path())[2].clone();
        let found = (damage.file.clone(), damage.line);
        // A segment that ends too early shows at the beginning of the next.
        assert!(found == (file.clone(), line) || (found == (next, 1)), "{case}: {damage:?}");
    }
    fs::remove_file(&file).unwrap();
    assert!(matches!(FileLog::open(root.path(), SMALL), Err(OpenError::Damaged(_))));
}

#[test]
fn a_line_of_another_history_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let (one, other) = (root.path().join("one"), root.path().join("other"));
    filled(&one, 3);
    let log = FileLog::create(&other, SMALL).unwrap();
    let mut foreign = Head::EMPTY;
    for text in ["x", "y", "z"] {
        foreign = log.append(foreign, sample(text)).unwrap().head();
    }
    let last = log.read_from(Sequence(3), 1).unwrap().remove(0);
    let file = segments(&one).pop().unwrap();
    let text = fs::read_to_string(&file).unwrap();
    let kept = text.lines().count() - 1;
    let mut lines: Vec<String> = text.lines().take(kept).map(str::to_owned).collect();
    lines.push(String::from_utf8(last.line()).unwrap());
    fs::write(&file, lines.join("\n") + "\n").unwrap();
    match FileLog::open(&one, SMALL) {
        Err(OpenError::Damaged(damage)) => assert!(matches!(damage.source, LineFault::Chain { .. })),
        found => panic!("{found:?}"),
    }
    let found = FileLog::open_trusting(&other, Head { digest: Digest::ZERO, ..foreign }, SMALL);
    assert!(matches!(found, Err(OpenError::InUse { .. })));
    drop(log);
    let found = FileLog::open_trusting(&other, Head { digest: Digest::ZERO, ..foreign }, SMALL);
    assert!(matches!(found, Err(OpenError::Disagrees { .. })));
}

#[test]
fn trusting_verifies_the_end_and_reads_verify_the_rest() {
    let root = tempfile::tempdir().unwrap();
    let written = filled(root.path(), 30);
    let known = written[25].head();
    let Opened { log, report } = FileLog::open_trusting(root.path(), known, SMALL).unwrap();
    assert!(report.verified_entries < 10, "{report:?}");
    assert_eq!(digests(&all(&log)), digests(&written));
    drop(log);

    let beyond = Head { sequence: Sequence(31), digest: Digest::ZERO };
    let found = FileLog::open_trusting(root.path(), beyond, SMALL);
    assert!(matches!(found, Err(OpenError::Behind { known, .. }) if known == beyond));

    let first = segments(root.path())[0].clone();
    let text = fs::read_to_string(&first).unwrap();
    fs::write(&first, text.replacen("request", "Request", 1)).unwrap();
    let Opened { log, .. } = FileLog::open_trusting(root.path(), known, SMALL).unwrap();
    match log.read_from(Sequence::FIRST, 1) {
        Err(ReadError::Damaged(damage)) => assert_eq!((&damage.file, damage.line), (&first, 1)),
        found => panic!("{found:?}"),
    }
    assert_eq!(log.read_from(Sequence(25), 100).unwrap().len(), 6);
    drop(log);

    fs::write(&first, &text[..text.len() / 2]).unwrap();
    assert!(matches!(FileLog::open_trusting(root.path(), known, SMALL), Err(OpenError::Damaged(_))));
}

#[test]
fn many_entries_are_found_by_few_offsets() {
    let root = tempfile::tempdir().unwrap();
    let options = FileOptions { segment_bytes: 400_000, reserve_bytes: 0 };
    let log = FileLog::create(root.path(), options.clone()).unwrap();
    let mut head = Head::EMPTY;
    for batch in 0..30 {
        let entries = (0..100).map(|entry| sample(&format!("{batch}-{entry}"))).collect();
        head = log.append_all(head, entries).unwrap().last().unwrap().head();
    }
    let check = |log: &FileLog| {
        for from in [1, 255, 256, 257, 511, 513, 1_000, 2_047, 2_999, 3_000] {
            let read = log.read_from(Sequence(from), 3).unwrap();
            assert_eq!(read[0].entry.sequence, Sequence(from));
            assert_eq!(read.len() as u64, 3.min(3_000 - from + 1));
        }
    };
    check(&log);
    drop(log);
    check(&FileLog::open(root.path(), options.clone()).unwrap().log);
    let trusting = FileLog::open_trusting(root.path(), head, options).unwrap().log;
    check(&trusting);
    check(&trusting);
}

#[test]
fn large_entries_are_found_without_reading_those_before() {
    let root = tempfile::tempdir().unwrap();
    let log = FileLog::create(root.path(), FileOptions::default()).unwrap();
    for place in 0..20 {
        let payload = serde_json::value::to_raw_value(&"x".repeat(100_000)).unwrap();
        log.append(log.head(), NewEntry { payload, ..sample(&place.to_string()) }).unwrap();
    }
    let check = |log: &FileLog| {
        // What is before the entry is spoilt, so that reading it would be noticed.
        let file = &segments(root.path())[0];
        let text = fs::read_to_string(file).unwrap();
        fs::write(file, text.replacen("xxx", "xyx", 1)).unwrap();
        for from in 3..=20 {
            assert_eq!(log.read_from(Sequence(from), 1).unwrap()[0].entry.sequence, Sequence(from));
        }
        assert!(matches!(log.read_from(Sequence(1), 1), Err(ReadError::Damaged(_))));
        fs::write(file, text).unwrap();
    };
    check(&log);
    drop(log);
    check(&FileLog::open(root.path(), FileOptions::default()).unwrap().log);
}

#[test]
fn a_second_opening_is_refused_and_names_the_process() {
    let root = tempfile::tempdir().unwrap();
    let log = FileLog::create(root.path(), SMALL).unwrap();
    let error = FileLog::open(root.path(), SMALL).unwrap_err();
    let text = error.to_string();
    assert!(matches!(error, OpenError::InUse { process: Some(number), .. } if number == std::process::id()));
    assert!(text.contains(&root.path().display().to_string()), "{text}");
    FileLog::verify(root.path()).unwrap();
    drop(log);
    FileLog::open(root.path(), SMALL).unwrap();
}

#[test]
fn only_a_dataset_of_this_format_is_opened() {
    let root = tempfile::tempdir().unwrap();
    let missing = root.path().join("missing");
    assert!(matches!(FileLog::open(&missing, SMALL), Err(OpenError::NotADataset { .. })));
    assert!(!missing.exists());
    assert!(matches!(FileLog::open(root.path(), SMALL), Err(OpenError::NotADataset { .. })));
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 0, "nothing is left in a refused directory");

    let made = root.path().join("made");
    filled(&made, 1);
    assert!(matches!(FileLog::create(&made, SMALL), Err(OpenError::AlreadyADataset { .. })));
    fs::remove_file(made.join("LOCK")).unwrap();
    fs::write(made.join("FORMAT"), "dashwright data, format 2\n").unwrap();
    let newer = FileLog::open(&made, SMALL);
    assert!(matches!(newer, Err(OpenError::NewerFormat { found: 2, supported: 1, .. })), "{newer:?}");
    assert!(!made.join("LOCK").exists(), "a newer format is refused untouched");
    for unreadable in ["", "1", "dashwright data, format 0\n", "dashwright data, format 1"] {
        fs::write(made.join("FORMAT"), unreadable).unwrap();
        assert!(matches!(FileLog::open(&made, SMALL), Err(OpenError::UnreadableFormat { .. })));
    }
}

#[test]
fn a_dataset_is_created_only_where_nothing_is() {
    let root = tempfile::tempdir().unwrap();
    fs::write(root.path().join("letter.txt"), "dear").unwrap();
    let occupied = FileLog::create(root.path(), SMALL);
    assert!(matches!(occupied, Err(OpenError::Occupied { found, .. }) if found == "letter.txt"));
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 1);

    let orphan = root.path().join("orphan");
    fs::create_dir_all(orphan.join("log")).unwrap();
    fs::write(orphan.join("log").join(segment::name(Sequence(1))), "{}\n").unwrap();
    assert!(matches!(FileLog::create(&orphan, SMALL), Err(OpenError::Occupied { .. })));
    FileLog::create(&root.path().join("deep").join("er"), SMALL).unwrap();
}

#[test]
fn strangers_are_reported_and_left_alone() {
    let root = tempfile::tempdir().unwrap();
    filled(root.path(), 2);
    let stranger = root.path().join("log").join("00000000000000000001.jsonl~");
    fs::write(&stranger, "an editor's copy").unwrap();
    let report = FileLog::open(root.path(), SMALL).unwrap().report;
    assert_eq!(report.strangers, std::slice::from_ref(&stranger));
    assert!(stranger.exists());
}

#[test]
fn a_nearly_full_disk_refuses_writes_and_recovers() {
    let root = tempfile::tempdir().unwrap();
    let disk = Arc::new(FailingDisk::new(None, Failure::Nothing));
    let options = FileOptions { reserve_bytes: 10_000, ..SMALL };
    let log = FileLog::create_on(disk.clone(), root.path(), options).unwrap();
    let head = log.append(Head::EMPTY, sample("a")).unwrap().head();
    disk.set_free(10_100);
    match log.append(head, sample("b")) {
        Err(AppendError::NoSpace { free: 10_100, needed }) => assert!(needed > 10_200),
        found => panic!("{found:?}"),
    }
    assert_eq!(log.read_from(Sequence::FIRST, 10).unwrap().len(), 1);
    disk.set_free(20_000);
    log.append(head, sample("b")).unwrap();
}

/// The operations of a short life: create, append alone and in a batch over several segments, reopen, append.
/// Collects what was acknowledged and returns whether everything succeeded.
fn live(disk: &Arc<FailingDisk>, directory: &Path, acknowledged: &mut Vec<Digest>) -> bool {
    let opened = FileLog::create_on(disk.clone(), directory, SMALL);
    if !opened.is_ok_and(|log| append_some(&log, acknowledged)) {
        return false;
    }
    let reopened = FileLog::open_on(disk.clone(), directory, Head::EMPTY, SMALL);
    reopened.is_ok_and(|opened| append_some(&opened.log, acknowledged))
}

/// False after a failure, which must have stopped all appends and no reads.
fn append_some(log: &FileLog, acknowledged: &mut Vec<Digest>) -> bool {
    for batch in [1, 3, 1, 5, 2] {
        let entries = (0..batch).map(|place| sample(&place.to_string())).collect();
        let before = log.head();
        let result = catch_unwind(AssertUnwindSafe(|| log.append_all(before, entries)));
        match result {
            Ok(Ok(stored)) => acknowledged.extend(digests(&stored)),
            Ok(Err(AppendError::Io(IoFault { operation: Operation::MeasureFreeSpace, .. }))) => {
                assert_eq!(log.head(), before);
                return false;
            }
            failed => {
                assert!(!matches!(failed, Ok(Err(AppendError::Poisoned))), "only after a failure");
                assert_eq!(log.head(), before);
                let again = log.append(before, sample("again"));
                assert!(matches!(again, Err(AppendError::Poisoned)), "{again:?}");
                assert_eq!(digests(&all(log)), *acknowledged, "reads go on");
                return false;
            }
        }
    }
    true
}

#[test]
fn failing_any_operation_loses_nothing_acknowledged() {
    let counting = Arc::new(FailingDisk::new(None, Failure::Nothing));
    let root = tempfile::tempdir().unwrap();
    let mut whole = Vec::new();
    assert!(live(&counting, &root.path().join("whole"), &mut whole));
    assert_eq!(whole.len(), 24);
    assert!(counting.done() > 60, "{}", counting.done());
    let mut cases = 0;
    for failure in [Failure::Nothing, Failure::Half, Failure::Lie, Failure::Panic] {
        for (at, power) in (0..counting.done()).flat_map(|at| [(at, true), (at, false)]) {
            let directory = root.path().join(format!("{failure:?}-{at}-{power}"));
            let disk = Arc::new(FailingDisk::new(Some(at), failure));
            let mut acknowledged = Vec::new();
            // Panics of appends are caught where they happen, those of opening here.
            let lived = catch_unwind(AssertUnwindSafe(|| live(&disk, &directory, &mut acknowledged)));
            assert!(!lived.unwrap_or(false), "{failure:?} at {at} was noticed");
            if !power {
                disk.lose_power();
            }
            check_after(&directory, &acknowledged, &whole, &format!("{failure:?} at {at}, power {power}"));
            cases += 1;
        }
    }
    assert!(cases > 300, "{cases}");
}

#[test]
fn what_a_restart_reads_back_is_durable() {
    let root = tempfile::tempdir().unwrap();
    let counting = Arc::new(FailingDisk::new(None, Failure::Nothing));
    assert!(live(&counting, &root.path().join("whole"), &mut Vec::new()));
    let mut cases = 0;
    for at in 0..counting.done() {
        let directory = root.path().join(at.to_string());
        let disk = Arc::new(FailingDisk::new(Some(at), Failure::Nothing));
        live(&disk, &directory, &mut Vec::new());
        // The process dies and the next one reads what the first wrote and did not synchronise; then the power fails.
        let Ok(opened) = FileLog::open_on(disk.clone(), &directory, Head::EMPTY, SMALL) else { continue };
        let mut acknowledged = digests(&all(&opened.log));
        assert!(append_some(&opened.log, &mut acknowledged));
        drop(opened);
        disk.lose_power();
        let found = digests(&all(&FileLog::open(&directory, SMALL).unwrap().log));
        assert_eq!(found, acknowledged, "failed at {at}");
        cases += 1;
    }
    assert!(cases > 50, "{cases}");
}

/// Everything acknowledged is there after a restart, and nothing that was never appended.
fn check_after(directory: &Path, acknowledged: &[Digest], whole: &[Digest], case: &str) {
    let log = match FileLog::open(directory, SMALL) {
        Ok(opened) => opened.log,
        Err(OpenError::NotADataset { .. }) if acknowledged.is_empty() => {
            FileLog::create(directory, SMALL).unwrap()
        }
        Err(error) => panic!("{case}: {error:?}"),
    };
    let found = digests(&all(&log));
    assert!(found.starts_with(acknowledged), "{case}: {} of {}", found.len(), acknowledged.len());
    assert!(whole.starts_with(&found), "{case}");
    log.append(log.head(), sample("on")).unwrap();
}
