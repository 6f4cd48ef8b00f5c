//! Rules over Rust files: their modules, functions, attributes and tests.

use std::collections::BTreeSet;

use dashwright_tests::tree::{Module, Token, Tree, Violation, find, marks_test, tokens, tokens_of};
use syn::visit::Visit;
use syn::{Attribute, Block, ImplItemFn, ItemFn, Signature, TraitItemFn};

use crate::{Rule, Sample};

/// A longer function does more than one thing.
const FUNCTION_LINES_MAX: usize = 70;

/// The comment that excuses a sleep in a test, on its line or the line above: `// sleep: why nothing else works`.
const SLEEP_MARK: &str = "// sleep: ";

/// How the name of a function or macro begins that can fail a test. `unwrap` is not here: it guards set-up.
const ASSERTIONS: &[&str] =
    &["assert", "prop_assert", "panic", "expect_err", "unwrap_err", "unreachable", "bail", "ensure"];

pub(crate) const RULES: &[Rule] = &[
    Rule {
        name: "module header",
        check: module_header,
        bad: || lib("use std::fmt;\n"),
        good: || lib("//! What this is.\n"),
    },
    Rule {
        name: "no orphans",
        check: no_orphans,
        bad: || {
            vec![
                ("a/src/lib.rs", "mod b;".into()),
                ("a/src/b.rs", String::new()),
                ("a/src/c.rs", String::new()),
            ]
        },
        good: || {
            let lib = "mod b; mod d { mod e; } #[path = \"odd/f.rs\"] mod f;";
            let files = ["a/src/b/mod.rs", "a/src/b/c.rs", "a/src/d/e.rs", "a/src/odd/f.rs"];
            let file = |path| (path, if path == "a/src/b/mod.rs" { "mod c;".into() } else { String::new() });
            files.map(file).into_iter().chain([("a/src/lib.rs", lib.into())]).collect()
        },
    },
    Rule {
        name: "modules exist",
        check: |tree| tree.broken.clone(),
        bad: || lib("mod nowhere;"),
        good: || lib("mod here {}"),
    },
    Rule {
        name: "function length",
        check: function_length,
        bad: || lib(&format!("impl A {{ fn a() {{\n{}}} }}", "b();\n".repeat(FUNCTION_LINES_MAX))),
        good: || lib(&format!("fn a() {{\n{}}}\n", "b();\n".repeat(FUNCTION_LINES_MAX - 2))),
    },
    Rule {
        name: "no allow",
        check: no_allow,
        bad: || lib("#![cfg_attr(test, allow(dead_code, reason = \"\"))]"),
        good: || lib("#[expect(dead_code, reason = \"read by nobody yet\")] fn a() { allow(1) }"),
    },
    Rule {
        name: "expect with reason",
        check: expect_with_reason,
        bad: || lib("#[expect(dead_code)] fn a() {}"),
        good: || lib("#[expect(dead_code, reason = \"read by nobody yet\")] fn a() { b.expect(1) }"),
    },
    Rule {
        name: "no ignored tests",
        check: no_ignored_tests,
        bad: || lib("#[cfg(test)] mod tests { #[test] #[ignore = \"slow\"] fn a() {} }"),
        good: || lib("/// `#[ignore]` is not used.\nfn ignore() {}"),
    },
    Rule {
        name: "no sleeping tests",
        check: no_sleeping_tests,
        bad: || lib("#[cfg(test)] mod tests { fn a() { std::thread::sleep(SHORT) } }"),
        good: || {
            vec![
                ("a/src/lib.rs", "fn back_off() { std::thread::sleep(SHORT) }".into()),
                ("tests/b.rs", "fn a() {\n // sleep: the clock itself is under test\n sleep(SHORT) }".into()),
            ]
        },
    },
    Rule {
        name: "tests assert",
        check: tests_assert,
        bad: || {
            lib(
                "#[cfg(test)] mod tests { #[tokio::test] async fn a() { run(1).await.unwrap(); } fn run(a: u8) {} }",
            )
        },
        good: || {
            let lib = "#[cfg(test)] mod tests { #[test] fn a() { check(1) } #[test] #[should_panic] fn b() { c() } }";
            vec![
                ("tests/src/lib.rs", "pub fn same(a: u8) { assert_eq!(a, 1) }".into()),
                ("a/src/lib.rs", format!("{lib} #[cfg(test)] fn check(a: u8) {{ same(a) }}")),
            ]
        },
    },
];

