//! A server on the demo catalogue, and commands that ask it.

use std::fs;
use std::path::{Path, PathBuf};

use dashwright_tests::binary::{Ended, Process, run};
use dashwright_tests::service::demo_lines;
use serde_json::Value;
use tempfile::TempDir;

/// A server on the demo catalogue, which signs its checkpoints, and a place for files.
pub(crate) struct Bench {
    pub(crate) root: TempDir,
    pub(crate) server: Process,
    pub(crate) address: String,
    pub(crate) key: Option<String>,
}

impl Bench {
    pub(crate) fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("catalogue.jsonl"), demo_lines().join("\n") + "\n").unwrap();
        fs::write(root.path().join("seed"), "5a".repeat(32)).unwrap();
        let (catalogue, seed) = (text(root.path().join("catalogue.jsonl")), text(root.path().join("seed")));
        let more = ["--init", "--load", catalogue.as_str(), "--checkpoint-key", seed.as_str()];
        let mut server = serve(&root.path().join("data"), &more);
        let (_, address) = server.serving().unwrap();
        Self { root, server, address, key: None }
    }

    pub(crate) fn path(&self, name: &str) -> String {
        text(self.root.path().join(name))
    }

    pub(crate) fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.root.path().join(name)).unwrap()
    }

    /// Runs a command that asks the server.
    pub(crate) fn ask(&self, arguments: &[&str]) -> Ended {
        let mut all = [arguments, &["--server", &self.address]].concat();
        if let Some(key) = &self.key {
            all.extend(["--key-file", key.as_str()]);
        }
        run(&all).unwrap()
    }

    /// What a command prints that must succeed.
    pub(crate) fn text(&self, arguments: &[&str]) -> String {
        done(self.ask(arguments), arguments)
    }

    pub(crate) fn json(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.text(&[arguments, &["--json"]].concat())).unwrap()
    }

    /// A command that must be refused: what it says.
    pub(crate) fn refused(&self, arguments: &[&str]) -> String {
        refused(self.ask(arguments), arguments)
    }

    /// A draft with one record put, by its id.
    pub(crate) fn draft(&self, record: &str, name: &str) -> String {
        fs::write(self.path("edit.jsonl"), format!("{}\n", make(record, name))).unwrap();
        let begun = self.json(&["draft", "new", "--reason", "a test"]);
        let id = begun["draft"]["draftId"].as_str().unwrap().to_owned();
        self.text(&["draft", "edit", &id, "--put", &self.path("edit.jsonl"), "--reason", "a test"]);
        id
    }

    pub(crate) fn published(&self, record: &str, name: &str) -> Value {
        let id = self.draft(record, name);
        self.json(&["draft", "publish", &id, "--reason", "a test"])
    }
}

pub(crate) fn serve(data: &Path, more: &[&str]) -> Process {
    let common = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    Process::start(&[&common[..], more].concat()).unwrap()
}

pub(crate) fn text(path: PathBuf) -> String {
    path.to_str().unwrap().to_owned()
}

pub(crate) fn done(ended: Ended, arguments: &[&str]) -> String {
    assert!(ended.status.success(), "{arguments:?}: {ended:?}");
    ended.out
}

pub(crate) fn refused(ended: Ended, arguments: &[&str]) -> String {
    assert_eq!((ended.status.code(), ended.out.as_str()), (Some(1), ""), "{arguments:?}: {ended:?}");
    assert!(ended.err.starts_with("error: ") && ended.err.contains("next: "), "{arguments:?}: {ended:?}");
    ended.err
}

pub(crate) fn make(id: &str, name: &str) -> String {
    dashwright_tests::change::make(id, name)
}

pub(crate) fn mode(path: &str) -> u32 {
    use std::os::unix::fs::PermissionsExt as _;
    fs::metadata(path).unwrap().permissions().mode() & 0o777
}

pub(crate) fn contains_all(text: &str, words: &[&str]) {
    for word in words {
        assert!(text.contains(word), "no `{word}` in {text}");
    }
}
