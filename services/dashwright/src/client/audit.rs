//! `audit`: the entries of the trail, its checkpoint, and proofs about it.

use dashwright_api::v1;
use dashwright_log::Note;

use super::connection::Connection;
use super::file::{Existing, write_whole};
use super::json::{Layout, json};
use super::proof::proof;
use crate::args::{Audit, AuditCheckpoint, AuditList};
use crate::failure::{Failure, KeepingFailure};
use crate::{dataset, out, text, wiring};

/// Entries of one answer: the most that the service gives.
const LARGEST_PAGE: u64 = 500;

/// Asks about the trail and prints what comes back.
pub(crate) fn audit(arguments: Audit) -> Result<(), Failure> {
    match arguments {
        Audit::List(arguments) => wiring::block_on(list(arguments)),
        Audit::Checkpoint(arguments) => wiring::block_on(checkpoint(arguments)),
        Audit::Proof(arguments) => wiring::block_on(proof(arguments)),
        Audit::Verify(arguments) => dataset::audit_verify(&arguments),
    }
}

/// Several answers in JSON stand one on a line.
async fn list(arguments: AuditList) -> Result<(), Failure> {
    let AuditList { record, actor, kind, draft, from, to, latest_first, payload, limit, client } = arguments;
    let question = v1::ListEntriesRequest {
        record: record.map(|key| key.to_string()).unwrap_or_default(),
        actor,
        kind,
        draft_id: draft,
        from_time: from.unwrap_or_default(),
        to_time: to.unwrap_or_default(),
        latest_first,
        with_payload: payload,
        page_size: 0,
        page_token: String::new(),
    };
    let connection = Connection::open(&client).await?;
    let (mut left, mut page_token) = (limit.get(), String::new());
    loop {
        let page_size = u32::try_from(left.min(LARGEST_PAGE)).unwrap_or_default();
        let request = v1::ListEntriesRequest { page_size, page_token, ..question.clone() };
        let answer = connection.answer(connection.audit().list_entries(request).await)?;
        left = left.saturating_sub(answer.entries.len() as u64);
        page_token = answer.next_page_token.clone();
        let last = left == 0 || page_token.is_empty();
        out::print(&if client.json {
            json("ListEntriesResponse", &answer, Layout::OneLine)?
        } else {
            text::entries(&answer, limit.get() - left, last, out::columns())
        })?;
        if last {
            return Ok(());
        }
    }
}

/// Standard output has the checkpoint alone, so that it can be kept as it is.
async fn checkpoint(arguments: AuditCheckpoint) -> Result<(), Failure> {
    let AuditCheckpoint { to, client } = arguments;
    let connection = Connection::open(&client).await?;
    let answer = connection.answer(connection.audit().get_checkpoint(v1::GetCheckpointRequest {}).await)?;
    let note = Note::parse(&answer.checkpoint).map_err(KeepingFailure::Checkpoint)?;
    if let Some(file) = &to {
        // An earlier one is the proof that nothing before it was rewritten.
        write_whole(file, &answer.checkpoint, Existing::Keep)?;
    }
    if client.json {
        return out::print(&json("GetCheckpointResponse", &answer, Layout::Wide)?);
    }
    let said = text::checkpoint(&answer, note.checkpoint(), to.as_deref(), out::columns());
    match to {
        Some(_) => out::print(&said),
        None => {
            out::aside(&said);
            out::print(&answer.checkpoint)
        }
    }
}
