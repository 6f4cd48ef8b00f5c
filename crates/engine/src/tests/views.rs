//! What readers wait for and what they never wait for.

use super::*;
use crate::{Freshness, RevisionToken, ViewError};
use dashwright_log::{AppendError, Head, NewEntry, ReadError, Sequence, StoredEntry};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Longer than anything here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// A log whose every append waits to be let through.
struct Gated {
    inner: Arc<MemoryLog>,
    gate: Mutex<Receiver<()>>,
}

impl Log for Gated {
    fn head(&self) -> Head {
        self.inner.head()
    }

    fn append_all(&self, expected: Head, entries: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
        self.gate.lock().unwrap().recv().unwrap();
        self.inner.append_all(expected, entries)
    }

    fn read_from(&self, from: Sequence, limit: usize) -> Result<Vec<StoredEntry>, ReadError> {
        self.inner.read_from(from, limit)
    }

    fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head {
        self.inner.wait_beyond(sequence, timeout)
    }
}

#[test]
fn a_dataset_that_nobody_reads_any_more_is_freed() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let view = engine.view();
    let snapshot = Arc::downgrade(view.snapshot());
    drop(engine);
    drop(view);
    // By a thread of its own, which may take its time.
    let began = Instant::now();
    while snapshot.strong_count() > 0 {
        assert!(began.elapsed() < PATIENCE);
        std::thread::yield_now();
    }
}

#[tokio::test]
async fn readers_do_not_wait_for_a_load() {
    let bench = Bench::new();
    let (open, gate) = channel();
    let log = Arc::new(Gated { inner: Arc::clone(&bench.log), gate: Mutex::new(gate) });
    let engine = start_on(log, &bench.store()).unwrap().0;
    let loading = engine.clone();
    let load = std::thread::spawn(move || load(&loading, dataset(), None).unwrap());

    // The load stands still at its first, its second, its third and its last append.
    let next = RevisionToken::new(engine.view().incarnation(), 1);
    for _ in 0..4 {
        assert_eq!(engine.view().revision(), 0);
        let latest = engine.view_at(Freshness::Latest, Instant::now()).await.unwrap();
        assert_eq!(latest.revision(), 0);
        let soon = Instant::now() + Duration::from_millis(5);
        let missed = engine.view_at(Freshness::AtLeast(next), soon).await;
        assert!(matches!(missed, Err(ViewError::NotReached { wanted: 1, current: 0 })), "{missed:?}");
        open.send(()).unwrap();
    }
    for freshness in [Freshness::AtLeast(next), Freshness::Exactly(next)] {
        let view = engine.view_at(freshness, Instant::now() + PATIENCE).await.unwrap();
        assert_eq!(view.revision(), 1);
    }
    assert_eq!(load.join().unwrap().token, next);
}

#[tokio::test]
async fn a_token_of_another_history_is_refused() {
    let bench = Bench::new();
    let engine = bench.start();
    let foreign = RevisionToken::new("another", 0);
    for freshness in [Freshness::AtLeast(foreign), Freshness::Exactly(foreign)] {
        let refused = engine.view_at(freshness, Instant::now() + PATIENCE).await;
        assert!(matches!(refused, Err(ViewError::OtherHistory)));
    }
}

#[tokio::test]
async fn watchers_are_told_of_every_revision() {
    let bench = Bench::new();
    let engine = bench.start();
    let mut revisions = engine.revisions();
    assert_eq!(*revisions.borrow_and_update(), 0);
    let loading = engine.clone();
    tokio::task::spawn_blocking(move || load(&loading, dataset(), None).unwrap()).await.unwrap();
    revisions.changed().await.unwrap();
    assert_eq!(*revisions.borrow_and_update(), 1);
    drop(engine);
    assert!(revisions.changed().await.is_err(), "the engine has ended");
}

#[test]
fn a_view_stays_what_it_was() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let view = engine.view();
    let before = (view.revision(), view.content_hash(), view.snapshot().lines().len());
    load(&engine, more(), None).unwrap();
    assert_eq!((view.revision(), view.content_hash(), view.snapshot().lines().len()), before);
    assert_eq!(engine.view().revision(), 2);
    assert_eq!(view.published_at(), "2026-01-31T09:05:00Z");
    let text = |view: &crate::View| view.snapshot().record(RecordKind::Dash, "d").unwrap().text.to_string();
    assert_eq!(text(&view), text(&engine.view()));
}

#[test]
fn a_checkpoint_states_the_last_revision_that_it_covers() {
    let bench = Bench::new();
    let engine = bench.start();
    for year in 2030..2035 {
        load(&engine, if year == 2030 { dataset() } else { vec![vehicle("w", year)] }, None).unwrap();
    }
    let entries = bench.log.read_from(dashwright_log::Sequence::FIRST, usize::MAX).unwrap();
    let mut published = 0;
    for (size, stored) in (1..).zip(&entries) {
        published += u64::from(stored.entry.kind.as_str() == crate::REVISION_PUBLISH);
        let note = dashwright_log::Note::parse(&engine.checkpoint_at(size).unwrap()).unwrap();
        assert_eq!((note.checkpoint().size, note.checkpoint().revision), (size, published));
    }
    assert_eq!(published, 5);
    assert!(engine.checkpoint_at(entries.len() as u64 + 1).is_err());
}
