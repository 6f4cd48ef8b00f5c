//! Many curators on few records, and publishers that race.

use std::collections::{BTreeMap, BTreeSet};
use std::thread;

use super::*;
use crate::{Conditions, Expected};

const CURATORS: usize = 64;
const RECORDS: usize = 10;
/// Attempts of each curator, unless DASHWRIGHT_ATTEMPTS says how many: few enough for a run of a second or two.
const ATTEMPTS: usize = 30;
/// More than a publish is begun again (`REBASES`): who comes last in every race must not be refused.
const PUBLISHERS: usize = 40;
const RACES: usize = 2;

fn attempts(otherwise: usize) -> usize {
    std::env::var("DASHWRIGHT_ATTEMPTS").ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

fn term(number: usize, name: &str) -> Record {
    record("vocabulary", &format!(r#""id":"t{number}","of":"MAKE","name":"{name}""#))
}

/// The etag of what a draft makes of each record.
fn etags(engine: &Engine, draft: &str) -> BTreeMap<String, String> {
    let facts = engine.open_draft(draft).unwrap();
    let items = engine.items_of(&facts, None, usize::MAX).unwrap();
    let states = engine.item_states(&engine.view(), &items).unwrap();
    items.into_iter().zip(states).map(|(item, state)| (item.record, state.etag)).collect()
}

#[test]
fn every_etag_has_one_winner_and_no_edit_is_lost() {
    let bench = Bench::new();
    let engine = bench.start();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    let puts = (0..RECORDS).map(|number| Put { record: term(number, "first"), expected: Expected::Nothing });
    engine.edit_draft(&origin(None), &draft, puts.collect(), vec![], false).unwrap();
    let first = etags(&engine, &draft);
    let curator = |curator: usize| {
        let (engine, draft, mut won, mut refused) = (engine.clone(), draft.clone(), Vec::new(), 0);
        move || {
            for attempt in 0..attempts(ATTEMPTS) {
                let number = (curator * 7 + attempt * 3) % RECORDS;
                let before = etags(&engine, &draft)[&format!("vocabulary/t{number}")].clone();
                let record = term(number, &format!("{curator}-{attempt}"));
                let after = crate::etag(&dashwright_model::exchange::to_line(&record).unwrap());
                let put = Put { record, expected: Expected::Etag(before.clone()) };
                match engine.edit_draft(&origin(None), &draft, vec![put], vec![], false) {
                    Ok(_) => won.push((number, before, after)),
                    Err(WriteError::Etags { total: 1, .. }) => refused += 1,
                    Err(error) => panic!("{error}"),
                }
            }
            (won, refused)
        }
    };
    let curators: Vec<_> = (0..CURATORS).map(|number| thread::spawn(curator(number))).collect();
    let done: Vec<_> = curators.into_iter().map(|it| it.join().unwrap()).collect();
    let refused: usize = done.iter().map(|(_, refused)| refused).sum();
    let won: Vec<_> = done.into_iter().flat_map(|(won, _)| won).collect();
    assert_eq!(won.len() + refused, CURATORS * attempts(ATTEMPTS));
    println!("{} edits won their etag, {refused} were refused", won.len());
    assert!(refused > 0 && won.len() > RECORDS, "{} won, {refused} were refused", won.len());

    // From the first etag of each record one line leads over every edit that won to the last.
    let mut next: BTreeMap<(usize, String), String> = BTreeMap::new();
    for (number, before, after) in won {
        assert!(next.insert((number, before), after).is_none(), "two edits won one etag");
    }
    let last = etags(&engine, &draft);
    for number in 0..RECORDS {
        let mut at = first[&format!("vocabulary/t{number}")].clone();
        while let Some(after) = next.remove(&(number, at.clone())) {
            at = after;
        }
        assert_eq!(at, last[&format!("vocabulary/t{number}")]);
    }
    assert!(next.is_empty(), "edits that nothing leads to: {next:?}");
    drop(engine);
    assert_eq!(etags(&bench.start(), &draft), last);
}

#[test]
fn two_publishers_that_race_make_one_line_of_revisions_and_lose_nothing() {
    let bench = Bench::new();
    let engine = bench.start();
    let publisher = |publisher: usize| {
        let engine = engine.clone();
        move || {
            let mut revisions = Vec::new();
            for race in 0..attempts(RACES) {
                let draft = engine.create_draft(&origin(None)).unwrap().id;
                let number = publisher * 1_000_000 + race;
                let put = Put { record: term(number, "x"), expected: Expected::Nothing };
                engine.edit_draft(&origin(None), &draft, vec![put], vec![], false).unwrap();
                let published = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap();
                revisions.push((published.revision, number));
            }
            revisions
        }
    };
    let publishers: Vec<_> = (0..PUBLISHERS).map(|number| thread::spawn(publisher(number))).collect();
    let published: Vec<_> = publishers.into_iter().flat_map(|it| it.join().unwrap()).collect();
    let numbers: BTreeSet<u64> = published.iter().map(|(revision, _)| *revision).collect();
    assert_eq!(numbers, (1..=published.len() as u64).collect());
    assert_eq!(engine.view().snapshot().records(RecordKind::Vocabulary).len(), published.len());
    for (revision, number) in published {
        let kept = engine.view().snapshot().record(RecordKind::Vocabulary, &format!("t{number}")).cloned();
        assert_eq!(kept.unwrap().revision, revision);
    }
}
