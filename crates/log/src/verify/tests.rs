//! Ways to tamper with a history, each over a data directory and over a trail.
//!
//! The forger of these tests works on the text of the lines with `sha2` alone, and makes everything fit that can be made
//! to fit: the file names, the last line of the trail, even the kept checkpoints.

use std::fs;

use sha2::Digest as _;

use super::*;
use crate::conformance::sample;
use crate::{
    CHECKPOINTS_FILE, Checkpoints, Damage, FileCheckpoints, FileOptions, Log, Origin, StoredEntry,
    TrailWriter,
};

/// Entries of the untouched history; a checkpoint is given out after every third.
const ENTRIES: u64 = 12;

/// Where the inner object of a line begins, and where the digest of the entry before stands in it.
const INNER: usize = 85;

/// What has to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shown {
    /// The entry at which the history is no longer whole.
    Entry(u64),
    /// The checkpoint of this size, from which the history differs, and how many entries are proved to be as they were.
    Rewritten(u64, u64),
    /// The smallest checkpoint that is not reached, and the number of entries left.
    Shortened(u64, u64),
    /// That nothing has happened.
    Nothing,
}

/// What is done, to the lines of the log, and what has to show.
type Tampering = (&'static str, fn(&mut Vec<String>), Shown);

const TAMPERINGS: &[Tampering] = &[
    ("nothing is done", |_| (), Shown::Nothing),
    ("a byte is edited", |lines| edit(&mut lines[4]), Shown::Entry(5)),
    (
        "a digit is put into the hash",
        |lines| lines[4] = lines[4].replacen("56\":\"", "56\":\"0", 1),
        Shown::Entry(5),
    ),
    ("a line is edited and hashed again", |lines| edit_and_hash(&mut lines[4]), Shown::Entry(6)),
    ("the first line is edited and hashed again", |lines| edit_and_hash(&mut lines[0]), Shown::Entry(2)),
    (
        "the last line is edited and hashed again",
        |lines| edit_and_hash(&mut lines[11]),
        Shown::Rewritten(12, 9),
    ),
    ("a line is deleted", |lines| drop(lines.remove(4)), Shown::Entry(5)),
    ("the first line is deleted", |lines| drop(lines.remove(0)), Shown::Entry(1)),
    ("two lines change places", |lines| lines.swap(4, 5), Shown::Entry(5)),
    ("a line is doubled", |lines| lines.insert(5, lines[4].clone()), Shown::Entry(6)),
    ("a line that fits is inserted", insert_fitting, Shown::Entry(7)),
    ("a line of another log is put in", |lines| lines[4] = other_history()[4].clone(), Shown::Entry(5)),
    ("everything is rewritten from an entry on", |lines| rewrite(lines, 4), Shown::Rewritten(6, 3)),
    ("everything is rewritten from the first on", |lines| rewrite(lines, 0), Shown::Rewritten(3, 0)),
    ("the log is another one altogether", |lines| *lines = other_history(), Shown::Rewritten(3, 0)),
    (
        "an entry is taken out and the rest rewritten",
        |lines| {
            lines.remove(9);
            rewrite(lines, 9)
        },
        Shown::Shortened(12, 11),
    ),
    ("the last line is cut off", |lines| lines.truncate(11), Shown::Shortened(12, 11)),
    ("several lines are cut off", |lines| lines.truncate(7), Shown::Shortened(9, 7)),
    ("every line is cut off", Vec::clear, Shown::Shortened(3, 0)),
];

#[test]
fn no_tampering_with_a_directory_goes_unseen() {
    let history = History::new();
    for (name, tamper, shown) in TAMPERINGS {
        let mut lines = history.lines.clone();
        tamper(&mut lines);
        for (kept, given) in [(true, false), (false, true), (true, true)] {
            let directory = history.directory(&lines, kept);
            let given = if given { history.checkpoints.as_slice() } else { &[] };
            let found = shown_by_directory(directory.path(), given);
            assert_eq!(found, *shown, "{name}, kept {kept}, given {}", given.len());
        }
    }
}

#[test]
fn no_tampering_with_a_trail_goes_unseen() {
    let history = History::new();
    for (name, tamper, shown) in TAMPERINGS {
        let mut lines = history.lines.clone();
        tamper(&mut lines);
        let honest_end = history.trail(&lines, &history.lines);
        let forged_end = history.trail(&lines, &lines);
        assert_eq!(
            shown_by_trail(&forged_end, &history.checkpoints),
            *shown,
            "{name}, with an end that fits"
        );
        let (found, untouched) = (verify_trail(honest_end.as_bytes(), &[]), *shown == Shown::Nothing);
        assert_eq!(found.is_ok(), untouched, "{name}, with the end of before: {found:?}");
    }
}

#[test]
fn what_agrees_with_itself_shows_only_by_a_checkpoint_from_before() {
    // The limit of what hashes can do, and the reason for giving checkpoints out.
    let history = History::new();
    for (name, tamper, shown) in TAMPERINGS {
        let mut lines = history.lines.clone();
        tamper(&mut lines);
        let directory = history.directory(&lines, false);
        let found = shown_by_directory(directory.path(), &[]);
        match shown {
            Shown::Entry(_) => assert_eq!(found, *shown, "{name}"),
            _ => assert_eq!(found, Shown::Nothing, "{name}"),
        }
    }
}

#[test]
fn an_older_copy_shows_by_a_checkpoint_that_somebody_else_has() {
    let history = History::new();
    let directory = history.directory(&history.lines[..9], false);
    let kept = FileCheckpoints::open(directory.path()).unwrap().checkpoints;
    history.checkpoints[..3].iter().for_each(|it| kept.append(&it.encode_unsigned()).unwrap());
    let report = verify_directory(directory.path(), &[]).unwrap();
    assert_eq!((report.witnessed.agreeing, report.witnessed.covered), (3, 9));
    assert_eq!((report.witnessed.disagreement, report.checkpoints.kept), (None, 3));
    assert_eq!(shown_by_directory(directory.path(), &history.checkpoints[3..]), Shown::Shortened(12, 9));
}

#[test]
fn a_last_line_cut_in_two_is_a_torn_write_until_a_checkpoint_says_otherwise() {
    let history = History::new();
    let directory = history.directory(&history.lines, false);
    let log = directory.path().join("log/00000000000000000001.jsonl");
    let bytes = fs::read(&log).unwrap();
    fs::write(&log, &bytes[..bytes.len() - 30]).unwrap();
    assert_eq!(shown_by_directory(directory.path(), &[]), Shown::Nothing);
    assert_eq!(shown_by_directory(directory.path(), &history.checkpoints), Shown::Shortened(12, 11));
}

#[test]
fn a_damaged_checkpoint_is_reported_and_the_others_count() {
    let history = History::new();
    let directory = history.directory(&history.lines, true);
    let path = directory.path().join(CHECKPOINTS_FILE);
    fs::write(&path, fs::read_to_string(&path).unwrap().replacen("revision 2 ", "revision 3 ", 1)).unwrap();
    let report = verify_directory(directory.path(), &[]).unwrap();
    assert_eq!((report.witnessed.agreeing, report.witnessed.disagreement), (3, None));
    assert_eq!(report.checkpoints.damaged.iter().map(|damage| damage.line).collect::<Vec<_>>(), [2]);
    assert_eq!((report.log.head.sequence.0, report.root), (ENTRIES, history.checkpoints[3].root));
    fs::remove_file(path).unwrap();
    let report = verify_directory(directory.path(), &[]).unwrap();
    assert_eq!((report.checkpoints.present, report.witnessed.agreeing), (false, 0));
    let nowhere = verify_directory(&directory.path().join("nowhere"), &[]);
    assert!(matches!(nowhere, Err(VerifyError::Log(OpenError::NotADataset { .. }))));
}

#[test]
fn what_is_shown_is_said() {
    let checkpoint = History::new().checkpoints[1].clone();
    let shortened = Disagreement::Shortened { checkpoint, entries: 4 };
    let said = "there are 4 entries and there were 6 when the checkpoint of revision 2 was given out";
    assert_eq!(shortened.to_string(), said);
}

/// A history that was not touched, its lines and the checkpoints that were given out of it.
struct History {
    lines: Vec<String>,
    checkpoints: Vec<Checkpoint>,
}

impl History {
    fn new() -> History {
        let root = tempfile::tempdir().unwrap();
        let options = FileOptions { segment_bytes: 1_500, reserve_bytes: 0 };
        let log = FileLog::create(root.path(), options).unwrap();
        let mut edge = Frontier::new();
        let (mut lines, mut checkpoints) = (Vec::new(), Vec::new());
        for place in 1..=ENTRIES {
            let stored = log.append(log.head(), sample(&place.to_string())).unwrap();
            edge.push(leaf_hash(&stored.bytes));
            lines.push(String::from_utf8(stored.line()).unwrap());
            if place % 3 == 0 {
                checkpoints.push(checkpoint(place, edge.root()));
            }
        }
        History { lines, checkpoints }
    }

    /// A data directory with these lines, and with the checkpoints that were kept if they are there.
    fn directory(&self, lines: &[String], kept: bool) -> tempfile::TempDir {
        let root = tempfile::tempdir().unwrap();
        drop(FileLog::create(root.path(), FileOptions::default()).unwrap());
        let text: String = lines.iter().map(|line| line.clone() + "\n").collect();
        if !text.is_empty() {
            fs::write(root.path().join("log/00000000000000000001.jsonl"), text).unwrap();
        }
        if kept {
            let keeper = FileCheckpoints::open(root.path()).unwrap().checkpoints;
            self.checkpoints.iter().for_each(|it| keeper.append(&it.encode_unsigned()).unwrap());
        }
        root
    }

    /// A trail with these lines and the last line of a trail of `end`, as far as one can be made.
    fn trail(&self, lines: &[String], end: &[String]) -> String {
        let mut writer = TrailWriter::new(Vec::new(), "first", "2026-01-31T10:00:00Z").unwrap();
        for line in end {
            let Ok(stored) = StoredEntry::decode(line.as_bytes()) else { break };
            if writer.push(&stored).is_err() {
                break;
            }
        }
        let note = checkpoint(writer.head().sequence.0, writer.root()).encode_unsigned();
        let trail = String::from_utf8(writer.finish(&note).unwrap().0).unwrap();
        let (first, last) = (trail.lines().next().unwrap(), trail.lines().last().unwrap());
        let lines: String = lines.iter().map(|line| line.clone() + "\n").collect();
        // The forger counts and hashes again what stands before the last line.
        let before = format!("{first}\n{lines}");
        let mut manifest: serde_json::Value = serde_json::from_str(last).unwrap();
        if std::ptr::eq(end, self.lines.as_slice()) {
            return format!("{before}{last}\n");
        }
        manifest["manifest"]["bytes"] = before.len().into();
        manifest["manifest"]["sha256"] = hash(&before).into();
        let fields =
            ["entries", "bytes", "sha256"].map(|name| format!("\"{name}\":{}", manifest["manifest"][name]));
        let head = format!(
            "\"sequence\":{},\"digest\":{}",
            manifest["manifest"]["head"]["sequence"], manifest["manifest"]["head"]["digest"]
        );
        let inner =
            format!("{{{},\"head\":{{{head}}},\"note\":{}}}", fields.join(","), manifest["manifest"]["note"]);
        format!("{before}{{\"sha256\":\"{}\",\"manifest\":{inner}}}\n", hash(&inner))
    }
}

fn checkpoint(size: u64, root: Digest) -> Checkpoint {
    let origin = Origin::of("first").unwrap();
    Checkpoint { origin, size, root, revision: size / 3, content_hash: Digest::of(b"content") }
}

fn shown_by_directory(directory: &Path, given: &[Checkpoint]) -> Shown {
    match verify_directory(directory, given) {
        Ok(report) => shown_by_checkpoints(report.witnessed),
        // The forger writes one segment, so that the line in it is the entry.
        Err(VerifyError::Log(OpenError::Damaged(damage))) => {
            let Damage { line, .. } = *damage;
            Shown::Entry(line)
        }
        Err(error) => panic!("{error:?}"),
    }
}

fn shown_by_trail(trail: &str, given: &[Checkpoint]) -> Shown {
    match verify_trail(trail.as_bytes(), given) {
        Ok((_, witnessed)) => shown_by_checkpoints(witnessed),
        Err(TrailError::Line { line, entry, .. }) => {
            assert_eq!(line, entry.0 + 1);
            Shown::Entry(entry.0)
        }
        Err(error) => panic!("{error:?}"),
    }
}

fn shown_by_checkpoints(witnessed: Witnessed) -> Shown {
    match witnessed.disagreement {
        None => Shown::Nothing,
        Some(Disagreement::Rewritten { checkpoint, agreed, .. }) => Shown::Rewritten(checkpoint.size, agreed),
        Some(Disagreement::Shortened { checkpoint, entries }) => Shown::Shortened(checkpoint.size, entries),
    }
}

/// Changes the author of an entry.
fn edit(line: &mut String) {
    assert!(line.contains("curator"));
    *line = line.replace("curator", "forger!");
}

fn edit_and_hash(line: &mut String) {
    edit(line);
    *line = framed(&line[INNER..line.len() - 1]);
}

/// Edits an entry, and hashes and numbers everything from it on again.
fn rewrite(lines: &mut [String], from: usize) {
    edit(&mut lines[from]);
    let mut previous = if from == 0 { "0".repeat(64) } else { stated(&lines[from - 1]) };
    for (place, line) in lines.iter_mut().enumerate().skip(from) {
        let (_, rest) = line[INNER..line.len() - 1].split_once("\",\"time\"").unwrap();
        let sequence = place + 1;
        *line = framed(&format!("{{\"sequence\":{sequence},\"previous\":\"{previous}\",\"time\"{rest}"));
        previous = stated(line);
    }
}

/// Puts in an entry that continues the one before it as if it had always been there.
fn insert_fitting(lines: &mut Vec<String>) {
    let mut forged = lines[..6].to_vec();
    rewrite(&mut forged, 5);
    lines.insert(5, forged[5].clone());
}

fn other_history() -> Vec<String> {
    let mut lines = History::new().lines;
    rewrite(&mut lines, 0);
    lines
}

fn framed(inner: &str) -> String {
    format!("{{\"sha256\":\"{}\",\"entry\":{inner}}}", hash(inner))
}

/// The hash that a line states.
fn stated(line: &str) -> String {
    line[11..75].to_owned()
}

fn hash(text: &str) -> String {
    sha2::Sha256::digest(text).iter().map(|byte| format!("{byte:02x}")).collect()
}
