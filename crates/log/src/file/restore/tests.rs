//! Restoring from whole and broken trails, and under failing operations.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::super::failing::{FailingDisk, Failure};
use super::*;
use crate::conformance::sample;
use crate::{
    CHECKPOINTS_FILE, Checkpoint, Digest, Origin, Sequence, TrailWriter, read_checkpoints, verify_directory,
};

/// So small that a handful of entries fill several segments.
const SMALL: FileOptions = FileOptions { segment_bytes: 1_500, reserve_bytes: 0 };

/// A log of `count` entries in a directory of its own, and the trail of it.
fn original(count: usize) -> (tempfile::TempDir, Vec<u8>) {
    let root = tempfile::tempdir().unwrap();
    let log = FileLog::create(root.path(), SMALL).unwrap();
    let mut writer = TrailWriter::new(Vec::new(), "first", "2026-01-31T10:00:00Z").unwrap();
    for place in 0..count {
        writer.push(&log.append(log.head(), sample(&place.to_string())).unwrap()).unwrap();
    }
    let (origin, content_hash) = (Origin::of("first").unwrap(), Digest::of(b"content"));
    let checkpoint =
        Checkpoint { origin, size: count as u64, root: writer.root(), revision: 1, content_hash };
    let trail = writer.finish(&checkpoint.encode_unsigned()).unwrap().0;
    (root, trail)
}

fn restore(directory: &Path, trail: &[u8]) -> Result<Restored, RestoreError> {
    FileLog::restore(directory, trail, SMALL, |_| Ok(sample("restored")))
}

