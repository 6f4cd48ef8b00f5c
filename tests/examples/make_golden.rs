//! Makes a data directory to be kept for good: `cargo run -p dashwright-tests --example make_golden -- DIR`.
//!
//! Three revisions of a few invented records, a draft that was thrown away, one key, signed checkpoints, and a backup beside
//! it. Clock, ids and chance are fixed, so that one version of the program makes the same bytes every time. It is run once
//! for a new format; what it has made before is never made again, because that is what a later version must still read.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use dashwright_engine::keys::{Role, ServerSecret};
use dashwright_engine::{
    Conditions, Delete, Engine, Ground, NewKey, Origin, Put, Surroundings, initialise, start,
};
use dashwright_log::{FileCheckpoints, FileLog, FileOptions, Sequence, Signer, TrailWriter};
use dashwright_model::exchange::parse_line;
use dashwright_model::record::Record;
use dashwright_store::Store;

type Outcome<T> = Result<T, Box<dyn Error>>;

/// What the revisions are made of; the README beside the directory tells them.
const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"a bench note","date":"2026-01-01"}"#;
const SEED: [u8; 32] = [0x67; 32];
const KEY_SECRET: [u8; 32] = [0x68; 32];

fn main() -> Outcome<()> {
    let place = std::env::args().nth(1).ok_or("where to?")?;
    let place = Path::new(&place);
    fs::create_dir(place)?;
    let data = place.join("data");
    let surroundings = Arc::new(Fixed(AtomicU64::new(0)));
    let log = FileLog::create(&data, FileOptions::default())?;
    initialise(&log, &*surroundings, &origin("begin"))?;
    drop(log);
    fs::write(data.join("key-secret"), hex(&KEY_SECRET) + "\n")?;
    fs::write(place.join("checkpoint-seed"), hex(&SEED) + "\n")?;
    let scratch = tempfile::tempdir()?;
    let engine = engine(&data, scratch.path(), surroundings)?;
    revisions(&engine)?;
    let key =
        NewKey { holder: "Ada".to_owned(), roles: [Role::Operator, Role::Auditor].into(), expires: None };
    let made = engine.create_key(&origin("the first key"), key)?;
    fs::write(place.join("ada.key"), made.text.ok_or("a key without text")?.reveal().to_owned() + "\n")?;
    backup(&engine, &place.join("backup"))?;
    drop(engine);
    // Whoever opens the directory makes these anew.
    fs::remove_file(data.join("LOCK"))?;
    Ok(())
}

fn revisions(engine: &Engine) -> Outcome<()> {
    let one = [
        record("vocabulary", r#""id":"hestrin","of":"MAKE","name":"Hestrin""#)?,
        record("vocabulary", r#""id":"quo-16","of":{"PLUG_FAMILY":{}},"name":"Quo 16""#)?,
        record("dash", r#""id":"low","title":"low dash","opening":{"class":"ONE_DIN"},"held_by":["CLIPS"]"#)?,
        record(
            "factory_audio",
            r#""id":"plain","title":"plain","amplifier":{"feed":"NONE"},"plugs":[{"family":"quo-16","ways_count":1,"ways":[{"way":"1","function":"BATTERY"}]}],"circuits":[],"features":{}"#,
        )?,
        vehicle("hestrin-ebba", "Ebba", 2004, 2006)?,
    ];
    publish(engine, "the first records", &one, &[])?;
    let two = [vehicle("hestrin-ebba", "Ebba", 2004, 2007)?, vehicle("hestrin-runo", "Runo", 2010, 2012)?];
    publish(engine, "a year more, and another car", &two, &[])?;
    let thrown = draft(engine, "a mistake", &[], &["vehicle/hestrin-ebba"])?;
    engine.discard_draft(&origin("thought better of it"), &thrown)?;
    publish(engine, "there is no such car", &[], &["vehicle/hestrin-runo"])
}

fn draft(engine: &Engine, reason: &str, puts: &[Record], deletes: &[&str]) -> Outcome<String> {
    let deletes = deletes.iter().map(|key| key.parse().map(Delete::over)).collect::<Result<_, _>>()?;
    let puts = puts.iter().cloned().map(Put::over).collect();
    let draft = engine.create_draft(&origin(reason))?.id;
    engine.edit_draft(&origin(reason), &draft, puts, deletes, false)?;
    Ok(draft)
}

fn publish(engine: &Engine, reason: &str, puts: &[Record], deletes: &[&str]) -> Outcome<()> {
    let draft = draft(engine, reason, puts, deletes)?;
    engine.publish_draft(&origin(reason), &draft, &Conditions::default())?;
    Ok(())
}

fn engine(data: &Path, scratch: &Path, surroundings: Arc<Fixed>) -> Outcome<Engine> {
    let ground = Ground {
        log: Arc::new(FileLog::open(data, FileOptions::default())?.log),
        store: Store::open(&scratch.join("store"))?.store,
        checkpoints: Arc::new(FileCheckpoints::open(data)?.checkpoints),
        signer: Some(Signer::new("dashwright", SEED)?),
        key_secret: ServerSecret::new(KEY_SECRET),
        surroundings,
    };
    Ok(start(ground)?.0)
}

fn backup(engine: &Engine, to: &Path) -> Outcome<()> {
    let mut writer = TrailWriter::new(fs::File::create(to)?, engine.view().incarnation(), &engine.now())?;
    for entry in engine.log().read_from(Sequence::FIRST, usize::MAX)? {
        writer.push(&entry)?;
    }
    writer.finish(&engine.checkpoint_at(engine.trail_size())?)?;
    Ok(())
}

fn origin(reason: &str) -> Origin {
    Origin { actor: "Ada".to_owned(), reason: reason.to_owned(), request_id: None }
}

fn record(kind: &str, fields: &str) -> Outcome<Record> {
    Ok(parse_line(format!("{{\"{kind}\":{{{fields},{EVIDENCE}}}}}").as_bytes(), 1)?)
}

fn vehicle(id: &str, model: &str, from: u16, to: u16) -> Outcome<Record> {
    let audio = r#""audio_options":[{"code":"P","title":"plain","how_to_tell":"no badge","audio":"plain"}]"#;
    let years = format!(r#""years":{{"from":{from},"to":{to}}},"trims":"ALL""#);
    let names = format!(r#""id":"{id}","make":"hestrin","model":"{model}","dash":"low""#);
    record("vehicle", &format!("{names},{audio},{years}"))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A clock that goes on by a second whenever somebody looks, ids that count, bytes that are the same every time.
struct Fixed(AtomicU64);

impl Surroundings for Fixed {
    fn now(&self) -> String {
        let seconds = self.0.fetch_add(1, Ordering::Relaxed);
        format!("2026-02-03T04:{:02}:{:02}Z", seconds / 60, seconds % 60)
    }

    fn new_id(&self) -> String {
        format!("golden-{}", self.0.fetch_add(1, Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        let number = self.0.fetch_add(1, Ordering::Relaxed);
        Some([number.to_le_bytes()[0]; 32])
    }
}
