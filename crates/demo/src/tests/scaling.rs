//! Generated lines are as many as asked for, always the same, and clash with nothing.

use std::collections::BTreeSet;

use dashwright_model::dataset::clashes;
use dashwright_model::record::Record;

use crate::scale::{Stock, vehicle};
use crate::{MAX_GENERATED_LINES, MAX_GENERATED_MAKES, records, scaled};

#[test]
fn as_many_lines_as_asked_for_and_no_clash() {
    let base = records().unwrap().len();
    for (lines, makes) in [(0, 0), (1, 1), (150, MAX_GENERATED_MAKES), (9_000, MAX_GENERATED_MAKES)] {
        let all: Vec<Record> = scaled(lines).collect();
        assert_eq!(all.len(), base + lines + makes);
        assert_eq!(clashes(&all), []);
        assert!(all.iter().eq(&scaled(lines).collect::<Vec<_>>()));
    }
}

#[test]
fn more_lines_hold_the_fewer() {
    let few: Vec<String> = scaled(100).map(|record| record.id().to_owned()).collect();
    let many: BTreeSet<String> = scaled(1_000).map(|record| record.id().to_owned()).collect();
    assert!(few.iter().all(|id| many.contains(id)));
}

#[test]
fn a_million_lines_are_possible() {
    const { assert!(MAX_GENERATED_LINES >= 1_000_000) };
    let stock = Stock::of(&records().unwrap());
    let last = vehicle(MAX_GENERATED_LINES - 1, &stock).unwrap();
    assert_eq!(last.id(), "gen-59-3399-2021");
}
