//! Trails that are whole, interrupted, or not what they say.

use super::*;
use crate::conformance::sample;
use crate::entry::chain;
use crate::{Checkpoint, Log, MemoryLog, Signer};

const MADE: &str = "2026-01-31T10:00:00Z";

fn entries(count: usize) -> Vec<StoredEntry> {
    chain(Head::EMPTY, (0..count).map(|place| sample(&place.to_string())).collect()).unwrap()
}

fn checkpoint(size: u64, root: Digest) -> Checkpoint {
    Checkpoint {
        origin: Origin::of("first").unwrap(),
        size,
        root,
        revision: 1,
        content_hash: Digest::of(b"c"),
    }
}

fn written(entries: &[StoredEntry]) -> Vec<u8> {
    let mut writer = TrailWriter::new(Vec::new(), "first", MADE).unwrap();
    entries.iter().for_each(|entry| writer.push(entry).unwrap());
    let note = checkpoint(entries.len() as u64, writer.root()).encode_unsigned();
    writer.finish(&note).unwrap().0
}

fn read(trail: &[u8]) -> Result<TrailReport, TrailError> {
    read_trail(trail, |_| ControlFlow::Continue(()))
}

#[test]
fn is_the_log_byte_for_byte() {
    let log = MemoryLog::new();
    let batch = (0..20).map(|place| sample(&place.to_string())).collect();
    let stored = log.append_all(Head::EMPTY, batch).unwrap();
    let trail = written(&stored);
    let mut seen = Vec::new();
    let report = read_trail(trail.as_slice(), |entry| {
        seen.push(entry.digest);
        ControlFlow::Continue(())
    });
    let report = report.unwrap();
    assert_eq!(seen, stored.iter().map(|entry| entry.digest).collect::<Vec<_>>());
    assert_eq!((report.entries, report.head), (20, log.head()));
    assert_eq!((report.header.incarnation.as_str(), report.header.made.as_str()), ("first", MADE));
    let lines: Vec<_> = trail.split_inclusive(|byte| *byte == b'\n').collect();
    assert_eq!(lines.len(), 22);
    assert_eq!(
        lines[0],
        format!("{{\"dashwright_trail\":1,\"incarnation\":\"first\",\"made\":\"{MADE}\"}}\n").as_bytes()
    );
    for (line, entry) in lines[1..].iter().zip(&stored) {
        assert_eq!(line.strip_suffix(b"\n").unwrap(), entry.line());
    }
}

#[test]
fn the_last_line_holds_outside_this_crate() {
    // Read with a general JSON reader, hashed with `sha2`, the tree made by `ct-merkle`.
    let stored = entries(11);
    let trail = written(&stored);
    let text = String::from_utf8(trail.clone()).unwrap();
    let last = text.lines().last().unwrap();
    let manifest = serde_json::from_str::<serde_json::Value>(last).unwrap()["manifest"].clone();
    let before = text.len() - last.len() - 1;
    assert_eq!((&manifest["entries"], &manifest["bytes"]), (&11.into(), &before.into()));
    let hash: [u8; 32] = sha2::Sha256::digest(&trail[..before]).into();
    assert_eq!(manifest["sha256"], Digest(hash).to_string());
    assert_eq!(manifest["head"]["digest"], stored.last().unwrap().digest.to_string());
    let mut tree = ct_merkle::mem_backed_tree::MemoryBackedTree::<Sha256, Vec<u8>>::new();
    stored.iter().for_each(|entry| tree.push(entry.bytes.clone()));
    let note = Note::parse(manifest["note"].as_str().unwrap()).unwrap();
    assert_eq!(note.checkpoint().root.0.as_slice(), tree.root().as_bytes().as_slice());
    assert_eq!(read(&trail).unwrap().root, note.checkpoint().root);
}

#[test]
fn an_interrupted_trail_is_recognised_at_every_byte() {
    let trail = written(&entries(4));
    let ends: Vec<_> = (0..trail.len()).filter(|at| trail[*at] == b'\n').map(|at| at + 1).collect();
    for length in 0..trail.len() {
        let whole = ends.iter().filter(|end| **end <= length).count() as u64;
        match (read(&trail[..length]), whole) {
            (Err(TrailError::NotATrail), 0) => {}
            (Err(TrailError::Incomplete { entries }), 1..) => {
                assert_eq!(entries, whole - 1, "{length} bytes")
            }
            (found, _) => panic!("{length} bytes: {found:?}"),
        }
    }
    assert_eq!(read(&trail).unwrap().entries, 4);
    assert_eq!(read(&written(&[])).unwrap().entries, 0);
}

#[test]
fn a_flip_in_any_byte_is_detected() {
    let trail = written(&entries(3));
    for at in 0..trail.len() {
        for bit in [at % 8, (at * 5 + 3) % 8] {
            let mut flipped = trail.clone();
            flipped[at] ^= 1 << bit;
            let line = trail[..at].iter().filter(|byte| **byte == b'\n').count() as u64 + 1;
            match read(&flipped) {
                Err(TrailError::Line { line: named, entry, .. }) => {
                    assert_eq!((named, entry.0), (line, line - 1), "byte {at}");
                }
                Err(TrailError::Manifest { line: named, .. }) => {
                    assert!(named == 5 && [1, 5].contains(&line), "byte {at}")
                }
                Err(TrailError::NotATrail | TrailError::NewerFormat { .. }) => {
                    assert_eq!(line, 1, "byte {at}")
                }
                Err(TrailError::Incomplete { entries: 3 }) => assert_eq!(at, trail.len() - 1),
                Err(TrailError::Trailing { line: 6 }) => assert_eq!(line, 5, "byte {at}"),
                found => panic!("byte {at}: {found:?}"),
            }
        }
    }
}

