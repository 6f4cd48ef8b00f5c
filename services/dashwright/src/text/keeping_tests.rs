//! Golden texts of drafts, revisions, the trail and keys.

use std::path::Path;

use dashwright_api::v1;
use dashwright_log::{Digest, Head, Note, Sequence, Witnessed};

use super::tests::{COLUMNS, check, key, revision, text};
use super::*;
use crate::dataset::{Checked, CheckedKind, Restored};

/// Base64 of 32 zero bytes, by the alphabet of RFC 4648.
const ZERO: &str = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=";

fn a_draft(id: &str, edits: u64) -> v1::Draft {
    v1::Draft {
        draft_id: text(id),
        base: revision(),
        owner: text("Ann (k1)"),
        created_at: text("2026-01-02T03:04:05Z"),
        reason: text("new prices"),
        edits,
        etag: text("E7"),
        editors: vec![text("Ann (k1)"), text("Ben (k2)")],
        unfinished_import: None,
    }
}

fn note() -> String {
    format!("dashwright/first\n9\n{ZERO}\nrevision 8 {}\n\n", Digest::ZERO)
}

fn published_revision(number: u64, reason: &str) -> v1::Revision {
    v1::Revision {
        revision: Some(v1::DatasetRevision { number, ..revision().unwrap() }),
        published_at: text("2026-01-02T03:04:05Z"),
        actor: text("Ann (k1)"),
        reason: text(reason),
        draft_id: text("d-1"),
        changed_records: 2,
        records: 40,
        sequence: 9,
    }
}