/// The lines of a log, whatever its segments are.
fn lines(directory: &Path) -> String {
    let mut files: Vec<_> =
        fs::read_dir(directory.join("log")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.iter().map(|file| fs::read_to_string(file).unwrap()).collect()
}

fn names(directory: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(directory).unwrap().map(|it| it.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn the_lines_are_the_same_and_one_more_tells_of_it() {
    let (source, trail) = original(20);
    let root = tempfile::tempdir().unwrap();
    let target = root.path().join("a/b");
    let restored = FileLog::restore(&target, trail.as_slice(), SMALL, |trail| {
        assert_eq!((trail.entries, trail.header.incarnation.as_str()), (20, "first"));
        Ok(sample("restored"))
    })
    .unwrap();
    assert_eq!(restored.entry.entry.sequence, Sequence(21));
    assert_eq!((restored.trail.head.sequence, restored.log.head()), (Sequence(20), restored.entry.head()));
    assert_eq!(restored.log.read_from(Sequence(21), 9).unwrap()[0].digest, restored.entry.digest);
    drop(restored);
    assert!(names(&target.join("log")).len() > 3);
    let told = lines(&target).strip_prefix(&lines(source.path())).unwrap().to_owned();
    assert!(told.contains("request-restored") && told.lines().count() == 1, "{told}");
    assert_eq!(names(&target), ["FORMAT", "LOCK", CHECKPOINTS_FILE, "log"]);
    // The trail's checkpoint is kept and still holds, the log opens and goes on.
    let report = verify_directory(&target, &[]).unwrap();
    assert_eq!(
        (report.witnessed.agreeing, report.witnessed.covered, report.log.verified_entries),
        (1, 20, 21)
    );
    let log = FileLog::open(&target, SMALL).unwrap().log;
    log.append(log.head(), sample("on")).unwrap();
}

#[test]
fn an_empty_trail_is_restored_too() {
    let (_source, trail) = original(0);
    let root = tempfile::tempdir().unwrap();
    assert_eq!(restore(root.path(), &trail).unwrap().entry.entry.sequence, Sequence::FIRST);
    assert_eq!(FileLog::verify(root.path()).unwrap().verified_entries, 1);
}

#[test]
fn only_a_missing_or_empty_directory_is_restored_into() {
    let (source, trail) = original(3);
    let before = lines(source.path());
    let refused = restore(source.path(), &trail);
    assert!(matches!(
        refused,
        Err(RestoreError::Open(OpenError::InUse { .. } | OpenError::AlreadyADataset { .. }))
    ));
    assert_eq!(lines(source.path()), before);
    for found in ["notes.txt", CHECKPOINTS_FILE] {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join(found), "mine").unwrap();
        match restore(root.path(), &trail) {
            Err(RestoreError::Open(OpenError::Occupied { found: named, .. })) => assert_eq!(named, found),
            other => panic!("{other:?}"),
        }
        assert_eq!(names(root.path()), [found], "nothing was touched");
    }
    // A mark does not make a person's files ours.
    for (marked, file) in [("notes.txt", "notes.txt"), ("log/notes.txt", "notes.txt")] {
        let root = tempfile::tempdir().unwrap();
        fs::create_dir(root.path().join("log")).unwrap();
        fs::write(root.path().join("RESTORING"), "").unwrap();
        fs::write(root.path().join(marked), "mine").unwrap();
        match restore(root.path(), &trail) {
            Err(RestoreError::Open(OpenError::Occupied { found, .. })) => assert_eq!(found, file),
            other => panic!("{other:?}"),
        }
        assert_eq!(fs::read(root.path().join(marked)).unwrap(), b"mine");
    }
}

#[test]
fn a_broken_trail_leaves_the_directory_empty() {
    let (_source, trail) = original(12);
    let root = tempfile::tempdir().unwrap();
    let mut flipped = trail.clone();
    flipped[trail.len() / 2] ^= 1;
    let cut = &trail[..trail.len() - 10];
    for (name, broken) in [("flipped", flipped.as_slice()), ("cut", cut), ("other", b"text\n")] {
        let error = restore(root.path(), broken).unwrap_err();
        assert!(matches!(error, RestoreError::Trail(_)), "{name}: {error:?}");
        assert_eq!(names(root.path()), ["LOCK", "log"], "{name}");
        assert_eq!(names(&root.path().join("log")), [""; 0], "{name}");
        assert!(matches!(FileLog::open(root.path(), SMALL), Err(OpenError::NotADataset { .. })), "{name}");
    }
    restore(root.path(), &trail).unwrap();
}

#[test]
fn a_small_disk_is_refused_before_it_is_full() {
    let (_source, trail) = original(12);
    let root = tempfile::tempdir().unwrap();
    let disk = Arc::new(FailingDisk::new(None, Failure::Nothing));
    disk.set_free(1_000);
    let refused =
        FileLog::restore_on(disk.clone(), root.path(), trail.as_slice(), SMALL, |_| Ok(sample("restored")));
    assert!(matches!(refused, Err(RestoreError::NoSpace { free: 1_000, .. })), "{refused:?}");
    assert_eq!(names(&root.path().join("log")), [""; 0]);
    disk.set_free(1 << 30);
    FileLog::restore_on(disk, root.path(), trail.as_slice(), SMALL, |_| Ok(sample("restored"))).unwrap();
}

#[test]
fn failing_any_operation_leaves_a_whole_dataset_or_none() {
    let (_source, trail) = original(10);
    let root = tempfile::tempdir().unwrap();
    let run = |disk: &Arc<FailingDisk>, directory: &Path| {
        let restore = || {
            FileLog::restore_on(disk.clone(), directory, trail.as_slice(), SMALL, |_| Ok(sample("restored")))
        };
        catch_unwind(AssertUnwindSafe(restore)).is_ok_and(|restored| restored.is_ok())
    };
    let counting = Arc::new(FailingDisk::new(None, Failure::Nothing));
    let whole = root.path().join("whole");
    assert!(run(&counting, &whole));
    let (expected, mut whole_after, mut none_after) = (lines(&whole), 0, 0);
    for failure in [Failure::Nothing, Failure::Half, Failure::Lie, Failure::Panic] {
        for (at, power) in (0..counting.done()).flat_map(|at| [(at, true), (at, false)]) {
            let case = format!("{failure:?}-{at}-{power}");
            let directory = root.path().join(&case);
            let disk = Arc::new(FailingDisk::new(Some(at), failure));
            assert!(!run(&disk, &directory), "{case} was noticed");
            if !power {
                disk.lose_power();
            }
            match FileLog::open(&directory, SMALL) {
                Ok(opened) => {
                    assert_eq!(
                        (opened.report.verified_entries, lines(&directory)),
                        (11, expected.clone()),
                        "{case}"
                    );
                    assert_eq!(read_checkpoints(&directory, |_| ()).unwrap().kept, 1, "{case}");
                    whole_after += 1;
                    continue;
                }
                Err(OpenError::NotADataset { .. }) => none_after += 1,
                Err(error) => panic!("{case}: {error:?}"),
            }
            if at % 4 == 0 {
                let log =
                    FileLog::create(&directory, SMALL).unwrap_or_else(|error| panic!("{case}: {error:?}"));
                assert_eq!((log.head(), lines(&directory).as_str()), (Head::EMPTY, ""), "{case}");
            } else {
                drop(restore(&directory, &trail).unwrap_or_else(|error| panic!("{case}: {error:?}")));
                assert_eq!(lines(&directory), expected, "{case}");
            }
            assert_eq!(names(&directory).iter().filter(|name| *name == "RESTORING").count(), 0, "{case}");
        }
    }
    assert!(whole_after > 5 && none_after > 150, "{whole_after} whole, {none_after} none");
}
