//! Prints how long a load and a start take, and how much memory a start leaves:
//! `cargo run --release -p dashwright-engine --example measure_engine [LINES]`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use dashwright_engine::keys::ServerSecret;
use dashwright_engine::{Engine, Freshness, Ground, Origin, StartReport, Surroundings, initialise, start};
use dashwright_log::{FileCheckpoints, FileLog, FileOptions, Head};
use dashwright_model::exchange::{self, ExchangeError};
use dashwright_model::record::Record;
use dashwright_store::Store;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

const LINES: u32 = 150_000;
const MAKES: u32 = 50;
const YEARS: u32 = 30;
const DASHES: u32 = 120;
const AUDIOS: u32 = 240;
const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

/// Each phase runs in a process of its own, so that one does not leave memory to the next.
fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let texts: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match texts.as_slice() {
        ["load", lines, directory] => load(lines.parse()?, Path::new(directory)),
        ["change", directory] => change(Path::new(directory)),
        ["start", directory] => restart(Path::new(directory)),
        rest => all(rest.first().map_or(Ok(LINES), |lines| lines.parse())?),
    }
}

fn all(lines: u32) -> Result<()> {
    // In the working directory, because the directory for temporary files may be in memory.
    let root = tempfile::tempdir_in(".")?;
    let data = root.path().join("data").to_string_lossy().into_owned();
    let run = |arguments: &[&str]| -> Result<()> {
        println!("— {}", arguments.first().unwrap_or(&""));
        let ended = Command::new(std::env::current_exe()?).args(arguments).arg(&data).status()?;
        if ended.success() { Ok(()) } else { Err("a phase failed".into()) }
    };
    run(&["load", &lines.to_string()])?;
    run(&["start"])?;
    run(&["start"])?;
    run(&["change"])?;
    run(&["start"])?;
    std::fs::remove_dir_all(store_of(Path::new(&data)))?;
    println!("(without its store)");
    run(&["start"])?;
    run(&["start"])
}

fn load(lines: u32, data: &Path) -> Result<()> {
    let log = FileLog::create(data, FileOptions::default())?;
    let surroundings = Arc::new(Counted::default());
    initialise(&log, &*surroundings, &origin())?;
    drop(log);
    let (engine, _) = open(data)?;
    let begin = Instant::now();
    let mut first_staged = None;
    let published = engine.load(dataset(lines), &origin(), |_| {
        first_staged.get_or_insert_with(|| begin.elapsed());
    })?;
    let (whole, checked) = (begin.elapsed(), first_staged.unwrap_or_default());
    println!("loaded {} records in {whole:?}, the first were durable after {checked:?}", published.records);
    print_sizes(data, &engine)?;
    print_memory(&engine)
}

/// Loads a hundred changed lines ten times and reads the first revision again.
fn change(data: &Path) -> Result<()> {
    let (engine, _) = open(data)?;
    let first = engine.view().token();
    let begin = Instant::now();
    let lines = u32::try_from(engine.view().snapshot().lines().len())?;
    for round in 0..10 {
        let changed = (0..100)
            .map(|number| parsed(&vehicle(number * (lines / 100), &format!("changed in round {round}"))));
        engine.load(changed, &origin(), |_| ())?;
    }
    println!("ten loads of 100 lines: {:?}", begin.elapsed());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
    for name in ["cold", "kept"] {
        let begin = Instant::now();
        let deadline = begin + Duration::from_secs(60);
        let view = runtime.block_on(engine.view_at(Freshness::Exactly(first), deadline))?;
        println!(
            "revision {} of {} again, {name}: {:?}",
            view.revision(),
            engine.view().revision(),
            begin.elapsed()
        );
    }
    Ok(())
}

fn restart(data: &Path) -> Result<()> {
    let begin = Instant::now();
    let (engine, report) = open(data)?;
    let StartReport { rebuilt, replayed, records, replay, read, compile } = &report;
    println!("started in {:?}: {records} records, revision {}", begin.elapsed(), engine.view().revision());
    println!("  replay {replay:?} of {replayed} entries, read {read:?}, compile {compile:?}");
    if let Some(cause) = rebuilt {
        println!("  filled anew: {cause}");
    }
    print_memory(&engine)
}

fn open(data: &Path) -> Result<(Engine, StartReport)> {
    let begin = Instant::now();
    let store = Store::open(&store_of(data))?.store;
    let opened = begin.elapsed();
    let known = store.applied().unwrap_or(Head::EMPTY);
    let log = FileLog::open_trusting(data, known, FileOptions::default())?.log;
    println!("  store opened in {opened:?}, log in {:?}", begin.elapsed().saturating_sub(opened));
    Ok(start(Ground {
        log: Arc::new(log),
        store,
        checkpoints: Arc::new(FileCheckpoints::open(data)?.checkpoints),
        signer: None,
        key_secret: ServerSecret::new([0; 32]),
        surroundings: Arc::new(Counted::default()),
    })?)
}

