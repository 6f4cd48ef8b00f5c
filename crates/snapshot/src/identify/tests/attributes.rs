//! Attributes: exact, by alias, misspelt, contradictory.

use super::*;

#[test]
fn names_match_whatever_their_case_accents_and_punctuation() {
    check(&[
        ("make=ORVANE; model=corlan; year=2015; body=Estate", "corlan-estate:B+A"),
        ("make=belto; model=tesk-300; built=2020-06", "tesk-early:B"),
        ("make=BELTÓ; model=TESK300; year=2020; built=2020-07", "tesk-late:A"),
        ("make=Orv; model=CV; year=2016; body=saloon", "corlan-saloon:B"),
        ("model=Tesk 500", "tesk-500:B"),
        ("year=2010", "corlin:B+A"),
        ("make=orvane; year=2012", "abroad:B corlin:B+A"),
        ("year=2021; trim=Sport", "tesk-500:B corlan-others:B+A"),
    ]);
    check_matches(&[(
        "make=Orv; model=c v; year=2021",
        "MODEL_YEAR 2021=2021 Exact; MAKE Orv=Orvane Alias; MODEL c v=Corlan Alias",
    )]);
}

#[test]
fn likely_misspellings_are_taken_and_reported() {
    check(&[
        ("make=orvnae; model=corlan; year=2015; body=esate", "corlan-estate:B+A"),
        ("make=orvane; model=corlan; year=2020; trim=sprot pluss", "corlan-others:B+A corlan-sport:B+A"),
    ]);
    check_matches(&[(
        "make=orvnae; model=corlan; year=2015; body=esate",
        "MODEL_YEAR 2015=2015 Exact; MAKE orvnae=Orvane Misspelt { similarity: 83 }; \
             MODEL corlan=Corlan Exact; BODY esate=estate Misspelt { similarity: 83 }",
    )]);
}

#[test]
fn a_misspelling_that_ties_gives_the_candidates_of_both() {
    check(&[
        ("model=corlen; year=2015", "corlex:B corlan-estate:B+A corlan-saloon:B corlin:B+A"),
        ("make=orvane; model=corlen; year=2015", "corlan-estate:B+A corlan-saloon:B corlin:B+A"),
    ]);
    check_matches(&[(
        "make=orvane; model=corlen; year=2015",
        "MODEL_YEAR 2015=2015 Exact; MAKE orvane=Orvane Exact; MODEL corlen=Corlan Misspelt { similarity: 83 }; \
         MODEL corlen=Corlin Misspelt { similarity: 83 }",
    )]);
    let snapshot = catalogue();
    let found = snapshot.identify(&ask("make=orvane; model=corlen; year=2015")).unwrap();
    assert!(found.candidates.iter().all(|candidate| candidate.likeness == 83));
    assert!(!found.states(Attribute::Model) && found.states(Attribute::Make));
    assert!(found.states(Attribute::ModelYear) && !found.states(Attribute::Trim));
}

#[test]
fn what_is_unknown_is_refused_with_the_nearest() {
    let cases = [
        // Numbers in names and short words are never guessed.
        ("model=Tesk 30", "MODEL Tesk 30", "Tesk 300"),
        ("model=Tesk 510", "MODEL Tesk 510", "Tesk 500"),
        ("make=Orx; year=2015", "MAKE Orx", "Orvane"),
        ("make=orvane; model=corlan; year=2019; audio=C", "AUDIO_OPTION C", "A"),
        ("make=zzz; year=2015", "MAKE zzz", "Beltó"),
        ("make=orvane; model=corlin; trim=bass guitar", "TRIM bass guitar", "Base"),
        ("make=belto; model=sport; market=antarctica", "MARKET antarctica", "NA"),
        ("make=belto; model=sport; drivetrain=front", "DRIVETRAIN front", "all-wheel"),
        ("year=1999", "MODEL_YEAR 1999", "1984-1990"),
    ];
    let snapshot = catalogue();
    for (question, unknown, first) in cases {
        match snapshot.identify(&ask(question)) {
            Err(IdentifyError::NoMatch { attribute, typed, nearest }) => {
                assert_eq!(format!("{attribute} {typed}"), unknown, "{question}");
                assert_eq!(nearest.first().map(String::as_str), Some(first), "{question}");
                assert!(nearest.len() <= MAX_NEAREST);
            }
            other => panic!("{question}: {other:?}"),
        }
    }
}

