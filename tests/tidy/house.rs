//! Rules of this house alone: who builds a status, how messages are converted, which lints hold, what a reason says.

use cargo_metadata::semver::Version;
use dashwright_tests::tree::{Module, Tree, Violation, find, items, tokens_of};
use syn::spanned::Spanned;
use syn::visit::Visit;

use crate::{Rule, Sample};

/// The one file that builds a gRPC status.
const STATUS_FILE: &str = "crates/grpc/src/status.rs";

/// Functions of `tonic::Status`, and of the trait that adds error details, that build one.
const STATUS_BUILDERS: &[&str] = &[
    "aborted",
    "already_exists",
    "cancelled",
    "data_loss",
    "deadline_exceeded",
    "failed_precondition",
    "from_error",
    "internal",
    "invalid_argument",
    "new",
    "not_found",
    "ok",
    "out_of_range",
    "permission_denied",
    "resource_exhausted",
    "try_from_error",
    "unauthenticated",
    "unavailable",
    "unimplemented",
    "unknown",
    "with_details",
    "with_details_and_metadata",
    "with_error_details",
    "with_error_details_and_metadata",
    "with_error_details_vec",
    "with_error_details_vec_and_metadata",
    "with_metadata",
];

/// Where messages become domain types and domain types become messages.
const CONVERSIONS: &[&str] = &["crates/grpc/src/from_proto", "crates/grpc/src/to_proto"];

/// Where the calls are answered.
const HANDLERS: &str = "crates/grpc/src/handlers";

/// Parse, take the view, ask, render: what is longer does work that belongs below.
const HANDLER_LINES_MAX: usize = 20;

/// The least versions that may be locked: below each, the crate had a fault that reaches us (house rules; not looked up again here).
const FLOORS: &[(&str, &str)] =
    &[("h2", "0.4.16"), ("crossbeam-epoch", "0.9.20"), ("bytes", "1.11.1"), ("tracing-subscriber", "0.3.20")];

/// Lints that the workspace denies; taking one out is a decision of the house, not of a crate.
const DENIED: &[(&str, &str)] = &[
    ("rust", "unsafe_code"),
    ("clippy", "unwrap_used"),
    ("clippy", "expect_used"),
    ("clippy", "panic"),
    ("clippy", "indexing_slicing"),
    ("clippy", "todo"),
    ("clippy", "unimplemented"),
];

/// The published enum of reasons, in some file under proto/.
const REASONS: &str = "enum ErrorReason {";

/// What every value of it begins with in the schema, and does not on the wire.
const REASON_PREFIX: &str = "ERROR_REASON_";

pub(crate) const RULES: &[Rule] = &[
    Rule {
        name: "one builder of statuses",
        check: one_builder_of_statuses,
        bad: || vec![("crates/grpc/src/lib.rs", "fn a() { b().map_err(Status::internal) }".into())],
        good: || {
            vec![
                ("crates/grpc/src/lib.rs", "mod status; fn a(s: Status) -> Code { Status::code(&s) }".into()),
                (STATUS_FILE, "fn a() { tonic::Status::new(1, 2) }".into()),
                ("tests/a.rs", "fn a() { Status::new(1, 2) }".into()),
            ]
        },
    },
    Rule {
        name: "statuses without wildcard",
        check: statuses_without_wildcard,
        bad: || status_file("fn a(e: E) -> u8 { match e { E::A => 1, _ => 2 } }"),
        good: || status_file("fn a(e: E) -> u8 { match e { E::A => 1, E::B(_) => 2 } }"),
    },
    Rule {
        name: "whole messages",
        check: whole_messages,
        bad: || from_proto("fn vehicle(v: V) -> u8 { let V { a, .. } = v; a }"),
        good: || from_proto("fn vehicle(v: V) -> W { let V { a, b: _ } = v; W { a, ..W::default() } }"),
    },
    Rule {
        name: "short handlers",
        check: short_handlers,
        bad: || handler(HANDLER_LINES_MAX - 1),
        good: || handler(HANDLER_LINES_MAX - 2),
    },
    Rule {
        name: "lints inherited",
        check: lints_inherited,
        bad: || manifests("[lints.rust]\nunsafe_code = \"allow\"\n", "deny"),
        good: || manifests("[lints]\nworkspace = true\n", "deny"),
    },
    Rule {
        name: "lock-file floors",
        check: lock_file_floors,
        bad: || lock_file("h2", "0.4.15"),
        good: || lock_file("h2", "0.4.16"),
    },
    Rule {
        name: "lints denied",
        check: lints_denied,
        bad: || manifests("[lints]\nworkspace = true\n", "warn"),
        good: || manifests("[lints]\nworkspace = true\n", "deny"),
    },
    Rule {
        name: "reasons published",
        check: reasons_published,
        bad: || vec![("proto/a.proto", "message A {}\n".into())],
        good: || {
            reasons(
                "  // No.\n  // Metadata: `field`.\n  ERROR_REASON_FIELD_EMPTY = 1;\n",
                "ErrorReason::FieldEmpty",
            )
        },
    },
    Rule {
        name: "reasons documented",
        check: reasons_documented,
        bad: || reasons("  // The field is empty.\n  ERROR_REASON_FIELD_EMPTY = 1;\n", ""),
        good: || reasons("  // No.\n  // Metadata: `field`.\n  ERROR_REASON_FIELD_EMPTY = 1;\n", ""),
    },
    Rule {
        name: "reasons produced by a test",
        check: reasons_produced,
        bad: || reasons("  ERROR_REASON_FIELD_EMPTY = 1;\n", "ErrorReason::FieldEmptyTwice"),
        good: || reasons("  ERROR_REASON_FIELD_EMPTY = 1;\n", "\"FIELD_EMPTY\""),
    },
];

