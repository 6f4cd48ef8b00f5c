//! The cascade of choices.

use super::*;

/// What would be asked next, written so that a case is one line: attribute, then value (lines).
fn asked(snapshot: &Snapshot, question: &str) -> String {
    let choices = snapshot.choices(&ask(question)).unwrap_or_else(|error| panic!("{question}: {error}"));
    let attribute = choices.attribute.map_or("nothing", Attribute::name);
    let values = choices.choices.iter().map(|choice| format!("{} ({})", choice.value, choice.lines));
    format!("{attribute} of {}: {}", choices.remaining, values.collect::<Vec<_>>().join(", "))
}

#[test]
fn the_cascade_asks_for_what_still_differs() {
    let snapshot = catalogue();
    let cases = [
        (
            "",
            "MODEL_YEAR of 18: 2022 (1), 2021 (2), 2020 (7), 2019 (8), 2018 (10), 2017 (9), 2016 (10), 2015 (9), 2014 (7), \
             2013 (3), 2012 (3), 2011 (2), 2010 (1), 1990 (1), 1989 (1), 1988 (2), 1987 (2), 1986 (2), 1985 (2), 1984 (2)",
        ),
        ("year=2016", "MAKE of 10: Beltó (4), Beltrane (3), Orvane (3)"),
        ("year=2016; make=belto", "MODEL of 4: 2016 (1), Corlex (1), Sport (2)"),
        ("year=2016; make=belto; model=sport", "DRIVE_SIDE of 2: LEFT (1), RIGHT (1)"),
        ("year=2016; make=orvane; model=corlan", "BODY of 2: estate (1), saloon (1)"),
        ("year=2016; make=orvane; model=corlan; body=saloon", "nothing of 1: "),
        ("year=2016; make=orvane; model=corlan; body=estate", "AUDIO_OPTION of 1: A (1), B (1)"),
        ("year=2016; make=orvane; model=corlan; body=estate; audio=a", "nothing of 1: "),
        ("year=2020; make=orvane; model=corlan", "TRIM of 2: Sport (1), Sport Plus (1), another trim (1)"),
        ("year=2020; make=belto; model=tesk 300", "BUILD_MONTH of 2: 2020-06 (1), 2020-07 (1)"),
        (
            "make=orvane; model=corlan",
            "MODEL_YEAR of 4: 2021 (1), 2020 (2), 2019 (2), 2018 (2), 2017 (2), 2016 (2), 2015 (2), 2014 (2)",
        ),
        ("make=belto; model=tesk 500", "nothing of 1: "),
        ("vin=4KTAB5111GA000001", "MODEL_YEAR of 2: 2016 (1), 1986 (1)"),
        ("words=corlen 2015", "MAKE of 4: Beltó (1), Orvane (3)"),
        ("words=orvane corlen 2015", "MODEL of 3: Corlan (2), Corlin (1)"),
    ];
    for (question, expected) in cases {
        assert_eq!(asked(&snapshot, question), expected, "{question}");
    }
}
