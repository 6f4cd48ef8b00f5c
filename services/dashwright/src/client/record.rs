//! `record`: the records of the catalogue.

use dashwright_api::v1;
use dashwright_model::record::{RecordKey, RecordKind};

use super::connection::Connection;
use super::json::{Layout, json};
use super::pages::{Printed, each_page};
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
    let RecordGet { key, source } = arguments;
    let RecordKey { kind: of, id } = key;
    let key = v1::RecordKey { kind: kind(of).into(), id: id.to_string() };
    let request = v1::GetRecordRequest { read_at: source.read_at.message(), key: Some(key) };
    let connection = Connection::open(&source.client).await?;
    let answer = connection.answer(connection.catalogue().get_record(request).await)?;
    out::print(&if source.client.json {
        json("GetRecordResponse", &answer, Layout::Wide)?
    } else {
        text::record(&answer, out::columns())
    })
}

async fn list(arguments: RecordList) -> Result<(), Failure> {
    let RecordList { kind: of, prefix, page, source } = arguments;
    let question = v1::ListRecordsRequest {
        read_at: source.read_at.message(),
        kind: kind(of).into(),
        id_prefix: prefix,
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListRecordsResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::records(answer, last, out::columns()),
    };
    let connection = Connection::open(&source.client).await?;
    let ask = async |page_token| {
        let request = v1::ListRecordsRequest { page_token, ..question.clone() };
        connection.answer(connection.catalogue().list_records(request).await)
    };
    each_page(page, ask, |answer| &answer.next_page_token, printed).await
}

async fn search(arguments: RecordSearch) -> Result<(), Failure> {
    let RecordSearch { words, kind: kinds, page_size, source } = arguments;
    let request = v1::SearchRecordsRequest {
        read_at: source.read_at.message(),
        query: words.join(" "),
        kinds: kinds.into_iter().map(|of| kind(of).into()).collect(),
        page_size,
    };
    let connection = Connection::open(&source.client).await?;
    let answer = connection.answer(connection.catalogue().search_records(request).await)?;
    out::print(&if source.client.json {
        json("SearchRecordsResponse", &answer, Layout::Wide)?
    } else {
        text::hits(&answer, out::columns())
    })
}

/// The schema is JSON by itself; `--json` prints the message that carries it, as with every other call.
async fn schema(arguments: RecordSchema) -> Result<(), Failure> {
    let RecordSchema { kind: of, client } = arguments;
    let request = v1::GetRecordSchemaRequest { kind: kind(of).into() };
    let connection = Connection::open(&client).await?;
    let answer = connection.answer(connection.catalogue().get_record_schema(request).await)?;
    out::print(&if client.json {
        json("GetRecordSchemaResponse", &answer, Layout::Wide)?
    } else {
        text::indented(&answer.json_schema)
    })
}

pub(super) fn kind(kind: RecordKind) -> v1::RecordKind {
    match kind {
        RecordKind::Vocabulary => v1::RecordKind::Vocabulary,
        RecordKind::Dash => v1::RecordKind::Dash,
        RecordKind::FactoryAudio => v1::RecordKind::FactoryAudio,
        RecordKind::Radio => v1::RecordKind::Radio,
        RecordKind::Part => v1::RecordKind::Part,
        RecordKind::Vehicle => v1::RecordKind::Vehicle,
        RecordKind::GoldenQuestion => v1::RecordKind::GoldenQuestion,
    }
}
