//! Drafts, what they become, and exports.

use std::path::Path;

use dashwright_api::v1;

use crate::args::Table;

use super::audit::before_after;
use super::lists::{count, indented, more};
use super::page::{Page, bad, good, strong, warning};
use super::{terms, what_was_read};

/// The width of labels.
const LABEL: usize = 11;

/// A draft that was begun.
pub(crate) fn draft_begun(answer: &v1::CreateDraftResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let draft = answer.draft.clone().unwrap_or_default();
    about(&mut page, &draft);
    repeated(&mut page, answer.repeated);
    let id = &draft.draft_id;
    page.line(0, &format!("next: `dashwright draft edit {id} --put FILE.jsonl --reason TEXT`"));
    page.finish()
}

/// A draft that goes back.
pub(crate) fn draft_reverting(answer: &v1::RevertRevisionResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let draft = answer.draft.clone().unwrap_or_default();
    about(&mut page, &draft);
    repeated(&mut page, answer.repeated);
    let id = &draft.draft_id;
    page.line(
        0,
        &format!(
            "nothing is changed yet; next: `dashwright draft show {id}`, `dashwright draft publish {id} --reason TEXT`"
        ),
    );
    page.finish()
}

/// The open drafts.
pub(crate) fn drafts(answer: &v1::ListDraftsResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    for draft in &answer.drafts {
        let v1::Draft { draft_id, base, owner, created_at, reason, edits, unfinished_import, .. } = draft;
        let base = base.as_ref().map(|base| base.number.to_string()).unwrap_or_default();
        let edits = count(*edits, "edit");
        page.line(0, &format!("{}  {reason}", strong(draft_id)));
        let begun = terms::to_the_second(created_at);
        page.line(2, &format!("{edits} on revision {base}, begun {begun} by {owner}"));
        if unfinished_import.is_some() {
            page.line(2, &warning("an import in it is not finished"));
        }
    }
    if answer.drafts.is_empty() {
        page.line(0, "no draft is open");
    }
    page.finish()
}

/// A draft and what is in it.
pub(crate) fn draft(answer: &v1::GetDraftResponse, full: bool, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    about(&mut page, &answer.draft.clone().unwrap_or_default());
    if answer.items.is_empty() {
        page.line(2, "it changes nothing so far");
    }
    let mut text = String::new();
    if full {
        text = std::mem::replace(&mut page, Page::new(columns)).finish();
        for item in &answer.items {
            text.push_str(&whole(item, columns));
        }
    } else {
        answer.items.iter().for_each(|item| changed(&mut page, item));
    }
    let colliding: Vec<_> = answer.items.iter().filter(|item| item.collision.is_some()).collect();
    if !colliding.is_empty() {
        page.heading(&bad("Changed by others since: put them again to settle it"));
        for v1::DraftItem { record, json, etag, collision, .. } in colliding {
            let v1::Collision { before_json, now_json } = collision.clone().unwrap_or_default();
            page.line(0, &format!("{}  etag {etag}", warning(record)));
            page.line(2, &format!("was    {}", side(&before_json)));
            page.line(2, &format!("theirs {}", side(&now_json)));
            page.line(2, &format!("yours  {}", side(json)));
        }
    }
    more(&mut page, &answer.next_page_token, last);
    text + &page.finish()
}

/// A draft after edits; each answer with the records that its request had.
pub(crate) fn draft_edited(
    answers: &[(v1::EditDraftResponse, usize)],
    validate_only: bool,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let Some((latest, _)) = answers.last() else { return page.finish() };
    let draft = latest.draft.clone().unwrap_or_default();
    about(&mut page, &draft);
    let records = answers.iter().map(|(_, records)| *records as u64).sum();
    let requests = count(answers.len() as u64, "request");
    let sent = if validate_only { "checked, not made" } else { "sent" };
    page.labelled(2, sent, LABEL, &format!("{} in {requests}", count(records, "record")));
    if validate_only {
        return page.finish();
    }
    repeated(&mut page, answers.iter().all(|(answer, _)| answer.repeated));
    let id = &draft.draft_id;
    page.line(
        0,
        &format!("next: `dashwright draft show {id}`, `dashwright draft publish {id} --reason TEXT`"),
    );
    page.finish()
}

/// What becomes of a record: of one that is changed, field by field.
fn changed(page: &mut Page, item: &v1::DraftItem) {
    page.line(0, &becomes(item));
    if item.kind() == v1::DiffKind::Changed {
        for v1::FieldDiff { path, before, after } in &item.fields {
            page.line(2, &format!("{path}  {}", before_after(before, after)));
        }
    }
}

/// One side of a collision.
fn side(json: &str) -> &str {
    if json.is_empty() { "no such record" } else { json }
}

