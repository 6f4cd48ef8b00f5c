//! The rooms of the house: which crate may depend on which, and what no code in a crate may use.
//!
//! A crate depends only on rows below its own. To add a crate, add a row to `ROOMS`; a crate without a row fails.

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;

use cargo_metadata::{DependencyKind, Metadata};
use dashwright_tests::tree::{Module, Tree, metadata, metadata_of_all, tokens_of};
use syn::Item;

/// One crate of the house.
struct Room {
    /// The package is called `dashwright-` and this; the binary is `dashwright` alone.
    name: &'static str,
    row: u8,
    /// The crates it may depend on; with each comes what that one may depend on.
    may: &'static [&'static str],
    /// Crates of the house that it must not name although `may` would let it.
    never: &'static [&'static str],
    /// Words that its code, tests aside, must not contain.
    words: &'static [&'static str],
    /// True for a crate that is designed and not yet begun.
    later: bool,
}

/// From the top. `never` and `words` are what the room exists to forbid.
const ROOMS: &[Room] = &[
    Room { name: "tests", row: 9, may: &["dashwright"], never: &[], words: &[], later: false },
    Room {
        name: "dashwright",
        row: 8,
        may: &["grpc", "engine", "store", "log", "log-etcd", "sheet", "demo"],
        never: &[],
        words: &[],
        later: false,
    },
    Room {
        name: "grpc",
        row: 7,
        may: &["api", "engine", "curation", "log", "sheet"],
        never: &["store", "log-etcd"],
        words: FILES,
        later: false,
    },
    Room {
        name: "engine",
        row: 6,
        may: &["log", "store", "curation", "planner"],
        never: &["log-etcd"],
        words: &[],
        later: false,
    },
    Room {
        name: "curation",
        row: 5,
        may: &["planner", "snapshot", "model"],
        never: &[],
        words: PURE,
        later: false,
    },
    Room {
        name: "sheet",
        row: 5,
        may: &["planner", "snapshot", "model"],
        never: &[],
        words: PURE,
        later: false,
    },
    Room {
        name: "planner",
        row: 4,
        may: &["snapshot", "checks", "model"],
        never: &[],
        words: PURE,
        later: false,
    },
    Room { name: "snapshot", row: 3, may: &["model"], never: &[], words: FROZEN, later: false },
    Room { name: "log", row: 3, may: &["model"], never: &[], words: NO_CLOCK, later: false },
    // Log implementations and the store stand above the port that they know.
    Room { name: "log-etcd", row: 4, may: &["log", "model"], never: &[], words: NO_CLOCK, later: true },
    // The store keeps entries and views as bytes: the log is all it knows, although the model lies below it too.
    Room { name: "store", row: 4, may: &["log"], never: &["model"], words: NO_CLOCK, later: false },
    Room { name: "demo", row: 3, may: &["model"], never: &[], words: NO_CLOCK, later: false },
    Room { name: "model", row: 2, may: &["quantity"], never: &[], words: PURE, later: false },
    Room { name: "checks", row: 1, may: &["quantity"], never: &[], words: PURE, later: false },
    Room { name: "quantity", row: 0, may: &[], never: &[], words: PURE, later: false },
    Room { name: "api", row: 0, may: &[], never: &[], words: NO_CLOCK, later: false },
];

/// Answers come from the view; a caller's bytes never reach a file from here.
const FILES: &[&str] = &["fs", "OpenOptions"];

/// Time and chance are given from row 6 and above.
const NO_CLOCK: &[&str] = &["SystemTime", "thread_rng", "random"];

/// The same input gives the same output, at once.
const PURE: &[&str] = &["SystemTime", "Instant", "thread_rng", "random", "async", "await", "fs", "TcpStream"];

/// As `PURE`, and shared between threads without a lock, because nothing changes after it is built.
const FROZEN: &[&str] = &[
    "SystemTime",
    "Instant",
    "thread_rng",
    "random",
    "async",
    "await",
    "fs",
    "TcpStream",
    "Mutex",
    "RwLock",
    "RefCell",
    "Cell",
    "OnceCell",
    "OnceLock",
    "UnsafeCell",
];

