//! Rules over the text of files, whatever their language.

use dashwright_tests::tree::{Tree, Violation};

use crate::Rule;

/// Longer files are read by nobody from top to bottom.
const FILE_LINES_MAX: usize = 600;

/// Marks of unfinished work; an issue is the place for it.
const OPEN_ENDS: &[&str] = &["TODO", "FIXME", "XXX"];

/// A fact cites a standard, a regulation or a handbook that the reader can look up; nobody can look these up.
const NOT_CITABLE: &[&str] =
    &["transcript", "footage", "recording of", "the recording", "in the video", "the video shows"];

/// Everything that stands at the top level, besides names with a leading dot.
const TOP_LEVEL: &[&str] = &[
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "crates",
    "deploy",
    "proto",
    "services",
    "tests",
];

pub(crate) const RULES: &[Rule] = &[
    Rule {
        name: "file length",
        check: file_length,
        bad: || vec![("a.py", "x = 1\n".repeat(FILE_LINES_MAX + 1))],
        good: || vec![("a.py", "x = 1\n".repeat(FILE_LINES_MAX))],
    },
    Rule {
        name: "open ends",
        check: open_ends,
        bad: || vec![("a.toml", "# TODO: finish\n".into())],
        good: || vec![("a.toml", "# XXXL is a size, todo is a lint\n".into())],
    },
    Rule {
        name: "citable sources",
        check: citable_sources,
        bad: || vec![("a.md", "Seen in the video of a fitting.\n".into())],
        good: || vec![("a.md", "The camera's video lead ends in a yellow plug.\n".into())],
    },
    Rule {
        name: "pinned packages",
        check: pinned_packages,
        bad: || vec![("tests/requirements.txt", "# why\ngrpcio>=1.70\n".into())],
        good: || vec![("tests/requirements.txt", "# why\n\ngrpcio==1.70.0  # the foreign client\n".into())],
    },
    Rule {
        name: "top level",
        check: top_level,
        bad: || complete_top_level("notes.txt"),
        good: || complete_top_level(".ci/run"),
    },
];

fn file_length(tree: &Tree) -> Vec<Violation> {
    let long = tree.files.iter().map(|(path, text)| (path, text.lines().count()));
    long.filter(|(_, lines)| *lines > FILE_LINES_MAX)
        .map(|(path, lines)| {
            Violation::new(path, 0, format!("{lines} lines, at most {FILE_LINES_MAX}: split it"))
        })
        .collect()
}

fn open_ends(tree: &Tree) -> Vec<Violation> {
    each_line(tree, |line| {
        let mut words = line.split(|c: char| !c.is_alphanumeric() && c != '_');
        let word = words.find(|word| OPEN_ENDS.contains(word))?;
        Some(format!("`{word}` marks unfinished work: do it or file an issue"))
    })
}

fn citable_sources(tree: &Tree) -> Vec<Violation> {
    each_line(tree, |line| {
        let line = line.to_lowercase();
        let phrase = NOT_CITABLE.iter().find(|phrase| line.contains(**phrase))?;
        Some(format!("`{phrase}`: name a published source instead"))
    })
}

fn pinned_packages(tree: &Tree) -> Vec<Violation> {
    let files = tree.files.iter().filter(|(path, _)| path.ends_with("requirements.txt"));
    let lines = files.flat_map(|(path, text)| text.lines().enumerate().map(move |line| (path, line)));
    let open = lines.filter(|(_, (_, line))| {
        let package = line.split('#').next().unwrap_or_default().trim();
        !package.is_empty() && !package.contains("==")
    });
    open.map(|(path, (index, _))| Violation::new(path, index + 1, "pin the package with `==`")).collect()
}

fn top_level(tree: &Tree) -> Vec<Violation> {
    let first = |path: &String| path.split('/').next().map(str::to_owned);
    let present: std::collections::BTreeSet<String> = tree.files.keys().filter_map(first).collect();
    let unknown = present.iter().filter(|name| !name.starts_with('.') && !TOP_LEVEL.contains(&name.as_str()));
    let missing = TOP_LEVEL.iter().filter(|name| !present.contains(**name));
    let unknown = unknown.map(|name| Violation::new(name, 0, "does not belong at the top level"));
    unknown.chain(missing.map(|name| Violation::new(name, 0, "is missing at the top level"))).collect()
}

fn each_line(tree: &Tree, wrong: impl Fn(&str) -> Option<String>) -> Vec<Violation> {
    let lines =
        tree.files.iter().flat_map(|(path, text)| text.lines().enumerate().map(move |line| (path, line)));
    lines.filter_map(|(path, (index, line))| Some(Violation::new(path, index + 1, wrong(line)?))).collect()
}

fn complete_top_level(more: &'static str) -> crate::Sample {
    TOP_LEVEL.iter().copied().chain([more]).map(|path| (path, String::new())).collect()
}
