//! Kills between any two steps, and stores that are damaged, lost, or of another log.

use super::*;
use crate::RebuildCause;
use dashwright_log::{NewEntry, Sequence};

/// Copies the beginning of a log.
pub(super) fn beginning(log: &MemoryLog, entries: u64) -> Arc<MemoryLog> {
    let copy = MemoryLog::new();
    let all = log.read_from(Sequence::FIRST, usize::try_from(entries).unwrap()).unwrap();
    for stored in all {
        let entry = stored.entry;
        let new = NewEntry {
            time: entry.time,
            actor: entry.actor,
            reason: entry.reason,
            request_id: entry.request_id,
            kind: entry.kind,
            payload: entry.payload,
        };
        assert_eq!(copy.append(copy.head(), new).unwrap().digest, stored.digest);
    }
    Arc::new(copy)
}

#[test]
fn a_kill_between_any_two_steps_leaves_the_old_revision_or_the_new() {
    let bench = Bench::new();
    let engine = bench.start();
    let mut expected = vec![seen(&engine)];
    let mut published_at = vec![1];
    for records in [dataset(), more()] {
        load(&engine, records, None).unwrap();
        expected.push(seen(&engine));
        published_at.push(bench.log.head().sequence.0);
    }
    drop(engine);
    let last = bench.log.head().sequence.0;
    assert!(last >= 9, "{last} entries are too few to kill between");
    let mut starts = 0;
    for applied in 1..=last {
        for durable in applied..=last {
            let root = tempfile::tempdir().unwrap();
            drop(start_on(beginning(&bench.log, applied), root.path()).unwrap());
            let (engine, report) = start_on(beginning(&bench.log, durable), root.path()).unwrap();
            let revision = published_at.iter().filter(|at| **at <= durable).count() - 1;
            assert_eq!(seen(&engine), expected[revision], "{applied} applied, {durable} durable");
            assert_eq!((report.replayed, report.rebuilt.is_none()), (durable - applied, true));
            starts += 1;
        }
    }
    assert_eq!(starts, last * (last + 1) / 2);
}

#[test]
fn a_damaged_store_is_filled_anew() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    load(&engine, more(), None).unwrap();
    let expected = seen(&engine);
    drop(engine);
    let whole = bench.root.path().join("whole");
    copy(&bench.store(), &whole);
    let length = std::fs::metadata(whole.join("db")).unwrap().len();
    let (mut starts, mut noticed) = (0, 0);
    let mut check = |what: &str, spoil: &dyn Fn(&Path)| {
        std::fs::remove_dir_all(bench.store()).unwrap();
        copy(&whole, &bench.store());
        spoil(&bench.store().join("db"));
        let (engine, report) = bench.try_start().unwrap();
        assert_eq!(seen(&engine), expected, "{what}");
        starts += 1;
        noticed += u32::from(report.rebuilt.is_some() || report.replayed > 0);
    };
    // Opening the store again leaves it a reserve of zeros behind what it wrote; only what it wrote is worth a flip.
    let bytes = std::fs::read(whole.join("db")).unwrap();
    let written = |at: &u64| bytes[*at as usize..].iter().take(512).any(|byte| *byte != 0);
    for at in (0..length).step_by(150).filter(written) {
        check(&format!("a flip at {at}"), &|db| flip(db, at));
    }
    for length in [0, 1, length / 2, length - 1] {
        check(&format!("cut to {length}"), &|db| {
            std::fs::File::options().write(true).open(db).unwrap().set_len(length).unwrap();
        });
    }
    check("deleted", &|db| std::fs::remove_file(db).unwrap());
    assert!(starts > 100, "{starts} starts");
    // A flip cuts the store's own log there: it is behind, or empty. Few bytes of its file matter to nobody.
    assert!(noticed * 10 > starts * 9, "{noticed} of {starts} were noticed: do the flips hit anything?");
}

/// A crash of the database while it writes a snapshot of its own: it would not open any more.
#[test]
fn a_snapshot_that_was_being_generated_changes_nothing() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let expected = seen(&engine);
    drop(engine);
    let left = bench.store().join("snap.00000000000001A4.generating");
    std::fs::write(&left, "cut sho").unwrap();
    let (engine, report) = bench.try_start().unwrap();
    assert_eq!((seen(&engine), report.rebuilt.is_none(), report.replayed), (expected, true, 0));
    assert!(!left.exists());
}

/// The database counts what lies in its directory of large values; a sparse file makes it as large as years of edits.
#[test]
fn a_store_that_has_outgrown_its_content_is_filled_anew() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    load(&engine, more(), None).unwrap();
    let expected = seen(&engine);
    drop(engine);
    let large = bench.store().join("blobs").join("9999");
    let file = std::fs::File::create(&large).unwrap();
    file.set_len(dashwright_store::OVERGROWN_FLOOR_BYTES + 1).unwrap();
    let (engine, report) = bench.try_start().unwrap();
    assert!(matches!(report.rebuilt, Some(RebuildCause::Overgrown)), "{report:?}");
    assert_eq!(seen(&engine), expected);
    assert!(!large.exists(), "it is as large as before");
    drop(engine);
    assert!(bench.try_start().unwrap().1.rebuilt.is_none(), "once is enough");
}