#[test]
fn known_statements_that_no_line_unites_are_named_in_pairs() {
    check(&[
        (
            "make=orvane; model=corlin; year=2021",
            "error: no vehicle line has both model `corlin` and model year `2021` with make `orvane`; there are: 2010-2020",
        ),
        (
            "make=orvane; model=tesk 500",
            "error: no vehicle line has both make `orvane` and model `tesk 500`; there are: Abroad, Corlan, Corlin",
        ),
        ("model=tesk 300; year=2020; built=2021-01; market=NA", "tesk-late:A"),
        ("model=corlan; year=2015; trim=sport; body=estate; audio=a", "corlan-estate:A"),
        (
            "model=corlan; year=2015; body=saloon; audio=big speakers",
            "error: no vehicle line has both body `saloon` and audio option `big speakers` with model `corlan` and model year `2015`; \
             there are: base six-speaker",
        ),
        (
            "model=sport; market=NA; side=RIGHT",
            "error: no vehicle line has both drive side `RIGHT` and market `NA` with model `sport`; there are: UK",
        ),
        (
            "make=orvane; model=corlin; trim=sport",
            "error: no vehicle line has both model `corlin` and trim `sport` with make `orvane`; there are: Base",
        ),
    ]);
}

#[test]
fn what_nothing_in_reach_can_be_compared_with_is_unchecked() {
    check_matches(&[
        (
            "make=belto; model=corlex; trim=Luxury; body=hearse",
            "MAKE belto=Beltó Exact; MODEL corlex=Corlex Exact; BODY hearse= Unchecked; TRIM Luxury= Unchecked",
        ),
        (
            "model=corlan; year=2020; trim=Luxury",
            "MODEL_YEAR 2020=2020 Exact; MODEL corlan=Corlan Exact; TRIM Luxury= OtherTrim",
        ),
    ]);
}

#[test]
fn a_build_month_tells_the_lines_of_a_split_year() {
    check(&[
        ("model=tesk 300", "tesk-early:B tesk-late:A"),
        ("model=tesk 300; built=2020-06", "tesk-early:B"),
        ("model=tesk 300; built=2020-07", "tesk-late:A"),
    ]);
}

#[test]
fn all_others_are_the_trims_that_no_line_names() {
    check(&[
        ("model=corlan; year=2019; trim=Sport", "corlan-sport:B+A"),
        ("model=corlan; year=2019; trim=sport-plus", "corlan-sport:B+A"),
        ("model=corlan; year=2019; trim=Luxury", "corlan-others:B+A"),
        ("model=corlan; year=2019; trim=another trim", "corlan-others:B+A"),
        // In 2021 nobody names it, so it is one of the others.
        ("model=corlan; year=2021; trim=Sport", "corlan-others:B+A"),
        ("model=corlan; trim=Sport; body=estate", "corlan-estate:B+A corlan-others:B+A corlan-sport:B+A"),
    ]);
    let snapshot = catalogue();
    let found = snapshot.identify(&ask("model=corlan; trim=Sport; body=van")).unwrap();
    let others = snapshot.line_by_id("corlan-others").unwrap();
    let others = found.candidates.iter().find(|candidate| candidate.line == others).unwrap();
    assert_eq!(others.years.spans().iter().map(ToString::to_string).collect::<Vec<_>>(), ["2021"]);
}

#[test]
fn an_empty_question_is_an_error() {
    check(&[
        ("", "error: the question says nothing of the vehicle"),
        ("words=with the", "error: the question says nothing of the vehicle"),
    ]);
}

#[test]
fn the_values_of_a_candidate_are_those_that_would_keep_it() {
    let snapshot = catalogue();
    let values = |question: &str, attribute| {
        let found = snapshot.identify(&ask(question)).unwrap();
        found
            .candidates
            .iter()
            .map(|candidate| match snapshot.attribute_values(candidate, attribute) {
                Answers::Every => "every".to_owned(),
                Answers::These(these) => these.iter().map(ToString::to_string).collect::<Vec<_>>().join("+"),
            })
            .collect::<Vec<_>>()
            .join(" | ")
    };
    let cases = [
        ("model=corlan; year=2020", Attribute::Trim, "another trim | Sport+Sport Plus"),
        ("model=corlan; year=2015", Attribute::Trim, "every | every"),
        ("model=corlan; year=2015", Attribute::Body, "estate | saloon"),
        ("model=tesk 300", Attribute::BuildMonth, "built up to 2020-06 | built from 2020-07"),
        ("model=tesk 300", Attribute::Market, "every | every"),
        ("model=sport", Attribute::DriveSide, "LEFT | RIGHT"),
        ("model=sport", Attribute::Drivetrain, "all-wheel | all-wheel"),
        ("model=corlin; year=2012", Attribute::ModelYear, "2012"),
        ("model=corlin; year=2012", Attribute::AudioOption, "base six-speaker+branded amplified ten-speaker"),
        ("model=corlin; year=2012; audio=a", Attribute::AudioOption, "branded amplified ten-speaker"),
        ("model=corlin; year=2012", Attribute::Make, "Orvane"),
        ("model=corlin; year=2012", Attribute::Model, "Corlin"),
    ];
    for (question, attribute, expected) in cases {
        assert_eq!(values(question, attribute), expected, "{question} {attribute}");
    }
}
