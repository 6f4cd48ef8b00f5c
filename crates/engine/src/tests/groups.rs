//! Edits that wait together: one append for all of them, and each with an answer of its own.

use std::sync::mpsc::sync_channel;
use std::time::Duration;

use dashwright_log::{AppendError, Head, NewEntry, ReadError, Sequence, StoredEntry};
use serde_json::value::RawValue;
use tokio::sync::oneshot::{self, Receiver};

use super::*;
use crate::entry::DraftEdit;
use crate::writer::{BYTES_TOGETHER, Command, WaitingEdit, Wanted, gather};
use crate::{DRAFT_EDIT, Expected, Writes};

type Answer = Receiver<Result<Drafted, WriteError>>;

/// A log that tells how many entries came together each time, and fails from an append on.
struct Counting {
    inner: Arc<MemoryLog>,
    appended: Mutex<Vec<usize>>,
    poisoned: Mutex<bool>,
}

impl Log for Counting {
    fn head(&self) -> Head {
        self.inner.head()
    }

    fn append_all(&self, expected: Head, entries: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
        if *self.poisoned.lock().unwrap() {
            return Err(AppendError::Poisoned);
        }
        let count = entries.len();
        let stored = self.inner.append_all(expected, entries)?;
        self.appended.lock().unwrap().push(count);
        Ok(stored)
    }

    fn read_from(&self, from: Sequence, limit: usize) -> Result<Vec<StoredEntry>, ReadError> {
        self.inner.read_from(from, limit)
    }

    fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head {
        self.inner.wait_beyond(sequence, timeout)
    }
}

fn counted() -> (Bench, Arc<Counting>, Engine) {
    let bench = Bench::new();
    let (appended, poisoned) = (Mutex::default(), Mutex::default());
    let log = Arc::new(Counting { inner: Arc::clone(&bench.log), appended, poisoned });
    let (engine, _) = start_on(Arc::clone(&log) as Arc<dyn Log>, &bench.store()).unwrap();
    (bench, log, engine)
}

fn waiting(draft: &str, record: &Record, origin: Origin) -> (WaitingEdit, Answer) {
    let (answer, answered) = oneshot::channel();
    let puts = vec![RawValue::from_string(exchange::to_line(record).unwrap()).unwrap()];
    let edit = DraftEdit { puts, ..DraftEdit::new(draft) };
    let wanted = vec![Wanted { key: record.key().unwrap(), expected: Expected::Anything, deletes: false }];
    (WaitingEdit { origin, edit, wanted, answer }, answered)
}

/// Has the writer find these edits waiting together.
fn together(engine: &Engine, edits: Vec<(WaitingEdit, Answer)>) -> Vec<Result<Drafted, WriteError>> {
    let (group, answers): (Vec<_>, Vec<_>) = edits.into_iter().unzip();
    let edit = move |writer: &mut crate::writer::Writer| {
        writer.edit_together(group);
        Ok(())
    };
    engine.ask(edit).unwrap();
    answers.into_iter().map(|mut answer| answer.try_recv().unwrap()).collect()
}

#[test]
fn edits_that_wait_together_are_appended_together_and_answered_each() {
    let (bench, log, engine) = counted();
    let [one, other] = [(); 2].map(|()| engine.create_draft(&origin(None)).unwrap().id);
    let earlier = put_over(&engine, Some("r"), &one, &[vehicle("v0", 1999)]).unwrap();
    log.appended.lock().unwrap().clear();
    let answers = together(
        &engine,
        vec![
            waiting(&one, &vehicle("v1", 2001), origin(Some("a"))),
            waiting(&other, &vehicle("v2", 2002), origin(None)),
            waiting("nowhere", &vehicle("v3", 2003), origin(None)),
            waiting(&one, &vehicle("v4", 2004), origin(Some("b"))),
            waiting(&one, &vehicle("v1", 2001), origin(Some("a"))),
            waiting(&one, &vehicle("v0", 1999), origin(Some("r"))),
        ],
    );
    assert_eq!(*log.appended.lock().unwrap(), [3], "one append for the three that are new");
    let edits = |answer: &Result<Drafted, WriteError>| {
        answer.as_ref().map(|drafted| (drafted.draft.edits, drafted.repeated)).map_err(ToString::to_string)
    };
    let told: Vec<_> = answers.iter().map(edits).collect();
    let unknown = Err("there is no open draft `nowhere`".to_owned());
    let expected = [Ok((2, false)), Ok((1, false)), unknown, Ok((3, false)), Ok((2, true)), Ok((1, true))];
    assert_eq!(told, expected);
    assert_eq!(answers[5].as_ref().unwrap().draft, earlier.draft);
    assert_eq!(bench.log.head().sequence, Sequence(1 + 2 + 1 + 3));

    let items = |engine: &Engine, draft: &str| {
        let facts = engine.open_draft(draft).unwrap();
        let items = engine.items_of(&facts, None, 10).unwrap();
        items.into_iter().map(|item| item.record).collect::<Vec<_>>()
    };
    let before = (items(&engine, &one), items(&engine, &other));
    let in_one = ["vehicle/v0", "vehicle/v1", "vehicle/v4"].map(str::to_owned).to_vec();
    assert_eq!(before, (in_one, vec!["vehicle/v2".to_owned()]));
    drop(engine);
    std::fs::remove_dir_all(bench.store()).unwrap();
    let engine = bench.start();
    assert_eq!((items(&engine, &one), items(&engine, &other)), before, "as the log alone tells it");
}

