//! Revisions, what they changed, the entries of the trail, and what was proven of it.

use std::path::Path;

use dashwright_api::v1;
use dashwright_log::{Checkpoint, Digest, Witnessed};

use crate::dataset::{Checked, CheckedKind};

use super::lists::{count, indented, more};
use super::page::{Page, bad, good, tame, warning};
use super::{terms, what_was_read};

/// The width of labels.
const LABEL: usize = 11;

/// The revisions.
pub(crate) fn revisions(answer: &v1::ListRevisionsResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    let rows = answer.revisions.iter().map(|it| {
        let v1::Revision {
            revision,
            published_at,
            actor,
            reason,
            draft_id: _,
            changed_records,
            records,
            sequence,
        } = it;
        let number = revision.as_ref().map(|revision| revision.number.to_string()).unwrap_or_default();
        let numbers = [changed_records, records, sequence].map(ToString::to_string);
        let [changed, records, entry] = numbers;
        vec![
            number,
            terms::to_the_second(published_at),
            changed,
            records,
            entry,
            actor.clone(),
            reason.clone(),
        ]
    });
    let header = ["revision", "published", "changed", "records", "entry", "by", "reason"];
    page.table(&header, rows.collect());
    if answer.revisions.is_empty() {
        page.line(0, "nothing was published yet");
    }
    more(&mut page, &answer.next_page_token, last);
    page.finish()
}

/// What differs between two revisions.
pub(crate) fn diff(answer: &v1::DiffRevisionsResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    let v1::DiffRevisionsResponse { from, to, records, added, deleted, changed, next_page_token } = answer;
    for record in records {
        let key = record.key.as_ref().map(terms::record).unwrap_or_default();
        let heading = match record.kind() {
            v1::DiffKind::Added => good(&format!("{key} added")),
            v1::DiffKind::Deleted => bad(&format!("{key} deleted")),
            v1::DiffKind::Changed => warning(&format!("{key} changed")),
            v1::DiffKind::Unspecified => key,
        };
        page.line(0, &heading);
        for v1::FieldDiff { path, before, after } in &record.fields {
            page.line(2, &format!("{path}  {}", before_after(before, after)));
        }
    }
    if last {
        let of = |revision: Option<&v1::DatasetRevision>| revision.map(|it| it.number).unwrap_or_default();
        let (from, to) = (of(from.as_ref()), of(to.as_ref()));
        let counts = format!("{added} added, {deleted} deleted, {changed} changed");
        page.line(0, &format!("from revision {from} to revision {to}: {counts}"));
    }
    more(&mut page, next_page_token, last);
    page.finish()
}

pub(super) fn before_after(before: &str, after: &str) -> String {
    match (before, after) {
        (before, "") => format!("{before} → nothing"),
        ("", after) => after.to_owned(),
        (before, after) => format!("{before} → {after}"),
    }
}

/// A revision that was published while somebody watched, on one line.
pub(crate) fn watched(revision: &v1::Revision) -> String {
    let v1::Revision {
        revision,
        published_at,
        actor,
        reason,
        draft_id: _,
        changed_records,
        records,
        sequence: _,
    } = revision;
    let what = what_was_read(revision.as_ref());
    let changed = count(*changed_records, "record");
    let line = format!("{published_at} {what}: {changed} changed, {records} in all, by {actor}: {reason}");
    format!("{}\n", tame(&line))
}

/// Entries of the trail; `shown` is how many were shown up to here.
pub(crate) fn entries(answer: &v1::ListEntriesResponse, shown: u64, last: bool, columns: usize) -> String {
    let mut text = String::new();
    let with_payload = answer.entries.iter().any(|entry| !entry.payload.is_empty());
    let mut page = Page::new(columns);
    if with_payload {
        answer.entries.iter().for_each(|entry| text.push_str(&entry_whole(entry, columns)));
    } else {
        let header = ["entry", "time", "kind", "revision", "by", "reason"];
        page.table(&header, answer.entries.iter().map(row).collect());
    }
    if last {
        page.line(0, &format!("{shown} of {}", count_entries(answer.total)));
    }
    if last && !answer.next_page_token.is_empty() {
        page.line(0, "there are more: say --limit with a larger number, or a narrower condition");
    }
    text + &page.finish()
}

fn row(entry: &v1::TrailEntry) -> Vec<String> {
    let v1::TrailEntry {
        sequence,
        time,
        actor,
        reason,
        request_id: _,
        kind,
        sha256: _,
        payload: _,
        published_in_revision: revision,
    } = entry;
    let revision = if *revision == 0 { String::new() } else { revision.to_string() };
    vec![
        sequence.to_string(),
        terms::to_the_second(time),
        kind.clone(),
        revision,
        actor.clone(),
        reason.clone(),
    ]
}

fn entry_whole(entry: &v1::TrailEntry, columns: usize) -> String {
    let v1::TrailEntry {
        sequence,
        time,
        actor,
        reason,
        request_id,
        kind,
        sha256,
        payload,
        published_in_revision: revision,
    } = entry;
    let mut page = Page::new(columns);
    page.heading(&format!("Entry {sequence}: {kind}"));
    page.labelled(2, "made", LABEL, &format!("{time} by {actor}"));
    page.labelled(2, "reason", LABEL, reason);
    if !request_id.is_empty() {
        page.labelled(2, "request", LABEL, request_id);
    }
    if *revision != 0 {
        page.labelled(2, "published", LABEL, &format!("in revision {revision}"));
    }
    page.labelled(2, "stored as", LABEL, &format!("SHA-256 {sha256}"));
    let payload = if payload.is_empty() { String::new() } else { indented(payload) };
    page.finish() + &payload + "\n"
}

