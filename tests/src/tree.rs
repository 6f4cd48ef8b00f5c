//! The source tree as the house-keeping tests see it: its files, and the Rust modules that cargo's targets reach.

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::fmt;
use std::path::{Path, PathBuf};

use cargo_metadata::{Metadata, MetadataCommand, Target, TargetKind};
use proc_macro2::{TokenStream, TokenTree};
use quote::ToTokens;
use syn::{Attribute, Item};

/// Everything the rules look at, read once.
pub struct Tree {
    /// Text of every file that is not ignored, by its path from the top; a file that is not UTF-8 has no text.
    pub files: BTreeMap<String, String>,
    /// Every Rust file that a target of a member reaches.
    pub modules: Vec<Module>,
    /// Rust files that could not be read as modules: a missing `mod`, a syntax error.
    pub broken: Vec<Violation>,
}

/// One Rust file that a target reaches.
pub struct Module {
    /// Path from the top, with `/`.
    pub path: String,
    /// The parsed file.
    pub syntax: syn::File,
    /// True when only tests, benchmarks or examples reach it.
    pub test: bool,
}

/// One place that breaks a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Path from the top.
    pub path: String,
    /// Line, from 1; 0 when the whole file is meant.
    pub line: usize,
    /// What is wrong and what to do instead.
    pub what: String,
}

impl Violation {
    /// A violation at a line of a file.
    #[must_use]
    pub fn new(path: &str, line: usize, what: impl Into<String>) -> Self {
        Self { path: path.into(), line, what: what.into() }
    }
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.path, self.line, self.what)
    }
}

impl Tree {
    /// Reads the work tree that this package lies in.
    ///
    /// # Errors
    /// When cargo cannot describe the workspace or a file cannot be read.
    pub fn read() -> Result<Self, Box<dyn Error>> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize()?;
        let mut roots = target_roots(&metadata()?, &root);
        // The fuzzer is a workspace of its own, and proves like a test.
        let fuzzer =
            MetadataCommand::new().manifest_path(root.join("tests/fuzz/Cargo.toml")).no_deps().exec()?;
        roots.extend(target_roots(&fuzzer, &root).into_iter().map(|(path, _)| (path, true)));
        Ok(Self::new(read_files(&root)?, &roots))
    }

    /// Follows `mod` declarations from the target roots (path, test only) through the given files.
    #[must_use]
    pub fn new(files: BTreeMap<String, String>, roots: &[(String, bool)]) -> Self {
        let mut walk = Walk { files: &files, seen: BTreeSet::new(), modules: Vec::new(), broken: Vec::new() };
        // Production first: a file that a library reaches is production code even if a test includes it too.
        for test_roots in [false, true] {
            for (path, _) in roots.iter().filter(|(_, test)| *test == test_roots) {
                walk.file(path, &parent(path), test_roots);
            }
        }
        let Walk { modules, broken, .. } = walk;
        Self { files, modules, broken }
    }
}

/// What cargo says of the members of the workspace and of what they depend on directly.
///
/// # Errors
/// When cargo cannot describe the workspace.
pub fn metadata() -> Result<Metadata, cargo_metadata::Error> {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml");
    MetadataCommand::new().manifest_path(manifest).no_deps().exec()
}

/// The same with every crate of the lock file.
///
/// # Errors
/// When cargo can not be asked.
pub fn metadata_of_all() -> Result<Metadata, cargo_metadata::Error> {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml");
    MetadataCommand::new().manifest_path(manifest).exec()
}

/// One token and the line it stands on; brackets are tokens of their own.
pub type Token = (String, usize);

/// The tokens of a piece of syntax in reading order. Comments are gone; texts and doc comments are single tokens.
#[must_use]
pub fn tokens(syntax: &impl ToTokens) -> Vec<Token> {
    let mut flat = Vec::new();
    flatten(syntax.to_token_stream(), &mut flat);
    flat
}

/// Lines on which the tokens of `pattern` follow one another; `*` in the pattern is any one token.
#[must_use]
pub fn find(tokens: &[Token], pattern: &[&str]) -> Vec<usize> {
    let fits = |window: &&[Token]| {
        window.iter().zip(pattern).all(|((token, _), wanted)| *wanted == "*" || token == wanted)
    };
    tokens.windows(pattern.len()).filter(fits).filter_map(|w| w.first().map(|(_, line)| *line)).collect()
}

/// The items outside (`wanted` false) or inside (`wanted` true) of `#[cfg(test)]` and `#[test]`.
#[must_use]
pub fn items(all: &[Item], wanted: bool) -> Vec<Item> {
    let mut chosen = Vec::new();
    for item in all {
        if attributes(item).iter().any(marks_test) {
            chosen.extend(wanted.then(|| item.clone()));
        } else if let Item::Mod(module) = item {
            let mut module = module.clone();
            if let Some((_, content)) = &mut module.content {
                *content = items(content, wanted);
            }
            chosen.push(Item::Mod(module));
        } else if !wanted {
            chosen.push(item.clone());
        }
    }
    chosen
}

/// Tokens of a module's production code, or of its test code.
#[must_use]
pub fn tokens_of(module: &Module, test: bool) -> Vec<Token> {
    match (module.test, test) {
        (true, true) => tokens(&module.syntax),
        (true, false) => Vec::new(),
        (false, _) => items(&module.syntax.items, test).iter().flat_map(tokens).collect(),
    }
}

/// True for `#[test]`, `#[tokio::test]` and `#[cfg(test)]` with whatever else the condition says, except `not`.
#[must_use]
pub fn marks_test(attribute: &Attribute) -> bool {
    let path = attribute.path();
    if path.is_ident("cfg") {
        let condition = tokens(&attribute.meta);
        let has = |word: &str| condition.iter().any(|(token, _)| token == word);
        return has("test") && !has("not");
    }
    path.segments.last().is_some_and(|segment| segment.ident == "test")
}

