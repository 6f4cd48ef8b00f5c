//! Bulk edits that take several entries, meet others, or stand on what has moved.

use std::collections::BTreeSet;
use std::thread;

use dashwright_curation::{BulkEdit, Touch};
use dashwright_log::{Entry, NewEntry};

use super::*;
use crate::{BulkEditError, Conditions, DRAFT_EDIT, DraftWork};

/// More followers than two entries hold.
const MODELS: usize = 2 * crate::EDIT_RECORDS + 100;

fn model(number: usize, make: &str) -> Record {
    record(
        "vocabulary",
        &format!(r#""id":"n{number:05}","of":{{"MODEL":{{"make":"{make}"}}}},"name":"N{number}""#),
    )
}

fn rename(from: &str, to: &str) -> DraftWork {
    let (record, id) = (from.parse().unwrap(), Some(to.parse().unwrap()));
    DraftWork::Edit(BulkEdit::Rename { record, id, name: None })
}

fn drafted_lines(engine: &Engine, draft: &str) -> Vec<(String, Option<String>)> {
    let items = engine.items_of(&engine.open_draft(draft).unwrap(), None, usize::MAX).unwrap();
    items.into_iter().map(|item| (item.record, item.line.map(|line| line.to_string()))).collect()
}

fn begun() -> (Bench, Engine, String) {
    let bench = Bench::new();
    let engine = bench.start();
    let mut records = dataset();
    records.extend((0..MODELS).map(|number| model(number, "m")));
    load(&engine, records, None).unwrap();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    (bench, engine, draft)
}

/// The request stands in the last of its entries: one that was broken off before is not done, and done anew it comes to the
/// same.
#[test]
fn a_large_edit_that_was_broken_off_is_made_whole_by_its_repetition() {
    let (bench, engine, draft) = begun();
    let edit = rename("vocabulary/m", "mm");
    let done = engine.bulk_edit(&origin(Some("r")), &draft, &edit, false).unwrap();
    assert_eq!(done.touched.iter().filter(|it| it.touch == Touch::Follows).count(), MODELS + 7);
    let whole = drafted_lines(&engine, &draft);
    assert_eq!(done.drafted.draft.edits, 3);
    let again = engine.bulk_edit(&origin(Some("r")), &draft, &edit, false).unwrap();
    assert!(again.drafted.repeated && again.touched.is_empty());
    drop(engine);

    // As after a crash that let only the first entries through.
    let entries = bench.log.read_from(dashwright_log::Sequence(1), usize::MAX).unwrap();
    let of_request: Vec<_> =
        entries.iter().filter(|stored| stored.entry.kind.as_str() == DRAFT_EDIT).collect();
    let requests = of_request.iter().map(|stored| stored.entry.request_id.is_some()).collect::<Vec<_>>();
    assert_eq!(requests[requests.len() - 3..], [false, false, true]);
    for kept in 1..3 {
        let log: Arc<MemoryLog> = Arc::new(MemoryLog::new());
        let most = entries.len() - 3 + kept;
        for stored in entries.iter().take(most) {
            let Entry { sequence: _, time, actor, reason, request_id, kind, payload, .. } =
                stored.entry.clone();
            let entry = NewEntry { time, actor, reason, request_id, kind, payload };
            log.append_all(log.head(), vec![entry]).unwrap();
        }
        let store = tempfile::tempdir().unwrap();
        let (engine, _) = start_on(log, store.path()).unwrap();
        assert_ne!(drafted_lines(&engine, &draft), whole);
        engine.bulk_edit(&origin(Some("r")), &draft, &edit, false).unwrap();
        assert_eq!(drafted_lines(&engine, &draft), whole, "{kept} of 3 entries");
        engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap();
    }
}

#[test]
fn edits_of_one_draft_at_once_are_all_made() {
    let (_bench, engine, draft) = begun();
    let renaming = |number: usize| {
        let (engine, draft) = (engine.clone(), draft.clone());
        move || {
            let edit = rename(&format!("vocabulary/n{number:05}"), &format!("new-{number}"));
            engine.bulk_edit(&origin(None), &draft, &edit, false).map(|_| ())
        }
    };
    let threads: Vec<_> = (0..8).map(|number| thread::spawn(renaming(number))).collect();
    for it in threads {
        it.join().unwrap().unwrap();
    }
    let put: BTreeSet<String> = drafted_lines(&engine, &draft)
        .into_iter()
        .filter_map(|(record, line)| line.map(|_| record))
        .collect();
    assert_eq!(put, (0..8).map(|number| format!("vocabulary/new-{number}")).collect());
}

/// A bulk edit of a record that the draft had before rests on the draft's own: what others published since goes on
/// colliding.
#[test]
fn a_collision_is_not_hidden_by_a_bulk_edit() {
    let (_bench, engine, draft) = begun();
    put_over(&engine, None, &draft, &[vehicle("v1", 2031)]).unwrap();
    load(&engine, vec![vehicle("v1", 2041)], None).unwrap();
    engine.bulk_edit(&origin(None), &draft, &rename("vocabulary/m", "mm"), false).unwrap();
    let refused = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap_err();
    let LoadError::Write(error) = &refused else { panic!("{refused}") };
    assert!(matches!(&**error, WriteError::Collides { first, .. } if first == &["vehicle/v1"]), "{error}");
}

#[test]
fn what_would_be_touched_is_told_and_nothing_is_written() {
    let (bench, engine, draft) = begun();
    let head = bench.log.head();
    let told = engine.bulk_edit(&origin(Some("r")), &draft, &rename("vocabulary/f", "ff"), true).unwrap();
    assert_eq!(told.touched.len(), 2);
    assert_eq!(bench.log.head(), head);
    let refused = engine.bulk_edit(&origin(Some("r")), "none", &rename("vocabulary/f", "ff"), true);
    assert!(matches!(refused, Err(BulkEditError::Write(WriteError::NoOpenDraft { .. }))));
}
