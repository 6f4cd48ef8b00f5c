//! Kills at random moments of a load: the dataset is then the one before or the one after, and never less than was said.

use std::path::{Path, PathBuf};
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

use dashwright_model::exchange::to_line;
use dashwright_tests::binary::{Line, Process};
use tempfile::TempDir;

use crate::serving::info;

/// Each with a point of its own at which the process is killed.
const ROUNDS: u64 = 18;
/// Lines on top of the catalogue's: enough for several edits, few enough for a round of about a second.
const GENERATED_LINES: usize = 2_000;
/// How long a load may take before the test gives up on it.
const PATIENCE: Duration = Duration::from_secs(120);
/// How often it is looked at how far a load is.
const LOOK_EVERY: Duration = Duration::from_micros(200);

/// When the process is killed.
#[derive(Clone, Copy, Debug)]
enum Point {
    /// When its files have this many bytes.
    Bytes(u64),
    /// This many looks after it has said that the records are loaded.
    Said(u64),
}

/// A file of records, and the data directories of the rounds.
struct Bench {
    root: TempDir,
    file: String,
}

impl Bench {
    fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let lines = dashwright_demo::scaled(GENERATED_LINES).map(|record| to_line(&record).unwrap() + "\n");
        let file = root.path().join("records.jsonl");
        std::fs::write(&file, lines.collect::<String>()).unwrap();
        Self { file: file.to_str().unwrap().to_owned(), root }
    }

    fn data(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    fn serve(&self, data: &Path, more: &[&str]) -> Process {
        let common =
            ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0", "--log-format", "json"];
        Process::start(&[&common[..], more].concat()).unwrap()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kill_during_a_load_leaves_all_or_nothing_and_loses_nothing_that_was_said() {
    let bench = Bench::new();
    let load = ["--load", bench.file.as_str()];
    let from_nothing = ["--init", "--load", bench.file.as_str()];

    let data = bench.data("whole");
    let mut server = bench.serve(&data, &from_nothing);
    let (_, address) = server.serving().unwrap();
    let whole = info(&address).await;
    server.kill().unwrap();
    let (log, all) = (size(&data.join("log")), size(&data));

    // The seed is fixed: a failure can be repeated, as far as the moments of processes can.
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let (mut before, mut after) = (0, 0);
    for round in 0..ROUNDS {
        let point = match round % 3 {
            0 => Point::Bytes(random.below(log)),
            // About here the last edits, the publish and the writing of the store take turns.
            1 => Point::Bytes(log + random.below(all.saturating_sub(log).max(1))),
            _ => Point::Said(random.below(40)),
        };
        let data = bench.data(&format!("round-{round}"));
        let said = killed_at(bench.serve(&data, &from_nothing), &data, point);
        let place = format!("round {round}, {point:?}, {}", if said { "said" } else { "not said" });

        let mut server = bench.serve(&data, &[]);
        let (revision, again) = match server.serving() {
            Ok((revision, address)) if revision == 1 => {
                let found = info(&address).await;
                assert_eq!(
                    found.revision.unwrap().content_hash,
                    whole.revision.clone().unwrap().content_hash,
                    "{place}"
                );
                assert_eq!(found.counts, whole.counts, "{place}");
                (revision, None)
            }
            Ok((revision, _)) => (revision, Some(&load[..])),
            // Killed before the dataset was begun.
            Err(_) => (0, Some(&from_nothing[..])),
        };
        drop(server);
        assert!(revision == 1 || !said, "{place}: it was said and is lost");
        println!("{place}: revision {revision}");
        (before, after) = if revision == 1 { (before, after + 1) } else { (before + 1, after) };
        if let Some(arguments) = again {
            let mut server = bench.serve(&data, arguments);
            let (revision, address) = server.serving().unwrap_or_else(|error| panic!("{place}: {error}"));
            let found = info(&address).await.revision.unwrap();
            assert_eq!(
                (revision, found.content_hash),
                (1, whole.revision.clone().unwrap().content_hash),
                "{place}"
            );
        }
        std::fs::remove_dir_all(&data).unwrap();
    }
    println!("{before} rounds ended before the load, {after} after it");
    // Otherwise the points were badly chosen, and the test has shown little.
    assert!(before >= 3 && after >= 3, "{before} rounds ended before the load, {after} after it");
}

/// Kills a process at a point of its load; whether it had said by then that the records are loaded.
fn killed_at(mut process: Process, data: &Path, point: Point) -> bool {
    let begin = Instant::now();
    let (mut said, mut looks) = (false, 0);
    loop {
        assert!(begin.elapsed() < PATIENCE, "the load does not come to {point:?}: {:?}", process.seen);
        match process.next_line(LOOK_EVERY) {
            Ok(line) => said |= is_acknowledged(&line),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => panic!("it ended by itself: {:?}", process.seen),
        }
        looks += u64::from(said);
        let reached = match point {
            Point::Bytes(bytes) => size(data) >= bytes || said,
            Point::Said(wanted) => said && looks > wanted,
        };
        if reached {
            return process.kill().unwrap().iter().any(is_acknowledged);
        }
    }
}

/// Whether a line says that revision 1 is loaded or served.
fn is_acknowledged(line: &Line) -> bool {
    match line {
        Line::Out(text) => text.starts_with("serving revision 1 "),
        Line::Err(text) => {
            let entry: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
            entry["message"] == "loaded" && entry["revision"] == 1
        }
    }
}

/// Bytes of the files below a directory; what vanishes meanwhile is not counted.
fn size(directory: &Path) -> u64 {
    let Ok(entries) = std::fs::read_dir(directory) else { return 0 };
    let one = |entry: std::fs::DirEntry| match entry.metadata() {
        Ok(found) if found.is_dir() => size(&entry.path()),
        Ok(found) => found.len(),
        Err(_) => 0,
    };
    entries.filter_map(Result::ok).map(one).sum()
}

/// Xorshift: the same numbers on every machine.
struct Random(u64);

impl Random {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % bound.max(1)
    }
}
