//! Formats: each file of a dataset says which it has, and a newer one is refused with every byte left as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use dashwright_log::{FileLog, FileOptions, Head, Log as _, NewEntry, Note};
use dashwright_tests::binary::{Ended, Process, run};
use dashwright_tests::change::make;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tempfile::TempDir;

/// Every file below a directory by its SHA-256.
type Files = BTreeMap<PathBuf, Vec<u8>>;

fn files(directory: &Path) -> Files {
    let mut found = Files::new();
    let mut open = vec![directory.to_owned()];
    while let Some(place) = open.pop() {
        for entry in fs::read_dir(place).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(path.clone(), Sha256::digest(fs::read(&path).unwrap()).to_vec());
            }
        }
    }
    found
}

/// A dataset with one revision that no server has open, and a backup of it.
struct Bench {
    root: TempDir,
}

impl Bench {
    fn new() -> Self {
        let bench = Self { root: tempfile::tempdir().unwrap() };
        fs::write(bench.path("records.jsonl"), make("zz-a", "Zza") + "\n").unwrap();
        let (data, records) = (bench.path("data"), bench.path("records.jsonl"));
        let serve = ["serve", "--data", &data, "--listen", "127.0.0.1:0", "--init", "--load", &records];
        let mut server = Process::start(&serve).unwrap();
        let (_, address) = server.serving().unwrap();
        let backup = ["backup", "--to", &bench.path("backup"), "--reason", "drill", "--server", &address];
        assert!(run(&backup).unwrap().status.success());
        server.terminate().unwrap();
        assert!(server.ended().unwrap().success());
        bench
    }

    fn path(&self, name: &str) -> String {
        self.root.path().join(name).to_str().unwrap().to_owned()
    }

    /// Every command that opens the data directory without a server.
    fn commands(&self) -> Vec<Vec<String>> {
        let line = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
        let (data, records, backup) = (self.path("data"), self.path("records.jsonl"), self.path("backup"));
        let serve = ["serve", "--data", &data, "--listen", "127.0.0.1:0"];
        vec![
            line(&serve),
            line(&[&serve[..], &["--init"]].concat()),
            line(&[&serve[..], &["--load", &records]].concat()),
            line(&["verify", &data]),
            line(&["audit", "verify", &data]),
            line(&[
                "key", "new", "--data", &data, "--holder", "Ada", "--role", "operator", "--reason", "lost",
            ]),
            line(&["restore", &backup, "--data", &data, "--reason", "drill"]),
        ]
    }
}

fn refused(arguments: &[String]) -> Ended {
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let ended = run(&words).unwrap();
    assert_eq!(ended.status.code(), Some(1), "{arguments:?}: {ended:?}");
    assert!(ended.err.contains("next: "), "{arguments:?}: {ended:?}");
    ended
}

#[test]
fn each_file_says_its_format() {
    let bench = Bench::new();
    let read = |name: &str| String::from_utf8(fs::read(bench.root.path().join(name)).unwrap()).unwrap();
    // The directory: it also says how the lines of the segments and of the kept checkpoints are to be read.
    assert_eq!(read("data/FORMAT"), "dashwright data, format 1\n");
    let first = read("data/log/00000000000000000001.jsonl");
    let first: Value = serde_json::from_str(first.lines().next().unwrap()).unwrap();
    // The meaning of the entries, by the first of them.
    assert_eq!(
        (&first["entry"]["kind"], &first["entry"]["payload"]["format"]),
        (&"dataset.init".into(), &1.into())
    );
    let kept: Value = serde_json::from_str(read("data/checkpoints.jsonl").lines().next().unwrap()).unwrap();
    // A note of C2SP, whose first line names what it is of.
    assert!(Note::parse(kept["note"].as_str().unwrap()).is_ok(), "{kept}");
    let header: Value = serde_json::from_str(read("backup").lines().next().unwrap()).unwrap();
    assert_eq!(header["dashwright_trail"], 1);
    // 64 hexadecimal digits and nothing else; another form is refused as no secret.
    let secret = read("data/key-secret");
    assert_eq!((secret.len(), secret.trim().bytes().all(|it| it.is_ascii_hexdigit())), (65, true));
}

