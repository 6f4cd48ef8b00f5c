//! The file of checkpoints against torn, flipped and missing lines, and failing operations.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

use super::super::failing::{FailingDisk, Failure};
use super::*;
use crate::conformance::checkpoints::{run, sample};

/// A directory with the checkpoints of sizes 0 to `count`, and the bytes of their file.
fn filled(count: u64) -> (tempfile::TempDir, Vec<u8>) {
    let root = tempfile::tempdir().unwrap();
    let checkpoints = FileCheckpoints::open(root.path()).unwrap().checkpoints;
    (0..count).for_each(|size| checkpoints.append(&sample(size)).unwrap());
    let bytes = fs::read(root.path().join(CHECKPOINTS_FILE)).unwrap();
    (root, bytes)
}

fn sizes(list: &KeptList) -> Vec<u64> {
    list.kept.iter().map(|kept| kept.checkpoint.size).collect()
}

#[test]
fn conforms() {
    let root = tempfile::tempdir().unwrap();
    let made = AtomicUsize::new(0);
    let ran = run(|| {
        let directory = root.path().join(made.fetch_add(1, Ordering::Relaxed).to_string());
        fs::create_dir(&directory).unwrap();
        Box::new(FileCheckpoints::open(&directory).unwrap().checkpoints)
    });
    assert_eq!(made.into_inner(), ran);
}

#[test]
fn survives_a_restart_and_says_what_it_found() {
    let root = tempfile::tempdir().unwrap();
    let OpenedCheckpoints { checkpoints, report } = FileCheckpoints::open(root.path()).unwrap();
    assert_eq!((report.present, report.kept, &report.latest), (false, 0, &None));
    assert!(!root.path().join(CHECKPOINTS_FILE).exists());
    checkpoints.append(&sample(7)).unwrap();
    drop(checkpoints);
    let OpenedCheckpoints { checkpoints, report } = FileCheckpoints::open(root.path()).unwrap();
    assert_eq!((report.present, report.kept, report.tail), (true, 1, Tail::Whole));
    assert_eq!(report.latest.map(|kept| kept.note), Some(sample(7)));
    checkpoints.append(&sample(8)).unwrap();
    let mut seen = Vec::new();
    let report = read_checkpoints(root.path(), |kept| seen.push(kept.checkpoint.size)).unwrap();
    assert_eq!((seen, report.kept, report.present), (vec![7, 8], 2, true));
}

#[test]
fn lines_hash_outside_this_crate() {
    use sha2::Digest as _;
    let (_root, bytes) = filled(2);
    for (size, line) in String::from_utf8(bytes).unwrap().lines().enumerate() {
        let value: serde_json::Value = serde_json::from_str(line).unwrap();
        assert_eq!(value["note"], sample(size as u64));
        let hash = sha2::Sha256::digest(value["note"].as_str().unwrap());
        let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(value["sha256"], hash);
    }
}

