//! Files of records over a socket: sent in chunks, broken off and gone on with, refused with rows, and written again as they were.

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_engine::keys::Role;
use dashwright_tests::change::change;
use dashwright_tests::keys::{Keys, with_key};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use sha2::{Digest as _, Sha256};
use tokio_stream::StreamExt as _;
use tonic::transport::Channel;
use tonic::{Code, Status};
use v1::import_records_request::Piece as Sent;
use v1::import_records_response::Piece;

type Client = CurationServiceClient<Channel>;

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

async fn begun(client: &mut Client) -> String {
    let request = v1::CreateDraftRequest { change: change("a test begins") };
    client.create_draft(request).await.unwrap().into_inner().draft.unwrap().draft_id
}

fn begin(draft_id: &str, format: v1::ExchangeFormat, file: &[u8]) -> v1::ImportBegin {
    v1::ImportBegin {
        change: change("an import"),
        draft_id: draft_id.to_owned(),
        format: format.into(),
        on_conflict: v1::OnConflict::Replace.into(),
        bytes: file.len() as u64,
        sha256: sha256(file),
        validate_only: false,
    }
}

fn chunks(file: &[u8], from: usize) -> Vec<v1::ImportChunk> {
    let parts = file.get(from..).unwrap().chunks(100_000).scan(from, |offset, data| {
        let at = *offset;
        *offset += data.len();
        Some((at as u64, data))
    });
    let chunk = |(sequence, (offset, data)): (usize, (u64, &[u8]))| v1::ImportChunk {
        sequence: sequence as u64,
        offset,
        data: data.to_vec(),
        sha256: Sha256::digest(data).to_vec(),
    };
    parts.enumerate().map(chunk).collect()
}

/// What an import ends with, and where the server wanted the bytes from.
async fn sent(
    client: &mut Client,
    begin: v1::ImportBegin,
    chunks: Vec<v1::ImportChunk>,
) -> Result<(Option<u64>, v1::ImportEnd), Status> {
    let pieces = std::iter::once(Sent::Begin(begin)).chain(chunks.into_iter().map(Sent::Chunk));
    let requests: Vec<_> = pieces.map(|piece| v1::ImportRecordsRequest { piece: Some(piece) }).collect();
    let mut answers = client.import_records(tokio_stream::iter(requests)).await?.into_inner();
    let mut ready = None;
    while let Some(answer) = answers.next().await {
        match answer?.piece.unwrap() {
            Piece::Ready(it) => ready = Some(it.offset),
            Piece::Progress(_) => {}
            Piece::End(end) => return Ok((ready, end)),
        }
    }
    panic!("the stream ended without an end")
}

async fn imported(client: &mut Client, begin: v1::ImportBegin, file: &[u8]) -> v1::ImportEnd {
    sent(client, begin, chunks(file, 0)).await.unwrap().1
}

async fn exported(client: &mut Client, format: v1::ExchangeFormat) -> (Vec<u8>, v1::ExportEnd) {
    let request = v1::ExportRecordsRequest { read_at: None, format: format.into() };
    let mut pieces = client.export_records(request).await.unwrap().into_inner();
    let mut file = Vec::new();
    while let Some(piece) = pieces.next().await {
        let v1::ExportRecordsResponse { chunk, end } = piece.unwrap();
        file.extend_from_slice(&chunk);
        if let Some(end) = end {
            return (file, end);
        }
    }
    panic!("the export ended without an end")
}

async fn publish(client: &mut Client, draft_id: &str) -> v1::PublishDraftResponse {
    let (draft_id, change) = (draft_id.to_owned(), change("go"));
    let request = v1::PublishDraftRequest { change, draft_id, ..Default::default() };
    client.publish_draft(request).await.unwrap().into_inner()
}