/// Libraries of others that only some rooms may use. A family is the name itself and every `name-…`.
const LIBRARIES: &[(&str, &[&str])] = &[
    ("sled", &["store"]),
    ("tonic", &["api", "grpc", "dashwright", "log-etcd", "tests"]),
    ("prost", &["api", "grpc", "dashwright", "tests"]),
    ("tokio", &["grpc", "engine", "dashwright", "log-etcd", "tests"]),
    ("etcd", &["log-etcd"]),
    ("prometheus", &["engine", "grpc"]),
    ("opentelemetry", &["grpc", "dashwright"]),
    ("axum", &["grpc"]),
    ("rand", &["engine", "grpc", "dashwright", "tests"]),
    ("getrandom", &["engine", "grpc", "dashwright", "tests"]),
    ("uuid", &["engine", "grpc", "dashwright", "tests"]),
    ("chrono", &["engine", "grpc", "dashwright", "tests"]),
];

/// Libraries that one room must not use: what `checks` computes is never written or read as records.
const NOT_IN: &[(&str, &str)] = &[("serde", "checks"), ("serde_json", "checks"), ("schemars", "checks")];

/// Libraries that a room may use in its own tests although `LIBRARIES` says no: room, library, reason.
const IN_TESTS: &[(&str, &str, &str)] = &[];

/// One dependency as a manifest declares it; names of the house without `dashwright-`.
struct Edge {
    from: String,
    to: String,
    kind: DependencyKind,
}

#[test]
fn crates_depend_only_on_rows_below() -> Result<(), Box<dyn Error>> {
    let metadata = metadata()?;
    let members = members(&metadata);
    let wrong = [unknown_rooms(&members), wrong_edges(&edges(&metadata))].concat();
    assert!(wrong.is_empty(), "the layers are broken:\n{}", wrong.join("\n"));
    Ok(())
}

#[test]
fn rooms_use_no_forbidden_words() -> Result<(), Box<dyn Error>> {
    let tree = Tree::read()?;
    let wrong: Vec<String> = tree.modules.iter().flat_map(forbidden_words).collect();
    assert!(wrong.is_empty(), "code stands in the wrong room:\n{}", wrong.join("\n"));
    Ok(())
}

#[test]
fn engine_and_grpc_name_no_log_implementation() -> Result<(), Box<dyn Error>> {
    let tree = Tree::read()?;
    let logs = log_implementations(&tree.modules);
    assert!(!logs.is_empty(), "no `impl Log for …` was found in crates/log: has the port been renamed?");
    let rooms = ["crates/engine/", "crates/grpc/"];
    let above = tree.modules.iter().filter(|module| rooms.iter().any(|room| module.path.starts_with(room)));
    let wrong: Vec<String> = above.flat_map(|module| words_of(module, &logs)).collect();
    assert!(wrong.is_empty(), "a log is given to them, they choose none:\n{}", wrong.join("\n"));
    Ok(())
}

#[test]
fn no_crate_asks_for_a_newer_compiler_than_is_promised() -> Result<(), Box<dyn Error>> {
    let metadata = metadata_of_all()?;
    let promised =
        metadata.workspace_packages().into_iter().filter_map(|package| package.rust_version.as_ref()).min();
    let promised = promised.ok_or("no package of the workspace states its oldest compiler")?;
    let asks = metadata
        .packages
        .iter()
        .filter(|package| package.rust_version.as_ref().is_some_and(|it| it > promised));
    let newer: Vec<String> = asks.map(|package| format!("{} {}", package.name, package.version)).collect();
    assert!(
        newer.is_empty(),
        "Rust {promised} is promised, and these ask for a newer one:\n{}",
        newer.join("\n")
    );
    assert!(
        metadata.packages.iter().any(|package| package.rust_version.as_ref() == Some(promised)),
        "nothing asks for it"
    );
    Ok(())
}

#[test]
fn the_table_agrees_with_itself() {
    for room in ROOMS {
        for name in room.may.iter().chain(room.never) {
            let below = ROOMS.iter().find(|other| other.name == *name).unwrap();
            assert!(below.row < room.row, "`{}` may not name `{name}` of row {}", room.name, below.row);
        }
    }
    let named = LIBRARIES.iter().flat_map(|(_, rooms)| rooms.iter().copied());
    for name in named.chain(NOT_IN.iter().map(|(_, room)| *room)).chain(IN_TESTS.iter().map(|it| it.0)) {
        assert!(ROOMS.iter().any(|room| room.name == name), "no room is called `{name}`");
    }
    assert!(IN_TESTS.iter().all(|(_, _, reason)| !reason.is_empty()));
}

