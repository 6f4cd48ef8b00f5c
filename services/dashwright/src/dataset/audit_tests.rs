//! Directories, backups and exports that hold, and damaged ones that are named.

use std::io::BufWriter;

use dashwright_log::{
    FileLog, FileOptions, Frontier, Log as _, NewEntry, Origin, Signer, StoredEntry, TrailWriter, leaf_hash,
};
use serde_json::value::RawValue;

use super::*;

/// FIPS 180-2, appendix B.1: the hash of `abc`.
const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

fn entry(number: u64) -> NewEntry {
    NewEntry {
        time: "2026-01-02T03:04:05.000Z".to_owned(),
        actor: "Ann".to_owned(),
        reason: format!("reason {number}"),
        request_id: None,
        kind: "test.made".parse().unwrap(),
        payload: RawValue::from_string(format!(r#"{{"number":{number}}}"#)).unwrap(),
    }
}

fn filled(log: &FileLog, numbers: [u64; 5]) -> Vec<StoredEntry> {
    numbers.map(|number| log.append(log.head(), entry(number)).unwrap()).into()
}

struct Scratch {
    place: tempfile::TempDir,
    stored: Vec<StoredEntry>,
}

impl Scratch {
    /// A directory of five entries.
    fn new() -> Self {
        let place = tempfile::tempdir().unwrap();
        let log = FileLog::create(&place.path().join("data"), FileOptions::default()).unwrap();
        let stored = filled(&log, [1, 2, 3, 4, 5]);
        Self { place, stored }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }

    /// What is to be known of the first entries, as somebody keeps it.
    fn checkpoint(&self, size: usize) -> Checkpoint {
        let mut edge = Frontier::new();
        self.stored.iter().take(size).for_each(|entry| edge.push(leaf_hash(&entry.bytes)));
        let origin = Origin::of("first").unwrap();
        Checkpoint { origin, size: edge.size(), root: edge.root(), revision: 1, content_hash: Digest::ZERO }
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        fs::write(self.path(name), bytes).unwrap();
        self.path(name)
    }

    fn backup(&self) -> PathBuf {
        let file = BufWriter::new(File::create(self.path("backup")).unwrap());
        let mut trail = TrailWriter::new(file, "first", "2026-01-02T03:04:05Z").unwrap();
        self.stored.iter().for_each(|entry| trail.push(entry).unwrap());
        trail.finish(&self.checkpoint(5).encode_unsigned()).unwrap();
        self.path("backup")
    }

    /// The only segment of the log.
    fn segment(&self) -> PathBuf {
        let mut files = fs::read_dir(self.path("data").join("log")).unwrap().map(|file| file.unwrap().path());
        files.next().unwrap()
    }
}

fn verify(path: &Path, checkpoint: Option<&Path>, key: Option<&PublicKey>) -> Result<(), String> {
    audit_verify(&AuditVerify {
        path: path.to_owned(),
        checkpoint: checkpoint.map(Path::to_owned),
        verifier_key: key.cloned(),
        json: false,
    })
    .map_err(|failure| failure.json()["error"].to_string())
}

#[track_caller]
fn refused(path: &Path, checkpoint: Option<&Path>, words: &[&str]) {
    let error = verify(path, checkpoint, None).unwrap_err();
    assert!(words.iter().all(|word| error.contains(word)), "not {words:?} in {error}");
}

/// Swaps a word of a file for one of the same length.
fn swap(path: &Path, word: &str, other: &str) {
    let text = String::from_utf8(fs::read(path).unwrap()).unwrap();
    assert!(text.contains(word) && word.len() == other.len());
    fs::write(path, text.replace(word, other)).unwrap();
}

#[test]
fn a_directory_and_a_backup_hold_against_themselves_and_a_kept_checkpoint() {
    let scratch = Scratch::new();
    let kept = scratch.write("kept", scratch.checkpoint(3).encode_unsigned());
    for path in [scratch.path("data"), scratch.backup()] {
        assert_eq!(verify(&path, None, None), Ok(()));
        assert_eq!(verify(&path, Some(&kept), None), Ok(()));
    }
}

#[test]
fn an_altered_entry_is_named() {
    let scratch = Scratch::new();
    swap(&scratch.segment(), "reason 4", "reason 9");
    refused(&scratch.path("data"), None, &["DAMAGED", "line 4"]);
    let backup = scratch.backup();
    swap(&backup, "reason 4", "reason 9");
    // The first line is the header.
    refused(&backup, None, &["DAMAGED", "line 5", "entry 4"]);
}

#[test]
fn a_backup_that_broke_off_is_recognised() {
    let scratch = Scratch::new();
    let backup = scratch.backup();
    let whole = fs::read(&backup).unwrap();
    let last = whole.iter().rev().skip(1).position(|byte| *byte == b'\n').unwrap() + 1;
    scratch.write("backup", &whole[..whole.len() - last]);
    refused(&backup, None, &["DAMAGED", "incomplete", "behind entry 5", "take another"]);
}

#[test]
fn another_history_is_shown_by_a_checkpoint_alone() {
    let (scratch, mut other) = (Scratch::new(), Scratch::new());
    let forged = FileLog::create(&other.path("forged"), FileOptions::default()).unwrap();
    other.stored = filled(&forged, [1, 2, 9, 4, 5]);
    drop(forged);
    let kept = scratch.write("kept", scratch.checkpoint(3).encode_unsigned());
    for path in [other.path("forged"), other.backup()] {
        assert_eq!(verify(&path, None, None), Ok(()));
        refused(&path, Some(&kept), &["DAMAGED", "is not what it was", "the first 3 entries"]);
    }
    let later = scratch.write("later", Checkpoint { size: 7, ..scratch.checkpoint(5) }.encode_unsigned());
    refused(&scratch.path("data"), Some(&later), &["DAMAGED", "there are 5 entries and there were 7"]);
}

#[test]
fn an_export_holds_when_its_checkpoint_names_its_hash() {
    let scratch = Scratch::new();
    let export = scratch.write("export", "abc");
    refused(&export, None, &["export.checkpoint", "--checkpoint FILE"]);
    let of_abc = Checkpoint { content_hash: ABC.parse().unwrap(), ..scratch.checkpoint(5) };
    let kept = scratch.write("kept", of_abc.encode_unsigned());
    assert_eq!(verify(&export, Some(&kept), None), Ok(()));
    fs::copy(&kept, scratch.path("export.checkpoint")).unwrap();
    assert_eq!(verify(&export, None, None), Ok(()));
    scratch.write("export", "abd");
    refused(&export, None, &["DAMAGED", &format!("revision 1 of the checkpoint has {ABC}")]);
    scratch.write("export", "abc");
    // Neither the checkpoint beside it nor the one that was kept may disagree.
    let other = scratch.write("kept", scratch.checkpoint(5).encode_unsigned());
    refused(&export, Some(&other), &["DAMAGED", ABC]);
    scratch.write("export.checkpoint", "nonsense");
    refused(&export, None, &["export.checkpoint` is no checkpoint"]);
}

#[test]
fn a_signature_is_checked_with_the_key_that_is_named() {
    let scratch = Scratch::new();
    let signer = Signer::new("log", [7; 32]).unwrap();
    let stranger = Signer::new("log", [8; 32]).unwrap();
    let signed = scratch.write("signed", scratch.checkpoint(5).encode_signed(&signer));
    let data = scratch.path("data");
    assert_eq!(verify(&data, Some(&signed), Some(signer.public_key())), Ok(()));
    let refused = verify(&data, Some(&signed), Some(stranger.public_key())).unwrap_err();
    assert!(refused.contains("UNPROVEN") && refused.contains("not signed as it should be"), "{refused}");
    let backup = verify(&scratch.backup(), None, Some(signer.public_key())).unwrap_err();
    assert!(backup.contains("UNPROVEN"), "{backup}");
    let nothing = verify(&data, None, Some(signer.public_key())).unwrap_err();
    assert!(nothing.contains("no checkpoint is kept there"), "{nothing}");
}

#[test]
fn what_is_not_there_or_is_something_else_is_told() {
    let scratch = Scratch::new();
    refused(&scratch.path("missing"), None, &["missing` can not be read"]);
    refused(scratch.place.path(), None, &["holds no dataset"]);
    refused(&scratch.path("data"), Some(&scratch.segment()), &["is no checkpoint"]);
    let newer = scratch.write("newer", "{\"dashwright_trail\":2}\n");
    refused(&newer, None, &["format 2"]);
}