/// A draft that was thrown away.
pub(crate) fn draft_discarded(id: &str, answer: &v1::DiscardDraftResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    page.line(0, &format!("draft {id} is discarded; the trail keeps what was in it"));
    repeated(&mut page, answer.repeated);
    page.finish()
}

/// A revision as a draft would make it.
pub(crate) fn would_be_published(answer: &v1::PublishDraftResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let v1::PublishDraftResponse { revision, changed_records, records, checkpoint: _, repeated: again } =
        answer;
    let number = revision.as_ref().map(|revision| revision.number).unwrap_or_default();
    page.heading(&format!("It can be published, as revision {number}; nothing was"));
    let changed = count(*changed_records, "record");
    page.labelled(2, "changes", LABEL, &format!("{changed} put or deleted, {records} in all"));
    repeated(&mut page, *again);
    page.finish()
}

/// A revision that was published. The checkpoint stands as it is, so that it can be copied.
pub(crate) fn published(answer: &v1::PublishDraftResponse, file: Option<&Path>, columns: usize) -> String {
    let mut page = Page::new(columns);
    let v1::PublishDraftResponse { revision, changed_records, records, checkpoint, repeated: again } = answer;
    let number = revision.as_ref().map(|revision| revision.number).unwrap_or_default();
    page.heading(&format!("Revision {number} is published"));
    let changed = count(*changed_records, "record");
    page.labelled(2, "changed", LABEL, &format!("{changed} put or deleted, {records} in all"));
    page.labelled(2, "dataset", LABEL, &what_was_read(revision.as_ref()));
    if let Some(revision) = revision {
        page.labelled(2, "content", LABEL, &format!("SHA-256 {}", revision.content_hash));
    }
    repeated(&mut page, *again);
    if let Some(file) = file {
        page.labelled(2, "checkpoint", LABEL, &format!("also in `{}`", file.display()));
    }
    page.heading("Checkpoint of the trail: keep it elsewhere");
    page.finish() + checkpoint
}

/// An export that was received and checked.
pub(crate) fn exported(
    end: &v1::ExportEnd,
    file: Option<&Path>,
    table: Option<Table>,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let v1::ExportEnd { revision, records, bytes, checkpoint, sha256 } = end;
    let to = file.map_or_else(|| "standard output".to_owned(), |file| format!("`{}`", file.display()));
    page.heading(&format!("{} in {to}", count(*records, "record")));
    page.labelled(2, "dataset", LABEL, &what_was_read(revision.as_ref()));
    let stated = if table.is_some() { "" } else { ", as the checkpoint says" };
    page.labelled(2, "content", LABEL, &format!("{bytes} bytes of SHA-256 {sha256}{stated}"));
    match file {
        _ if table.is_some() => page.finish(),
        Some(file) => {
            page.labelled(2, "checkpoint", LABEL, &format!("in `{}.checkpoint`", file.display()));
            page.finish()
        }
        None => {
            page.heading("Checkpoint");
            page.finish() + checkpoint
        }
    }
}

/// That a change was made before.
pub(super) fn repeated(page: &mut Page, repeated: bool) {
    if repeated {
        page.labelled(2, "repeated", LABEL, "this was done before, and its first result is told again");
    }
}

pub(super) fn about(page: &mut Page, draft: &v1::Draft) {
    let v1::Draft { draft_id, base, owner, created_at, reason, edits, etag, editors, unfinished_import } =
        draft;
    page.heading(&format!("Draft {draft_id}"));
    page.labelled(2, "reason", LABEL, reason);
    page.labelled(2, "begun", LABEL, &format!("{created_at} by {owner}"));
    page.labelled(2, "begins with", LABEL, &what_was_read(base.as_ref()));
    let by = if editors.is_empty() { String::new() } else { format!(" by {}", editors.join(", ")) };
    page.labelled(2, "edits", LABEL, &format!("{edits}{by}"));
    if !etag.is_empty() {
        page.labelled(2, "etag", LABEL, etag);
    }
    if let Some(v1::UnfinishedImport { request_id, sha256 }) = unfinished_import {
        let text = format!(
            "not finished: repeat it with --request-id {request_id} and the file of SHA-256 {sha256}, or discard the draft"
        );
        page.labelled(2, "import", LABEL, &warning(&text));
    }
}

fn becomes(item: &v1::DraftItem) -> String {
    let record = &item.record;
    match item.kind() {
        v1::DiffKind::Added => good(&format!("{record} added")),
        v1::DiffKind::Deleted => bad(&format!("{record} deleted")),
        v1::DiffKind::Changed => warning(&format!("{record} changed")),
        v1::DiffKind::Unspecified => format!("{record} as it is in the latest revision"),
    }
}

fn whole(item: &v1::DraftItem, columns: usize) -> String {
    let mut page = Page::new(columns);
    page.blank();
    page.line(0, &becomes(item));
    let json = if item.json.is_empty() { String::new() } else { indented(&item.json) };
    page.finish() + &json
}