#[test]
fn a_forged_graph_is_refused() {
    let cases = [
        ("model", "snapshot", DependencyKind::Normal, "an upper row"),
        ("snapshot", "checks", DependencyKind::Normal, "a lower row that the table does not list"),
        ("log", "snapshot", DependencyKind::Build, "the same row, to build"),
        ("grpc", "store", DependencyKind::Normal, "a room below that is forbidden by name"),
        ("store", "model", DependencyKind::Normal, "a room that comes with another, forbidden by name"),
        ("engine", "grpc", DependencyKind::Development, "an upper row, for tests"),
        ("planner", "demo", DependencyKind::Normal, "fixtures in a library"),
        ("engine", "sled", DependencyKind::Normal, "a library of another room"),
        ("engine", "tonic", DependencyKind::Normal, "a library of another room"),
        ("model", "prost-types", DependencyKind::Normal, "the family of such a library"),
        ("planner", "tokio", DependencyKind::Development, "such a library for tests, without a reason"),
        ("checks", "serde", DependencyKind::Normal, "a library that this room alone must not use"),
        ("nowhere", "model", DependencyKind::Normal, "a crate without a row"),
    ];
    for (from, to, kind, why) in cases {
        assert_eq!(wrong_edges(&[edge(from, to, kind)]).len(), 1, "{from} → {to} passes: {why}");
    }
}

#[test]
fn a_sound_graph_is_accepted() {
    let cases = [
        ("planner", "quantity", DependencyKind::Normal),
        ("store", "log", DependencyKind::Normal),
        ("store", "sled", DependencyKind::Normal),
        ("snapshot", "demo", DependencyKind::Development),
        ("model", "serde", DependencyKind::Normal),
        ("model", "proptest", DependencyKind::Development),
        ("api", "tonic-prost-build", DependencyKind::Build),
        ("tests", "dashwright", DependencyKind::Normal),
    ];
    let edges = cases.map(|(from, to, kind)| edge(from, to, kind));
    assert_eq!(wrong_edges(&edges), Vec::<String>::new());
}

#[test]
fn an_unknown_or_unbegun_crate_is_noticed() {
    let all: BTreeSet<String> =
        ROOMS.iter().filter(|room| !room.later).map(|room| room.name.into()).collect();
    assert_eq!(unknown_rooms(&all), Vec::<String>::new());
    let mut more = all.clone();
    more.insert("nowhere".into());
    assert_eq!(unknown_rooms(&more).len(), 1);
    let mut fewer = all;
    fewer.remove("planner");
    assert_eq!(unknown_rooms(&fewer).len(), 1);
    fewer.insert("log-etcd".into());
    assert_eq!(unknown_rooms(&fewer).len(), 2, "a crate that has been begun is no longer `later`");
}

#[test]
fn forbidden_words_are_seen_outside_tests_and_texts_only() {
    let text = "//! async\nfn a() { \"async\" }\n#[cfg(test)] mod tests { async fn b() {} }\n";
    assert_eq!(forbidden_words(&module("crates/planner/src/lib.rs", text)), Vec::<String>::new());
    let text = "async fn a() {}\nfn b() { std::time::Instant::now() }\n";
    assert_eq!(forbidden_words(&module("crates/planner/src/lib.rs", text)).len(), 2);
    assert_eq!(forbidden_words(&module("crates/engine/src/lib.rs", text)), Vec::<String>::new());
}

#[test]
fn implementations_of_the_log_are_found_by_their_impl() {
    let log = module("crates/log/src/a.rs", "impl<T> Log for PaperLog<T> {} impl Clone for Other {}");
    assert_eq!(log_implementations(&[log]), ["PaperLog"]);
    let engine = module("crates/engine/src/lib.rs", "fn a() { b(PaperLog::new()) }");
    assert_eq!(words_of(&engine, &["PaperLog".into()]).len(), 1);
}

/// Members without a row, rows without a member, and rows still marked `later` whose crate exists.
fn unknown_rooms(members: &BTreeSet<String>) -> Vec<String> {
    let without_row = members.iter().filter(|name| room(name).is_none());
    let missing = ROOMS.iter().filter(|room| !room.later && !members.contains(room.name));
    let begun = ROOMS.iter().filter(|room| room.later && members.contains(room.name));
    let without_row = without_row.map(|name| format!("`{name}` has no row in ROOMS"));
    let missing = missing.map(|room| format!("`{}` has a row in ROOMS and no crate", room.name));
    let begun = begun.map(|room| format!("`{}` exists: its row is no longer `later`", room.name));
    without_row.chain(missing).chain(begun).collect()
}

fn wrong_edges(edges: &[Edge]) -> Vec<String> {
    edges.iter().filter_map(|edge| Some(format!("{} → {}: {}", edge.from, edge.to, fault(edge)?))).collect()
}