#[test]
fn a_directory_of_a_newer_format_is_refused_and_left_as_it_was() {
    let bench = Bench::new();
    for (format, said) in [
        ("dashwright data, format 2\n", "format 2"),
        ("dashwright data, format 4294967295\n", "format 4294967295"),
        ("dashwright data, form 2\n", "FORMAT"),
        ("", "FORMAT"),
    ] {
        fs::write(bench.path("data/FORMAT"), format).unwrap();
        let before = files(bench.root.path());
        for command in bench.commands() {
            let ended = refused(&command);
            // Whoever wants to begin a dataset learns that there is one.
            let begins = command.iter().any(|word| word == "--init" || word == "restore");
            assert!(ended.err.contains(said) || begins, "{command:?}: {ended:?}");
            assert!(files(bench.root.path()) == before, "{command:?} has changed something of `{format}`");
        }
    }
    fs::write(bench.path("data/FORMAT"), "dashwright data, format 1\n").unwrap();
    assert!(run(&["verify", &bench.path("data")]).unwrap().status.success());
}

#[test]
fn what_is_no_dataset_is_not_begun_by_a_command_that_opens_one() {
    let bench = Bench::new();
    fs::remove_dir_all(bench.path("data")).unwrap();
    for command in bench.commands() {
        if command.iter().any(|word| word == "--init" || word == "restore") {
            continue;
        }
        refused(&command);
        assert!(!Path::new(&bench.path("data")).exists(), "{command:?} has made it");
    }
}

#[test]
fn a_backup_of_a_newer_format_is_refused_and_nothing_is_begun() {
    let bench = Bench::new();
    let (backup, copy) = (bench.path("backup"), bench.path("copy"));
    let text = fs::read_to_string(&backup).unwrap();
    fs::write(&backup, text.replacen("{\"dashwright_trail\":1", "{\"dashwright_trail\":2", 1)).unwrap();
    let before = files(bench.root.path());
    for command in [
        &["audit", "verify", backup.as_str()][..],
        &["restore", &backup, "--data", &copy, "--reason", "drill"],
    ] {
        let ended = refused(&command.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>());
        assert!(ended.err.contains("format 2"), "{ended:?}");
        assert!(files(bench.root.path()) == before && !Path::new(&copy).exists(), "{command:?}");
    }
}

/// Entries of a newer meaning below a directory of this format: as when only the first entry is to be believed.
#[test]
fn a_history_of_a_newer_format_is_refused_and_not_written_to() {
    let root = tempfile::tempdir().unwrap();
    let data = root.path().join("data");
    let log = FileLog::create(&data, FileOptions::default()).unwrap();
    let payload = r#"{"incarnation":"one","format":2}"#.to_owned();
    let entry = NewEntry {
        time: "2026-01-31T09:05:00Z".to_owned(),
        actor: "a newer version".to_owned(),
        reason: "a test".to_owned(),
        request_id: None,
        kind: "dataset.init".parse().unwrap(),
        payload: serde_json::value::RawValue::from_string(payload).unwrap(),
    };
    log.append(Head::EMPTY, entry).unwrap();
    drop(log);
    let kept = |path: &Path| !path.starts_with(data.join("store")) && !path.ends_with("LOCK");
    let before: Files = files(&data).into_iter().filter(|(path, _)| kept(path)).collect();
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"].map(str::to_owned);
    let ended = refused(&serve);
    assert!(ended.err.contains("format 2"), "{ended:?}");
    let after: Files = files(&data).into_iter().filter(|(path, _)| kept(path)).collect();
    assert_eq!(after.len(), before.len() + 1, "a secret for keys was made, and nothing else");
    assert!(before.iter().all(|(path, hash)| after.get(path) == Some(hash)));
}

#[test]
fn a_secret_of_another_form_is_refused_and_left_as_it_was() {
    let bench = Bench::new();
    fs::write(bench.path("data/key-secret"), "dashwright key secret, format 2\n").unwrap();
    let kept = |files: Files| -> Files {
        let of_ours = |path: &Path| !path.starts_with(bench.path("data/store")) && !path.ends_with("LOCK");
        files.into_iter().filter(|(path, _)| of_ours(path)).collect()
    };
    let before = kept(files(bench.root.path()));
    for command in [&bench.commands()[0], &bench.commands()[5]] {
        let ended = refused(command);
        assert!(ended.err.contains("key-secret"), "{ended:?}");
        assert!(kept(files(bench.root.path())) == before, "{command:?}");
    }
}