#[test]
fn drafts_are_told_with_what_is_in_them() {
    let begun = v1::CreateDraftResponse { draft: Some(a_draft("d-1", 0)), repeated: true };
    check(&draft_begun(&begun, COLUMNS), include_str!("golden/draft_begun.txt"));
    let open = v1::ListDraftsResponse { drafts: vec![a_draft("d-1", 3), a_draft("d-2", 0)] };
    check(&drafts(&open, COLUMNS), include_str!("golden/drafts.txt"));
    check(&drafts(&v1::ListDraftsResponse::default(), COLUMNS), "no draft is open");
    let item = |record: &str, json: &str, kind: v1::DiffKind| v1::DraftItem {
        record: text(record),
        json: text(json),
        etag: text("E8"),
        collision: None,
        kind: kind.into(),
        fields: vec![v1::FieldDiff {
            path: text("/title"),
            before: text("\"Kit\""),
            after: text("\"A kit\""),
        }],
    };
    let mut shown = v1::GetDraftResponse {
        draft: Some(a_draft("d-1", 3)),
        items: vec![
            item("part/kit-7", r#"{"part":{"id":"kit-7"}}"#, v1::DiffKind::Changed),
            item("part/kit-8", "", v1::DiffKind::Deleted),
            item("part/kit-9", "{}", v1::DiffKind::Added),
        ],
        next_page_token: text("NEXT"),
    };
    check(&draft(&shown, false, true, COLUMNS), include_str!("golden/draft.txt"));
    check(&draft(&shown, true, true, COLUMNS), include_str!("golden/draft_full.txt"));
    shown.items.truncate(1);
    let now_json = text(r#"{"part":{"id":"kit-7","of":"others"}}"#);
    shown.items[0].collision = Some(v1::Collision { before_json: String::new(), now_json });
    check(&draft(&shown, false, true, COLUMNS), include_str!("golden/draft_collides.txt"));
    shown.items.clear();
    assert!(draft(&shown, false, true, COLUMNS).contains("it changes nothing so far"));
}

#[test]
fn edits_and_discards_are_told() {
    let answer = |edits, repeated| v1::EditDraftResponse { draft: Some(a_draft("d-1", edits)), repeated };
    let answers = [(answer(1_000, true), 1_000), (answer(1_002, false), 2)];
    check(&draft_edited(&answers, false, COLUMNS), include_str!("golden/draft_edited.txt"));
    assert!(draft_edited(&answers[..1], false, COLUMNS).contains("this was done before"));
    assert!(draft_edited(&answers, true, COLUMNS).contains("checked, not made"));
    let discarded = draft_discarded("d-1", &v1::DiscardDraftResponse { repeated: false }, COLUMNS);
    check(&discarded, "draft d-1 is discarded; the trail keeps what was in it");
}

#[test]
fn a_publish_and_an_export_are_told_with_their_checkpoint() {
    let answer = v1::PublishDraftResponse {
        revision: Some(v1::DatasetRevision { number: 8, ..revision().unwrap() }),
        changed_records: 1,
        records: 40,
        checkpoint: note(),
        repeated: false,
    };
    check(&published(&answer, Some(Path::new("cp")), COLUMNS), include_str!("golden/published.txt"));
    assert!(published(&answer, None, COLUMNS).ends_with(&note()));
    let sha256 = revision().unwrap().content_hash;
    let end = v1::ExportEnd { revision: revision(), records: 40, bytes: 900, checkpoint: note(), sha256 };
    check(&exported(&end, Some(Path::new("a.jsonl")), None, COLUMNS), include_str!("golden/exported.txt"));
    assert!(exported(&end, None, None, COLUMNS).ends_with(&note()));
}

#[test]
fn revisions_are_a_table_and_one_line_each_while_they_are_watched() {
    let answer = v1::ListRevisionsResponse {
        revisions: vec![published_revision(8, "new prices"), published_revision(7, "first")],
        next_page_token: String::new(),
    };
    check(&revisions(&answer, true, COLUMNS), include_str!("golden/revisions.txt"));
    let nothing = v1::ListRevisionsResponse::default();
    check(&revisions(&nothing, true, COLUMNS), "nothing was published yet");
    assert_eq!(
        watched(&published_revision(8, "two\nlines")),
        "2026-01-02T03:04:05Z revision 8, token TOKEN: 2 records changed, 40 in all, by Ann (k1): two lines\n"
    );
}

#[test]
fn a_difference_is_told_field_by_field() {
    let field = |path: &str, before: &str, after: &str| v1::FieldDiff {
        path: text(path),
        before: text(before),
        after: text(after),
    };
    let record = |id: &str, kind: v1::DiffKind, fields| v1::RecordDiff {
        key: Some(key(v1::RecordKind::Part, id)),
        kind: kind.into(),
        fields,
    };
    let changed = vec![field("/price/amount", "1999", "2099"), field("/limit", r#""Six leads""#, "")];
    let answer = v1::DiffRevisionsResponse {
        from: revision(),
        to: Some(v1::DatasetRevision { number: 8, ..revision().unwrap() }),
        records: vec![
            record("kit-6", v1::DiffKind::Added, vec![field("/id", "", r#""kit-6""#)]),
            record("kit-7", v1::DiffKind::Changed, changed),
            record("kit-8", v1::DiffKind::Deleted, Vec::new()),
        ],
        added: 1,
        deleted: 1,
        changed: 1,
        next_page_token: text("NEXT"),
    };
    check(&diff(&answer, true, COLUMNS), include_str!("golden/diff.txt"));
    assert!(!diff(&answer, false, COLUMNS).contains("from revision"));
}

#[test]
fn entries_are_a_table_and_with_their_payload_one_below_the_other() {
    let entry = |sequence, kind: &str, payload: &str, published_in_revision| v1::TrailEntry {
        sequence,
        time: text("2026-01-02T03:04:05Z"),
        actor: text("Ann (k1)"),
        reason: text("new prices"),
        request_id: text("r-1"),
        kind: text(kind),
        sha256: text("c0ffee"),
        payload: text(payload),
        published_in_revision,
    };
    let mut answer = v1::ListEntriesResponse {
        entries: vec![entry(8, "draft.edit", "", 3), entry(9, "key.create", "", 0)],
        total: 12,
        next_page_token: text("NEXT"),
    };
    check(&entries(&answer, 2, true, COLUMNS), include_str!("golden/entries.txt"));
    answer.entries = vec![entry(8, "draft.edit", r#"{"a":1}"#, 3)];
    answer.next_page_token.clear();
    check(&entries(&answer, 12, true, COLUMNS), include_str!("golden/entries_payload.txt"));
}

#[test]
fn a_checkpoint_says_whether_it_is_signed() {
    let parsed = Note::parse(&note()).unwrap();
    let mut answer = v1::GetCheckpointResponse { checkpoint: note(), ..v1::GetCheckpointResponse::default() };
    let said =
        |answer: &v1::GetCheckpointResponse, file| checkpoint(answer, parsed.checkpoint(), file, COLUMNS);
    check(&said(&answer, Some(Path::new("cp"))), include_str!("golden/checkpoint.txt"));
    (answer.signed, answer.verifier_key) = (true, text("log+00000000+AAAA"));
    assert!(said(&answer, None).contains("verifier key log+00000000+AAAA"));
}

#[test]
fn a_proof_says_what_it_was_compared_with() {
    let (leaf, root) = (Digest([1; 32]), Digest([2; 32]));
    let included = Proven::Included { entry: 12, leaf, size: 340, root, hashes: 9 };
    check(&proof(&included, None, COLUMNS), include_str!("golden/proof_entry.txt"));
    let continued = Proven::Continued { from: 1, from_root: leaf, to: 340, root, hashes: 1 };
    check(&proof(&continued, Some(Path::new("cp")), COLUMNS), include_str!("golden/proof_trail.txt"));
}

#[test]
fn what_was_verified_is_told() {
    let head = Head { sequence: Sequence(9), digest: Digest([1; 32]) };
    let witnessed = Witnessed { agreeing: 2, covered: 8, disagreement: None };
    let history = CheckedKind::History { is_backup: true, head, root: Digest([2; 32]), witnessed };
    let checked = Checked { kind: history, note: Some(note()) };
    check(&verified(Path::new("b"), &checked, Some("log"), COLUMNS), include_str!("golden/verified.txt"));
    let kind = CheckedKind::Export { bytes: 3, content: Digest::ZERO, revision: 8 };
    let export = verified(Path::new("e"), &Checked { kind, note: None }, None, COLUMNS);
    assert!(export.contains("the checkpoint names it as revision 8"), "{export}");
    assert!(export.contains("not checked: say --verifier-key KEY"), "{export}");
}

fn a_key() -> v1::Key {
    v1::Key {
        key_id: text("k1"),
        holder: text("Ann"),
        roles: vec![v1::Role::Curator.into(), v1::Role::Publisher.into()],
        created_at: text("2026-01-01T00:00:00Z"),
        live: true,
        ..v1::Key::default()
    }
}

#[test]
fn keys_are_told_without_their_texts() {
    let second = v1::Key {
        key_id: text("k2"),
        expires_at: text("2026-02-01T00:00:00Z"),
        uses: 3,
        last_used_at: text("2026-01-31T00:00:00Z"),
        ..a_key()
    };
    let revoked = v1::Key { live: false, revoked_at: text("2026-01-03T00:00:00Z"), ..a_key() };
    let ended = v1::Key { live: false, ..second.clone() };
    let mut answer = v1::ListKeysResponse {
        keys: vec![a_key(), second, revoked, ended],
        refused: [(text("KEY_UNKNOWN"), 2), (text("KEY_EXPIRED"), 1)].into(),
    };
    check(&keys(&answer, COLUMNS), include_str!("golden/keys.txt"));
    (answer.keys, answer.refused) = Default::default();
    assert!(keys(&answer, COLUMNS).contains("no key was made yet"));
    let made = v1::CreateKeyResponse { key: Some(a_key()), text: text("SECRET"), repeated: false };
    check(&key_made(&made, Some(Path::new("ann.key")), COLUMNS), include_str!("golden/key_made.txt"));
    assert!(!key_made(&made, None, COLUMNS).contains("SECRET"));
    let revoked = v1::RevokeKeyResponse { key: Some(a_key()), repeated: true };
    assert!(key_revoked(&revoked, COLUMNS).contains("this was done before"));
}

#[test]
fn a_restored_directory_says_what_it_is_now_and_what_is_not_taken() {
    let mut done = Restored {
        entries: 12,
        made: "2026-03-01T09:00:00Z".to_owned(),
        before: "first".to_owned(),
        incarnation: "second".to_owned(),
        revision: 3,
        content: "ab".repeat(32),
        keys: 2,
    };
    check(&restored(Path::new("shop2"), &done, COLUMNS), include_str!("golden/restored.txt"));
    done.keys = 0;
    assert!(!restored(Path::new("shop2"), &done, COLUMNS).contains("key-secret"));
}
