//! Starts: with the store, without it, and with one that has not seen the last entries.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use dashwright_engine::{DRAFT_CREATE, DRAFT_EDIT, DraftCreate, DraftEdit};
use dashwright_log::{FileLog, FileOptions, Head, Log};
use dashwright_store::Store;

use crate::figures::Figures;
use crate::{Outcome, ground, process};

/// Warm starts; the median of them is told by their times.
const STARTS: usize = 5;

/// Vehicle lines of a dataset that is so small that the process itself is what takes memory.
const SMALL_LINES: u64 = 150;

/// Entries that the store has not seen.
const UNSEEN: u64 = 100;

/// Starts on the dataset, and on copies of it that lack something.
pub(crate) fn measure(kept: &Path, scratch: &Path, figures: &mut Figures) -> Outcome<()> {
    figures.add("log_megabytes", megabytes(ground::bytes(&kept.join("log"))?));
    figures.add("store_megabytes", megabytes(ground::bytes(&kept.join("store"))?));
    let mut warm = Vec::new();
    for _ in 0..STARTS {
        warm.push(process::ask("start", kept, 0)?);
    }
    warm.sort_by(|one, other| one.get("seconds").total_cmp(&other.get("seconds")));
    let warm = warm.swap_remove(STARTS / 2);

    let small = scratch.join("small");
    process::ask("load", &small, SMALL_LINES)?;
    let small = process::ask("start", &small, 0)?;
    let further = |name| warm.get(name) - small.get(name);
    let per_line = further("resident_megabytes") * 1e6 / further("records");
    figures.add_all("start_warm", warm);
    figures.add("resident_bytes_per_further_line", per_line);

    with_losses(kept, scratch, figures)
}

/// Starts on copies of the dataset whose store has not seen the last entries, or is gone.
fn with_losses(kept: &Path, scratch: &Path, figures: &mut Figures) -> Outcome<()> {
    let copy = scratch.join("starts");
    ground::copy(kept, &copy)?;
    leave_behind(&copy)?;
    figures.add_all("start_100_behind", process::ask("start", &copy, 0)?);
    std::fs::remove_dir_all(copy.join("store"))?;
    figures.add_all("start_without_store", process::ask("start", &copy, 0)?);
    figures.add("store_rebuilt_megabytes", megabytes(ground::bytes(&copy.join("store"))?));
    Ok(std::fs::remove_dir_all(copy)?)
}

/// The role of a start.
pub(crate) fn serve(directory: PathBuf) -> Outcome<()> {
    let mut figures = Figures::default();
    let begin = Instant::now();
    let store = Store::open(&directory.join("store"))?.store;
    let known = store.applied().unwrap_or(Head::EMPTY);
    let store_opened = begin.elapsed();
    let opened = FileLog::open_trusting(&directory, known, FileOptions::default())?;
    let log_opened = begin.elapsed() - store_opened;
    let (engine, report) = ground::start(&directory, Arc::new(opened.log), store)?;
    figures.add("seconds", begin.elapsed().as_secs_f64());
    figures.add("cpu_seconds", process::cpu_seconds()?);
    figures.add("store_open_seconds", store_opened.as_secs_f64());
    figures.add("log_open_seconds", log_opened.as_secs_f64());
    figures.add("log_verified_megabytes", megabytes(opened.report.verified_bytes));
    figures.add("replay_seconds", report.replay.as_secs_f64());
    figures.add("replayed", report.replayed as f64);
    figures.add("rebuilt", f64::from(u8::from(report.rebuilt.is_some())));
    figures.add("read_seconds", report.read.as_secs_f64());
    figures.add("compile_seconds", report.compile.as_secs_f64());
    figures.add("records", report.records as f64);
    figures.add("revision", engine.view().revision() as f64);
    figures.add("entries", engine.trail_size() as f64);
    figures.add("peak_megabytes", megabytes(process::peak()?));
    figures.add("resident_megabytes", megabytes(process::resident()?));
    figures.tell()
}

/// Appends entries to the log that the store does not learn of.
fn leave_behind(directory: &Path) -> Outcome<()> {
    let log = FileLog::open(directory, FileOptions::default())?.log;
    let draft = "unseen".to_owned();
    let first = log.head().sequence.0 + 1;
    let create = DraftCreate { draft: draft.clone(), base_revision: 0 };
    let mut entries = vec![ground::entry("unseen", ground::time_of(first), DRAFT_CREATE, &create)?];
    for number in 1..UNSEEN {
        let line = ground::edited(ground::some_line()?, number);
        let puts = vec![serde_json::value::RawValue::from_string(line)?];
        let draft = draft.clone();
        let edit =
            DraftEdit { draft, puts, deletes: Vec::new(), keeps: Vec::new(), accepts: None, import: None };
        entries.push(ground::entry("unseen", ground::time_of(first + number), DRAFT_EDIT, &edit)?);
    }
    log.append_all(log.head(), entries)?;
    Ok(())
}

fn megabytes(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}