fn one_builder_of_statuses(tree: &Tree) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in tree.modules.iter().filter(|module| module.path != STATUS_FILE) {
        let tokens = tokens_of(module, false);
        let built = STATUS_BUILDERS.iter().flat_map(|name| find(&tokens, &["Status", ":", ":", name]));
        let renamed = find(&tokens, &["Status", "as"]);
        let what = format!("only {STATUS_FILE} builds a status, from an error with a reason");
        found.extend(built.chain(renamed).map(|line| Violation::new(&module.path, line, what.clone())));
    }
    found
}

fn statuses_without_wildcard(tree: &Tree) -> Vec<Violation> {
    let what = "name every case: `_` would give a new error somebody else's code";
    patterns(tree, &[STATUS_FILE], what, |patterns| patterns.wildcards)
}

fn whole_messages(tree: &Tree) -> Vec<Violation> {
    let what = "name every field, also the ignored ones: `..` would swallow a new one";
    patterns(tree, CONVERSIONS, what, |patterns| patterns.rests)
}

fn short_handlers(tree: &Tree) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in tree.modules.iter().filter(|module| module.path.starts_with(HANDLERS)) {
        let mut handlers = Handlers::default();
        items(&module.syntax.items, false).iter().for_each(|item| handlers.visit_item(item));
        let long = handlers.found.into_iter().filter(|(_, lines)| *lines > HANDLER_LINES_MAX);
        found.extend(long.map(|(first, lines)| {
            Violation::new(
                &module.path,
                first,
                format!("a handler of {lines} lines, at most {HANDLER_LINES_MAX}"),
            )
        }));
    }
    found
}

fn lints_inherited(tree: &Tree) -> Vec<Violation> {
    let members = tree.files.iter().filter(|(path, _)| path.ends_with("/Cargo.toml"));
    members
        .filter(|(_, text)| look_up(text, &["lints", "workspace"]) != Some(toml::Value::Boolean(true)))
        .map(|(path, _)| Violation::new(path, 0, "needs `[lints] workspace = true`"))
        .collect()
}

fn lints_denied(tree: &Tree) -> Vec<Violation> {
    let root = tree.files.get("Cargo.toml").map(String::as_str).unwrap_or_default();
    let level = |(tool, lint): &(&str, &str)| look_up(root, &["workspace", "lints", tool, lint]);
    let open = DENIED.iter().filter(|lint| level(lint) != Some(toml::Value::String("deny".into())));
    open.map(|(tool, lint)| Violation::new("Cargo.toml", 0, format!("`{tool}::{lint}` is no longer denied")))
        .collect()
}