/// What a checkpoint says. The checkpoint itself is printed apart.
pub(crate) fn checkpoint(
    answer: &v1::GetCheckpointResponse,
    checkpoint: &Checkpoint,
    file: Option<&Path>,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let Checkpoint { origin, size, root, revision, content_hash } = checkpoint;
    page.heading(&format!("Checkpoint of {}", count_entries(*size)));
    page.labelled(2, "trail", LABEL, &origin.to_string());
    page.labelled(2, "root", LABEL, &root.to_string());
    page.labelled(2, "revision", LABEL, &format!("{revision}, content SHA-256 {content_hash}"));
    if answer.signed {
        page.labelled(2, "signed", LABEL, &format!("verifier key {}", answer.verifier_key));
    } else {
        let text = "it is not signed: it says which trail, and not who gave it out";
        page.labelled(2, "signed", LABEL, &warning(text));
    }
    if let Some(file) = file {
        page.labelled(2, "written", LABEL, &format!("to `{}`", file.display()));
    }
    page.finish()
}

/// What was proven of the trail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Proven {
    /// That an entry stands in it.
    Included {
        /// The entry.
        entry: u64,
        /// The hash of its leaf.
        leaf: Digest,
        /// Entries of the trail.
        size: u64,
        /// Its root.
        root: Digest,
        /// Hashes of the proof.
        hashes: usize,
    },
    /// That it continues a shorter one.
    Continued {
        /// Entries of the shorter one.
        from: u64,
        /// Its root.
        from_root: Digest,
        /// Entries of the longer one.
        to: u64,
        /// Its root.
        root: Digest,
        /// Hashes of the proof.
        hashes: usize,
    },
}

/// What was proven, and what it was compared with.
pub(crate) fn proof(proven: &Proven, kept: Option<&Path>, columns: usize) -> String {
    let mut page = Page::new(columns);
    let hashes = match proven {
        Proven::Included { entry, leaf, size, root, hashes } => {
            page.heading(&good(&format!("Entry {entry} stands in the trail of {}", count_entries(*size))));
            page.labelled(2, "leaf", LABEL, &leaf.to_string());
            page.labelled(2, "root", LABEL, &root.to_string());
            hashes
        }
        Proven::Continued { from, from_root, to, root, hashes } => {
            let to_entries = count_entries(*to);
            page.heading(&good(&format!("The trail of {to_entries} continues the one of {from}")));
            page.labelled(2, "root before", LABEL, &from_root.to_string());
            page.labelled(2, "root after", LABEL, &root.to_string());
            hashes
        }
    };
    let hashes = if *hashes == 1 { "1 hash".to_owned() } else { format!("{hashes} hashes") };
    page.labelled(2, "checked", LABEL, &format!("{hashes} of the proof, by RFC 6962"));
    match kept {
        Some(file) => {
            let text = format!("with the root in `{}`, which is the same", file.display());
            page.labelled(2, "compared", LABEL, &text);
        }
        None => {
            let text = "with nothing outside the server: say --checkpoint FILE with one that was kept";
            page.labelled(2, "compared", LABEL, &warning(text));
        }
    }
    page.finish()
}

/// What was checked without a server. Its checkpoint stands as it is.
pub(crate) fn verified(path: &Path, checked: &Checked, signed_by: Option<&str>, columns: usize) -> String {
    let mut page = Page::new(columns);
    let Checked { kind, note } = checked;
    page.heading(&format!("{} is whole", path.display()));
    match kind {
        CheckedKind::History { is_backup, head, root, witnessed } => {
            let what = if *is_backup { "backup" } else { "directory" };
            let entries = count_entries(head.sequence.0);
            page.labelled(2, what, LABEL, &format!("{entries}, all verified by hash and chain"));
            page.labelled(2, "root", LABEL, &root.to_string());
            page.labelled(2, "compared", LABEL, &compared(witnessed));
        }
        CheckedKind::Export { bytes, content, revision } => {
            page.labelled(2, "export", LABEL, &format!("{bytes} bytes of SHA-256 {content}"));
            page.labelled(2, "compared", LABEL, &format!("the checkpoint names it as revision {revision}"));
        }
    }
    match signed_by {
        Some(name) => page.labelled(2, "signed", LABEL, &format!("by {name}, whose signature holds")),
        None => page.labelled(2, "signed", LABEL, "not checked: say --verifier-key KEY"),
    }
    if note.is_some() {
        page.heading("Its last checkpoint");
    }
    page.finish() + note.as_deref().unwrap_or_default()
}

fn compared(witnessed: &Witnessed) -> String {
    let Witnessed { agreeing, covered, disagreement: _ } = witnessed;
    match agreeing {
        0 => warning("with no checkpoint: say --checkpoint FILE with one that was kept elsewhere"),
        1 => format!("1 checkpoint agrees, of {}", count_entries(*covered)),
        _ => format!("{agreeing} checkpoints agree, the largest of {}", count_entries(*covered)),
    }
}

fn count_entries(number: u64) -> String {
    if number == 1 { "1 entry".to_owned() } else { format!("{number} entries") }
}
