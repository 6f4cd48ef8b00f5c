//! The engine in process: what is served after loads, restarts, kills and damage.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use dashwright_log::{Log, MemoryLog, NewEntry, Sequence};
use dashwright_model::exchange::{ExchangeError, parse_line};
use dashwright_model::record::{Record, RecordKind};
use dashwright_store::Store;

use crate::load::Pace;
use crate::start::start_at;
use crate::{Engine, LoadError, Origin, Published, StartError, StartReport, Surroundings, initialise};

/// A clock that stands, and ids that count.
#[derive(Default)]
struct Fixed(AtomicU64);

impl Surroundings for Fixed {
    fn now(&self) -> String {
        "2026-01-31T09:05:00Z".to_owned()
    }

    fn new_id(&self) -> String {
        format!("id-{}", self.0.fetch_add(1, Ordering::Relaxed))
    }
}

/// Little at once, so that small datasets go through every step several times.
const PACE: Pace = Pace { edit_records: 3, edits_per_batch: 2, settled: 2 };

/// A log that was begun, and a place for its store.
struct Bench {
    log: Arc<MemoryLog>,
    root: tempfile::TempDir,
    surroundings: Arc<Fixed>,
}

impl Bench {
    fn new() -> Bench {
        let bench = Bench {
            log: Arc::new(MemoryLog::new()),
            root: tempfile::tempdir().unwrap(),
            surroundings: Arc::default(),
        };
        initialise(&*bench.log, &*bench.surroundings, &origin(None)).unwrap();
        bench
    }

    fn store(&self) -> PathBuf {
        self.root.path().join("store")
    }

    fn try_start(&self) -> Result<(Engine, StartReport), StartError> {
        start_on(Arc::clone(&self.log) as Arc<dyn Log>, &self.store())
    }

    fn start(&self) -> Engine {
        self.try_start().unwrap().0
    }
}

fn start_on(log: Arc<dyn Log>, store: &Path) -> Result<(Engine, StartReport), StartError> {
    let store = Store::open(store).unwrap().store;
    start_at(log, store, Arc::new(Fixed(AtomicU64::new(1_000))), PACE)
}

fn origin(request: Option<&str>) -> Origin {
    let (actor, reason) = ("curator".to_owned(), "test".to_owned());
    Origin { actor, reason, request_id: request.map(str::to_owned) }
}

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

fn record(kind: &str, fields: &str) -> Record {
    let line = format!("{{\"{kind}\":{{{fields},{EVIDENCE}}}}}");
    parse_line(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error}: {line}"))
}

fn vehicle(id: &str, year: u16) -> Record {
    let audio = r#""audio_options":[{"code":"B","title":"base","how_to_tell":"look","audio":"a"}]"#;
    let years = format!(r#""years":{{"from":{year},"to":{year}}},"trims":"ALL""#);
    record("vehicle", &format!(r#""id":"{id}","make":"m","model":"One","dash":"d",{audio},{years}"#))
}

/// A make, a plug family, a dash, an audio and seven vehicle lines.
fn dataset() -> Vec<Record> {
    let plugs = r#""plugs":[{"family":"f","ways_count":1,"ways":[{"way":"1","function":"BATTERY"}]}]"#;
    let audio = format!(
        r#""id":"a","title":"a","amplifier":{{"feed":"NONE"}},{plugs},"circuits":[],"features":{{}}"#
    );
    let mut records = vec![
        record("vocabulary", r#""id":"m","of":"MAKE","name":"M""#),
        record("vocabulary", r#""id":"f","of":{"PLUG_FAMILY":{}},"name":"F""#),
        record("dash", r#""id":"d","title":"d","opening":{"class":"ONE_DIN"},"held_by":["CLIPS"]"#),
        record("factory_audio", &audio),
    ];
    records.extend((0..7).map(|number| vehicle(&format!("v{number}"), 2000 + number)));
    records
}

/// Two lines of the dataset changed and one added.
fn more() -> Vec<Record> {
    vec![vehicle("v1", 2011), vehicle("v5", 2015), vehicle("w", 2020)]
}

fn load(
    engine: &Engine,
    records: Vec<Record>,
    request: Option<&str>,
) -> Result<Published, LoadError<ExchangeError>> {
    engine.load(records.into_iter().map(Ok), &origin(request), |_| ())
}

/// What a reader can tell of a view.
fn seen(engine: &Engine) -> (u64, String, Vec<(String, u64)>) {
    let view = engine.view();
    let records = RecordKind::ALL.iter().flat_map(|kind| view.snapshot().records(*kind));
    let records = records.map(|kept| (kept.text.to_string(), kept.revision)).collect();
    (view.revision(), view.content_hash().to_string(), records)
}

#[test]
fn a_restart_serves_the_same_revision() {
    let bench = Bench::new();
    let engine = bench.start();
    assert_eq!((engine.view().revision(), engine.view().snapshot().lines().len()), (0, 0));
    let published = load(&engine, dataset(), None).unwrap();
    assert_eq!((published.revision, published.changed, published.records), (1, 11, 11));
    assert_eq!(published.token, engine.view().token());
    assert_eq!(published.content_hash, engine.view().content_hash());
    let before = seen(&engine);
    drop(engine);
    let (engine, report) = bench.try_start().unwrap();
    assert_eq!(seen(&engine), before);
    assert!(report.rebuilt.is_none(), "{report:?}");
    assert_eq!((report.replayed, report.records), (0, 11));
}

#[test]
fn a_second_load_replaces_what_it_names_and_keeps_the_rest() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let mut again = more();
    again.push(vehicle("v2", 2002));
    let published = load(&engine, again, None).unwrap();
    assert_eq!((published.revision, published.changed, published.records), (2, 3, 12));
    let changed: Vec<_> = seen(&engine).2.into_iter().filter(|(_, revision)| *revision == 2).collect();
    assert_eq!(changed.len(), 3, "`v2` is what it was: {changed:?}");
    let before = seen(&engine);
    drop(engine);
    assert_eq!(seen(&bench.start()), before);
}

/// Copies the beginning of a log.
fn beginning(log: &MemoryLog, entries: u64) -> Arc<MemoryLog> {
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