fn reasons_published(tree: &Tree) -> Vec<Violation> {
    let has_schema = tree.files.keys().any(|path| path.ends_with(".proto"));
    let missing = has_schema && reason_values(tree).is_empty();
    missing
        .then(|| Violation::new("proto", 0, format!("has no `{REASONS}` with values")))
        .into_iter()
        .collect()
}

fn reasons_documented(tree: &Tree) -> Vec<Violation> {
    let silent =
        reason_values(tree).into_iter().filter(|value| !value.comment.to_lowercase().contains("metadata"));
    silent
        .map(|value| {
            Violation::new(
                &value.path,
                value.line,
                format!("`{}` does not list its metadata keys", value.name),
            )
        })
        .collect()
}

fn reasons_produced(tree: &Tree) -> Vec<Violation> {
    let of_grpc =
        |module: &&Module| module.path.starts_with("crates/grpc/") || module.path.starts_with("tests/");
    let rust = tree.modules.iter().filter(of_grpc).flat_map(|module| tokens_of(module, true));
    let rust: Vec<String> = rust.map(|(token, _)| token).collect();
    let is_data = |path: &str| path.starts_with("tests/") && !path.ends_with(".rs");
    let data: Vec<&String> =
        tree.files.iter().filter(|(path, _)| is_data(path)).map(|(_, text)| text).collect();
    let produced = |value: &ReasonValue| {
        let written = [
            format!("\"{}\"", value.wire()),
            format!("'{}'", value.wire()),
            format!("reason: {}", value.wire()),
        ];
        rust.iter()
            .any(|token| *token == value.name || *token == value.camel() || token.contains(&written[0]))
            || data
                .iter()
                .any(|text| text.contains(&value.name) || written.iter().any(|it| text.contains(it)))
    };
    let unseen = reason_values(tree).into_iter().filter(|value| !produced(value));
    unseen
        .map(|value| Violation::new(&value.path, value.line, format!("no test produces `{}`", value.name)))
        .collect()
}

/// One value of the published enum; the zero value, which is never sent, is left out.
struct ReasonValue {
    path: String,
    line: usize,
    name: String,
    comment: String,
}

impl ReasonValue {
    fn wire(&self) -> &str {
        self.name.trim_start_matches(REASON_PREFIX)
    }

    /// The name as generated Rust code spells it.
    fn camel(&self) -> String {
        let capitalise = |word: &str| {
            let (first, rest) = word.split_at(1.min(word.len()));
            first.to_owned() + &rest.to_lowercase()
        };
        self.wire().split('_').map(capitalise).collect()
    }
}

fn reason_values(tree: &Tree) -> Vec<ReasonValue> {
    let mut values = Vec::new();
    for (path, text) in tree.files.iter().filter(|(path, _)| path.ends_with(".proto")) {
        let mut comment = String::new();
        let lines = text.lines().enumerate().skip_while(|(_, line)| line.trim() != REASONS).skip(1);
        for (index, line) in lines.take_while(|(_, line)| line.trim() != "}") {
            let line = line.trim();
            if let Some(text) = line.strip_prefix("//") {
                comment.push_str(text);
            } else if let Some((name, number)) = line.split_once('=') {
                let value =
                    ReasonValue { path: path.clone(), line: index + 1, name: name.trim().into(), comment };
                values.extend((!number.trim().starts_with("0;")).then_some(value));
                comment = String::new();
            }
        }
    }
    values
}

/// What is locked below its floor, every version of it.
fn lock_file_floors(tree: &Tree) -> Vec<Violation> {
    let locks = tree.files.iter().filter(|(path, _)| path.rsplit('/').next() == Some("Cargo.lock"));
    locks.flat_map(|(path, text)| below_floors(path, text)).collect()
}

fn below_floors(path: &str, text: &str) -> Vec<Violation> {
    let Some(toml::Value::Array(packages)) = look_up(text, &["package"]) else {
        return vec![Violation::new(path, 0, "is no lock file")];
    };
    let below = |package: &toml::Value| {
        let (name, version) = (package.get("name")?.as_str()?, package.get("version")?.as_str()?);
        let (_, floor) = FLOORS.iter().find(|(own, _)| *own == name)?;
        let read = |text: &str| Version::parse(text).ok();
        let fine = read(version)? >= read(floor)?;
        (!fine).then(|| Violation::new(path, 0, format!("locks {name} {version}, at least {floor}")))
    };
    packages.iter().filter_map(below).collect()
}