fn module_header(tree: &Tree) -> Vec<Violation> {
    let rust = tree.files.iter().filter(|(path, _)| path.ends_with(".rs"));
    rust.filter(|(_, text)| !text.starts_with("//! "))
        .map(|(path, _)| Violation::new(path, 1, "the first line is `//! ` and says what the file is"))
        .collect()
}

fn no_orphans(tree: &Tree) -> Vec<Violation> {
    let reached: BTreeSet<&str> = tree.modules.iter().map(|module| module.path.as_str()).collect();
    let broken: BTreeSet<&str> = tree.broken.iter().map(|violation| violation.path.as_str()).collect();
    let rust = tree.files.keys().filter(|path| path.ends_with(".rs"));
    rust.filter(|path| !reached.contains(path.as_str()) && !broken.contains(path.as_str()))
        .map(|path| Violation::new(path, 0, "no `mod` and no target of a manifest reaches this file"))
        .collect()
}

fn function_length(tree: &Tree) -> Vec<Violation> {
    let long = |(module, function): (&Module, Function)| {
        let what =
            format!("`{}` has {} lines, at most {FUNCTION_LINES_MAX}", function.name, function.lines());
        (function.lines() > FUNCTION_LINES_MAX).then(|| Violation::new(&module.path, function.first, what))
    };
    all_functions(tree).into_iter().filter_map(long).collect()
}

fn no_allow(tree: &Tree) -> Vec<Violation> {
    let what = "`allow` stays when its reason is gone: `#[expect(…, reason = \"…\")]` does not";
    let plain = in_tokens(tree, what, |tokens| find(tokens, &["[", "allow", "("]));
    let conditional = in_attributes(tree, what, |attribute| {
        attribute.path().is_ident("cfg_attr")
            && !find(&tokens(&attribute.meta), &[",", "allow", "("]).is_empty()
    });
    [plain, conditional].concat()
}

fn expect_with_reason(tree: &Tree) -> Vec<Violation> {
    in_attributes(tree, "`expect` needs `reason = \"…\"`", |attribute| {
        attribute.path().is_ident("expect") && find(&tokens(&attribute.meta), &["reason", "="]).is_empty()
    })
}

fn no_ignored_tests(tree: &Tree) -> Vec<Violation> {
    in_tokens(tree, "a test that is not run proves nothing", |tokens| find(tokens, &["#", "[", "ignore"]))
}

fn no_sleeping_tests(tree: &Tree) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in &tree.modules {
        let lines: Vec<&str> =
            tree.files.get(&module.path).map(|text| text.lines().collect()).unwrap_or_default();
        let marked = |line: usize| {
            lines.iter().take(line).skip(line.saturating_sub(2)).any(|it| it.contains(SLEEP_MARK))
        };
        let tokens = tokens_of(module, true);
        for name in ["sleep", "sleep_until", "sleep_ms"] {
            let sleeps = find(&tokens, &[name, "("]).into_iter().filter(|line| !marked(*line));
            let what = format!("wait for the event, or say why not: `{SLEEP_MARK}…`");
            found.extend(sleeps.map(|line| Violation::new(&module.path, line, what.clone())));
        }
    }
    found
}

/// A test can fail when its body asserts, or a function it calls by name in its package or in the shared test library.
fn tests_assert(tree: &Tree) -> Vec<Violation> {
    let functions = all_functions(tree);
    let shared = asserting(
        functions.iter().filter(|(module, _)| module.path.starts_with("tests/src/")),
        BTreeSet::new(),
    );
    let mut found = Vec::new();
    for package in tree.modules.iter().map(|module| package(&module.path)).collect::<BTreeSet<_>>() {
        let own = || functions.iter().filter(|(module, _)| self::package(&module.path) == package);
        let known = asserting(own(), shared.clone());
        let idle = own().filter(|(_, it)| it.is_test && !it.should_panic && !it.asserts(&known));
        found.extend(idle.map(|(module, it)| {
            Violation::new(&module.path, it.first, format!("test `{}` asserts nothing", it.name))
        }));
    }
    found
}

