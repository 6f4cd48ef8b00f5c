//! What every implementation of the port does: one suite, run against each.
//!
//! A case panics when the log does not conform, as a test does; nothing else calls this module.

pub mod checkpoints;

use std::fmt::Debug;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::value::RawValue;

use crate::{
    AppendError, Digest, EntryError, Head, Log, MAX_ACTOR_BYTES, MAX_BATCH_BYTES, MAX_ENTRY_BYTES,
    MAX_READ_BYTES, MAX_REASON_BYTES, MAX_REQUEST_ID_BYTES, NewEntry, Sequence, StoredEntry,
};

/// Longer than any waiting in these cases takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// A case and its name.
type Case = (&'static str, fn(&dyn Log));

/// A way to make an entry malformed.
type Spoil = fn(&mut NewEntry);

const CASES: &[Case] = &[
    ("a new log is empty", a_new_log_is_empty),
    ("appended entries are chained", appended_entries_are_chained),
    ("stored bytes decode to what was appended", stored_bytes_decode),
    ("a stale head is refused", a_stale_head_is_refused),
    ("a batch is all or nothing", a_batch_is_all_or_nothing),
    ("an empty batch changes nothing", an_empty_batch_changes_nothing),
    ("malformed entries are refused", malformed_entries_are_refused),
    ("limits are exact", limits_are_exact),
    ("reads begin and end anywhere", reads_begin_and_end_anywhere),
    ("reads are bounded in bytes", reads_are_bounded_in_bytes),
    ("waiting ends when the head moves", waiting_ends_when_the_head_moves),
    ("waiting ends in time", waiting_ends_in_time),
    ("one of several racing writers wins", one_racing_writer_wins),
];

/// Runs every case, each against a new empty log, and returns how many ran.
///
/// # Panics
/// When a case fails.
pub fn run(make: impl Fn() -> Box<dyn Log>) -> usize {
    let mut ran = 0;
    for (name, case) in CASES {
        tracing::info!(name, "conformance case");
        case(&*make());
        ran += 1;
    }
    assert_eq!(ran, CASES.len());
    ran
}

/// An entry to append, told apart by `text`.
#[must_use]
pub fn sample(text: &str) -> NewEntry {
    NewEntry {
        time: "2026-01-31T09:05:00.250Z".to_owned(),
        actor: "curator \"Ö\"".to_owned(),
        reason: "first line\nsecond line".to_owned(),
        request_id: Some(format!("request-{text}")),
        kind: ok("draft.edit".parse()),
        payload: payload(&format!("{{\"z\": 1.50, \"a\": \"{text}\"}}")),
    }
}

fn a_new_log_is_empty(log: &dyn Log) {
    assert_eq!(log.head(), Head::EMPTY);
    assert!(ok(log.read_from(Sequence::FIRST, 10)).is_empty());
    assert!(ok(log.read_from(Sequence(0), 10)).is_empty());
}

fn appended_entries_are_chained(log: &dyn Log) {
    let first = ok(log.append(Head::EMPTY, sample("a")));
    assert_eq!((first.entry.sequence, first.entry.previous), (Sequence(1), Digest::ZERO));
    assert_eq!(log.head(), first.head());
    let more = ok(log.append_all(first.head(), vec![sample("b"), sample("c")]));
    let [second, third] = more.as_slice() else { return wrong("two entries", more.len()) };
    assert_eq!((second.entry.sequence, second.entry.previous), (Sequence(2), first.digest));
    assert_eq!((third.entry.sequence, third.entry.previous), (Sequence(3), second.digest));
    assert_eq!(log.head(), third.head());
}

fn stored_bytes_decode(log: &dyn Log) {
    let appended = ok(log.append(Head::EMPTY, sample("a")));
    let mut plain = sample("b");
    plain.request_id = None;
    ok(log.append(appended.head(), plain));
    let read = ok(log.read_from(Sequence::FIRST, 10));
    let [first, second] = read.as_slice() else { return wrong("two entries", read.len()) };
    assert_eq!((&first.bytes, first.digest), (&appended.bytes, appended.digest));
    assert_eq!(first.digest, Digest::of(&first.bytes));
    assert!(!first.bytes.contains(&b'\n'));
    let NewEntry { time, actor, reason, request_id, kind, payload } = sample("a");
    assert_eq!((&first.entry.time, &first.entry.actor, &first.entry.reason), (&time, &actor, &reason));
    assert_eq!((&first.entry.request_id, &first.entry.kind), (&request_id, &kind));
    assert_eq!(first.entry.payload.get(), payload.get(), "the payload keeps its spelling");
    assert_eq!(second.entry.request_id, None);
    let decoded = ok(StoredEntry::decode(&first.line()));
    assert_eq!((decoded.bytes, decoded.digest), (first.bytes.clone(), first.digest));
}

fn a_stale_head_is_refused(log: &dyn Log) {
    let head = ok(log.append(Head::EMPTY, sample("a"))).head();
    let forged = Head { digest: Digest::ZERO, ..head };
    for stale in [Head::EMPTY, forged, Head { sequence: Sequence(2), ..head }] {
        match log.append(stale, sample("b")) {
            Err(AppendError::HeadMoved { expected, actual }) => assert_eq!((expected, actual), (stale, head)),
            other => wrong("a moved head", other),
        }
    }
    assert_eq!(log.head(), head);
    assert_eq!(ok(log.read_from(Sequence::FIRST, 10)).len(), 1);
}

fn a_batch_is_all_or_nothing(log: &dyn Log) {
    let mut bad = sample("b");
    bad.actor.clear();
    match log.append_all(Head::EMPTY, vec![sample("a"), bad, sample("c")]) {
        Err(AppendError::Invalid { position: 1, source: EntryError::NoActor }) => {}
        other => wrong("the second entry's missing actor", other),
    }
    assert_eq!(log.head(), Head::EMPTY);
    assert!(ok(log.read_from(Sequence::FIRST, 10)).is_empty());
    ok(log.append(Head::EMPTY, sample("a")));
}

fn an_empty_batch_changes_nothing(log: &dyn Log) {
    assert!(ok(log.append_all(Head::EMPTY, Vec::new())).is_empty());
    assert_eq!(log.head(), Head::EMPTY);
}

fn malformed_entries_are_refused(log: &dyn Log) {
    let cases: &[(Spoil, EntryError)] = &[
        (|new| new.actor.clear(), EntryError::NoActor),
        (|new| new.actor = long(MAX_ACTOR_BYTES), EntryError::LongActor { bytes: MAX_ACTOR_BYTES + 1 }),
        (|new| new.reason = long(MAX_REASON_BYTES), EntryError::LongReason { bytes: MAX_REASON_BYTES + 1 }),
        (|new| new.request_id = Some(String::new()), EntryError::NoRequestId),
        (
            |new| new.request_id = Some(long(MAX_REQUEST_ID_BYTES)),
            EntryError::LongRequestId { bytes: MAX_REQUEST_ID_BYTES + 1 },
        ),
        (|new| new.payload = payload("{\n}"), EntryError::PayloadSpansLines),
        (|new| new.time = "yesterday".to_owned(), EntryError::Time { time: "yesterday".to_owned() }),
    ];
    for (spoil, expected) in cases {
        let mut new = sample("a");
        spoil(&mut new);
        match log.append(Head::EMPTY, new) {
            Err(AppendError::Invalid { position: 0, source }) => assert_eq!(&source, expected),
            other => wrong("a malformed entry", (expected, other)),
        }
    }
    assert_eq!(log.head(), Head::EMPTY);
}

fn limits_are_exact(log: &dyn Log) {
    let base = ok(log.append(Head::EMPTY, filled(0)));
    let most = MAX_ENTRY_BYTES - base.bytes.len();
    let largest = ok(log.append(base.head(), filled(most)));
    assert_eq!(largest.bytes.len(), MAX_ENTRY_BYTES);
    match log.append(largest.head(), filled(most + 1)) {
        Err(AppendError::TooLarge { bytes, limit }) => {
            assert_eq!((bytes, limit), (MAX_ENTRY_BYTES + 1, MAX_ENTRY_BYTES));
        }
        other => wrong("a too large entry", other),
    }
    // A little less each, because a sequence of more digits makes an entry longer.
    let many = (0..=MAX_BATCH_BYTES / MAX_ENTRY_BYTES).map(|_| filled(most - 9)).collect();
    match log.append_all(largest.head(), many) {
        Err(AppendError::TooLarge { limit, .. }) => assert_eq!(limit, MAX_BATCH_BYTES),
        other => wrong("a too large batch", other),
    }
    assert_eq!(log.head(), largest.head());
    assert_eq!(ok(log.read_from(Sequence(2), 10)).len(), 1);
}

fn reads_begin_and_end_anywhere(log: &dyn Log) {
    let mut head = Head::EMPTY;
    for batch in 0..40 {
        let entries = (0..20).map(|entry| sample(&format!("{batch}-{entry}"))).collect();
        head = last_head(&ok(log.append_all(head, entries)));
    }
    for (from, limit, expected) in [
        (0, 3, 1..4),
        (1, 1, 1..2),
        (1, 10_000, 1..801),
        (256, 3, 256..259),
        (257, 1, 257..258),
        (799, 10, 799..801),
        (800, 10, 800..801),
        (400, 0, 1..1),
        (801, 10, 1..1),
        (u64::MAX, 10, 1..1),
    ] {
        let read = ok(log.read_from(Sequence(from), limit));
        let sequences: Vec<u64> = read.iter().map(|stored| stored.entry.sequence.0).collect();
        assert_eq!(sequences, expected.collect::<Vec<_>>(), "from {from}, at most {limit}");
    }
}

fn reads_are_bounded_in_bytes(log: &dyn Log) {
    let each = MAX_ENTRY_BYTES / 2;
    let count = MAX_READ_BYTES / each + 3;
    let all = ok(log.append_all(Head::EMPTY, (0..count).map(|_| filled(each)).collect()));
    let read = ok(log.read_from(Sequence::FIRST, count));
    let bytes: usize = read.iter().map(|stored| stored.bytes.len()).sum();
    assert!(bytes <= MAX_READ_BYTES && bytes + MAX_ENTRY_BYTES > MAX_READ_BYTES, "{bytes}");
    let rest = ok(log.read_from(last_head(&read).sequence.next(), count));
    assert_eq!(last_head(&rest), last_head(&all));
    assert_eq!(read.len() + rest.len(), count);
}

fn waiting_ends_when_the_head_moves(log: &dyn Log) {
    thread::scope(|scope| {
        let waiting = scope.spawn(|| log.wait_beyond(Sequence(1), PATIENCE));
        let first = ok(log.append(Head::EMPTY, sample("a")));
        let second = ok(log.append(first.head(), sample("b")));
        assert_eq!(ok(waiting.join()), second.head());
    });
    let begin = Instant::now();
    assert_eq!(log.wait_beyond(Sequence(0), PATIENCE), log.head());
    assert!(begin.elapsed() < PATIENCE, "a head that is beyond already is not waited for");
}

fn waiting_ends_in_time(log: &dyn Log) {
    let timeout = Duration::from_millis(20);
    let begin = Instant::now();
    assert_eq!(log.wait_beyond(Sequence(0), timeout), Head::EMPTY);
    assert!(begin.elapsed() >= timeout);
}

fn one_racing_writer_wins(log: &dyn Log) {
    const WRITERS: usize = 4;
    const ROUNDS: usize = 10;
    for round in 0..ROUNDS {
        let head = log.head();
        let append = |writer: usize| log.append(head, sample(&format!("{round}-{writer}")));
        let wins: usize = thread::scope(|scope| {
            let racing: Vec<_> = (0..WRITERS).map(|writer| scope.spawn(move || append(writer))).collect();
            racing.into_iter().map(|racer| usize::from(ok(racer.join()).is_ok())).sum()
        });
        assert_eq!(wins, 1);
    }
    assert_eq!(log.head().sequence, Sequence(ROUNDS as u64));
}

fn filled(bytes: usize) -> NewEntry {
    let mut new = sample("a");
    new.payload = payload(&format!("\"{}\"", "x".repeat(bytes)));
    new
}

fn payload(json: &str) -> Box<RawValue> {
    ok(RawValue::from_string(json.to_owned()))
}

fn long(limit: usize) -> String {
    "x".repeat(limit + 1)
}

fn last_head(stored: &[StoredEntry]) -> Head {
    stored.last().map_or(Head::EMPTY, StoredEntry::head)
}

fn ok<T, E: Debug>(result: Result<T, E>) -> T {
    match result {
        Ok(value) => value,
        Err(error) => wrong("success", error),
    }
}

#[expect(clippy::panic, reason = "a suite of tests reports by panicking, as tests do")]
fn wrong<T>(expected: &str, found: impl Debug) -> T {
    panic!("expected {expected}, found {found:?}")
}
