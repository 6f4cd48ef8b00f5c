//! Appending: the latency of an edit beside that of the bare disk, edits in a second, publishes, loads.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Barrier};
use std::time::{Duration, Instant};

use dashwright_engine::{Conditions, Engine, Put};
use dashwright_log::{FileLog, FileOptions, Log, Sequence};
use dashwright_model::exchange::parse_line;
use dashwright_model::record::Record;

use crate::figures::{Figures, Times};
use crate::{Outcome, Size, ground, process};

/// Writers at once.
const WRITERS: [usize; 3] = [1, 8, 64];
/// Publishes of one small edit each.
const PUBLISHES: usize = 5;

/// Appends to a copy of the dataset.
pub(crate) fn measure(kept: &Path, scratch: &Path, size: Size, figures: &mut Figures) -> Outcome<()> {
    let copy = scratch.join("appends");
    ground::copy(kept, &copy)?;
    let (engine, _) = ground::open(&copy)?;
    latency(&engine, &copy, size.rounds * 5, figures)?;
    for writers in WRITERS {
        let rate = rate(&engine, writers, size.writing)?;
        figures.add(format!("edits_per_second_of_{writers}_writers"), rate);
    }
    drop(engine);
    figures.add_all("publish", process::ask("publish", &copy, 0)?);
    std::fs::remove_dir_all(copy)?;
    let loaded = scratch.join("loaded");
    figures.add_all("load", process::ask("load", &loaded, size.lines as u64)?);
    Ok(std::fs::remove_dir_all(loaded)?)
}

/// Edits and bare writes of the same bytes to the same file system in turns, so that a slow moment of the disk meets both.
fn latency(engine: &Engine, directory: &Path, rounds: usize, figures: &mut Figures) -> Outcome<()> {
    let draft = engine.create_draft(&ground::origin())?.id;
    let mut bare = OpenOptions::new().append(true).create_new(true).open(directory.join("bare"))?;
    let (mut edits, mut writes) = (Times::default(), Times::default());
    for round in 0..rounds {
        let records = [record(round as u64)?];
        edits.take(|| Ok(engine.edit_draft(&ground::origin(), &draft, puts(&records), vec![], false)?))?;
        let stored = engine.log().read_from(Sequence(engine.trail_size()), 1)?;
        let mut line = stored.first().ok_or("no entry")?.line();
        line.push(b'\n');
        writes.take(|| {
            bare.write_all(&line)?;
            Ok(bare.sync_data()?)
        })?;
    }
    engine.discard_draft(&ground::origin(), &draft)?;
    figures.add_times("edit", &mut edits);
    figures.add_times("bare_write", &mut writes);
    for (name, part) in [("p50", 0.5), ("p90", 0.9), ("p99", 0.99)] {
        figures.add(
            format!("edit_over_bare_write_{name}"),
            edits.microseconds(part) / writes.microseconds(part),
        );
    }
    Ok(())
}

/// Edits in a second, each acknowledged before its writer makes the next.
fn rate(engine: &Engine, writers: usize, time: Duration) -> Outcome<f64> {
    let (done, over) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicBool::new(false)));
    let begin = Arc::new(Barrier::new(writers + 1));
    let threads: Vec<_> = (0..writers)
        .map(|_| {
            let (engine, done, over) = (engine.clone(), Arc::clone(&done), Arc::clone(&over));
            let begin = Arc::clone(&begin);
            std::thread::spawn(move || -> Outcome<()> {
                let draft = engine.create_draft(&ground::origin())?.id;
                begin.wait();
                while !over.load(Ordering::Relaxed) {
                    let records = [record(done.fetch_add(1, Ordering::Relaxed))?];
                    engine.edit_draft(&ground::origin(), &draft, puts(&records), vec![], false)?;
                }
                engine.discard_draft(&ground::origin(), &draft)?;
                Ok(())
            })
        })
        .collect();
    begin.wait();
    let began = Instant::now();
    // sleep: the rate is that over a stretch of time, there is no event to wait for.
    std::thread::sleep(time);
    let (count, seconds) = (done.load(Ordering::Relaxed), began.elapsed().as_secs_f64());
    over.store(true, Ordering::Relaxed);
    for thread in threads {
        thread.join().map_err(|_| "a writer panicked")??;
    }
    Ok(count as f64 / seconds)
}

pub(crate) fn puts(records: &[Record]) -> Vec<Put> {
    records.iter().cloned().map(Put::over).collect()
}

/// The role that publishes small edits.
pub(crate) fn publish(directory: PathBuf) -> Outcome<()> {
    let mut figures = Figures::default();
    let (engine, _) = ground::open(&directory)?;
    let cpu = process::cpu_seconds()?;
    let mut times = Times::default();
    for round in 0..PUBLISHES {
        let draft = engine.create_draft(&ground::origin())?.id;
        // A number that no earlier edit had.
        let records = [record(1_000_000 + round as u64)?];
        engine.edit_draft(&ground::origin(), &draft, puts(&records), vec![], false)?;
        times.take(|| Ok(engine.publish_draft(&ground::origin(), &draft, &Conditions::default())?))?;
    }
    figures.add("cpu_seconds", (process::cpu_seconds()? - cpu) / PUBLISHES as f64);
    figures.add("p50_seconds", times.microseconds(0.5) / 1e6);
    figures.add("peak_megabytes", process::peak()? as f64 / 1e6);
    figures.tell()
}

/// The role that loads so many generated lines into a directory of its own.
pub(crate) fn load(directory: PathBuf, lines: u64) -> Outcome<()> {
    let mut figures = Figures::default();
    let log: Arc<dyn Log> = Arc::new(FileLog::create(&directory, FileOptions::default())?);
    ground::begin(&*log)?;
    let (engine, _) = ground::start_on(&directory, log)?;
    let records: Vec<Record> = dashwright_demo::scaled(usize::try_from(lines)?).collect();
    let count = records.len() as f64;
    let (began, mut first) = (Instant::now(), None);
    engine.load(records.into_iter().map(Ok::<_, std::io::Error>), &ground::origin(), |_| {
        first.get_or_insert_with(|| began.elapsed());
    })?;
    let seconds = began.elapsed().as_secs_f64();
    figures.add("seconds", seconds);
    figures.add("cpu_seconds", process::cpu_seconds()?);
    figures.add("records_per_second", count / seconds);
    let checked = first.unwrap_or_default().as_secs_f64();
    figures.add("checked_and_compiled_after_seconds", checked);
    figures.add("peak_megabytes", process::peak()? as f64 / 1e6);
    figures.tell()
}

/// A record that differs with the number.
pub(crate) fn record(number: u64) -> Outcome<Record> {
    Ok(parse_line(ground::edited(ground::some_line()?, number).as_bytes(), 1)?)
}
