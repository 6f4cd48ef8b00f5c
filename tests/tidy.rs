//! The habits of the house as a test: every rule below holds for every file, and fails on a sample that breaks it.

use std::collections::BTreeMap;
use std::error::Error;

use dashwright_tests::tree::{Tree, Violation};

#[path = "tidy/house.rs"]
mod house;
#[path = "tidy/rust.rs"]
mod rust;
#[path = "tidy/text.rs"]
mod text;

/// One habit. To add one: a row in `RULES` of text.rs, rust.rs or house.rs, its function, a bad and a good sample.
struct Rule {
    name: &'static str,
    check: fn(&Tree) -> Vec<Violation>,
    /// Files that break the rule.
    bad: fn() -> Sample,
    /// Files that come close and are in order.
    good: fn() -> Sample,
}

/// Files of an imagined tree: path and text. `src/lib.rs`, `src/main.rs` and `tests/*.rs` are its targets.
type Sample = Vec<(&'static str, String)>;

/// Files that a rule leaves alone: rule, start of the path, end of the path, reason.
const EXEMPT: &[(&str, &str, &str, &str)] = &[
    ("file length", "", "Cargo.lock", "generated"),
    ("file length", "LICENSE", "", "legal text"),
    ("file length", "CHANGELOG.md", "", "grows with every release"),
    ("file length", "", ".jsonl", "data"),
    ("file length", "", ".json", "data"),
    ("file length", "", ".csv", "data"),
    ("file length", "", ".svg", "data"),
    ("file length", "", ".txt", "data"),
    ("open ends", "tests/tidy/", ".rs", "spells the words it forbids"),
    ("open ends", "Cargo.lock", "", "generated"),
    ("citable sources", "tests/tidy/", ".rs", "spells the words it forbids"),
];

#[test]
fn the_tree_is_tidy() -> Result<(), Box<dyn Error>> {
    let tree = Tree::read()?;
    let mut found = Vec::new();
    for rule in rules() {
        let violations = (rule.check)(&tree);
        found.extend(
            violations.iter().filter(|it| !is_exempt(rule, it)).map(|it| format!("[{}] {it}", rule.name)),
        );
    }
    assert!(found.is_empty(), "{} places are untidy:\n{}", found.len(), found.join("\n"));
    Ok(())
}

#[test]
fn every_rule_fails_on_its_bad_sample_and_passes_its_good_one() {
    for rule in rules() {
        assert!(!(rule.check)(&tree_of((rule.bad)())).is_empty(), "`{}` finds nothing wrong", rule.name);
        let found = (rule.check)(&tree_of((rule.good)()));
        assert!(found.is_empty(), "`{}` objects to its good sample: {found:?}", rule.name);
    }
}

#[test]
fn every_exemption_names_a_rule_and_a_reason() {
    for (name, start, end, reason) in EXEMPT {
        assert!(rules().any(|rule| rule.name == *name), "no rule is called `{name}`");
        assert!(!(start.is_empty() && end.is_empty()), "`{name}` would be exempt everywhere");
        assert!(!reason.is_empty(), "`{name}` is exempt for `{start}…{end}` without a reason");
    }
}

fn rules() -> impl Iterator<Item = &'static Rule> {
    text::RULES.iter().chain(rust::RULES).chain(house::RULES)
}

fn is_exempt(rule: &Rule, violation: &Violation) -> bool {
    let path = &violation.path;
    EXEMPT
        .iter()
        .any(|(name, start, end, _)| *name == rule.name && path.starts_with(start) && path.ends_with(end))
}

fn tree_of(sample: Sample) -> Tree {
    let files: BTreeMap<String, String> =
        sample.into_iter().map(|(path, text)| (path.into(), text)).collect();
    let is_test = |path: &str| path.starts_with("tests/") && path.matches('/').count() == 1;
    let is_root = |path: &str| path.ends_with("src/lib.rs") || path.ends_with("src/main.rs") || is_test(path);
    let roots = files.keys().filter(|path| path.ends_with(".rs") && is_root(path));
    let roots: Vec<(String, bool)> = roots.map(|path| (path.clone(), is_test(path))).collect();
    Tree::new(files, &roots)
}
