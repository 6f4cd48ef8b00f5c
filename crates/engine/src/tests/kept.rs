//! What is kept beside the records: histories over restores, drafts that were thrown away, checkpoints.

use std::time::Instant;

use dashwright_log::{Checkpoint, Digest, IoFault, KeepError, Kept, KeptList};
use dashwright_store::Space;

use super::kills::beginning;
use super::*;
use crate::{Freshness, RevisionToken, ViewError, Writes};

/// What is restored from a whole log: its entries, and one that begins another history.
fn restored(log: &MemoryLog, first_id: u64) -> Arc<MemoryLog> {
    let copy = beginning(log, log.head().sequence.0);
    let surroundings = Fixed(AtomicU64::new(first_id));
    let entry = crate::restored(copy.head(), &surroundings, &origin(None)).unwrap();
    copy.append(copy.head(), entry).unwrap();
    copy
}

async fn content(engine: &Engine, token: RevisionToken) -> Result<String, ViewError> {
    let view = engine.view_at(Freshness::Exactly(token), Instant::now()).await?;
    Ok(view.content_hash().to_string())
}

fn published(engine: &Engine, records: Vec<Record>) -> (RevisionToken, String) {
    tokio::task::block_in_place(|| {
        let published = load(engine, records, None).unwrap();
        (published.token, published.content_hash.to_string())
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn every_revision_keeps_its_name_over_two_restores() {
    let bench = Bench::new();
    let engine = bench.start();
    let mut kept = vec![published(&engine, dataset()), published(&engine, more())];
    let first = restored(&bench.log, 7_000_001);
    // What the first history publishes after the backup is not what the second one publishes.
    let missed = published(&engine, vec![vehicle("v2", 2031)]);
    let place = tempfile::tempdir().unwrap();
    let (one, other) = (place.path().join("one"), place.path().join("other"));
    let engine = start_on(Arc::clone(&first) as Arc<dyn Log>, &one).unwrap().0;
    kept.push(published(&engine, vec![vehicle("v3", 2032)]));
    assert_eq!(kept[2].0.revision(), missed.0.revision());
    let second = restored(&first, 8_000_001);
    let mut engine = Some(start_on(Arc::clone(&second) as Arc<dyn Log>, &other).unwrap().0);
    kept.push(published(engine.as_ref().unwrap(), vec![vehicle("v4", 2033)]));
    for round in ["as written", "after a restart", "after a rebuild"] {
        let engine = match engine.take() {
            Some(engine) => engine,
            None => start_on(Arc::clone(&second) as Arc<dyn Log>, &other).unwrap().0,
        };
        for (place, (token, hash)) in kept.iter().enumerate() {
            assert_eq!(content(&engine, *token).await.unwrap(), *hash, "{place} {round}");
            assert_eq!(engine.token_of(place as u64 + 1), *token, "{place} {round}");
        }
        assert!(matches!(content(&engine, missed.0).await, Err(ViewError::OtherHistory)), "{round}");
        assert_eq!(engine.view().incarnation(), "id-8000001");
        tokio::task::block_in_place(|| drop(engine));
        if round == "after a restart" {
            std::fs::remove_dir_all(&other).unwrap();
        }
    }
    let names: Vec<_> = ["id-0", "id-7000001", "id-8000001"].to_vec();
    let of = |token: RevisionToken| names.iter().position(|name| token.is_of(name));
    let histories: Vec<_> = kept.iter().map(|(token, _)| of(*token)).collect();
    assert_eq!(histories, [Some(0), Some(0), Some(1), Some(2)]);
}

/// Everything that a store holds.
fn items(store: &Path) -> Vec<(Space, Vec<u8>, Vec<u8>)> {
    let store = Store::open(store).unwrap().store;
    let mut items = Vec::new();
    for space in Space::ALL {
        store.for_each(space, |key, value| items.push((space, key.to_vec(), value.to_vec()))).unwrap();
    }
    items
}

#[test]
fn a_draft_that_was_thrown_away_leaves_nothing_but_its_entries() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let before = seen(&engine);
    let id = engine.create_draft(&origin(None)).unwrap().id;
    let edits: Vec<_> = (0..7).map(|number| vehicle(&format!("v{number}"), 2031)).collect();
    put_over(&engine, None, &id, &edits).unwrap();
    assert!(!engine.discard_draft(&origin(None), &id).unwrap());
    let left = |engine: &Engine| engine.shared.store.count(Space::Draft);
    assert!(left(&engine) > 0, "nothing is left to settle");
    for _ in 0..20 {
        engine.note_operator_call(&origin(None), "Backup").unwrap();
    }
    assert_eq!((left(&engine), seen(&engine)), (0, before.clone()));
    let gone = put_over(&engine, None, &id, &edits);
    assert!(matches!(gone, Err(WriteError::NoOpenDraft { .. })), "{gone:?}");
    drop(engine);
    // The store that a rebuild fills is the one that was written as it went.
    let written = items(&bench.store());
    std::fs::remove_dir_all(bench.store()).unwrap();
    let engine = bench.start();
    assert_eq!(seen(&engine), before);
    drop(engine);
    assert!(items(&bench.store()) == written, "a rebuild fills another store");
}

fn start_with(bench: &Bench, checkpoints: Arc<dyn Checkpoints>) -> Result<Engine, StartError> {
    // Ids that no other start gives.
    static STARTS: AtomicU64 = AtomicU64::new(900_000);
    let first = 1_000_000 * STARTS.fetch_add(1, Ordering::Relaxed);
    let log = Arc::clone(&bench.log) as Arc<dyn Log>;
    start_on_ground(log, &bench.store(), first, checkpoints).map(|(engine, _)| engine)
}

#[test]
fn a_checkpoint_that_does_not_go_with_the_log_stops_the_start() {
    let bench = Bench::new();
    let kept = Arc::new(MemoryCheckpoints::new());
    let engine = start_with(&bench, Arc::clone(&kept) as Arc<dyn Checkpoints>).unwrap();
    load(&engine, dataset(), None).unwrap();
    let before = seen(&engine);
    drop(engine);
    let right = kept.latest().unwrap().checkpoint;
    assert_eq!(right.size, bench.log.head().sequence.0);
    let spoilt = [
        ("another root", Checkpoint { root: Digest::of(b"another"), ..right.clone() }, true),
        ("another size", Checkpoint { size: right.size - 1, ..right.clone() }, true),
        ("entries that are lost", Checkpoint { size: right.size + 1, ..right.clone() }, false),
    ];
    for (what, checkpoint, has_root) in spoilt {
        let wrong = MemoryCheckpoints::new();
        wrong.append(&checkpoint.encode_unsigned()).unwrap();
        match start_with(&bench, Arc::new(wrong)) {
            Err(StartError::Rewritten { size, kept, found }) => {
                assert_eq!((size, kept), (checkpoint.size, checkpoint.root), "{what}");
                assert_eq!(found.is_some(), has_root, "{what}");
            }
            other => panic!("{what}: {other:?}"),
        }
    }
    let engine = start_with(&bench, kept).unwrap();
    assert_eq!(seen(&engine), before, "nothing was changed");
}

/// Checkpoints that can not be written, as on a disk that fails.
#[derive(Debug)]
struct Unwritable;

impl Checkpoints for Unwritable {
    fn latest(&self) -> Option<Kept> {
        None
    }

    fn append(&self, _: &str) -> Result<(), KeepError> {
        Err(KeepError::Poisoned)
    }

    fn all(&self) -> Result<KeptList, IoFault> {
        Ok(KeptList { kept: Vec::new(), damaged: Vec::new() })
    }
}

#[test]
fn a_checkpoint_that_can_not_be_kept_stops_writes_and_not_reads() {
    let bench = Bench::new();
    let engine = start_with(&bench, Arc::new(Unwritable)).unwrap();
    // The publish is durable in the log, whatever becomes of its checkpoint.
    let first = load(&engine, dataset(), None);
    assert_eq!((engine.view().revision(), engine.writes()), (1, Writes::StoppedByCheckpoints), "{first:?}");
    let before = seen(&engine);
    let head = bench.log.head();
    let refused = engine.create_draft(&origin(None));
    let stopped = WriteError::Stopped { writes: Writes::StoppedByCheckpoints };
    assert_eq!(refused.unwrap_err().to_string(), stopped.to_string());
    assert!(load(&engine, more(), None).is_err());
    assert_eq!((seen(&engine), bench.log.head()), (before.clone(), head));
    drop(engine);
    // The checkpoint that is missing is made again.
    let kept = Arc::new(MemoryCheckpoints::new());
    let engine = start_with(&bench, Arc::clone(&kept) as Arc<dyn Checkpoints>).unwrap();
    assert_eq!((seen(&engine), engine.writes()), (before, Writes::Taken));
    assert_eq!(kept.latest().unwrap().checkpoint.size, head.sequence.0);
    assert_eq!(load(&engine, more(), None).unwrap().revision, 2);
    drop(engine);
    let refused = start_with(&bench, Arc::new(Unwritable)).map(|_| ());
    assert!(matches!(refused, Err(StartError::Keep(KeepError::Poisoned))), "{refused:?}");
}