fn store_of(data: &Path) -> PathBuf {
    data.with_file_name("store")
}

fn dataset(lines: u32) -> impl Iterator<Item = std::result::Result<Record, ExchangeError>> {
    let makes = (0..MAKES).map(|number| vocabulary(&format!("make-{number}"), r#""MAKE""#));
    let family = [vocabulary("family", r#"{"PLUG_FAMILY":{}}"#)];
    let dashes = (0..DASHES).map(|number| {
        format!(r#"{{"dash":{{"id":"dash-{number}","title":"Dash {number}","opening":{{"class":"ONE_DIN"}},"held_by":["CLIPS"],{EVIDENCE}}}}}"#)
    });
    let audios = (0..AUDIOS).map(|number| {
        format!(r#"{{"factory_audio":{{"id":"audio-{number}","title":"Audio {number}","amplifier":{{"feed":"NONE"}},"plugs":[{{"family":"family","ways_count":1,"ways":[{{"way":"1","function":"BATTERY"}}]}}],"circuits":[],"features":{{}},{EVIDENCE}}}}}"#)
    });
    let vehicles = (0..lines).map(|number| vehicle(number, "the trim plate is clipped, not screwed"));
    makes.chain(family).chain(dashes).chain(audios).chain(vehicles).map(|line| parsed(&line))
}

fn vocabulary(id: &str, of: &str) -> String {
    format!(r#"{{"vocabulary":{{"id":"{id}","of":{of},"name":"Name of {id}",{EVIDENCE}}}}}"#)
}

fn vehicle(number: u32, note: &str) -> String {
    let (model, year) = (number / YEARS, 1990 + number % YEARS);
    let (make, dash, audio) = (model % MAKES, model % DASHES, number % (AUDIOS - 1));
    let option = |code: &str, audio: u32| {
        format!(
            r#"{{"code":"{code}","title":"Option {code}","how_to_tell":"the button beside the dial says {code}","audio":"audio-{audio}"}}"#
        )
    };
    let options = format!("[{},{}]", option("A1", audio), option("B2", audio + 1));
    format!(
        r#"{{"vehicle":{{"id":"line-{number:07}","make":"make-{make}","model":"Model {model}","years":{{"from":{year},"to":{year}}},"trims":"ALL","market":"North","drive_side":"LEFT","dash":"dash-{dash}","audio_options":{options},"note":"{note}",{EVIDENCE}}}}}"#
    )
}

fn parsed(line: &str) -> std::result::Result<Record, ExchangeError> {
    exchange::parse_line(line.as_bytes(), 0)
}

fn origin() -> Origin {
    Origin { actor: "measure".to_owned(), reason: String::new(), request_id: None }
}

fn print_sizes(data: &Path, engine: &Engine) -> Result<()> {
    let text: usize = dashwright_model::RecordKind::ALL
        .iter()
        .flat_map(|kind| engine.view().snapshot().records(*kind).to_vec())
        .map(|kept| kept.text.len())
        .sum();
    let (log, store) = (size(data)?, size(&store_of(data))?);
    println!(
        "{} MB of records, log {} MB, store {} MB",
        text / 1_000_000,
        log / 1_000_000,
        store / 1_000_000
    );
    Ok(())
}

fn print_memory(engine: &Engine) -> Result<()> {
    let lines = engine.view().snapshot().lines().len() as u64;
    let status = std::fs::read_to_string("/proc/self/status")?;
    let kib = |name: &str| -> u64 {
        let line = status.lines().find_map(|line| line.strip_prefix(name));
        line.and_then(|rest| rest.split_whitespace().nth(1)?.parse().ok()).unwrap_or(0)
    };
    let (now, most) = (kib("VmRSS"), kib("VmHWM"));
    println!(
        "  memory {} MiB, {} bytes a line; at most {} MiB",
        now / 1024,
        now * 1024 / lines.max(1),
        most / 1024
    );
    Ok(())
}

fn size(directory: &Path) -> Result<u64> {
    let mut bytes = 0;
    for entry in std::fs::read_dir(directory)? {
        let entry = entry?;
        bytes += if entry.file_type()?.is_dir() { size(&entry.path())? } else { entry.metadata()?.len() };
    }
    Ok(bytes)
}

/// Ids that count from the time at which the process began.
struct Counted(std::sync::atomic::AtomicU64, std::time::SystemTime);

impl Default for Counted {
    fn default() -> Counted {
        Counted(0.into(), std::time::SystemTime::now())
    }
}

impl Surroundings for Counted {
    fn now(&self) -> String {
        "2026-01-31T09:05:00Z".to_owned()
    }

    fn new_id(&self) -> String {
        let since = self.1.duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
        format!("{}-{}", since.as_nanos(), self.0.fetch_add(1, std::sync::atomic::Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        // No key is made here.
        None
    }
}