fn fault(edge: &Edge) -> Option<String> {
    let Some(from) = room(&edge.from) else { return Some("the crate has no row in ROOMS".into()) };
    match room(&edge.to) {
        Some(to) if edge.kind == DependencyKind::Development => fault_in_tests(from, to),
        Some(to) => fault_in_house(from, to),
        None => fault_of_library(from, edge),
    }
}

/// Tests of a crate may use the demo data and crates of its own row, never a crate above: that one depends on it.
fn fault_in_tests(from: &Room, to: &Room) -> Option<String> {
    (to.row > from.row && to.name != "demo").then(|| format!("row {} is above row {}", to.row, from.row))
}

fn fault_in_house(from: &Room, to: &Room) -> Option<String> {
    if to.row >= from.row {
        return Some(format!("row {} is not below row {}", to.row, from.row));
    }
    if from.never.contains(&to.name) || !below(from).contains(to.name) {
        return Some("the table does not let it".into());
    }
    None
}

fn fault_of_library(from: &Room, edge: &Edge) -> Option<String> {
    let excused = edge.kind == DependencyKind::Development
        && IN_TESTS.iter().any(|(room, library, _)| *room == from.name && *library == edge.to);
    let elsewhere =
        LIBRARIES.iter().find(|(family, rooms)| is_of(&edge.to, family) && !rooms.contains(&from.name));
    let barred = NOT_IN.iter().any(|(library, room)| *library == edge.to && *room == from.name);
    match elsewhere {
        Some((_, rooms)) if !excused => Some(format!("only in {}", rooms.join(", "))),
        _ if barred && !excused => Some("this room must not use it".into()),
        _ => None,
    }
}

/// Everything that a room may depend on: its list, and what those may depend on.
fn below(from: &Room) -> BTreeSet<&'static str> {
    let direct = from.may.iter().filter_map(|name| room(name));
    direct.flat_map(|room| below(room).into_iter().chain([room.name])).collect()
}

fn is_of(library: &str, family: &str) -> bool {
    library.strip_prefix(family).is_some_and(|rest| rest.is_empty() || rest.starts_with(['-', '_']))
}

fn room(name: &str) -> Option<&'static Room> {
    ROOMS.iter().find(|room| room.name == name)
}

fn members(metadata: &Metadata) -> BTreeSet<String> {
    metadata.packages.iter().map(|package| short(&package.name)).collect()
}

fn edges(metadata: &Metadata) -> Vec<Edge> {
    let of = |package: &cargo_metadata::Package| {
        let from = short(&package.name);
        let edge = |it: &cargo_metadata::Dependency| edge(&from, &short(&it.name), it.kind);
        package.dependencies.iter().map(edge).collect::<Vec<_>>()
    };
    metadata.packages.iter().flat_map(of).collect()
}

fn edge(from: &str, to: &str, kind: DependencyKind) -> Edge {
    Edge { from: from.into(), to: to.into(), kind }
}

fn short(package: &str) -> String {
    package.strip_prefix("dashwright-").unwrap_or(package).into()
}

fn forbidden_words(module: &Module) -> Vec<String> {
    let name = module.path.split('/').nth(1).filter(|_| module.path.contains("/src/"));
    let words = name.and_then(room).map(|room| room.words).unwrap_or_default();
    words_of(module, &words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>())
}

fn words_of(module: &Module, words: &[String]) -> Vec<String> {
    let tokens = tokens_of(module, false);
    let found = tokens.iter().filter(|(token, _)| words.contains(token));
    found
        .map(|(token, line)| format!("{}:{line}: `{token}` has no place in this room", module.path))
        .collect()
}

/// The types for which crates/log implements its port.
fn log_implementations(modules: &[Module]) -> Vec<String> {
    let of_log = modules.iter().filter(|module| module.path.starts_with("crates/log"));
    let implemented = |item: &Item| {
        let Item::Impl(item) = item else { return None };
        let (port, ..) = item.trait_.as_ref()?;
        let syn::Type::Path(of) = &*item.self_ty else { return None };
        let is_log = port.segments.last()?.ident == "Log";
        is_log.then(|| of.path.segments.last().map(|segment| segment.ident.to_string()))?
    };
    of_log.flat_map(|module| module.syntax.items.iter().filter_map(implemented)).collect()
}

fn module(path: &str, text: &str) -> Module {
    let files = BTreeMap::from([(path.to_owned(), text.to_owned())]);
    Tree::new(files, &[(path.into(), false)]).modules.remove(0)
}
