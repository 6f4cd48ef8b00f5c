//! Earlier revisions, read again while what replaced them settles.

use super::*;
use crate::{Conditions, Delete, Freshness, RevisionToken, View, ViewError};
use std::time::Instant;

/// Publishes the deletion of records.
fn delete(engine: &Engine, keys: &[&str]) {
    let delete = |key: &&str| Delete::over(key.parse().unwrap());
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    let deletes = keys.iter().map(delete).collect();
    engine.edit_draft(&origin(None), &draft, vec![], deletes, false).unwrap();
    engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap();
}

fn put(engine: &Engine, records: Vec<Record>) {
    load(engine, records, None).unwrap();
}

/// What a reader can tell of a view: revision, content hash, records.
type Look = (u64, String, Vec<(String, u64)>);

fn look(view: &View) -> Look {
    let records = RecordKind::ALL.iter().flat_map(|kind| view.snapshot().records(*kind));
    let records = records.map(|kept| (kept.text.to_string(), kept.revision)).collect();
    (view.revision(), view.content_hash().to_string(), records)
}

async fn check(engine: &Engine, expected: &[Look]) {
    for expected in expected {
        let token = RevisionToken::new(engine.view().incarnation(), expected.0);
        let view = engine.view_at(Freshness::Exactly(token), Instant::now()).await.unwrap();
        assert_eq!(look(&view), *expected, "as of {} at {}", expected.0, engine.view().revision());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_revision_stays_what_it_was() {
    let bench = Bench::new();
    let engine = bench.start();
    let mut expected = vec![look(&engine.view())];
    let steps: [&dyn Fn(); 7] = [
        &|| put(&engine, dataset()),
        &|| put(&engine, more()),
        &|| delete(&engine, &["vehicle/v1", "vehicle/w"]),
        &|| put(&engine, vec![vehicle("v1", 2025), vehicle("v2", 2026)]),
        &|| delete(&engine, &["vehicle/v1"]),
        &|| put(&engine, vec![]),
        &|| put(&engine, vec![vehicle("v1", 2027)]),
    ];
    for step in steps {
        tokio::task::block_in_place(step);
        expected.push(look(&engine.view()));
        check(&engine, &expected).await;
    }
    drop(engine);
    let engine = bench.start();
    check(&engine, &expected).await;
    drop(engine);
    std::fs::remove_dir_all(bench.store()).unwrap();
    let engine = bench.start();
    check(&engine, &expected).await;
    assert_eq!(expected.len(), 8);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_few_earlier_revisions_are_kept_compiled() {
    let bench = Bench::new();
    let engine = bench.start();
    for year in [2000, 2001, 2002, 2003] {
        tokio::task::block_in_place(|| {
            let mut records = dataset();
            records.truncate(4);
            records.push(vehicle("v", year));
            load(&engine, records, None).unwrap();
        });
    }
    let incarnation = engine.view().incarnation().to_owned();
    let token = |revision| Freshness::Exactly(RevisionToken::new(&incarnation, revision));
    let first = engine.view_at(token(1), Instant::now()).await.unwrap();
    let second = engine.view_at(token(2), Instant::now()).await.unwrap();
    let again = engine.view_at(token(1), Instant::now()).await.unwrap();
    assert!(Arc::ptr_eq(&first, &again));
    engine.view_at(token(3), Instant::now()).await.unwrap();
    let second_again = engine.view_at(token(2), Instant::now()).await.unwrap();
    assert!(!Arc::ptr_eq(&second, &second_again), "it made room");
    assert_eq!(second.content_hash(), second_again.content_hash());
    let beyond = engine.view_at(token(5), Instant::now()).await;
    assert!(matches!(beyond, Err(ViewError::NotReached { wanted: 5, current: 4 })));
}