/// The catalogue goes out of one service and into an empty one, and comes out of it as it was, in all three forms.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_exported_is_imported_and_exported_as_it_was() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let (lines, end) = exported(&mut client, v1::ExchangeFormat::JsonLines).await;
    assert_eq!((end.bytes, end.sha256.clone()), (lines.len() as u64, sha256(&lines)));
    assert_eq!(end.revision.unwrap().content_hash, end.sha256);
    let (parts, _) = exported(&mut client, v1::ExchangeFormat::PartTable).await;
    let (vehicles, end) = exported(&mut client, v1::ExchangeFormat::VehicleTable).await;
    assert_eq!((end.bytes, end.sha256), (vehicles.len() as u64, sha256(&vehicles)));

    let home = Home::new("empty").unwrap();
    let other = Running::start(&home).await.unwrap();
    let mut client = CurationServiceClient::new(other.channel.clone());
    // The kinds that have no table come as lines, the others as tables.
    let text = String::from_utf8(lines.clone()).unwrap();
    let tabled = |line: &&str| line.starts_with("{\"part\"") || line.starts_with("{\"vehicle\"");
    let rest: String = text.lines().filter(|line| !tabled(line)).flat_map(|line| [line, "\n"]).collect();
    let draft = begun(&mut client).await;
    let mut put = 0;
    for (format, file) in [
        (v1::ExchangeFormat::JsonLines, rest.as_bytes()),
        (v1::ExchangeFormat::PartTable, &parts),
        (v1::ExchangeFormat::VehicleTable, &vehicles),
    ] {
        let end = imported(&mut client, begin(&draft, format, file), file).await;
        assert_eq!((end.faults_total, end.unchanged, end.kept), (0, 0, 0), "{:?}", end.faults);
        assert_eq!((end.records, end.put, end.repeated), (end.put, end.records, false));
        put += end.put;
    }
    assert_eq!(put, text.lines().count() as u64);
    publish(&mut client, &draft).await;
    assert_eq!(exported(&mut client, v1::ExchangeFormat::JsonLines).await.0, lines);
    assert_eq!(exported(&mut client, v1::ExchangeFormat::PartTable).await.0, parts);
    assert_eq!(exported(&mut client, v1::ExchangeFormat::VehicleTable).await.0, vehicles);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_transfer_goes_on_where_it_broke_off_and_a_repetition_is_told_as_before() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let (file, _) = exported(&mut client, v1::ExchangeFormat::JsonLines).await;
    assert!(file.len() > 200_000, "more than two chunks");
    let home = Home::new("broken").unwrap();
    let other = Running::start(&home).await.unwrap();
    let mut client = CurationServiceClient::new(other.channel.clone());
    let draft = begun(&mut client).await;
    let begin = begin(&draft, v1::ExchangeFormat::JsonLines, &file);

    let broken = sent(&mut client, begin.clone(), chunks(&file, 0).into_iter().take(2).collect()).await;
    let refused = Refused::of(&broken.unwrap_err());
    assert_eq!((refused.code, refused.reason.as_str()), (Code::InvalidArgument, "IMPORT_INCOMPLETE"));
    assert_eq!(refused.metadata["received"], "200000");
    drop(client);
    other.stop().await.unwrap();

    let other = Running::start(&home).await.unwrap();
    let mut client = CurationServiceClient::new(other.channel.clone());
    let (ready, end) = sent(&mut client, begin.clone(), chunks(&file, 200_000)).await.unwrap();
    assert_eq!((ready, end.repeated), (Some(200_000), false));
    assert_eq!(end.records, file.iter().filter(|byte| **byte == b'\n').count() as u64);
    let (ready, again) = sent(&mut client, begin.clone(), Vec::new()).await.unwrap();
    assert_eq!((ready, again.repeated, again.draft), (None, true, end.draft));
    assert_eq!(std::fs::read_dir(home.imports()).unwrap().count(), 0, "what is imported is not kept");

    // The same request id is no other import.
    let elsewhere = v1::ImportBegin { draft_id: begun(&mut client).await, ..begin };
    let refused = Refused::of(&sent(&mut client, elsewhere, Vec::new()).await.unwrap_err());
    assert_eq!(refused.reason, "REQUEST_ID_REUSED");
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_are_told_with_row_and_column_and_the_draft_is_untouched() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let draft = begun(&mut client).await;
    let header = "id,brand,number,title,kind,life,covers,evidence.grade,evidence.source,evidence.date\n";
    let row = |id: &str, kind: &str, date: &str| {
        format!("{id},zz,Z 1,A part,{kind},CURRENT,[],REPORTED,told,{date}\n")
    };
    let file = [
        header,
        &row("zz-1", "LEAD", "2026-01-02"),
        &row("Zz 2", "LEAD", "2026-01-02"),
        &row("zz-3", "ROPE", "2026-01-02"),
        &row("zz-4", "LEAD", "2026-02-30"),
        &row("zz-1", "LEAD", "2026-01-02"),
    ]
    .concat();
    let table = v1::ExchangeFormat::PartTable;
    let end = imported(&mut client, begin(&draft, table, file.as_bytes()), file.as_bytes()).await;
    let told: Vec<_> = end.faults.iter().map(|it| (it.row, it.column.as_str())).collect();
    assert_eq!(told, [(3, "id"), (4, "kind"), (5, "evidence.date"), (6, "id")], "{:?}", end.faults);
    assert_eq!((end.faults_total, end.put, end.draft.unwrap().edits), (4, 0, 0));

    // A cell as long as a row may be is cut where it is told.
    let long = [header, &row("zz-1", &"x".repeat(100_000), "2026-01-02")].concat();
    let end = imported(&mut client, begin(&draft, table, long.as_bytes()), long.as_bytes()).await;
    assert!(end.faults[0].text.contains("xxx") && end.faults[0].text.len() < 1_000, "{:?}", end.faults);

    let many = "{}\n".repeat(5_000);
    let lines = v1::ExchangeFormat::JsonLines;
    let end = imported(&mut client, begin(&draft, lines, many.as_bytes()), many.as_bytes()).await;
    assert_eq!((end.faults.len(), end.faults_total), (100, 5_000));

    let good = [header, &row("zz-1", "LEAD", "2026-01-02")].concat();
    let dry = v1::ImportBegin { validate_only: true, ..begin(&draft, table, good.as_bytes()) };
    let end = imported(&mut client, dry, good.as_bytes()).await;
    assert_eq!((end.put, end.draft.unwrap().edits), (1, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stream_that_is_no_import_is_refused() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let draft = begun(&mut client).await;
    let file = b"{}\n".repeat(50_000);
    let good = begin(&draft, v1::ExchangeFormat::JsonLines, &file);
    let altered = |edit: fn(&mut v1::ImportChunk)| {
        let mut all = chunks(&file, 0);
        edit(&mut all[1]);
        all
    };
    let refused = async |client: &mut Client, begin: &v1::ImportBegin, chunks| {
        let begin = v1::ImportBegin { change: change("an import"), ..begin.clone() };
        Refused::of(&sent(client, begin, chunks).await.unwrap_err())
    };
    for (chunks, reason) in [
        (altered(|it| it.sequence = 7), "CHUNK_OUT_OF_PLACE"),
        (altered(|it| it.offset -= 1), "CHUNK_OUT_OF_PLACE"),
        (altered(|it| it.data.extend([b' '; 9])), "CHUNK_OUT_OF_PLACE"),
        (altered(|it| it.data[0] ^= 1), "CHUNK_ALTERED"),
        (altered(|it| it.sha256.truncate(31)), "CHUNK_ALTERED"),
    ] {
        let told = refused(&mut client, &good, chunks).await;
        assert_eq!((told.code, told.reason.as_str()), (Code::InvalidArgument, reason));
    }
    let other = v1::ImportBegin { sha256: sha256(b"another file"), ..good.clone() };
    assert_eq!(refused(&mut client, &other, chunks(&file, 0)).await.reason, "CHUNK_ALTERED");
    let nowhere = v1::ImportBegin { draft_id: "none".to_owned(), ..good.clone() };
    assert_eq!(refused(&mut client, &nowhere, Vec::new()).await.reason, "DRAFT_NOT_OPEN");

    let nothing = v1::ImportBegin::default();
    let told = Refused::of(&sent(&mut client, nothing, Vec::new()).await.unwrap_err());
    assert_eq!(
        told.paths,
        ["change", "draft_id", "begin.format", "begin.on_conflict", "begin.bytes", "begin.sha256"]
    );
    let huge = v1::ImportBegin { bytes: (2 << 30) + 1, ..good };
    assert_eq!(refused(&mut client, &huge, Vec::new()).await.paths, ["begin.bytes"]);
    let first = v1::ImportRecordsRequest { piece: Some(Sent::Chunk(chunks(&file, 0).remove(0))) };
    let mut answers = client.import_records(tokio_stream::iter([first])).await.unwrap().into_inner();
    let told = Refused::of(&answers.next().await.unwrap().unwrap_err());
    assert_eq!(told.paths, ["begin"]);
}

/// A caller whose key ends while it sends is cut off, and nothing of the file is put.
#[tokio::test(flavor = "multi_thread")]
async fn a_transfer_ends_with_its_key() {
    let mut keys = Keys::none();
    let key = keys.make(Role::Curator).unwrap();
    let home = Home::new("ended").unwrap();
    let running = Running::start_for(&home, keys.access()).await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let request = v1::CreateDraftRequest { change: change("a test begins") };
    let begun = client.create_draft(with_key(request, key.reveal()).unwrap()).await.unwrap();
    let draft_id = begun.into_inner().draft.unwrap().draft_id;
    let file = dashwright_tests::change::make("zz-a", "Zza") + "\n";
    let begin = begin(&draft_id, v1::ExchangeFormat::JsonLines, file.as_bytes());
    let begin = v1::ImportRecordsRequest { piece: Some(Sent::Begin(begin)) };
    let (to, requests) = tokio::sync::mpsc::channel(4);
    to.send(begin.clone()).await.unwrap();
    let requests = tokio_stream::wrappers::ReceiverStream::new(requests);
    let called = client.import_records(with_key(requests, key.reveal()).unwrap()).await;
    let mut answers = called.unwrap().into_inner();
    assert!(matches!(answers.next().await.unwrap().unwrap().piece, Some(Piece::Ready(_))));
    keys.revoke(key.id()).unwrap();
    assert_eq!(Refused::of(&answers.next().await.unwrap().unwrap_err()).reason, "KEY_REVOKED");
    for chunk in chunks(file.as_bytes(), 0) {
        // Whether it is still taken is nothing that the sender learns.
        let _gone = to.send(v1::ImportRecordsRequest { piece: Some(Sent::Chunk(chunk)) }).await;
    }
    drop(to);
    // Once the server has given up, the same can be begun again, and nothing of it is there.
    let other = keys.make(Role::Curator).unwrap();
    let refused = loop {
        let again = with_key(tokio_stream::iter([begin.clone()]), other.reveal()).unwrap();
        let mut answers = client.import_records(again).await.unwrap().into_inner();
        let refused = loop {
            match answers.next().await.unwrap() {
                Ok(answer) => assert!(matches!(answer.piece, Some(Piece::Ready(_))), "{answer:?}"),
                Err(status) => break Refused::of(&status),
            }
        };
        if refused.reason != "IMPORT_BUSY" {
            break refused;
        }
    };
    assert_eq!((refused.reason.as_str(), refused.metadata["received"].as_str()), ("IMPORT_INCOMPLETE", "0"));
    let request = v1::GetDraftRequest { draft_id, ..Default::default() };
    let shown = client.get_draft(with_key(request, other.reveal()).unwrap()).await.unwrap();
    assert_eq!(shown.into_inner().draft.unwrap().edits, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_streams_of_one_import_are_not_mixed() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let draft = begun(&mut client).await;
    let file = b"{}\n".repeat(50_000);
    let begin = begin(&draft, v1::ExchangeFormat::JsonLines, &file);
    let (open, requests) = tokio::sync::mpsc::channel(1);
    let first = v1::ImportRecordsRequest { piece: Some(Sent::Begin(begin.clone())) };
    open.send(first).await.unwrap();
    let requests = tokio_stream::wrappers::ReceiverStream::new(requests);
    let mut answers = client.import_records(requests).await.unwrap().into_inner();
    answers.next().await.unwrap().unwrap();
    let told = Refused::of(&sent(&mut client, begin.clone(), Vec::new()).await.unwrap_err());
    assert_eq!((told.code, told.reason.as_str()), (Code::Aborted, "IMPORT_BUSY"));
    drop(open);
    assert!(answers.next().await.unwrap().is_err());
    assert_eq!(sent(&mut client, begin, chunks(&file, 0)).await.unwrap().1.faults_total, 50_000);
}
