//! Identifying on a small invented catalogue.

mod attributes;
mod catalogue;
mod choices;
mod numbers;
mod properties;
mod sentences;

use catalogue::{ask, catalogue};

use super::*;

/// What a question leaves, written so that a case is one line: ids with options, or the error.
fn outcome(snapshot: &Snapshot, question: &str) -> String {
    match snapshot.identify(&ask(question)) {
        Ok(found) => written(snapshot, &found),
        Err(error) => format!("error: {error}"),
    }
}

fn written(snapshot: &Snapshot, found: &Identified) -> String {
    let lines = found.candidates.iter().map(|candidate| {
        let line = snapshot.line(candidate.line).unwrap();
        let options = snapshot.options_of(line);
        let codes: Vec<&str> = candidate
            .options
            .iter()
            .map(|number| options[usize::from(*number)].option.code.as_str())
            .collect();
        format!("{}:{}", snapshot.line_id(line), codes.join("+"))
    });
    lines.collect::<Vec<_>>().join(" ")
}

/// What was matched to what, written so that a case is one line.
fn matches(snapshot: &Snapshot, question: &str) -> String {
    let found = snapshot.identify(&ask(question)).unwrap_or_else(|error| panic!("{question}: {error}"));
    let matched = found.matched.iter().map(|found| {
        let attribute = found.attribute.map_or("VIN", Attribute::name);
        format!("{attribute} {}={} {:?}", found.typed, found.matched, found.how)
    });
    let unmatched = found.unmatched.iter().map(|word| format!("unmatched {word}"));
    matched.chain(unmatched).collect::<Vec<_>>().join("; ")
}

/// Checks a list of questions with what each leaves, all at once.
fn check(cases: &[(&str, &str)]) {
    let snapshot = catalogue();
    let wrong: Vec<String> = cases
        .iter()
        .map(|(question, expected)| (question, expected, outcome(&snapshot, question)))
        .filter(|(_, expected, found)| found != *expected)
        .map(|(question, expected, found)| format!("{question}\n  expected {expected}\n  found    {found}"))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn check_matches(cases: &[(&str, &str)]) {
    let snapshot = catalogue();
    for (question, expected) in cases {
        assert_eq!(matches(&snapshot, question), *expected, "{question}");
    }
}
