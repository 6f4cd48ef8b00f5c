//! Attributes: exact, by alias, misspelt, contradictory.

use super::*;

#[test]
fn names_match_whatever_their_case_accents_and_punctuation() {
    check(&[
        ("make=ORVANE; model=corvan; year=2015; body=Estate", "corvan-estate:B+A"),
        ("make=belto; model=tesk-300; built=2020-06", "tesk-early:B"),
        ("make=Belto; model=TESK300; year=2020; built=2020-07", "tesk-late:A"),
        ("make=Orv; model=CV; year=2016; body=saloon", "corvan-saloon:B"),
        ("model=Tesk 500", "tesk-500:B"),
        ("year=2010", "abroad:B corvin:B+A"),
        ("make=orvane; year=2012", "abroad:B corvin:B+A"),
    ]);
    check_matches(&[(
        "make=Orv; model=c v; year=2021",
        "MODEL_YEAR 2021=2021 Exact; MAKE Orv=Orvane Alias; MODEL c v=Corvan Alias",
    )]);
}
