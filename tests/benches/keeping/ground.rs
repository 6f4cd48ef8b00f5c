//! The dataset that is measured: made once, opened, copied, and how many bytes it takes.
//!
//! The records are loaded by the engine. The revisions after that are small edits, appended to the log as the engine
//! writes them: publishing through the engine compiles the whole dataset each time. Their content hashes are computed here,
//! and whoever starts on the directory or reads an earlier revision refuses a wrong one.

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use dashwright_engine::keys::ServerSecret;
use dashwright_engine::{
    DRAFT_CREATE, DRAFT_EDIT, DraftCreate, DraftEdit, Engine, Ground, Origin, REVISION_PUBLISH,
    RevisionPublish, StartReport, Surroundings,
};
use dashwright_log::{Digest, FileCheckpoints, FileLog, FileOptions, Head, Log, NewEntry};
use dashwright_model::exchange::to_line;
use dashwright_model::record::{Record, RecordKind};
use dashwright_store::Store;
use serde::Serialize;
use serde_json::value::{RawValue, to_raw_value};
use sha2::{Digest as _, Sha256};

use crate::figures::Figures;
use crate::{Outcome, Size};

/// Changes with whatever is made here.
const MADE_AS: u32 = 1;
/// Revisions that are made durable together; the engine does one at a time.
const REVISIONS_PER_BATCH: u64 = 50;
/// Of the records, the last ones are edited: this many for each revision that a record takes part in.
const EDITED_PART: usize = 10;
/// Records of an edit.
const EDIT_RECORDS: usize = 2;
/// Edits of a revision, so that there are four entries of each.
const EDITS: usize = 2;
/// Curators that take turns.
pub(crate) const CURATORS: u64 = 7;
/// Every so many revisions are another curator's.
pub(crate) const RARE: u64 = 500;

/// Makes the dataset unless one of the same kind is there.
pub(crate) fn make(directory: &Path, size: Size, figures: &mut Figures) -> Outcome<()> {
    let Size { lines, revisions, .. } = size;
    let format = dashwright_engine::FORMAT;
    let stamp = format!("made as {MADE_AS}, format {format}, {lines} lines, {revisions} revisions");
    let stamp_file = directory.with_extension("stamp");
    if std::fs::read_to_string(&stamp_file).is_ok_and(|found| found == stamp) {
        eprintln!("{stamp}: made earlier");
        return Ok(());
    }
    let _ = std::fs::remove_file(&stamp_file);
    let _ = std::fs::remove_dir_all(directory);
    let began = Instant::now();
    let log: Arc<dyn Log> = Arc::new(FileLog::create(directory, FileOptions::default())?);
    begin(&*log)?;
    let (engine, _) = start_on(directory, log)?;
    let records: Vec<Record> = dashwright_demo::scaled(lines).collect();
    engine.load(records.iter().cloned().map(Ok::<_, std::io::Error>), &origin(), |_| ())?;
    drop(engine);
    append_revisions(directory, &records, revisions)?;
    // The store follows, and the last content hash is proven.
    drop(open(directory)?);
    std::fs::write(&stamp_file, stamp)?;
    figures.add("made_in_seconds", began.elapsed().as_secs_f64());
    Ok(())
}

/// Begins a dataset.
pub(crate) fn begin(log: &dyn Log) -> Outcome<()> {
    Ok(dashwright_engine::initialise(log, &Fixed::new(), &origin())?)
}

/// Starts an engine on a directory as the binary does.
pub(crate) fn open(directory: &Path) -> Outcome<(Engine, StartReport)> {
    let store = Store::open(&directory.join("store"))?.store;
    let known = store.applied().unwrap_or(Head::EMPTY);
    let log = FileLog::open_trusting(directory, known, FileOptions::default())?.log;
    start(directory, Arc::new(log), store)
}

pub(crate) fn start_on(directory: &Path, log: Arc<dyn Log>) -> Outcome<(Engine, StartReport)> {
    let store = Store::open(&directory.join("store"))?.store;
    start(directory, log, store)
}

pub(crate) fn start(directory: &Path, log: Arc<dyn Log>, store: Store) -> Outcome<(Engine, StartReport)> {
    let checkpoints = Arc::new(FileCheckpoints::open(directory)?.checkpoints);
    let (key_secret, surroundings) = (ServerSecret::new([0; 32]), Arc::new(Fixed::new()));
    let ground = Ground { log, store, checkpoints, signer: None, key_secret, surroundings };
    Ok(dashwright_engine::start(ground)?)
}

/// Copies a directory with all that is in it.
pub(crate) fn copy(from: &Path, to: &Path) -> Outcome<()> {
    std::fs::create_dir_all(to)?;
    for entry in std::fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            std::fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}

/// Bytes of a directory.
pub(crate) fn bytes(directory: &Path) -> Outcome<u64> {
    let mut bytes = 0;
    for entry in std::fs::read_dir(directory)? {
        let entry = entry?;
        bytes +=
            if entry.file_type()?.is_dir() { self::bytes(&entry.path())? } else { entry.metadata()?.len() };
    }
    Ok(bytes)
}

/// Who asks.
pub(crate) fn origin() -> Origin {
    Origin { actor: "bench".into(), reason: "measure".into(), request_id: None }
}

/// An entry as the engine makes it.
pub(crate) fn entry(
    actor: &str,
    time: SystemTime,
    kind: &str,
    payload: &impl Serialize,
) -> Outcome<NewEntry> {
    let time = humantime::format_rfc3339_seconds(time).to_string();
    let (actor, reason) = (actor.to_owned(), "measure".to_owned());
    Ok(NewEntry {
        time,
        actor,
        reason,
        request_id: None,
        kind: kind.parse()?,
        payload: to_raw_value(payload)?,
    })
}