/// Of two that have seen the same, the one that comes first is made, and the other is told what is there by then.
#[test]
fn edits_of_one_record_that_wait_together_are_compared_one_after_the_other() {
    let (_bench, log, engine) = counted();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    log.appended.lock().unwrap().clear();
    let new = |record: &Record| {
        let (mut edit, answer) = waiting(&draft, record, origin(None));
        edit.wanted[0].expected = Expected::Nothing;
        (edit, answer)
    };
    let edits = vec![new(&vehicle("v1", 2001)), new(&vehicle("v2", 2002)), new(&vehicle("v1", 2011))];
    let answers = together(&engine, edits);
    assert_eq!(*log.appended.lock().unwrap(), [2]);
    assert!(answers[0].is_ok() && answers[1].is_ok(), "{answers:?}");
    let there = crate::etag(&exchange::to_line(&vehicle("v1", 2001)).unwrap());
    let Err(WriteError::Etags { first, total: 1 }) = &answers[2] else { panic!("{answers:?}") };
    assert_eq!((first[0].record.as_str(), first[0].current.as_ref()), ("vehicle/v1", Some(&there)));
}

#[test]
fn one_malformed_edit_does_not_take_the_others_with_it() {
    let (_bench, log, engine) = counted();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    log.appended.lock().unwrap().clear();
    let nobody = Origin { actor: String::new(), ..origin(None) };
    let answers = together(
        &engine,
        vec![
            waiting(&draft, &vehicle("v1", 2001), origin(None)),
            waiting(&draft, &vehicle("v2", 2002), nobody),
            waiting(&draft, &vehicle("v3", 2003), origin(None)),
        ],
    );
    assert_eq!(*log.appended.lock().unwrap(), [1, 1]);
    assert!(matches!(answers[1], Err(WriteError::Log(AppendError::Invalid { position: 0, .. }))));
    assert_eq!(answers[0].as_ref().unwrap().draft.edits, 1);
    assert_eq!(answers[2].as_ref().unwrap().draft.edits, 2);
    assert_eq!(engine.writes(), Writes::Taken);
}

#[test]
fn a_failing_log_acknowledges_none_of_them() {
    let (bench, log, engine) = counted();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    let head = bench.log.head();
    *log.poisoned.lock().unwrap() = true;
    let edits = ["v1", "v2", "v3"].map(|id| waiting(&draft, &vehicle(id, 2001), origin(None)));
    let answers = together(&engine, edits.into());
    for answer in answers {
        assert!(matches!(answer, Err(WriteError::Stopped { writes: Writes::StoppedByLog })), "{answer:?}");
    }
    assert_eq!(bench.log.head(), head);
}

#[test]
fn only_edits_side_by_side_are_gathered_and_no_more_than_bytes_allow() {
    let edit = |bytes: usize| {
        let (mut waiting, _) = waiting("d", &vehicle("v", 2001), origin(None));
        waiting.edit.puts = vec![RawValue::from_string(format!("\"{}\"", "x".repeat(bytes - 2))).unwrap()];
        waiting
    };
    let (sender, commands) = sync_channel(10);
    sender.send(Command::Edit(Box::new(edit(10)))).unwrap();
    sender.send(Command::Do(Box::new(|_| ()))).unwrap();
    sender.send(Command::Edit(Box::new(edit(10)))).unwrap();
    let (group, behind) = gather(edit(10), &commands);
    assert_eq!(group.len(), 2);
    assert!(matches!(behind, Some(Command::Do(_))));
    let (group, behind) = gather(edit(BYTES_TOGETHER), &commands);
    assert_eq!((group.len(), behind.is_none()), (1, true), "enough for once");
    let (group, behind) = gather(edit(BYTES_TOGETHER - 1), &commands);
    assert_eq!((group.len(), behind.is_none()), (2, true));
}

#[test]
fn writers_at_once_each_get_what_they_ask_for() {
    const WRITERS: u64 = 8;
    const EDITS: u64 = 25;
    let (bench, log, engine) = counted();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    log.appended.lock().unwrap().clear();
    let mut told: Vec<u64> = std::thread::scope(|scope| {
        let write = |writer: u64| {
            let (engine, draft) = (&engine, &draft);
            scope.spawn(move || {
                let edit = |number: u64| {
                    let record = vehicle(&format!("w{writer}-{number}"), 2001);
                    let request = format!("{writer}-{number}");
                    put_over(engine, Some(&request), draft, &[record]).unwrap().draft.edits
                };
                (0..EDITS).map(edit).collect::<Vec<_>>()
            })
        };
        let writers: Vec<_> = (0..WRITERS).map(write).collect();
        writers.into_iter().flat_map(|writer| writer.join().unwrap()).collect()
    });
    told.sort_unstable();
    assert_eq!(told, (1..=WRITERS * EDITS).collect::<Vec<_>>(), "every number of edits was told once");
    assert_eq!(log.appended.lock().unwrap().iter().sum::<usize>() as u64, WRITERS * EDITS);
    let kinds = bench.log.read_from(Sequence(3), usize::MAX).unwrap();
    assert!(kinds.iter().all(|stored| stored.entry.kind.as_str() == DRAFT_EDIT));
}
