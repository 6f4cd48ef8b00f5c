//! Loads: what they publish, what they refuse, and what they answer when they are repeated.

use super::*;
use crate::{Conditions, MAX_REPORTED, RevisionToken, WriteError, Writes};
use dashwright_curation::Severity;
use dashwright_log::{AppendError, EntryError, Head, NewEntry, ReadError, Sequence, StoredEntry};
use dashwright_model::exchange::to_line;
use std::collections::BTreeSet;
use std::time::Duration;

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
fn errors_that_a_dataset_has_already_keep_nobody_from_publishing() {
    let dash = |lamp: &str| {
        let opening = r#""opening":{"class":"ONE_DIN","width":180,"height":50},"held_by":["CLIPS"]"#;
        let at = |name: &str| {
            let place = r#""left":-10,"right":10,"bottom":-10,"top":10,"proud":0,"clearance":"NEVER_COVER""#;
            format!(r#"{{"name":"{name}","kind":"LAMP",{place}}}"#)
        };
        record("dash", &format!(r#""id":"d","title":"d",{opening},"surroundings":[{}]"#, at(lamp)))
    };
    let bench = Bench::new();
    let engine = bench.start();
    // As a program published it that did not look for a lamp in the opening.
    let mut records = dataset();
    records[2] = dash("lamp");
    let view = engine.view();
    let gathered = crate::load::gather::<ExchangeError>(&view, records, &BTreeSet::new()).unwrap();
    let prepared = crate::load::compile::<ExchangeError>(&view, gathered, crate::load::Counted::All).unwrap();
    engine.stage(&view, &origin(None), prepared, &mut |_| ()).unwrap();
    assert_eq!(
        engine.examine(&engine.view()).findings.iter().filter(|it| it.severity() == Severity::Error).count(),
        1
    );

    let draft = engine.create_draft(&origin(None)).unwrap().id;
    put_over(&engine, None, &draft, &more()).unwrap();
    assert_eq!(engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap().revision, 2);
    // One more of the kind is new.
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    let renamed = |record: &Record, from: &str, to: &str| {
        parse_line(to_line(record).unwrap().replace(from, to).as_bytes(), 1).unwrap()
    };
    let second = renamed(&dash("lamp"), r#""id":"d""#, r#""id":"e""#);
    let of_it = renamed(&vehicle("q", 1970), r#""dash":"d""#, r#""dash":"e""#);
    put_over(&engine, None, &draft, &[second, of_it]).unwrap();
    let refused = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap_err();
    assert!(matches!(refused, LoadError::Contradictions { total: 1, .. }), "{refused:?}");
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

#[test]
fn the_content_hash_does_not_depend_on_the_order() {
    let hashes: Vec<_> = [false, true]
        .into_iter()
        .map(|reversed| {
            let engine = Bench::new().start();
            let mut records = dataset();
            if reversed {
                records.reverse();
            }
            load(&engine, records, None).unwrap().content_hash
        })
        .collect();
    assert_eq!(hashes[0], hashes[1]);
}

#[test]
fn the_same_content_loaded_in_parts_has_the_same_hash() {
    let (whole, parts) = (Bench::new(), Bench::new());
    let (whole, parts) = (whole.start(), parts.start());
    let mut records = dataset();
    load(&parts, records.clone(), None).unwrap();
    load(&parts, more(), None).unwrap();
    records.retain(|record| !more().iter().any(|newer| newer.key() == record.key()));
    records.extend(more());
    load(&whole, records, None).unwrap();
    assert_eq!(whole.view().content_hash(), parts.view().content_hash());
    assert_ne!(whole.view().revision(), parts.view().revision());
}

#[test]
fn a_bad_dataset_changes_nothing() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let (before, head) = (seen(&engine), bench.log.head());

    let dangling = (0..MAX_REPORTED + 5).map(|number| {
        let line = exchange::to_line(&vehicle(&format!("x{number}"), 2000)).unwrap();
        let line =
            line.replace("\"dash\":\"d\"", "\"dash\":\"nowhere\"").replace("One", &format!("Model {number}"));
        parse_line(line.as_bytes(), 1).unwrap()
    });
    match load(&engine, dangling.collect(), None) {
        Err(LoadError::Contradictions { first, total }) => {
            assert_eq!((first.len(), total), (MAX_REPORTED, MAX_REPORTED + 5));
            assert_eq!(
                first[0].to_string(),
                "`vehicle/x0` names `dash/nowhere` in `dash`, which does not exist"
            );
        }
        other => panic!("{other:?}"),
    }
    // It overlaps a line that is there already.
    match load(&engine, vec![vehicle("again", 2000)], None) {
        Err(LoadError::Contradictions { total: 1, .. }) => {}
        other => panic!("{other:?}"),
    }
    match load(&engine, vec![vehicle("twice", 2031), vehicle("twice", 2032)], None) {
        Err(LoadError::Contradictions { total: 1, .. }) => {}
        other => panic!("{other:?}"),
    }
    let unreadable =
        [Ok(vehicle("y", 2040)), parse_line(b"{", 2), Ok(vehicle("z", 2041)), parse_line(b"[]", 4)];
    match engine.load(unreadable, &origin(None), |_| ()) {
        Err(LoadError::Unreadable { first, total: 2 }) => {
            assert_eq!(first.iter().map(|error| error.line).collect::<Vec<_>>(), [2, 4]);
        }
        other => panic!("{other:?}"),
    }
    let nobody = Origin { actor: String::new(), ..origin(None) };
    match engine.load([Ok::<_, ExchangeError>(vehicle("y", 2040))], &nobody, |_| ()) {
        Err(LoadError::Write(error)) => {
            let source = EntryError::NoActor;
            assert!(
                matches!(*error, WriteError::Log(AppendError::Invalid { source: found, .. }) if found == source)
            );
        }
        other => panic!("{other:?}"),
    }
    assert_eq!((seen(&engine), bench.log.head()), (before, head));
    load(&engine, more(), None).unwrap();
}

#[test]
fn a_repeated_request_leads_to_the_first_result() {
    let bench = Bench::new();
    let engine = bench.start();
    let first = load(&engine, dataset(), Some("one")).unwrap();
    assert!(!first.repeated);
    load(&engine, more(), Some("two")).unwrap();
    let (before, head) = (seen(&engine), bench.log.head());
    let again = Published { repeated: true, ..first };
    assert_eq!(load(&engine, dataset(), Some("one")).unwrap(), again);
    drop(engine);
    let engine = bench.start();
    assert_eq!(load(&engine, dataset(), Some("one")).unwrap(), again);
    drop(engine);
    // Also when the store is filled anew.
    std::fs::remove_dir_all(bench.store()).unwrap();
    let engine = bench.start();
    assert_eq!(load(&engine, dataset(), Some("one")).unwrap(), again);
    assert_eq!((seen(&engine), bench.log.head()), (before, head));
}

#[test]
fn an_interrupted_load_is_done_anew_by_its_repetition() {
    let bench = Bench::new();
    let engine = bench.start();
    let log = Arc::new(Failing { inner: Arc::clone(&bench.log), left: Mutex::new(2) });
    drop(engine);
    let engine = start_on(log, &bench.store()).unwrap().0;
    load(&engine, dataset(), Some("one")).unwrap_err();
    drop(engine);
    let engine = bench.start();
    let published = load(&engine, dataset(), Some("one")).unwrap();
    assert_eq!((published.revision, published.repeated), (1, false));
}

#[test]
fn a_draft_id_that_is_given_twice_is_refused_before_it_is_written() {
    let bench = Bench::new();
    let engine = bench.start();
    let log = Arc::new(Failing { inner: Arc::clone(&bench.log), left: Mutex::new(2) });
    drop(engine);
    let engine = start_with_ids(log, &bench.store(), 7).unwrap().0;
    load(&engine, dataset(), None).unwrap_err();
    drop(engine);
    let head = bench.log.head();
    let log = Arc::clone(&bench.log) as Arc<dyn Log>;
    let engine = start_with_ids(log, &bench.store(), 7).unwrap().0;
    match load(&engine, dataset(), None) {
        Err(LoadError::Write(error)) => assert!(matches!(*error, WriteError::DraftExists { .. })),
        other => panic!("{other:?}"),
    }
    assert_eq!((bench.log.head(), engine.writes()), (head, Writes::Taken));
    assert_eq!(load(&engine, dataset(), None).unwrap().revision, 1);
}

#[test]
fn progress_is_told_until_everything_is_durable() {
    let bench = Bench::new();
    let engine = bench.start();
    let mut told = Vec::new();
    let records = dataset().into_iter().map(Ok::<_, ExchangeError>);
    engine
        .load(records, &origin(None), |done| {
            assert_eq!(engine.view().revision(), 0, "nothing is live before everything is");
            told.push(done);
        })
        .unwrap();
    // Three records an edit and two edits a batch, of eleven records.
    assert_eq!(told, [6, 11]);
    assert_eq!(engine.view().revision(), 1);
}

#[test]
fn two_loads_from_one_revision_make_one_history() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let results: Vec<_> = std::thread::scope(|scope| {
        let one = |id: u16| {
            let engine = engine.clone();
            scope.spawn(move || load(&engine, vec![vehicle(&format!("n{id}"), 2030 + id)], None))
        };
        let threads: Vec<_> = (0..4).map(one).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let mut revisions = Vec::new();
    for result in results {
        match result {
            Ok(published) => revisions.push(published.revision),
            Err(LoadError::Write(error)) => {
                assert!(matches!(*error, WriteError::Outdated { .. }), "{error:?}")
            }
            Err(other) => panic!("{other:?}"),
        }
    }
    revisions.sort_unstable();
    assert_eq!(revisions, (2..2 + revisions.len() as u64).collect::<Vec<_>>());
    assert_eq!(engine.view().revision(), revisions.len() as u64 + 1);
    let before = seen(&engine);
    assert_eq!(before.2.len(), 11 + revisions.len());
    drop(engine);
    assert_eq!(seen(&bench.start()), before);
}

/// A log that fails after a number of appends, as one does whose disk fails.
struct Failing {
    inner: Arc<MemoryLog>,
    left: Mutex<usize>,
}

impl Log for Failing {
    fn head(&self) -> Head {
        self.inner.head()
    }

    fn append_all(&self, expected: Head, entries: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
        let mut left = self.left.lock().unwrap();
        *left = left.checked_sub(1).ok_or(AppendError::Poisoned)?;
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
fn a_failed_log_stops_writes_and_not_reads() {
    let mut failed = 0;
    for appends in 0.. {
        let bench = Bench::new();
        let engine = bench.start();
        load(&engine, dataset(), None).unwrap();
        let before = seen(&engine);
        drop(engine);
        let log = Arc::new(Failing { inner: Arc::clone(&bench.log), left: Mutex::new(appends) });
        let engine = start_on(log, &bench.store()).unwrap().0;
        let Err(error) = load(&engine, more(), None) else {
            assert_eq!(engine.view().revision(), 2);
            break;
        };
        failed += 1;
        assert!(
            matches!(&error, LoadError::Write(error) if matches!(**error, WriteError::Log(AppendError::Poisoned)))
        );
        assert_eq!((seen(&engine), engine.writes()), (before.clone(), Writes::StoppedByLog));
        match load(&engine, more(), None) {
            Err(LoadError::Write(error)) => {
                assert!(matches!(*error, WriteError::Stopped { writes: Writes::StoppedByLog }));
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(seen(&engine), before);
        drop(engine);
        let engine = bench.start();
        assert_eq!((seen(&engine), engine.writes()), (before, Writes::Taken));
        assert_eq!(load(&engine, more(), None).unwrap().revision, 2);
    }
    assert_eq!(failed, 3, "the draft, its one edit, the publish");
}

#[test]
fn a_token_names_the_revision_of_this_history() {
    let bench = Bench::new();
    let published = load(&bench.start(), dataset(), None).unwrap();
    let read: RevisionToken = published.token.to_string().parse().unwrap();
    assert_eq!((read, read.revision()), (published.token, 1));
    assert!(read.is_of("id-0"), "the first id that was given");
}