/// Entries of the trail have times a minute apart, from here on.
pub(crate) fn time_of(sequence: u64) -> SystemTime {
    let begin = humantime::parse_rfc3339("2026-01-01T00:00:00Z").unwrap_or(UNIX_EPOCH);
    begin + Duration::from_secs(60 * sequence)
}

/// The actor of a revision.
pub(crate) fn actor_of(revision: u64) -> String {
    if revision.is_multiple_of(RARE) { "rare".to_owned() } else { format!("curator-{}", revision % CURATORS) }
}

/// An edited line of a generated vehicle: other evidence.
pub(crate) fn edited(line: &str, times: u64) -> String {
    line.replace("\"confirmed_jobs\":0", &format!("\"confirmed_jobs\":{times}"))
}

/// The line of a generated vehicle.
pub(crate) fn some_line() -> Outcome<&'static str> {
    static LINE: OnceLock<Option<String>> = OnceLock::new();
    let generated = |record: &Record| record.kind() == RecordKind::Vehicle && record.id().starts_with("gen-");
    let line = LINE.get_or_init(|| to_line(&dashwright_demo::scaled(1).find(generated)?).ok());
    Ok(line.as_deref().ok_or("no generated vehicle")?)
}

fn append_revisions(directory: &Path, records: &[Record], revisions: u64) -> Outcome<()> {
    let log = FileLog::open(directory, FileOptions::default())?.log;
    let mut export = Export::of(records)?;
    let (mut batch, mut sequence) = (Vec::new(), log.head().sequence.0);
    for revision in 2..=revisions {
        let draft = format!("made-{revision}");
        let mut push = |kind: &str, payload: &RawValue| -> Outcome<()> {
            sequence += 1;
            batch.push(entry(&actor_of(revision), time_of(sequence), kind, &payload)?);
            Ok(())
        };
        let base_revision = revision - 1;
        push(DRAFT_CREATE, &to_raw_value(&DraftCreate { draft: draft.clone(), base_revision })?)?;
        for edit in 0..EDITS {
            let puts = export.edit(revision as usize * EDITS + edit, revision)?;
            push(
                DRAFT_EDIT,
                &to_raw_value(&DraftEdit {
                    draft: draft.clone(),
                    puts,
                    deletes: Vec::new(),
                    keeps: Vec::new(),
                    accepts: None,
                    import: None,
                })?,
            )?;
        }
        let (content_hash, changed) = (export.hash(), (EDITS * EDIT_RECORDS) as u64);
        let publish =
            RevisionPublish { draft, revision, content_hash, changed, records: records.len() as u64 };
        push(REVISION_PUBLISH, &to_raw_value(&publish)?)?;
        if revision.is_multiple_of(REVISIONS_PER_BATCH) || revision == revisions {
            log.append_all(log.head(), std::mem::take(&mut batch))?;
        }
    }
    Ok(())
}

/// The export of the dataset: what its content hash is over.
struct Export {
    lines: Vec<String>,
    originals: Vec<String>,
    /// The hash so far, over the lines that are never edited.
    begun: Sha256,
    edited_from: usize,
    vehicles: Vec<usize>,
}

impl Export {
    fn of(records: &[Record]) -> Outcome<Export> {
        let kind = |kind: RecordKind| RecordKind::ALL.iter().position(|one| *one == kind);
        let mut records: Vec<&Record> = records.iter().collect();
        records.sort_by_key(|record| (kind(record.kind()), record.id().to_owned()));
        let lines = records.iter().map(|record| to_line(record)).collect::<Result<Vec<_>, _>>()?;
        let generated = records
            .iter()
            .enumerate()
            .filter(|(_, record)| record.kind() == RecordKind::Vehicle && record.id().starts_with("gen-"));
        let mut vehicles: Vec<usize> = generated.map(|(place, _)| place).collect();
        vehicles.drain(..vehicles.len() - vehicles.len() / EDITED_PART);
        let edited_from = *vehicles.first().ok_or("too few lines")?;
        let mut begun = Sha256::new();
        for line in lines.iter().take(edited_from) {
            begun.update(line);
            begun.update("\n");
        }
        Ok(Export { originals: lines.clone(), lines, begun, edited_from, vehicles })
    }

    /// Edits some records; which, the number says.
    fn edit(&mut self, number: usize, times: u64) -> Outcome<Vec<Box<RawValue>>> {
        let mut puts = Vec::new();
        for record in 0..EDIT_RECORDS {
            let place = self.vehicles.get((number * EDIT_RECORDS + record) % self.vehicles.len());
            let place = *place.ok_or("no such line")?;
            let line = edited(self.originals.get(place).ok_or("no such line")?, times);
            puts.push(RawValue::from_string(line.clone())?);
            *self.lines.get_mut(place).ok_or("no such line")? = line;
        }
        Ok(puts)
    }

    fn hash(&self) -> Digest {
        let mut hash = self.begun.clone();
        for line in self.lines.iter().skip(self.edited_from) {
            hash.update(line);
            hash.update("\n");
        }
        Digest(hash.finalize().into())
    }
}

/// A true clock, and ids that are never given twice on one machine.
struct Fixed {
    begun: u128,
    given: AtomicU64,
}

impl Fixed {
    fn new() -> Fixed {
        let begun = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_nanos());
        Fixed { begun, given: AtomicU64::new(0) }
    }
}

impl Surroundings for Fixed {
    fn now(&self) -> String {
        humantime::format_rfc3339_millis(SystemTime::now()).to_string()
    }

    fn new_id(&self) -> String {
        format!("bench-{:x}-{}", self.begun, self.given.fetch_add(1, Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        // No key is made here.
        None
    }
}