fn lock_file(name: &str, version: &str) -> Sample {
    vec![("Cargo.lock", format!("version = 4\n[[package]]\nname = \"{name}\"\nversion = \"{version}\"\n"))]
}

fn look_up(text: &str, keys: &[&str]) -> Option<toml::Value> {
    let mut value = toml::Value::Table(text.parse().ok()?);
    for key in keys {
        value = value.get(key)?.clone();
    }
    Some(value)
}

fn patterns(
    tree: &Tree,
    places: &[&str],
    what: &str,
    wrong: impl Fn(Patterns) -> Vec<usize>,
) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in
        tree.modules.iter().filter(|module| places.iter().any(|place| module.path.starts_with(place)))
    {
        let mut patterns = Patterns::default();
        items(&module.syntax.items, false).iter().for_each(|item| patterns.visit_item(item));
        found.extend(wrong(patterns).into_iter().map(|line| Violation::new(&module.path, line, what)));
    }
    found
}

/// Lines of match arms that are a bare `_`, and of struct patterns that end in `..`.
#[derive(Default)]
struct Patterns {
    wildcards: Vec<usize>,
    rests: Vec<usize>,
}

impl<'ast> Visit<'ast> for Patterns {
    fn visit_arm(&mut self, node: &'ast syn::Arm) {
        if let syn::Pat::Wild(wild) = &node.pat {
            self.wildcards.push(wild.underscore_token.span.start().line);
        }
        syn::visit::visit_arm(self, node);
    }

    fn visit_pat_struct(&mut self, node: &'ast syn::PatStruct) {
        // `Kind::Variant { .. }` only asks which variant it is; it takes no field and can swallow none.
        let asks_which = node.fields.is_empty() && node.path.segments.len() > 1;
        let rest = node.rest.as_ref().filter(|_| !asks_which);
        self.rests.extend(rest.map(|rest| rest.dot2_token.span().start().line));
        syn::visit::visit_pat_struct(self, node);
    }
}

/// First line and length of every async method of an impl: the calls of a service.
#[derive(Default)]
struct Handlers {
    found: Vec<(usize, usize)>,
}

impl<'ast> Visit<'ast> for Handlers {
    fn visit_impl_item_fn(&mut self, node: &'ast syn::ImplItemFn) {
        let first = node.sig.fn_token.span.start().line;
        let last = node.block.brace_token.span.close().end().line;
        self.found.extend(node.sig.asyncness.map(|_| (first, last - first + 1)));
    }
}

fn status_file(text: &str) -> Sample {
    vec![("crates/grpc/src/lib.rs", "mod status;".into()), (STATUS_FILE, text.into())]
}

fn from_proto(text: &str) -> Sample {
    vec![
        ("crates/grpc/src/lib.rs", "mod from_proto;".into()),
        ("crates/grpc/src/from_proto/mod.rs", text.into()),
    ]
}

fn handler(inner_lines: usize) -> Sample {
    let text = format!("impl A for B {{ async fn a() {{\n{}}} }}", "b();\n".repeat(inner_lines));
    vec![("crates/grpc/src/lib.rs", "mod handlers;".into()), ("crates/grpc/src/handlers.rs", text)]
}

fn manifests(member: &str, level: &str) -> Sample {
    let table = |tool: &str| {
        let lints =
            DENIED.iter().filter(|(of, _)| *of == tool).map(|(_, lint)| format!("{lint} = \"{level}\"\n"));
        format!("[workspace.lints.{tool}]\n{}", lints.collect::<String>())
    };
    let root = table("rust") + &table("clippy");
    vec![("Cargo.toml", root), ("crates/a/Cargo.toml", member.into())]
}

fn reasons(values: &str, test: &str) -> Sample {
    let schema = format!("{REASONS}\n  // Never sent.\n  ERROR_REASON_UNSPECIFIED = 0;\n{values}}}\n");
    vec![("proto/a.proto", schema), ("tests/a.rs", format!("fn a() {{ {test}; }}"))]
}
