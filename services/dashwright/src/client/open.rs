//! `draft open`: one record of a draft in an editor, with what is wrong with it shown where it is wrong.

use std::fs;
use std::path::Path;
use std::process::Command;

use dashwright_api::v1;
use dashwright_model::exchange::{self, ExchangeCause, ExchangeError};
use dashwright_model::record::{RecordKey, RecordKind};
use tonic::Code;

use super::change::Change;
use super::connection::Connection;
use super::record::kind;
use crate::args::{Client, DraftOpen};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text, wiring};

/// What a line begins with that is for the reader and no part of the record.
const REMARK: &str = "//";
/// The variables of the environment that say which editor, the first that does.
const EDITORS: [&str; 2] = ["VISUAL", "EDITOR"];

/// A record as it is before it is edited.
#[derive(Debug, PartialEq, Eq)]
struct Opened {
    json: String,
    /// What the edit expects to find.
    etag: String,
    /// Where it is from.
    from: String,
}

/// Opens a record, and puts what comes of it into the draft. What is refused is opened again until it is taken, or left.
pub(crate) fn open(arguments: DraftOpen) -> Result<(), Failure> {
    let DraftOpen { draft, record, changing, client } = arguments;
    let opened = wiring::block_on(fetch(&client, &draft, &record))?;
    let directory = tempfile::tempdir().map_err(Failure::System)?;
    let file = directory.path().join(format!("{}.json", record.id));
    let before = readable(&opened.json)?;
    let mut shown = format!("{}{before}", heading(&record, &opened.from));
    let mut last = None;
    loop {
        let body = without_remarks(&in_editor(&file, &shown)?);
        if body.trim().is_empty() || body == before {
            return out::print("nothing was changed\n");
        }
        let refused = match read(&body, &record) {
            Ok(json) => {
                let change = Change::of(changing.clone());
                match wiring::block_on(put(&client, &change, &draft, json, &opened.etag)) {
                    Ok(answer) => {
                        return out::print(&text::draft_edited(&[(answer, 1)], false, out::columns()));
                    }
                    Err(failure @ Failure::Refused(_)) => Remark { line: 1, text: failure.message() },
                    Err(failure) => return keep(&record, &body, change.outcome(Err(failure))),
                }
            }
            Err(remark) => remark,
        };
        if last.as_ref() == Some(&body) {
            // Left as it was, with what is wrong in it: nobody wants to mend it.
            return keep(&record, &body, Err(KeepingFailure::NotMended { text: refused.text }.into()));
        }
        shown = with_remark(&record, &opened.from, &body, &refused);
        last = Some(body);
    }
}

/// The record as the draft has it, or else as the latest revision does, or else the beginning of a new one.
async fn fetch(client: &Client, draft: &str, record: &RecordKey) -> Result<Opened, Failure> {
    let connection = Connection::open(client).await?;
    let request = v1::GetDraftRequest {
        draft_id: draft.to_owned(),
        record: record.to_string(),
        ..v1::GetDraftRequest::default()
    };
    let found = connection.answer(connection.curation().get_draft(request).await)?;
    if let Some(v1::DraftItem { json, etag, collision, .. }) = found.items.into_iter().next() {
        let from = match &collision {
            Some(v1::Collision { before_json: _, now_json }) => format!(
                "as the draft has it; the latest revision has since become\n{REMARK} {}",
                if now_json.is_empty() { "deleted" } else { now_json }
            ),
            None => "as the draft has it".to_owned(),
        };
        let deleted = json.is_empty();
        return Ok(if deleted { new(record, "") } else { Opened { json, etag, from } });
    }
    let RecordKey { kind: of, id } = record;
    let key = v1::RecordKey { kind: kind(*of).into(), id: id.to_string() };
    let request = v1::GetRecordRequest { read_at: None, key: Some(key) };
    match connection.catalogue().get_record(request).await {
        Err(status) if status.code() == Code::NotFound => Ok(new(record, "")),
        answer => {
            let answer = connection.answer(answer)?;
            let revision = answer.revision.map(|it| it.number).unwrap_or_default();
            let v1::Record { etag, json, .. } = answer.record.unwrap_or_default();
            Ok(Opened { json, etag, from: format!("as of revision {revision}") })
        }
    }
}

