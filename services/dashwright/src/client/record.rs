//! `record`: the records of the catalogue.

use dashwright_api::v1;
use dashwright_model::record::{RecordKey, RecordKind};

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::{Record, RecordGet, RecordList, RecordSchema, RecordSearch};
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks for records and prints them.
pub(crate) fn record(arguments: Record) -> Result<(), Failure> {
    match arguments {
        Record::Get(arguments) => wiring::block_on(get(arguments)),
        Record::List(arguments) => wiring::block_on(list(arguments)),
        Record::Search(arguments) => wiring::block_on(search(arguments)),
        Record::Schema(arguments) => wiring::block_on(schema(arguments)),
    }
}

async fn get(arguments: RecordGet) -> Result<(), Failure> {
    let RecordGet { key, read_at, client } = arguments;
    let RecordKey { kind: of, id } = key;
    let key = v1::RecordKey { kind: kind(of).into(), id: id.to_string() };
    let request = v1::GetRecordRequest { read_at: read_at.message(), key: Some(key) };
    let connection = Connection::open(&client.server).await?;
    let answer = connection.answer(connection.catalogue().get_record(request).await)?;
    out::print(&if client.json {
        json("GetRecordResponse", &answer, Layout::Wide)?
    } else {
        text::record(&answer, out::columns())
    })
}

async fn list(arguments: RecordList) -> Result<(), Failure> {
    let RecordList { kind: of, prefix, page, read_at, client } = arguments;
    let read_at = read_at.message();
    let layout = if page.all { Layout::OneLine } else { Layout::Wide };
    let connection = Connection::open(&client.server).await?;
    let mut token = page.page_token;
    loop {
        let request = v1::ListRecordsRequest {
            read_at: read_at.clone(),
            kind: kind(of).into(),
            id_prefix: prefix.clone(),
            page_size: page.page_size,
            page_token: token,
        };
        let answer = connection.answer(connection.catalogue().list_records(request).await)?;
        token = answer.next_page_token.clone();
        let last = token.is_empty() || !page.all;
        out::print(&if client.json {
            json("ListRecordsResponse", &answer, layout)?
        } else {
            text::records(&answer, last, out::columns())
        })?;
        if last {
            return Ok(());
        }
    }
}

async fn search(arguments: RecordSearch) -> Result<(), Failure> {
    let RecordSearch { words, kind: kinds, page_size, read_at, client } = arguments;
    let request = v1::SearchRecordsRequest {
        read_at: read_at.message(),
        query: words.join(" "),
        kinds: kinds.into_iter().map(|of| kind(of).into()).collect(),
        page_size,
    };
    let connection = Connection::open(&client.server).await?;
    let answer = connection.answer(connection.catalogue().search_records(request).await)?;
    out::print(&if client.json {
        json("SearchRecordsResponse", &answer, Layout::Wide)?
    } else {
        text::hits(&answer, out::columns())
    })
}

/// The schema is JSON by itself; `--json` prints the message that carries it, as with every other call.
async fn schema(arguments: RecordSchema) -> Result<(), Failure> {
    let RecordSchema { kind: of, client } = arguments;
    let request = v1::GetRecordSchemaRequest { kind: kind(of).into() };
    let connection = Connection::open(&client.server).await?;
    let answer = connection.answer(connection.catalogue().get_record_schema(request).await)?;
    out::print(&if client.json {
        json("GetRecordSchemaResponse", &answer, Layout::Wide)?
    } else {
        text::indented(&answer.json_schema)
    })
}

fn kind(kind: RecordKind) -> v1::RecordKind {
    match kind {
        RecordKind::Vocabulary => v1::RecordKind::Vocabulary,
        RecordKind::Dash => v1::RecordKind::Dash,
        RecordKind::FactoryAudio => v1::RecordKind::FactoryAudio,
        RecordKind::Radio => v1::RecordKind::Radio,
        RecordKind::Part => v1::RecordKind::Part,
        RecordKind::Vehicle => v1::RecordKind::Vehicle,
    }
}
