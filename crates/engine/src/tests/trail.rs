//! The trail: what is found by index is what a plain scan finds, over generated histories, restarts and rebuilds.

use std::collections::BTreeSet;

use dashwright_log::{Sequence, StoredEntry};
use dashwright_model::outcome::JobResult;
use proptest::prelude::*;

use super::*;
use crate::keys::Role;
use crate::{Acceptance, Conditions, Delete, Filter, NewKey};

const ACTORS: [&str; 3] = ["Ada", "Ben", "Ada\0k"];

/// A clock that goes as it likes, also back.
struct Clock {
    given: AtomicU64,
    seconds: Vec<u8>,
}

impl Surroundings for Clock {
    fn now(&self) -> String {
        let at = self.given.fetch_add(1, Ordering::Relaxed) as usize % self.seconds.len();
        format!("2026-01-31T09:05:{:02}Z", self.seconds[at])
    }

    fn new_id(&self) -> String {
        format!("id-{}", self.given.fetch_add(1, Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        Some([u8::try_from(self.given.fetch_add(1, Ordering::Relaxed) % 251).unwrap(); 32])
    }
}

/// Something that leaves entries.
#[derive(Clone, Debug)]
enum Act {
    Put(usize, u16),
    Delete(usize),
    Discard(u16),
    Key,
    Call,
    /// Whether it is accepted.
    Job(bool),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0..7_usize, 0..6_u16).prop_map(|(car, round)| Act::Put(car, round)),
        (0..7_usize).prop_map(Act::Delete),
        (2001..2030_u16).prop_map(Act::Discard),
        Just(Act::Key),
        Just(Act::Call),
        any::<bool>().prop_map(Act::Job),
    ]
}

fn perform(engine: &Engine, act: &Act, actor: &str) {
    let origin = Origin { actor: actor.to_owned(), reason: "test".to_owned(), request_id: None };
    let draft = |puts: &[Record], deletes: &[String]| {
        let deletes = deletes.iter().map(|key| Delete::over(key.parse().unwrap())).collect();
        let puts = puts.iter().cloned().map(Put::over).collect();
        let id = engine.create_draft(&origin).unwrap().id;
        // A record that is not there can not be deleted; the draft is then empty.
        let edited = engine.edit_draft(&origin, &id, puts, deletes, false).is_ok();
        (id, edited)
    };
    match act {
        Act::Put(car, round) => {
            // Cars of one name never share a year.
            let year = 1950 + 7 * round + u16::try_from(*car).unwrap();
            let (id, _) = draft(&[vehicle(&format!("v{car}"), year)], &[]);
            engine.publish_draft(&origin, &id, &Conditions::default()).unwrap();
        }
        Act::Delete(car) => {
            let (id, edited) = draft(&[], &[format!("vehicle/v{car}")]);
            if edited {
                engine.publish_draft(&origin, &id, &Conditions::default()).unwrap();
            }
        }
        Act::Discard(year) => {
            let (id, _) = draft(&[vehicle("v0", *year), vehicle("w", *year)], &[]);
            engine.discard_draft(&origin, &id).unwrap();
        }
        Act::Key => {
            let new = NewKey { holder: actor.to_owned(), roles: [Role::Operator].into(), expires: None };
            let made = engine.create_key(&origin, new).unwrap();
            engine.revoke_key(&origin, made.facts.id.as_str()).unwrap();
        }
        Act::Job(accepted) => {
            let report = super::outcomes::report(JobResult::Worked, &["dash/d"], "");
            let outcome = engine.report_outcome(&origin, report).unwrap().number;
            if *accepted {
                let id = engine.create_draft(&origin).unwrap().id;
                let acceptance = Acceptance { outcome, draft: id.clone(), records: None };
                engine.accept_outcome(&origin, acceptance, false).unwrap();
                engine.discard_draft(&origin, &id).unwrap();
            } else {
                engine.reject_outcome(&origin, outcome, false).unwrap();
            }
        }
        Act::Call => engine.note_operator_call(&origin, "Backup").unwrap(),
    }
}

/// What an entry says of itself, read as plain JSON.
struct Said {
    sequence: u64,
    actor: String,
    kind: String,
    time: String,
    draft: Option<String>,
    records: Vec<String>,
}

fn said(stored: &StoredEntry) -> Said {
    let entry = &stored.entry;
    let payload: serde_json::Value = serde_json::from_str(entry.payload.get()).unwrap();
    let mut records = Vec::new();
    if entry.kind.as_str() == "draft.edit" {
        for put in payload["puts"].as_array().unwrap() {
            let text = put.as_str().map_or_else(|| put.to_string(), str::to_owned);
            let record: serde_json::Value = serde_json::from_str(&text).unwrap();
            let (kind, fields) = record.as_object().unwrap().iter().next().unwrap();
            records.push(format!("{kind}/{}", fields["id"].as_str().unwrap()));
        }
        records.extend(
            payload["deletes"].as_array().unwrap().iter().map(|key| key.as_str().unwrap().to_owned()),
        );
    }
    if entry.kind.as_str() == "outcome.report" {
        let rests_on = payload["rests_on"].as_array().unwrap();
        records.extend(rests_on.iter().map(|key| key.as_str().unwrap().to_owned()));
    }
    Said {
        sequence: entry.sequence.0,
        actor: entry.actor.clone(),
        kind: entry.kind.as_str().to_owned(),
        time: entry.time.clone(),
        draft: payload["draft"].as_str().map(str::to_owned),
        records,
    }
}