/// A file in the place of the database, of a kind that makes it panic or fail: the rest of the process goes on.
#[test]
fn a_database_that_does_not_open_is_set_aside_and_filled_anew() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let expected = seen(&engine);
    drop(engine);
    for (round, spoil) in ["no configuration", "segment_size: seven"].iter().enumerate() {
        std::fs::write(bench.store().join("conf"), spoil).unwrap();
        let (engine, report) = bench.try_start().unwrap();
        assert!(matches!(report.rebuilt, Some(RebuildCause::Empty)), "{spoil}: {report:?}");
        assert_eq!(seen(&engine), expected, "{spoil}");
        let aside = bench.root.path().join(format!("store.damaged-{}", round + 1));
        assert_eq!(std::fs::read_to_string(aside.join("conf")).unwrap(), *spoil);
    }
}

#[test]
fn a_store_of_another_log_is_filled_anew() {
    let (bench, other) = (Bench::new(), Bench::new());
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let expected = seen(&engine);
    drop(engine);
    let engine = other.start();
    load(&engine, more_of_another(), None).unwrap();
    drop(engine);
    std::fs::remove_dir_all(bench.store()).unwrap();
    copy(&other.store(), &bench.store());
    let (engine, report) = bench.try_start().unwrap();
    assert!(matches!(report.rebuilt, Some(RebuildCause::OtherLog { .. })), "{report:?}");
    assert_eq!(seen(&engine), expected);
}

#[test]
fn a_log_that_lost_entries_is_refused() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    drop(engine);
    let cut = beginning(&bench.log, bench.log.head().sequence.0 - 1);
    match start_on(cut, &bench.store()) {
        Err(StartError::LogBehindStore { .. }) => {}
        other => panic!("{other:?}"),
    }
    // Nothing was changed: the whole log is served as before.
    assert_eq!(bench.start().view().revision(), 1);
}

#[test]
fn a_log_in_which_no_dataset_was_begun_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let result = start_on(Arc::new(MemoryLog::new()), root.path());
    assert!(matches!(result, Err(StartError::NotBegun)));
    let bench = Bench::new();
    let again = initialise(&*bench.log, &*bench.surroundings, &origin(None));
    assert!(matches!(again, Err(crate::InitError::NotEmpty { .. })));
}

#[test]
fn entries_that_can_not_be_followed_are_named() {
    for (kind, payload, expected) in [
        ("draft.undo", "{}", "`draft.undo` is no kind of entry that this version knows"),
        ("dataset.init", r#"{"incarnation":"x","format":1}"#, "`dataset.init` stands where it can not stand"),
        ("draft.create", r#"{"draft":"x"}"#, "the payload is none of a `draft.create`"),
        ("draft.edit", r#"{"draft":"x","puts":[],"deletes":[]}"#, "there is no open draft `x`"),
        ("revision.publish", &publish(1), "there is no open draft `x`"),
        ("revision.publish", &publish(2), "revision 2 stands where revision 1 belongs"),
    ] {
        let bench = Bench::new();
        append(&bench.log, kind, payload);
        match bench.try_start() {
            Err(StartError::Entry { sequence: Sequence(2), source }) => {
                assert_eq!(source.to_string(), expected)
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_log_that_does_not_lead_to_what_was_published_is_refused() {
    let bench = Bench::new();
    append(&bench.log, "draft.create", r#"{"draft":"x","base_revision":0}"#);
    append(&bench.log, "revision.publish", &publish(1));
    match bench.try_start() {
        Err(StartError::Inconsistent(cause)) => assert!(matches!(*cause, RebuildCause::Content { .. })),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_dataset_of_a_newer_format_is_refused() {
    let (log, root) = (MemoryLog::new(), tempfile::tempdir().unwrap());
    append(&log, "dataset.init", r#"{"incarnation":"x","format":2}"#);
    match start_on(Arc::new(log), root.path()) {
        Err(StartError::Entry { source, .. }) => {
            assert_eq!(source.to_string(), "the dataset has format 2, this version reads formats up to 1");
        }
        other => panic!("{other:?}"),
    }
}

fn publish(revision: u64) -> String {
    let hash = "0".repeat(64);
    format!(r#"{{"draft":"x","revision":{revision},"content_hash":"{hash}","changed":0,"records":0}}"#)
}

fn append(log: &MemoryLog, kind: &str, payload: &str) {
    let new = NewEntry {
        time: "2026-01-31T09:05:00Z".to_owned(),
        actor: "curator".to_owned(),
        reason: String::new(),
        request_id: None,
        kind: kind.parse().unwrap(),
        payload: serde_json::value::RawValue::from_string(payload.to_owned()).unwrap(),
    };
    log.append(log.head(), new).unwrap();
}

/// As many entries as the dataset's own load makes, with other content.
fn more_of_another() -> Vec<Record> {
    let mut records = dataset();
    records.pop();
    records.push(vehicle("other", 2035));
    records
}

fn flip(file: &Path, at: u64) {
    let mut bytes = std::fs::read(file).unwrap();
    bytes[usize::try_from(at).unwrap()] ^= 0x10;
    std::fs::write(file, bytes).unwrap();
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}
