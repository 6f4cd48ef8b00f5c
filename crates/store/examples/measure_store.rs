//! Prints how fast the log and the store are on this machine: `cargo run --release -p dashwright-store --example measure_store`.

use std::error::Error;
use std::path::Path;
use std::time::{Duration, Instant};

use dashwright_log::{FileLog, FileOptions, Head, Log, NewEntry, Sequence};
use dashwright_store::{Changes, Space, Store};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// The size of dataset that a start-up is measured with, and the size of one record.
const RECORDS: u64 = 150_000;
const RECORD_BYTES: usize = 400;

const RECORDS_PER_ENTRY: u64 = 500;
const ENTRIES_PER_BATCH: usize = 20;
const SINGLE_APPENDS: u32 = 300;

fn main() -> Result<()> {
    // In the working directory, because the directory for temporary files may be in memory.
    let root = tempfile::tempdir_in(".")?;
    measure_log(&root.path().join("data"))?;
    measure_store(&root.path().join("store"))
}

fn measure_log(directory: &Path) -> Result<()> {
    let log = FileLog::create(directory, FileOptions::default())?;
    let mut head = Head::EMPTY;
    let mut times = Vec::new();
    for place in 0..SINGLE_APPENDS {
        let entry = entry(&format!("\"{}\"", "x".repeat(place as usize)))?;
        let begin = Instant::now();
        head = log.append(head, entry)?.head();
        times.push(begin.elapsed());
    }
    println!("append, synchronised: {}", spread(times));

    let payload =
        format!("[\"{}\"]", vec!["r".repeat(RECORD_BYTES); RECORDS_PER_ENTRY as usize].join("\",\""));
    let begin = Instant::now();
    let mut bytes = 0;
    let mut left = 3 * RECORDS / RECORDS_PER_ENTRY;
    while left > 0 {
        let batch = (left as usize).min(ENTRIES_PER_BATCH);
        let entries = (0..batch).map(|_| entry(&payload)).collect::<Result<Vec<_>>>()?;
        let stored = log.append_all(head, entries)?;
        bytes += stored.iter().map(|stored| stored.bytes.len()).sum::<usize>();
        head = stored.last().map_or(head, dashwright_log::StoredEntry::head);
        left -= batch as u64;
    }
    println!("append in batches: {}", rate(bytes, begin.elapsed()));
    let small = (0..20_000).map(|_| entry("{\"a\":1}")).collect::<Result<Vec<_>>>()?;
    let begin = Instant::now();
    let count = small.len();
    let stored = log.append_all(head, small)?;
    head = stored.last().map_or(head, dashwright_log::StoredEntry::head);
    println!("append {count} small entries in one batch: {:?}", begin.elapsed());
    drop(log);

    let begin = Instant::now();
    let opened = FileLog::open(directory, FileOptions::default())?;
    println!("open, all verified: {}", rate(usize::try_from(opened.report.verified_bytes)?, begin.elapsed()));
    drop(opened);
    let begin = Instant::now();
    let opened = FileLog::open_trusting(directory, head, FileOptions::default())?;
    println!("open, trusting: {:?} for {} bytes", begin.elapsed(), opened.report.verified_bytes);
    let begin = Instant::now();
    let (mut next, mut bytes) = (Sequence::FIRST, 0);
    loop {
        let read = opened.log.read_from(next, 10_000)?;
        let Some(last) = read.last() else { break };
        next = last.entry.sequence.next();
        bytes += read.iter().map(|stored| stored.bytes.len()).sum::<usize>();
    }
    println!("read and decode: {}", rate(bytes, begin.elapsed()));
    Ok(())
}

fn measure_store(directory: &Path) -> Result<()> {
    let store = Store::open(directory)?.store;
    let mut sequence = 0;
    for (name, size) in
        [("in batches of 1,000", 1_000), ("once more", 1_000), ("once more in one batch", RECORDS)]
    {
        let begin = Instant::now();
        for first in (0..RECORDS).step_by(usize::try_from(size)?) {
            sequence += 1;
            store.apply(head(sequence), &records(first..first + size))?;
        }
        println!("store, {RECORDS} records {name}: {:?}", begin.elapsed());
    }
    let begin = Instant::now();
    store.flush()?;
    println!("store, flush after that: {:?}", begin.elapsed());
    println!("store, size on disk: {} MB", store.size_on_disk()? / 1_000_000);
    let mut changes = Changes::new();
    changes.put(Space::Record, "one", "record");
    let mut times = Vec::new();
    for more in 1..=1_000 {
        let begin = Instant::now();
        store.apply(head(sequence + more), &changes)?;
        times.push(begin.elapsed());
    }
    println!("store, one small entry: {}", spread(times));
    scan(&store, "warm")?;
    drop(store);
    let begin = Instant::now();
    let store = Store::open(directory)?.store;
    println!("store, open: {:?}", begin.elapsed());
    scan(&store, "after opening")
}

fn records(range: std::ops::Range<u64>) -> Changes {
    let mut changes = Changes::new();
    for record in range {
        let value = format!("{record:0>width$}", width = RECORD_BYTES);
        changes.put(Space::Record, format!("vehicle/{record:08}"), value);
    }
    changes
}

fn scan(store: &Store, name: &str) -> Result<()> {
    let begin = Instant::now();
    let mut bytes = 0;
    store.for_each(Space::Record, |key, value| bytes += key.len() + value.len())?;
    println!(
        "store, all {} records, {name}: {:?} for {bytes} bytes",
        store.count(Space::Record),
        begin.elapsed()
    );
    Ok(())
}

fn entry(payload: &str) -> Result<NewEntry> {
    Ok(NewEntry {
        time: "2026-01-31T09:05:00Z".to_owned(),
        actor: "measure".to_owned(),
        reason: String::new(),
        request_id: None,
        kind: "draft.edit".parse()?,
        payload: serde_json::value::RawValue::from_string(payload.to_owned())?,
    })
}

fn head(sequence: u64) -> Head {
    Head { sequence: Sequence(sequence), digest: dashwright_log::Digest::ZERO }
}

fn rate(bytes: usize, time: Duration) -> String {
    format!("{:.0} MB/s ({} MB in {time:?})", bytes as f64 / 1e6 / time.as_secs_f64(), bytes / 1_000_000)
}

fn spread(mut times: Vec<Duration>) -> String {
    times.sort_unstable();
    let at = |percent: usize| times.get((times.len() - 1) * percent / 100).copied().unwrap_or_default();
    format!("p50 {:?}, p90 {:?}, p99 {:?}, most {:?}", at(50), at(90), at(99), at(100))
}