/// The attributes of an item; kinds of item that the house does not use have none.
#[must_use]
pub fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(item) => &item.attrs,
        Item::Enum(item) => &item.attrs,
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        Item::Macro(item) => &item.attrs,
        Item::Mod(item) => &item.attrs,
        Item::Static(item) => &item.attrs,
        Item::Struct(item) => &item.attrs,
        Item::Trait(item) => &item.attrs,
        Item::Type(item) => &item.attrs,
        Item::Use(item) => &item.attrs,
        _ => &[],
    }
}

struct Walk<'a> {
    files: &'a BTreeMap<String, String>,
    seen: BTreeSet<String>,
    modules: Vec<Module>,
    broken: Vec<Violation>,
}

impl Walk<'_> {
    /// `children` is the directory in which the file's own `mod x;` are looked for.
    fn file(&mut self, path: &str, children: &str, test: bool) {
        if !self.seen.insert(path.to_owned()) {
            return;
        }
        let Some(text) = self.files.get(path) else {
            return self.broken.push(Violation::new(
                path,
                0,
                "a target of a manifest or a `mod` names it, but it is missing",
            ));
        };
        match syn::parse_file(text) {
            Ok(syntax) => {
                self.declarations(&syntax.items, path, children, &parent(path), test);
                self.modules.push(Module { path: path.to_owned(), syntax, test });
            }
            Err(error) => {
                self.broken.push(Violation::new(path, error.span().start().line, error.to_string()))
            }
        }
    }

    /// `here` is the directory that a `#[path]` is relative to.
    fn declarations(&mut self, items: &[Item], path: &str, children: &str, here: &str, test: bool) {
        for item in items {
            let Item::Mod(module) = item else { continue };
            let test = test || module.attrs.iter().any(marks_test);
            let name = module.ident.to_string();
            if let Some((_, content)) = &module.content {
                let inside = join(children, &name);
                self.declarations(content, path, &inside, &inside, test);
            } else if let Some(named) = path_attribute(&module.attrs) {
                let child = join(here, &named);
                self.file(&child, &parent(&child), test);
            } else {
                self.child(path, children, &name, test);
            }
        }
    }

    fn child(&mut self, path: &str, children: &str, name: &str, test: bool) {
        let flat = join(children, &format!("{name}.rs"));
        let nested = join(children, &format!("{name}/mod.rs"));
        let inside = join(children, name);
        if self.files.contains_key(&flat) {
            self.file(&flat, &inside, test);
        } else if self.files.contains_key(&nested) {
            self.file(&nested, &inside, test);
        } else {
            self.broken.push(Violation::new(path, 0, format!("`mod {name};` has no file `{flat}`")));
        }
    }
}

fn path_attribute(attributes: &[Attribute]) -> Option<String> {
    let path = attributes.iter().find(|attribute| attribute.path().is_ident("path"))?;
    let syn::Expr::Lit(literal) = &path.meta.require_name_value().ok()?.value else { return None };
    let syn::Lit::Str(text) = &literal.lit else { return None };
    Some(text.value())
}

fn read_files(root: &Path) -> Result<BTreeMap<String, String>, Box<dyn Error>> {
    let mut files = BTreeMap::new();
    // The ignore files decide, as for git, but a source archive without git is read the same way.
    let walk = ignore::WalkBuilder::new(root)
        .hidden(false)
        .parents(false)
        .git_global(false)
        .require_git(false)
        .filter_entry(|entry| entry.file_name() != ".git")
        .build();
    for entry in walk {
        let entry = entry?;
        if entry.file_type().is_some_and(|kind| kind.is_file()) {
            let text = String::from_utf8(std::fs::read(entry.path())?).unwrap_or_default();
            files.insert(relative(entry.path(), root), text);
        }
    }
    Ok(files)
}

fn target_roots(metadata: &Metadata, root: &Path) -> Vec<(String, bool)> {
    let targets = metadata.packages.iter().flat_map(|package| &package.targets);
    targets.map(|target| (relative(target.src_path.as_std_path(), root), only_proves(target))).collect()
}

fn only_proves(target: &Target) -> bool {
    target.kind.iter().any(|kind| matches!(kind, TargetKind::Test | TargetKind::Bench | TargetKind::Example))
}

fn flatten(stream: TokenStream, flat: &mut Vec<Token>) {
    for tree in stream {
        let line = tree.span().start().line;
        match tree {
            TokenTree::Group(group) => {
                let (open, close) = match group.delimiter() {
                    proc_macro2::Delimiter::Parenthesis => ("(", ")"),
                    proc_macro2::Delimiter::Brace => ("{", "}"),
                    proc_macro2::Delimiter::Bracket => ("[", "]"),
                    proc_macro2::Delimiter::None => ("", ""),
                };
                flat.push((open.into(), line));
                flatten(group.stream(), flat);
                flat.push((close.into(), group.span_close().end().line));
            }
            other => flat.push((other.to_string(), line)),
        }
    }
}

fn relative(path: &Path, root: &Path) -> String {
    let inner: PathBuf = path.strip_prefix(root).unwrap_or(path).into();
    inner.to_string_lossy().replace('\\', "/")
}

fn parent(path: &str) -> String {
    path.rsplit_once('/').map(|(directory, _)| directory.to_owned()).unwrap_or_default()
}

fn join(directory: &str, name: &str) -> String {
    let mut parts: Vec<&str> = directory.split('/').filter(|part| !part.is_empty()).collect();
    for part in name.split('/') {
        match part {
            ".." => drop(parts.pop()),
            "." => {}
            part => parts.push(part),
        }
    }
    parts.join("/")
}
