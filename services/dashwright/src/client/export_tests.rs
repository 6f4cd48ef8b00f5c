//! What is checked of an export.

use super::*;

/// FIPS 180-2, appendix B.1: the hash of these three bytes.
const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

fn end(bytes: u64, number: u64, hash: &str, checkpoint: &str) -> v1::ExportEnd {
    let revision = v1::DatasetRevision { token: "T".to_owned(), number, content_hash: hash.to_owned() };
    v1::ExportEnd {
        revision: Some(revision),
        records: 1,
        bytes,
        checkpoint: checkpoint.to_owned(),
        sha256: hash.to_owned(),
    }
}

fn note(revision: u64, hash: &str) -> String {
    // Base64 of 32 zero bytes, by the alphabet of RFC 4648.
    format!(
        "dashwright/first\n9\nAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\nrevision {revision} {hash}\n\n"
    )
}

fn check(end: &v1::ExportEnd) -> Result<(), String> {
    let mut received = Received::default();
    received.add(b"a");
    received.add(b"");
    received.add(b"bc");
    received.check(end, None).map_err(|failure| failure.to_string())
}

#[test]
fn an_export_is_taken_when_length_hash_and_checkpoint_agree() {
    assert_eq!(check(&end(3, 7, ABC, &note(7, ABC))), Ok(()));
}

#[test]
fn an_export_that_is_not_what_is_stated_is_refused_and_says_why() {
    let other = ABC.replace('b', "c");
    for (end, words) in [
        (end(4, 7, ABC, &note(7, ABC)), "the export has 3 bytes, and the server states 4"),
        (end(3, 7, &other, &note(7, ABC)), "and the server states `ca78"),
        (end(3, 7, "", &note(7, ABC)), "and the server states ``"),
        (end(3, 7, ABC, &note(7, &other)), "and its checkpoint states `ca78"),
        (end(3, 7, ABC, &note(6, ABC)), "of revision 7, and its checkpoint names revision 6"),
        (end(3, 7, ABC, ""), "the server's checkpoint can not be read"),
    ] {
        let refused = check(&end).unwrap_err();
        assert!(refused.contains(words), "{refused}");
    }
}
