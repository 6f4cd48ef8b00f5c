//! `draft`: what the catalogue is changed by.

use std::collections::BTreeSet;
use std::mem;
use std::path::Path;

use dashwright_api::v1;
use dashwright_model::exchange::to_line;
use dashwright_model::record::{Record, RecordKey};
use prost::Message;

use super::bulk;
use super::change::Change;
use super::check::check;
use super::connection::Connection;
use super::file::{Existing, write_whole};
use super::import::import;
use super::json::{Layout, json};
use super::open::open;
use super::pages::{Printed, each_page};
use super::preview::preview;
use crate::args::{Draft, DraftDiscard, DraftEdit, DraftList, DraftNew, DraftPublish, DraftShow, Revert};
use crate::dataset::{STANDARD_INPUT, read_edits};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, progress, text, wiring};

/// Records of one request: what the service takes at once.
const MOST_RECORDS: usize = 1_000;
/// Bytes of the records of one request: what one entry of the trail holds.
const MOST_BYTES: usize = 480 * 1024;

/// Asks for drafts, or changes them, and prints what came of it.
pub(crate) fn draft(arguments: Draft) -> Result<(), Failure> {
    match arguments {
        Draft::New(arguments) => wiring::block_on(new(arguments)),
        Draft::List(arguments) => wiring::block_on(list(arguments)),
        Draft::Show(arguments) => wiring::block_on(show(arguments)),
        Draft::Edit(arguments) => edit(arguments),
        Draft::Open(arguments) => open(arguments),
        Draft::Import(arguments) => import(arguments),
        Draft::Rename(arguments) => wiring::block_on(bulk::rename(arguments)),
        Draft::Supersede(arguments) => wiring::block_on(bulk::supersede(arguments)),
        Draft::Split(arguments) => wiring::block_on(bulk::split(arguments)),
        Draft::Retire(arguments) => wiring::block_on(bulk::retire(arguments)),
        Draft::Check(arguments) => wiring::block_on(check(arguments)),
        Draft::Preview(arguments) => wiring::block_on(preview(arguments)),
        Draft::Discard(arguments) => wiring::block_on(discard(arguments)),
        Draft::Publish(arguments) => wiring::block_on(publish(arguments)),
    }
}

async fn new(arguments: DraftNew) -> Result<(), Failure> {
    let DraftNew { changing, client } = arguments;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let request = v1::CreateDraftRequest { change: change.message() };
    let answer = change.outcome(connection.answer(connection.curation().create_draft(request).await))?;
    print("CreateDraftResponse", &answer, client.json, text::draft_begun)
}

async fn list(arguments: DraftList) -> Result<(), Failure> {
    let DraftList { client } = arguments;
    let connection = Connection::open(&client).await?;
    let answer = connection.answer(connection.curation().list_drafts(v1::ListDraftsRequest {}).await)?;
    print("ListDraftsResponse", &answer, client.json, text::drafts)
}

async fn show(arguments: DraftShow) -> Result<(), Failure> {
    let DraftShow { draft: draft_id, full, page, client } = arguments;
    let page_size = page.page_size;
    let printed = Printed {
        name: "GetDraftResponse",
        as_json: client.json,
        text: |answer: &_, last| text::draft(answer, full, last, out::columns()),
    };
    let connection = Connection::open(&client).await?;
    let ask = async |page_token| {
        let (draft_id, record) = (draft_id.clone(), String::new());
        let request = v1::GetDraftRequest { draft_id, page_size, page_token, record, with_fields: true };
        connection.answer(connection.curation().get_draft(request).await)
    };
    each_page(page, ask, |answer| &answer.next_page_token, printed).await
}

async fn discard(arguments: DraftDiscard) -> Result<(), Failure> {
    let DraftDiscard { draft: draft_id, changing, client } = arguments;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let request = v1::DiscardDraftRequest { change: change.message(), draft_id: draft_id.clone() };
    let answer = change.outcome(connection.answer(connection.curation().discard_draft(request).await))?;
    print("DiscardDraftResponse", &answer, client.json, |answer, columns| {
        text::draft_discarded(&draft_id, answer, columns)
    })
}

/// Makes a draft that goes back.
pub(crate) fn revert(arguments: Revert) -> Result<(), Failure> {
    let Revert { revision, content, changing, client } = arguments;
    let change = Change::of(changing);
    let kind = if content { v1::RevertKind::Content } else { v1::RevertKind::TakeBack };
    let request =
        v1::RevertRevisionRequest { change: change.message(), revision: revision.get(), kind: kind.into() };
    wiring::block_on(async {
        let connection = Connection::open(&client).await?;
        let answer = connection.answer(connection.curation().revert_revision(request).await);
        let answer = change.outcome(answer)?;
        print("RevertRevisionResponse", &answer, client.json, text::draft_reverting)
    })
}

/// The checkpoint is written before anything is printed: it is what must not be lost. When it can not be written, the
/// same command with the same id tells it again.
async fn publish(arguments: DraftPublish) -> Result<(), Failure> {
    let DraftPublish { draft: draft_id, etag, validate_only, checkpoint_file, changing, client } = arguments;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let request = v1::PublishDraftRequest { change: change.message(), draft_id, etag, validate_only };
    let answer = change.outcome(connection.answer(connection.curation().publish_draft(request).await))?;
    if let Some(file) = &checkpoint_file {
        change.outcome(write_whole(file, &answer.checkpoint, Existing::Replace).map_err(Failure::from))?;
    }
    print("PublishDraftResponse", &answer, client.json, |answer, columns| {
        if validate_only {
            text::would_be_published(answer, columns)
        } else {
            text::published(answer, checkpoint_file.as_deref(), columns)
        }
    })
}