/// By reading everything; times of one length sort as texts.
fn scanned(all: &[Said], filter: &Filter, size: u64) -> Vec<u64> {
    let Filter { record, actor, kind, draft, from_time, to_time } = filter;
    let through = |it: &&Said| {
        it.sequence <= size
            && record.as_ref().is_none_or(|record| it.records.contains(record))
            && actor.as_ref().is_none_or(|actor| *actor == it.actor)
            && kind.as_ref().is_none_or(|kind| *kind == it.kind)
            && (draft.is_none() || it.draft == *draft)
            && from_time.as_ref().is_none_or(|from| *from <= it.time)
            && to_time.as_ref().is_none_or(|to| it.time < *to)
    };
    all.iter().filter(through).map(|it| it.sequence).collect()
}

/// Every condition alone with every value that there is and one that there is not, and some of them together.
fn filters(all: &[Said]) -> Vec<Filter> {
    let values = |of: &dyn Fn(&Said) -> Vec<String>| -> BTreeSet<String> {
        all.iter().flat_map(of).chain(["none".to_owned()]).collect()
    };
    let none = Filter::default();
    let mut filters = vec![none.clone()];
    let actors = values(&|it| vec![it.actor.clone()]);
    let kinds = values(&|it| vec![it.kind.clone()]);
    let records = values(&|it| it.records.clone());
    let drafts = values(&|it| it.draft.clone().into_iter().collect());
    for record in &records {
        let of = Filter { record: Some(record.clone()), ..none.clone() };
        filters.push(of.clone());
        filters.extend(actors.iter().map(|actor| Filter { actor: Some(actor.clone()), ..of.clone() }));
    }
    filters.extend(drafts.iter().map(|draft| Filter { draft: Some(draft.clone()), ..none.clone() }));
    for actor in &actors {
        let of = Filter { actor: Some(actor.clone()), ..none.clone() };
        filters.push(of.clone());
        filters.extend(kinds.iter().map(|kind| Filter { kind: Some(kind.clone()), ..of.clone() }));
    }
    filters.extend(kinds.iter().map(|kind| Filter { kind: Some(kind.clone()), ..none.clone() }));
    for (from, to) in [(0, 30), (15, 16), (20, 59), (40, 10)] {
        let [from, to] = [from, to].map(|second| Some(format!("2026-01-31T09:05:{second:02}Z")));
        filters.push(Filter { from_time: from.clone(), ..none.clone() });
        filters.push(Filter { to_time: to.clone(), ..none.clone() });
        filters.push(Filter { from_time: from, to_time: to, actor: Some("Ada".to_owned()), ..none.clone() });
    }
    filters
}

fn check(engine: &Engine, place: &str) {
    let entries = engine.log().read_from(Sequence::FIRST, usize::MAX).unwrap();
    let all: Vec<Said> = entries.iter().map(said).collect();
    let size = all.len() as u64;
    assert_eq!(size, engine.trail_size());
    for filter in filters(&all) {
        for size in [size, size / 2] {
            let expected = scanned(&all, &filter, size);
            let found = engine.entries(&filter, size, false, (0, usize::MAX)).unwrap();
            let sequences: Vec<u64> = found.entries.iter().map(|(it, _)| it.entry.sequence.0).collect();
            assert_eq!(sequences, expected, "{filter:?} of {size} {place}");
            // What is asked where the index is damaged or the store has stopped.
            assert_eq!(filter.scan(&engine.shared, size).unwrap(), expected, "{filter:?} of {size} {place}");
            let page = engine.entries(&filter, size, true, (1, 2)).unwrap();
            let backwards: Vec<u64> = expected.iter().rev().skip(1).take(2).copied().collect();
            let sequences: Vec<u64> = page.entries.iter().map(|(it, _)| it.entry.sequence.0).collect();
            assert_eq!((sequences, page.total), (backwards, expected.len() as u64), "{filter:?} {place}");
        }
    }
}

fn start_with(bench: &Bench, clock: &Arc<Clock>) -> Engine {
    let ground = Ground {
        log: Arc::clone(&bench.log) as Arc<dyn Log>,
        store: Store::open(&bench.store()).unwrap().store,
        checkpoints: Arc::new(MemoryCheckpoints::new()),
        signer: None,
        key_secret: ServerSecret::new([7; 32]),
        surroundings: Arc::clone(clock) as Arc<dyn Surroundings>,
    };
    start_at(ground, PACE).unwrap().0
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn what_is_found_by_index_is_what_a_scan_finds(
        acts in prop::collection::vec((act(), 0..ACTORS.len()), 1..9),
        seconds in prop::collection::vec(0..60_u8, 2..9),
    ) {
        let bench = Bench::new();
        let clock = Arc::new(Clock { given: AtomicU64::new(1_000), seconds });
        let engine = start_with(&bench, &clock);
        load(&engine, dataset(), None).unwrap();
        for (act, actor) in &acts {
            perform(&engine, act, ACTORS[*actor]);
        }
        check(&engine, "as written");
        drop(engine);
        let engine = start_with(&bench, &clock);
        check(&engine, "after a restart");
        perform(&engine, &Act::Discard(2030), "Ada");
        check(&engine, "after a restart and more");
        drop(engine);
        std::fs::remove_dir_all(bench.store()).unwrap();
        check(&start_with(&bench, &clock), "after a rebuild");
    }
}
