//! The engine in process: what is served after loads, restarts, kills and damage.

mod as_of;
mod bulk;
mod drafts;
mod groups;
mod imports;
mod kept;
mod kills;
mod loads;
mod outcomes;
mod trail;
mod views;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

use dashwright_log::{Checkpoints, Log, MemoryCheckpoints, MemoryLog};
use dashwright_model::exchange::{self, ExchangeError, parse_line};
use dashwright_model::record::{Record, RecordKind};
use dashwright_store::Store;

use crate::keys::ServerSecret;
use crate::load::Pace;
use crate::start::start_at;
use crate::{
    Drafted, Engine, Ground, LoadError, Origin, Published, Put, StartError, StartReport, Surroundings,
    WriteError, initialise,
};

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

    fn random(&self) -> Option<[u8; 32]> {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&self.0.fetch_add(1, Ordering::Relaxed).to_be_bytes());
        Some(bytes)
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
    // Ids that no other start gives.
    static STARTS: AtomicU64 = AtomicU64::new(1);
    let first = 1_000_000 * STARTS.fetch_add(1, Ordering::Relaxed);
    start_with_ids(log, store, first)
}

fn start_with_ids(log: Arc<dyn Log>, store: &Path, first: u64) -> Result<(Engine, StartReport), StartError> {
    start_on_ground(log, store, first, Arc::new(MemoryCheckpoints::new()))
}

fn start_on_ground(
    log: Arc<dyn Log>,
    store: &Path,
    first: u64,
    checkpoints: Arc<dyn Checkpoints>,
) -> Result<(Engine, StartReport), StartError> {
    let ground = Ground {
        log,
        store: Store::open(store).unwrap().store,
        checkpoints,
        signer: None,
        key_secret: ServerSecret::new([7; 32]),
        surroundings: Arc::new(Fixed(AtomicU64::new(first))),
    };
    start_at(ground, PACE)
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

/// Puts records into a draft, over whatever is there.
fn put_over(
    engine: &Engine,
    request: Option<&str>,
    draft: &str,
    records: &[Record],
) -> Result<Drafted, WriteError> {
    let puts = records.iter().cloned().map(Put::over).collect();
    engine.edit_draft(&origin(request), draft, puts, vec![], false)
}

/// What a reader can tell of a view.
fn seen(engine: &Engine) -> (u64, String, Vec<(String, u64)>) {
    let view = engine.view();
    let records = RecordKind::ALL.iter().flat_map(|kind| view.snapshot().records(*kind));
    let records = records.map(|kept| (kept.text.to_string(), kept.revision)).collect();
    (view.revision(), view.content_hash().to_string(), records)
}
