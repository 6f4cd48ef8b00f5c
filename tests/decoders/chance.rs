//! Chance, the same in every run: seeds with bytes flipped, inserted, left out, cut off and doubled, and bytes of no seed.

use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::{seeds, targets};

/// How many inputs each target gets, so that none takes more than a few seconds: those that open files or compile a dataset
/// get fewer. The fuzzer goes on from there.
const CASES: &[(&str, u32)] = &[
    ("datasets", 150),
    ("directories", 60),
    ("histories", 150),
    ("identities", 200),
    ("lines", 1_500),
    ("requests", 1_500),
    ("tables", 1_500),
    ("texts", 20_000),
    ("trails", 1_500),
    ("vehicles", 1_000),
];

/// The longest input of chance alone.
const MOST_BYTES: usize = 600;

/// An input, shown as a person reads it.
#[derive(Clone)]
struct Input(Vec<u8>);

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "b\"{}\"", self.0.escape_ascii())
    }
}

/// One change of an input; a place is a share of its length.
#[derive(Clone, Debug)]
enum Change {
    Flip { place: f64, bit: u8 },
    Put { place: f64, bytes: Vec<u8> },
    Leave { place: f64, bytes: usize },
    Cut { place: f64 },
    Double { place: f64, bytes: usize },
    Continue { place: f64, with: usize, from: f64 },
}

fn change() -> impl Strategy<Value = Change> {
    let place = || 0.0..1.0;
    let some = || prop_oneof![4 => 1..4_usize, 1 => 1..200_usize];
    prop_oneof![
        4 => (place(), 0..8_u8).prop_map(|(place, bit)| Change::Flip { place, bit }),
        4 => (place(), put()).prop_map(|(place, bytes)| Change::Put { place, bytes }),
        2 => (place(), some()).prop_map(|(place, bytes)| Change::Leave { place, bytes }),
        1 => place().prop_map(|place| Change::Cut { place }),
        1 => (place(), some()).prop_map(|(place, bytes)| Change::Double { place, bytes }),
        1 => (place(), any::<usize>(), place()).prop_map(|(place, with, from)| Change::Continue { place, with, from }),
    ]
}

/// Bytes that mean something in one form or another.
fn put() -> impl Strategy<Value = Vec<u8>> {
    let words: &[&str] = &[
        "\"",
        "{",
        "}",
        "[",
        "]",
        ",",
        ":",
        "\\",
        "\\u0000",
        "\n",
        "\r\n",
        "\0",
        "=",
        "+",
        "-",
        "/",
        "_",
        ".",
        "null",
        "0",
        "-1",
        "1e308",
        "18446744073709551616",
        "\u{feff}",
        "\u{202e}",
        "é",
        "=== \n",
        "<b>",
    ];
    prop_oneof![
        2 => proptest::sample::select(words).prop_map(|word| word.as_bytes().to_vec()),
        1 => proptest::collection::vec(any::<u8>(), 1..6),
    ]
}

fn changed(mut input: Vec<u8>, changes: &[Change], seeds: &[Vec<u8>]) -> Vec<u8> {
    for change in changes {
        let length = input.len();
        let at = |place: f64| ((length as f64) * place) as usize;
        let span = |place: f64, bytes: usize| at(place)..at(place).saturating_add(bytes).min(length);
        match change {
            Change::Flip { place, bit } if length > 0 => input[at(*place)] ^= 1 << bit,
            Change::Flip { .. } => {}
            Change::Put { place, bytes } => {
                input.splice(at(*place)..at(*place), bytes.iter().copied());
            }
            Change::Leave { place, bytes } => {
                input.drain(span(*place, *bytes));
            }
            Change::Cut { place } => input.truncate(at(*place)),
            Change::Double { place, bytes } => {
                let doubled = input[span(*place, *bytes)].to_vec();
                input.splice(at(*place)..at(*place), doubled);
            }
            Change::Continue { place, with, from } => {
                let other = &seeds[with % seeds.len()];
                input.truncate(at(*place));
                input.extend_from_slice(&other[((other.len() as f64) * from) as usize..]);
            }
        }
    }
    input
}

/// Holds a target to inputs that are the same in every run; what is found is made as small as it goes.
fn hold(target: &str, inputs: impl Strategy<Value = Vec<u8>>) {
    let (_, cases) = CASES.iter().find(|(name, _)| *name == target).unwrap();
    let (_, hold) = targets::ALL.iter().find(|(name, _)| *name == target).unwrap();
    let config = Config { failure_persistence: None, ..Config::with_cases(*cases) };
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let held = TestRunner::new_with_rng(config, rng).run(&inputs.prop_map(Input), |Input(input)| {
        hold(&input);
        Ok(())
    });
    assert!(held.is_ok(), "{target}: {}", held.unwrap_err());
}

fn hold_both(target: &str) {
    let seeds: Vec<Vec<u8>> = seeds::of(target).into_values().collect();
    let (from, with) = (proptest::sample::select(seeds.clone()), proptest::collection::vec(change(), 1..6));
    hold(target, (from, with).prop_map(move |(seed, changes)| changed(seed, &changes, &seeds)));
    hold(target, proptest::collection::vec(any::<u8>(), 0..MOST_BYTES));
}

macro_rules! held {
    ($($name:ident: $target:literal,)+) => {
        $(
            #[test]
            fn $name() {
                hold_both($target);
            }
        )+

        #[test]
        fn every_target_is_held() {
            let held = [$($target),+];
            assert_eq!(held.to_vec(), targets::ALL.iter().map(|(name, _)| *name).collect::<Vec<_>>());
        }
    };
}

held! {
    datasets_are_compiled_planned_and_printed_or_refused: "datasets",
    directories_are_opened_and_mended_or_refused: "directories",
    histories_are_folded_or_refused: "histories",
    identities_are_taken_or_refused: "identities",
    lines_are_read_and_written_alike_or_refused: "lines",
    requests_are_answered_or_refused_with_a_reason: "requests",
    tables_are_read_and_written_alike_or_refused: "tables",
    texts_have_one_meaning_or_none: "texts",
    trails_are_read_and_written_alike_or_refused: "trails",
    vehicles_are_identified_or_refused: "vehicles",
}