#[test]
fn a_last_line_of_other_entries_is_refused() {
    let stored = entries(5);
    let trail = written(&stored);
    let fourth = written(&stored[..4]);
    let lines = |trail: &[u8]| -> Vec<Vec<u8>> {
        trail.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect()
    };
    let mixed = [&lines(&trail)[..6], &lines(&fourth)[5..]].concat().concat();
    let fault = ManifestFault::Entries { stated: 4, actual: 5 };
    assert!(matches!(read(&mixed), Err(TrailError::Manifest { line: 7, source }) if source == fault));
    let again = [trail.as_slice(), b"\n"].concat();
    assert!(matches!(read(&again), Err(TrailError::Trailing { line: 8 })));
    // A manifest that was made to fit, with a note that does not.
    let mut actual = Written::default();
    let mut parts = lines(&trail);
    parts.pop();
    for (place, line) in parts.iter().enumerate() {
        if place > 0 {
            actual.follow(&VerifiedLine::of(line.strip_suffix(b"\n").unwrap()).unwrap()).unwrap();
        }
        actual.take(line);
    }
    let root = actual.edge.root();
    let second = Checkpoint { origin: Origin::of("second").unwrap(), ..checkpoint(5, root) };
    let [first, second_origin] = ["first", "second"].map(|name| Origin::of(name).unwrap());
    for (note, fault) in [
        (checkpoint(4, root), ManifestFault::Size { stated: 4, actual: 5 }),
        (checkpoint(5, Digest::ZERO), ManifestFault::Root { stated: Digest::ZERO, actual: root }),
        (second, ManifestFault::Origin { expected: first, found: second_origin }),
    ] {
        let (sha256, bytes, head) = (actual.hash(), actual.bytes, actual.head);
        let manifest = Manifest { entries: 5, bytes, sha256, head, note: note.encode_unsigned() };
        let forged = [parts.concat(), manifest.line()].concat();
        assert!(matches!(read(&forged), Err(TrailError::Manifest { line: 7, source }) if source == fault));
    }
}

#[test]
fn a_last_line_in_another_spelling_is_refused() {
    let trail = written(&entries(2));
    let begin = trail[..trail.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap() + 1;
    let line = std::str::from_utf8(&trail[begin..]).unwrap();
    let (_, inner) = line.strip_suffix("}\n").unwrap().split_once(",\"manifest\":").unwrap();
    let respelt = |inner: &str| {
        let hash = Digest::of(inner.as_bytes());
        let last = format!("{{\"sha256\":\"{hash}\",\"manifest\":{inner}}}\n");
        read(&[&trail[..begin], last.as_bytes()].concat())
    };
    assert!(respelt(inner).is_ok());
    for other in [inner.replacen(':', ": ", 1), inner.replacen('{', "{\"more\":1,", 1)] {
        let refused = respelt(&other);
        assert!(
            matches!(refused, Err(TrailError::Manifest { line: 4, source: ManifestFault::Form })),
            "{other}"
        );
    }
}

#[test]
fn a_writer_refuses_what_a_reader_would() {
    let stored = entries(3);
    for (incarnation, made) in [("", MADE), ("a b", MADE), ("first", "yesterday")] {
        let writer = TrailWriter::new(Vec::new(), incarnation, made);
        assert!(matches!(writer, Err(TrailWriteError::Header { .. })), "{incarnation} {made}");
    }
    let mut writer = TrailWriter::new(Vec::new(), "first", MADE).unwrap();
    assert!(matches!(writer.push(&stored[1]), Err(TrailWriteError::Entry(LineFault::Sequence { .. }))));
    writer.push(&stored[0]).unwrap();
    assert_eq!(writer.head(), stored[0].head());
    let note = checkpoint(2, writer.root()).encode_unsigned();
    let refused = writer.finish(&note);
    assert!(matches!(refused, Err(TrailWriteError::Note(ManifestFault::Size { stated: 2, actual: 1 }))));
}

#[test]
fn signed_notes_long_lines_newer_formats_and_visitors() {
    let stored = entries(2);
    let mut writer = TrailWriter::new(Vec::new(), "first", MADE).unwrap();
    stored.iter().for_each(|entry| writer.push(entry).unwrap());
    let note = checkpoint(2, writer.root()).encode_signed(&Signer::new("first", [1; 32]).unwrap());
    let (trail, report) = writer.finish(&note).unwrap();
    assert_eq!((read(&trail).unwrap(), &report.note), (report.clone(), &note));
    let stopped = read_trail(trail.as_slice(), |entry| match entry.entry.sequence.0 {
        2 => ControlFlow::Break(()),
        _ => ControlFlow::Continue(()),
    });
    assert!(matches!(stopped, Err(TrailError::Stopped { line: 3 })), "{stopped:?}");
    let newer = String::from_utf8(trail.clone()).unwrap().replace("trail\":1", "trail\":2");
    let newer = read(newer.replace("made", "written").as_bytes());
    assert!(matches!(newer, Err(TrailError::NewerFormat { found: 2, supported: 1 })), "{newer:?}");
    let begin = trail.iter().position(|byte| *byte == b'\n').unwrap() + 1;
    let long = [&trail[..begin], &vec![b'x'; 2 * MAX_LINE_BYTES]].concat();
    let source = read(&long);
    assert!(
        matches!(source, Err(TrailError::Line { line: 2, source: LineFault::TooLong, .. })),
        "{source:?}"
    );
}