/// The records are read before anybody is asked, so that a faulty line is told before a part of them is in the draft.
fn edit(arguments: DraftEdit) -> Result<(), Failure> {
    let DraftEdit { draft, put, only_new, validate_only, delete, changing, client } = arguments;
    let reads_input = put.as_deref() == Some(Path::new(STANDARD_INPUT));
    let change = Change::of(changing).reading_input(reads_input);
    let records = put.map(|file| read_edits(&file)).transpose().map_err(KeepingFailure::Edits)?;
    let requests = requests(&records.unwrap_or_default(), delete)?;
    let how = How { etag: if only_new { "" } else { ANYTHING }, validate_only };
    wiring::block_on(async {
        let connection = Connection::open(&client).await?;
        let answers = change.outcome(send(&connection, &change, &draft, how, requests).await)?;
        if client.json {
            let lines = answers.iter().map(|(answer, _)| json("EditDraftResponse", answer, Layout::OneLine));
            return out::print(&lines.collect::<Result<String, _>>()?);
        }
        out::print(&text::draft_edited(&answers, validate_only, out::columns()))
    })
}

/// The etag that stands for whatever is there.
const ANYTHING: &str = "*";

/// What is to be there before the edits of a file, and whether they are made.
#[derive(Clone, Copy, Debug)]
struct How {
    etag: &'static str,
    validate_only: bool,
}

/// The edits of one request, and how many there are.
#[derive(Debug, Default, PartialEq, Eq)]
struct Edits {
    puts: Vec<String>,
    deletes: Vec<String>,
    bytes: usize,
}

impl Edits {
    fn len(&self) -> usize {
        self.puts.len() + self.deletes.len()
    }

    fn has_room_for(&self, text: &str) -> bool {
        self.len() < MOST_RECORDS && self.bytes + text.len() <= MOST_BYTES
    }
}

/// All edits in their order, in as few requests as the service's limits allow.
fn requests(records: &[Record], deletes: Vec<RecordKey>) -> Result<Vec<Edits>, Failure> {
    let put: BTreeSet<_> = records.iter().filter_map(|record| record.key().ok()).collect();
    let deletes: BTreeSet<_> = deletes.into_iter().collect();
    if let Some(record) = deletes.intersection(&put).next() {
        return Err(KeepingFailure::PutAndDeleted { record: record.clone() }.into());
    }
    let (mut requests, mut edits) = (Vec::new(), Edits::default());
    let mut add = |text: String, list: fn(&mut Edits) -> &mut Vec<String>| {
        if !edits.has_room_for(&text) {
            requests.push(mem::take(&mut edits));
        }
        edits.bytes += text.len();
        list(&mut edits).push(text);
    };
    for record in records {
        add(to_line(record).map_err(|error| Failure::Answer(error.into()))?, |edits| &mut edits.puts);
    }
    for key in deletes {
        add(key.to_string(), |edits| &mut edits.deletes);
    }
    if edits.len() > 0 {
        requests.push(edits);
    }
    Ok(requests)
}

/// Sends the requests one after the other; the first that fails ends it, and what the draft has taken stays in it.
async fn send(
    connection: &Connection,
    change: &Change,
    draft: &str,
    how: How,
    requests: Vec<Edits>,
) -> Result<Vec<(v1::EditDraftResponse, usize)>, Failure> {
    let (total, several) = (requests.iter().map(Edits::len).sum(), requests.len() > 1);
    let bar = progress::bar(total as u64, "sending {bar:30} {human_pos} of {human_len} records");
    let (mut answers, mut done) = (Vec::new(), 0);
    for (number, edits) in requests.into_iter().enumerate() {
        let count = edits.len();
        let request = v1::EditDraftRequest {
            change: Some(change.part(number)),
            draft_id: draft.to_owned(),
            puts: edits
                .puts
                .into_iter()
                .map(|json| v1::RecordPut { json, etag: how.etag.to_owned() })
                .collect(),
            deletes: edits.deletes.into_iter().map(deleting).collect(),
            validate_only: how.validate_only,
        };
        let answer = connection.answer(connection.curation().edit_draft(request).await);
        let answer = answer.map_err(|failure| match several {
            true => KeepingFailure::EditStopped { done, total, failure: Box::new(failure) }.into(),
            false => failure,
        })?;
        done += count;
        bar.set_position(done as u64);
        answers.push((answer, count));
    }
    bar.finish_and_clear();
    Ok(answers)
}

fn deleting(record: String) -> v1::RecordDelete {
    v1::RecordDelete { record, etag: ANYTHING.to_owned() }
}

pub(super) fn print<M: Message>(
    name: &str,
    answer: &M,
    as_json: bool,
    text: impl FnOnce(&M, usize) -> String,
) -> Result<(), Failure> {
    out::print(&if as_json { json(name, answer, Layout::Wide)? } else { text(answer, out::columns()) })
}

#[cfg(test)]
#[path = "draft_tests.rs"]
mod tests;