#[test]
fn a_torn_tail_is_cut_at_every_offset() {
    let (root, bytes) = filled(3);
    let path = root.path().join(CHECKPOINTS_FILE);
    let begin = bytes[..bytes.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap() + 1;
    let mut zeros = bytes.clone();
    zeros[begin + 40..].fill(0);
    let mut hole = bytes.clone();
    hole[begin + 40..bytes.len() - 9].fill(0);
    for torn in (begin..bytes.len()).map(|length| bytes[..length].to_vec()).chain([zeros, hole]) {
        fs::write(&path, &torn).unwrap();
        let OpenedCheckpoints { checkpoints, report } = FileCheckpoints::open(root.path()).unwrap();
        let mut expected = vec![0, 1];
        match report.tail {
            Tail::Whole => assert_eq!(torn.len(), begin),
            Tail::Unended { line, .. } => {
                assert_eq!((line, torn.len() + 1), (3, bytes.len()));
                expected.push(2);
            }
            Tail::Torn { line, offset, bytes, .. } => {
                assert_eq!((line, offset, bytes), (3, begin as u64, (torn.len() - begin) as u64));
            }
        }
        assert_eq!((&report.damaged, sizes(&checkpoints.all().unwrap())), (&Vec::new(), expected.clone()));
        checkpoints.append(&sample(9)).unwrap();
        expected.push(9);
        assert_eq!(sizes(&FileCheckpoints::open(root.path()).unwrap().checkpoints.all().unwrap()), expected);
    }
}

#[test]
fn a_damaged_line_is_named_and_costs_no_other() {
    let (root, bytes) = filled(4);
    let path = root.path().join(CHECKPOINTS_FILE);
    let ends: Vec<_> = (0..bytes.len()).filter(|at| bytes[*at] == b'\n').collect();
    let mut named = 0;
    for at in 0..=ends[2] {
        let line = ends.iter().position(|end| at <= *end).unwrap();
        let mut flipped = bytes.clone();
        flipped[at] ^= 1 << (at % 7);
        fs::write(&path, &flipped).unwrap();
        let OpenedCheckpoints { checkpoints, report } = FileCheckpoints::open(root.path()).unwrap();
        // A flipped line feed makes one bad line of two good ones, a flip that makes one makes two bad ones of one.
        let joined = at == ends[line];
        let kept: Vec<u64> =
            (0..4).filter(|size| *size != line as u64 && !(joined && *size == line as u64 + 1)).collect();
        assert_eq!(sizes(&checkpoints.all().unwrap()), kept, "byte {at}");
        assert_eq!((&report.damaged[0].file, report.damaged[0].line), (&path, line as u64 + 1), "byte {at}");
        assert!(matches!(report.tail, Tail::Whole | Tail::Torn { .. }), "byte {at}");
        assert_eq!(fs::read(&path).unwrap(), flipped, "what is damaged is left for a person to see");
        named += 1;
    }
    assert!(named > 700, "{named}");
}

#[test]
fn a_line_too_long_for_any_checkpoint_is_one_damaged_line() {
    let (root, bytes) = filled(2);
    let path = root.path().join(CHECKPOINTS_FILE);
    let long = [&bytes[..], &b"x".repeat(3 * crate::MAX_LINE_BYTES), b"\n", &bytes].concat();
    fs::write(&path, long).unwrap();
    let list = FileCheckpoints::open(root.path()).unwrap().checkpoints.all().unwrap();
    assert_eq!(sizes(&list), [0, 1, 0, 1]);
    assert_eq!(list.damaged, [CheckpointDamage { file: path, line: 3, source: CheckpointFault::Form }]);
}

#[test]
fn faults_are_told_apart() {
    let (root, _) = filled(1);
    let path = root.path().join(CHECKPOINTS_FILE);
    let good = encode(&sample(1));
    let text = String::from_utf8(good.clone()).unwrap();
    assert_eq!(decode(&good).unwrap().note, sample(1));
    assert_eq!(decode(text.replace("\":\"dash", "\": \"dash").as_bytes()), Err(CheckpointFault::Form));
    assert_eq!(decode(text.replace("{\"sha", "{\"by\":1,\"sha").as_bytes()), Err(CheckpointFault::Form));
    let changed = decode(text.replace("conformance", "conformanse").as_bytes());
    assert!(matches!(changed, Err(CheckpointFault::Hash { .. })), "{changed:?}");
    assert!(matches!(decode(&encode("text\n\n")), Err(CheckpointFault::Note(_))));
    fs::remove_file(path).unwrap();
    assert!(!FileCheckpoints::open(root.path()).unwrap().report.present);
}

/// Opens, keeps some, opens again and keeps more; collects what was acknowledged. False after a failure.
fn live(disk: &Arc<FailingDisk>, directory: &Path, acknowledged: &mut Vec<u64>) -> bool {
    for start in [0, 10] {
        let opened = catch_unwind(AssertUnwindSafe(|| FileCheckpoints::open_on(disk.clone(), directory)));
        let Ok(Ok(opened)) = opened else { return false };
        for size in start..start + 3 {
            let result = catch_unwind(AssertUnwindSafe(|| opened.checkpoints.append(&sample(size))));
            if !matches!(result, Ok(Ok(()))) {
                let again = opened.checkpoints.append(&sample(99));
                assert!(matches!(again, Err(KeepError::Poisoned)), "{again:?}");
                assert_eq!(sizes(&opened.checkpoints.all().unwrap()), *acknowledged, "reads go on");
                return false;
            }
            acknowledged.push(size);
        }
    }
    true
}

#[test]
fn failing_any_operation_loses_nothing_acknowledged() {
    let root = tempfile::tempdir().unwrap();
    let directory = |name: &str| {
        let directory = root.path().join(name);
        fs::create_dir(&directory).unwrap();
        directory
    };
    let counting = Arc::new(FailingDisk::new(None, Failure::Nothing));
    let mut whole = Vec::new();
    assert!(live(&counting, &directory("whole"), &mut whole));
    assert_eq!(whole, [0, 1, 2, 10, 11, 12]);
    let mut cases = 0;
    for failure in [Failure::Nothing, Failure::Half, Failure::Lie, Failure::Panic] {
        for (at, power) in (0..counting.done()).flat_map(|at| [(at, true), (at, false)]) {
            let directory = directory(&format!("{failure:?}-{at}-{power}"));
            let disk = Arc::new(FailingDisk::new(Some(at), failure));
            let mut acknowledged = Vec::new();
            assert!(!live(&disk, &directory, &mut acknowledged), "{failure:?} at {at} was noticed");
            if !power {
                disk.lose_power();
            }
            let OpenedCheckpoints { checkpoints, report } = FileCheckpoints::open(&directory).unwrap();
            let found = sizes(&checkpoints.all().unwrap());
            let case = format!("{failure:?} at {at}, power {power}");
            assert!(found.starts_with(&acknowledged) && whole.starts_with(&found), "{case}: {found:?}");
            assert_eq!(report.damaged, [], "{case}");
            checkpoints.append(&sample(20)).unwrap();
            cases += 1;
        }
    }
    assert!(cases > 100, "{cases}");
}