/// `tests`, or the directory of a crate: the first two parts of the path.
fn package(path: &str) -> &str {
    let parts = if path.starts_with("tests/") { 1 } else { 2 };
    let end = path.match_indices('/').map(|(index, _)| index).nth(parts - 1);
    end.and_then(|end| path.get(..end)).unwrap_or(path)
}

/// Grows the set of names until no further function is found that asserts.
fn asserting<'a>(
    functions: impl Iterator<Item = &'a (&'a Module, Function)>,
    mut known: BTreeSet<String>,
) -> BTreeSet<String> {
    let functions: Vec<&Function> = functions.map(|(_, function)| function).collect();
    loop {
        let more: Vec<String> = functions
            .iter()
            .filter(|it| !known.contains(&it.name) && it.asserts(&known))
            .map(|it| it.name.clone())
            .collect();
        if more.is_empty() {
            return known;
        }
        known.extend(more);
    }
}

fn in_tokens(tree: &Tree, what: &str, lines: impl Fn(&[Token]) -> Vec<usize>) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in &tree.modules {
        let lines = lines(&tokens(&module.syntax));
        found.extend(lines.into_iter().map(|line| Violation::new(&module.path, line, what)));
    }
    found
}

fn in_attributes(tree: &Tree, what: &str, wrong: fn(&Attribute) -> bool) -> Vec<Violation> {
    let mut found = Vec::new();
    for module in &tree.modules {
        let mut attributes = Attributes { wrong, lines: Vec::new() };
        attributes.visit_file(&module.syntax);
        found.extend(attributes.lines.into_iter().map(|line| Violation::new(&module.path, line, what)));
    }
    found
}

fn all_functions<'t>(tree: &'t Tree) -> Vec<(&'t Module, Function)> {
    let of = |module: &'t Module| {
        let mut functions = Functions::default();
        functions.visit_file(&module.syntax);
        functions.found.into_iter().map(move |function| (module, function))
    };
    tree.modules.iter().flat_map(of).collect()
}

/// A function with a body, from `fn` to its closing brace.
struct Function {
    name: String,
    first: usize,
    last: usize,
    body: Vec<Token>,
    is_test: bool,
    should_panic: bool,
}

impl Function {
    fn new(attributes: &[Attribute], signature: &Signature, block: &Block) -> Self {
        Self {
            name: signature.ident.to_string(),
            first: signature.fn_token.span.start().line,
            last: block.brace_token.span.close().end().line,
            body: tokens(block),
            is_test: attributes.iter().any(|it| marks_test(it) && !it.path().is_ident("cfg")),
            should_panic: attributes.iter().any(|it| it.path().is_ident("should_panic")),
        }
    }

    fn lines(&self) -> usize {
        self.last - self.first + 1
    }

    fn asserts(&self, known: &BTreeSet<String>) -> bool {
        let asserts =
            |word: &str| ASSERTIONS.iter().any(|start| word.starts_with(start)) || known.contains(word);
        self.body.iter().any(|(word, _)| asserts(word))
    }
}

#[derive(Default)]
struct Functions {
    found: Vec<Function>,
}

impl<'ast> Visit<'ast> for Functions {
    fn visit_item_fn(&mut self, node: &'ast ItemFn) {
        self.found.push(Function::new(&node.attrs, &node.sig, &node.block));
        syn::visit::visit_item_fn(self, node);
    }

    fn visit_impl_item_fn(&mut self, node: &'ast ImplItemFn) {
        self.found.push(Function::new(&node.attrs, &node.sig, &node.block));
        syn::visit::visit_impl_item_fn(self, node);
    }

    fn visit_trait_item_fn(&mut self, node: &'ast TraitItemFn) {
        let of = |block| Function::new(&node.attrs, &node.sig, block);
        self.found.extend(node.default.as_ref().map(of));
        syn::visit::visit_trait_item_fn(self, node);
    }
}

struct Attributes {
    wrong: fn(&Attribute) -> bool,
    lines: Vec<usize>,
}

impl<'ast> Visit<'ast> for Attributes {
    fn visit_attribute(&mut self, node: &'ast Attribute) {
        self.lines.extend((self.wrong)(node).then_some(node.pound_token.span.start().line));
    }
}

fn lib(text: &str) -> Sample {
    vec![("a/src/lib.rs", text.into())]
}