fn new(record: &RecordKey, etag: &str) -> Opened {
    let RecordKey { kind, id } = record;
    let json = format!(r#"{{"{}":{{"id":"{id}"}}}}"#, name(*kind));
    let from = format!("new; `dashwright record schema {kind}` tells its fields");
    Opened { json, etag: etag.to_owned(), from }
}

/// The name of a kind in the JSON form of a record.
fn name(kind: RecordKind) -> String {
    kind.to_string().replace('-', "_")
}

async fn put(
    client: &Client,
    change: &Change,
    draft: &str,
    json: String,
    etag: &str,
) -> Result<v1::EditDraftResponse, Failure> {
    let connection = Connection::open(client).await?;
    let request = v1::EditDraftRequest {
        change: change.message(),
        draft_id: draft.to_owned(),
        puts: vec![v1::RecordPut { json, etag: etag.to_owned() }],
        ..v1::EditDraftRequest::default()
    };
    connection.answer(connection.curation().edit_draft(request).await)
}

/// Something that is wrong, and the line of the record, from 1, that it is shown above.
#[derive(Debug, PartialEq, Eq)]
struct Remark {
    line: usize,
    text: String,
}

/// The record on one line, as it is sent.
fn read(body: &str, wanted: &RecordKey) -> Result<String, Remark> {
    let whole = |text: String| Remark { line: 1, text };
    // One that is well formed is measured without its spaces and line breaks.
    let compact = compact(body).unwrap_or_else(|_| body.to_owned());
    let record = match exchange::parse_line(compact.as_bytes(), 1) {
        Ok(record) => record,
        // The place is that in what was edited.
        Err(_) => match exchange::parse_line(body.as_bytes(), 1) {
            Err(error) => return Err(remark(&error)),
            Ok(_) => return Err(whole("the record is too long".to_owned())),
        },
    };
    match record.key() {
        Ok(key) if key == *wanted => exchange::to_line(&record).map_err(|error| whole(error.to_string())),
        Ok(key) => Err(whole(format!("this is `{key}`, and `{wanted}` was opened"))),
        Err(error) => Err(whole(error.to_string())),
    }
}

fn remark(error: &ExchangeError) -> Remark {
    match &error.cause {
        ExchangeCause::NotARecord { path, column: _, source } => {
            let reason = source.to_string();
            let reason = reason.rsplit_once(" at line ").map_or(reason.as_str(), |(reason, _)| reason);
            let field = if path.is_empty() { String::new() } else { format!("`{path}`: ") };
            Remark { line: source.line(), text: format!("{field}{reason}") }
        }
        _ => Remark { line: 1, text: error.to_string() },
    }
}

fn heading(record: &RecordKey, from: &str) -> String {
    format!(
        "{REMARK} {record}, {from}.\n{REMARK} Save and leave to put it into the draft; leave it as it is, or empty, to change nothing.\n"
    )
}

fn with_remark(record: &RecordKey, from: &str, body: &str, remark: &Remark) -> String {
    let mut shown = heading(record, from);
    for (place, line) in body.lines().enumerate() {
        if place + 1 == remark.line.max(1) {
            for text in remark.text.lines() {
                shown.push_str(&format!("{REMARK} WRONG: {text}\n"));
            }
        }
        shown.push_str(line);
        shown.push('\n');
    }
    shown
}

fn without_remarks(text: &str) -> String {
    let lines = text.lines().filter(|line| !line.trim_start().starts_with(REMARK));
    lines.map(|line| format!("{line}\n")).collect()
}

/// The JSON over many lines, with its fields in their order.
fn readable(json: &str) -> Result<String, Failure> {
    let mut wide = Vec::new();
    let mut reader = serde_json::Deserializer::from_str(json);
    serde_transcode::transcode(&mut reader, &mut serde_json::Serializer::pretty(&mut wide))
        .map_err(|error| Failure::Answer(error.into()))?;
    let text = String::from_utf8(wide).map_err(|error| Failure::Answer(error.into()))?;
    Ok(format!("{text}\n"))
}

fn compact(json: &str) -> Result<String, serde_json::Error> {
    let mut narrow = Vec::new();
    let mut reader = serde_json::Deserializer::from_str(json);
    serde_transcode::transcode(&mut reader, &mut serde_json::Serializer::new(&mut narrow))?;
    reader.end()?;
    Ok(String::from_utf8_lossy(&narrow).into_owned())
}

/// What the editor makes of a text.
fn in_editor(file: &Path, text: &str) -> Result<String, Failure> {
    let unwritable = |source| KeepingFailure::Unwritable { path: file.to_owned(), source };
    fs::write(file, text).map_err(unwritable)?;
    let named = EDITORS.iter().find_map(|name| std::env::var(name).ok().filter(|it| !it.trim().is_empty()));
    let editor = named.ok_or(KeepingFailure::NoEditor)?;
    // By a shell, as others do it: the variable may hold arguments.
    let mut command = Command::new("sh");
    let status = command.arg("-c").arg(format!("{editor} \"$1\"")).arg("editor").arg(file).status();
    let ended = status.map_err(Failure::System)?;
    if !ended.success() {
        return Err(KeepingFailure::Editor { editor, ended: ended.to_string() }.into());
    }
    let unreadable = |source| KeepingFailure::Unreadable { path: file.to_owned(), source };
    Ok(fs::read_to_string(file).map_err(unreadable)?)
}

/// What was typed is not lost with a failure: it is written beside where the command runs.
fn keep(record: &RecordKey, body: &str, outcome: Result<(), Failure>) -> Result<(), Failure> {
    let path = format!("{}-not-put.json", record.id);
    if outcome.is_err() && fs::write(&path, body).is_ok() {
        out::aside(&format!("what you wrote is in `{path}`\n"));
    }
    outcome
}

#[cfg(test)]
#[path = "open_tests.rs"]
mod tests;
