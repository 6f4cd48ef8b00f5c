//! Drafts over the wire: begun, edited, read, published, thrown away; repeated requests and refused ones.

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, deleted, draft, make, publish, publishing, puts};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use sha2::{Digest as _, Sha256};
use tonic::transport::Channel;
use tonic::{Code, Status};

fn client(running: &Running) -> CurationServiceClient<Channel> {
    CurationServiceClient::new(running.channel.clone())
}

fn refused<T: std::fmt::Debug>(result: Result<T, Status>) -> (Code, String) {
    let refused = Refused::of(&result.unwrap_err());
    (refused.code, refused.reason)
}

async fn latest(running: &Running) -> v1::DatasetRevision {
    let info = running.catalogue.clone().get_dataset_info(v1::GetDatasetInfoRequest::default()).await;
    info.unwrap().into_inner().revision.unwrap()
}

async fn has(running: &Running, id: &str) -> bool {
    let key = Some(v1::RecordKey { kind: v1::RecordKind::Vocabulary.into(), id: id.to_owned() });
    running.catalogue.clone().get_record(v1::GetRecordRequest { read_at: None, key }).await.is_ok()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draft_is_invisible_until_it_is_published_and_then_whole() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    let before = latest(&running).await;
    let id = draft(&mut client, vec![make("zz-a", "Zza"), make("zz-b", "Zzb")]).await.unwrap();
    assert!(!has(&running, "zz-a").await);
    let listed = client.list_drafts(v1::ListDraftsRequest {}).await.unwrap().into_inner().drafts;
    let [only] = listed.as_slice() else { panic!("{listed:?}") };
    assert_eq!((only.draft_id.as_str(), only.owner.as_str(), only.edits), (id.as_str(), "this machine", 1));
    assert_eq!((only.base.as_ref().unwrap(), only.reason.as_str()), (&before, "a test begins"));

    let get = v1::GetDraftRequest {
        draft_id: id.clone(),
        page_size: 1,
        page_token: String::new(),
        record: String::new(),
        ..Default::default()
    };
    let first = client.get_draft(get.clone()).await.unwrap().into_inner();
    let page_token = first.next_page_token;
    let second = client.get_draft(v1::GetDraftRequest { page_token, ..get }).await.unwrap().into_inner();
    let records: Vec<_> = first.items.iter().chain(&second.items).map(|item| item.record.as_str()).collect();
    assert_eq!(
        (records.as_slice(), second.next_page_token.as_str()),
        (&["vocabulary/zz-a", "vocabulary/zz-b"][..], "")
    );

    let request = publishing(&id);
    let published = client.publish_draft(request.clone()).await.unwrap().into_inner();
    let revision = published.revision.clone().unwrap();
    assert_eq!((revision.number, published.changed_records, published.repeated), (2, 2, false));
    assert_eq!(revision, latest(&running).await);
    assert!(has(&running, "zz-a").await && has(&running, "zz-b").await);
    let note = dashwright_log::Note::parse(&published.checkpoint).unwrap();
    assert_eq!(note.checkpoint().revision, 2);
    assert_eq!(note.checkpoint().content_hash.to_string(), revision.content_hash);

    let again = client.publish_draft(request).await.unwrap().into_inner();
    assert_eq!(again, v1::PublishDraftResponse { repeated: true, ..published });
    assert_eq!(latest(&running).await.number, 2);
    let gone = client.get_draft(v1::GetDraftRequest { draft_id: id, ..Default::default() }).await;
    assert_eq!(refused(gone), (Code::NotFound, "DRAFT_NOT_OPEN".to_owned()));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draft_tells_field_by_field_what_it_changes() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    publish(&mut client, vec![make("zz-a", "Zza"), make("zz-b", "Zzb"), make("zz-c", "Zzc")]).await.unwrap();
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("names") }).await.unwrap();
    let draft_id = begun.into_inner().draft.unwrap().draft_id;
    let edit = v1::EditDraftRequest {
        change: change("edit"),
        draft_id: draft_id.clone(),
        puts: puts(vec![make("zz-a", "Another"), make("zz-c", "Zzc"), make("zz-d", "Zzd")]),
        deletes: vec![deleted("vocabulary/zz-b")],
        ..v1::EditDraftRequest::default()
    };
    client.edit_draft(edit).await.unwrap();
    let get = v1::GetDraftRequest { draft_id, with_fields: true, ..Default::default() };
    let items = client.get_draft(get.clone()).await.unwrap().into_inner().items;
    let kinds: Vec<_> = items.iter().map(|item| (item.record.as_str(), item.kind())).collect();
    assert_eq!(
        kinds,
        [
            ("vocabulary/zz-a", v1::DiffKind::Changed),
            ("vocabulary/zz-b", v1::DiffKind::Deleted),
            ("vocabulary/zz-c", v1::DiffKind::Unspecified),
            ("vocabulary/zz-d", v1::DiffKind::Added),
        ]
    );
    let field = |path: &str, before: &str, after: &str| v1::FieldDiff {
        path: path.to_owned(),
        before: before.to_owned(),
        after: after.to_owned(),
    };
    assert_eq!(items[0].fields, [field("/name", "\"Zza\"", "\"Another\"")]);
    assert!(items[1].fields.contains(&field("/name", "\"Zzb\"", "")));
    assert!(items[2].fields.is_empty());
    assert!(items[3].fields.contains(&field("/name", "", "\"Zzd\"")));
    let get = v1::GetDraftRequest { with_fields: false, ..get };
    let items = client.get_draft(get).await.unwrap().into_inner().items;
    assert!(items.iter().all(|item| item.fields.is_empty()));
    assert_eq!(items[0].kind(), v1::DiffKind::Changed);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_is_deleted_and_what_rests_on_it_is_not_left_dangling() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    publish(&mut client, vec![make("zz-a", "Zza")]).await.unwrap();
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("tidy") }).await.unwrap();
    let draft_id = begun.into_inner().draft.unwrap().draft_id;
    let delete = |keys: &[&str]| v1::EditDraftRequest {
        change: change("delete"),
        draft_id: draft_id.clone(),
        deletes: keys.iter().map(|key| deleted(key)).collect(),
        ..v1::EditDraftRequest::default()
    };
    let unknown = client.edit_draft(delete(&["vocabulary/never-was"])).await;
    assert_eq!(refused(unknown), (Code::NotFound, "RECORD_NOT_FOUND".to_owned()));
    client.edit_draft(delete(&["vocabulary/zz-a"])).await.unwrap();
    let published = client.publish_draft(publishing(&draft_id)).await.unwrap().into_inner();
    assert_eq!((published.revision.unwrap().number, has(&running, "zz-a").await), (3, false));

    // A make that vehicle lines have.
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("too much") }).await.unwrap();
    let draft_id = begun.into_inner().draft.unwrap().draft_id;
    let edit = v1::EditDraftRequest { draft_id: draft_id.clone(), ..delete(&["vocabulary/orvane"]) };
    client.edit_draft(edit).await.unwrap();
    let refusal = client.publish_draft(publishing(&draft_id)).await.unwrap_err();
    let told = Refused::of(&refusal);
    assert_eq!((told.code, told.reason.as_str()), (Code::FailedPrecondition, "RECORDS_CONTRADICT"));
    assert!(told.metadata["total"].parse::<u32>().unwrap() > 1, "{told:?}");
    assert_eq!(latest(&running).await.number, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_repeated_request_leads_to_the_first_result_also_after_a_restart() {
    let home = Home::new("repeat").unwrap();
    let running = Running::start(&home).await.unwrap();
    let mut first = client(&running);
    let begin = v1::CreateDraftRequest { change: change("begin") };
    let begun = first.create_draft(begin.clone()).await.unwrap().into_inner();
    let draft_id = begun.draft.clone().unwrap().draft_id;
    let edit = v1::EditDraftRequest {
        change: change("edit"),
        draft_id: draft_id.clone(),
        puts: puts(vec![make("zz-a", "Zza")]),
        ..v1::EditDraftRequest::default()
    };
    let edited = first.edit_draft(edit.clone()).await.unwrap().into_inner();
    let publish = publishing(&draft_id);
    let published = first.publish_draft(publish.clone()).await.unwrap().into_inner();
    let discard = v1::DiscardDraftRequest { change: edit.change.clone(), draft_id: draft_id.clone() };
    let reused = first.discard_draft(discard).await;
    assert_eq!(refused(reused), (Code::AlreadyExists, "REQUEST_ID_REUSED".to_owned()));
    running.stop().await.unwrap();

    let running = Running::start(&home).await.unwrap();
    let mut client = client(&running);
    let again = client.create_draft(begin).await.unwrap().into_inner();
    assert_eq!(again, v1::CreateDraftResponse { repeated: true, ..begun });
    let again = client.edit_draft(edit).await.unwrap().into_inner();
    assert_eq!(again, v1::EditDraftResponse { repeated: true, ..edited });
    let again = client.publish_draft(publish).await.unwrap().into_inner();
    assert_eq!(again, v1::PublishDraftResponse { repeated: true, ..published });
    assert_eq!(latest(&running).await.number, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn malformed_changes_are_told_with_every_field_and_change_nothing() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    let id = draft(&mut client, vec![make("zz-a", "Zza")]).await.unwrap();
    let bad = v1::EditDraftRequest {
        change: Some(v1::Change { request_id: "seven".to_owned(), reason: " ".to_owned() }),
        draft_id: String::new(),
        puts: puts(vec!["{".to_owned(), make("zz-b", "Zzb"), make("zz-b", "Zzb"), make("ZZ", "Zz")]),
        deletes: vec![
            deleted("part"),
            v1::RecordDelete { etag: String::new(), ..deleted("vocabulary/zz-b") },
        ],
        validate_only: false,
    };
    let told = Refused::of(&client.edit_draft(bad).await.unwrap_err());
    assert_eq!((told.code, told.reason.as_str()), (Code::InvalidArgument, "FIELDS_INVALID"));
    let paths = [
        "change.request_id",
        "change.reason",
        "draft_id",
        "puts[0].json",
        "puts[2].json",
        "puts[3].json",
        "deletes[0].record",
        "deletes[1].etag",
        "deletes[1].record",
    ];
    assert_eq!(told.paths, paths);

    let many = (0..1_001).map(|number| make(&format!("zz-{number}"), &format!("Zz {number}"))).collect();
    let large = v1::EditDraftRequest {
        change: change("x"),
        draft_id: id.clone(),
        puts: puts(many),
        ..v1::EditDraftRequest::default()
    };
    assert_eq!(
        refused(client.edit_draft(large).await),
        (Code::ResourceExhausted, "EDIT_TOO_LARGE".to_owned())
    );
    let missing = v1::DiscardDraftRequest { change: change("x"), draft_id: "never".to_owned() };
    assert_eq!(refused(client.discard_draft(missing).await), (Code::NotFound, "DRAFT_NOT_OPEN".to_owned()));
    let begun =
        client.create_draft(v1::CreateDraftRequest { change: change("x") }).await.unwrap().into_inner();
    let empty = publishing(&begun.draft.unwrap().draft_id);
    assert_eq!(
        refused(client.publish_draft(empty).await),
        (Code::FailedPrecondition, "DRAFT_EMPTY".to_owned())
    );

    let get = v1::GetDraftRequest { draft_id: id.clone(), ..Default::default() };
    assert_eq!(client.get_draft(get.clone()).await.unwrap().into_inner().items.len(), 1, "as it was");
    let discard = v1::DiscardDraftRequest { change: change("no more"), draft_id: id };
    assert!(!client.discard_draft(discard.clone()).await.unwrap().into_inner().repeated);
    assert!(client.discard_draft(discard).await.unwrap().into_inner().repeated);
    assert_eq!(refused(client.get_draft(get).await).1, "DRAFT_NOT_OPEN");
}

async fn export(running: &Running, at: Option<v1::ReadAt>) -> (Vec<u8>, v1::ExportEnd) {
    let request = v1::ExportRecordsRequest { read_at: at, ..Default::default() };
    let mut stream = client(running).export_records(request).await.unwrap().into_inner();
    let (mut bytes, mut end) = (Vec::new(), None);
    while let Some(piece) = stream.message().await.unwrap() {
        assert!(end.is_none(), "nothing comes behind the end");
        bytes.extend_from_slice(&piece.chunk);
        end = piece.end;
    }
    (bytes, end.unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn an_export_is_the_same_bytes_every_time_and_hashes_to_the_revision() {
    let (_home, running) = Running::demo().await.unwrap();
    let (first, end) = export(&running, None).await;
    let revision = end.revision.clone().unwrap();
    // SHA-256 by the `sha2` crate over the bytes as they came.
    let hash: String = Sha256::digest(&first).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!((hash.as_str(), first.len() as u64), (revision.content_hash.as_str(), end.bytes));
    let lines = first.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()).count();
    assert_eq!(lines as u64, end.records);
    publish(&mut client(&running), vec![make("zz-a", "Zza")]).await.unwrap();
    let at = Some(v1::ReadAt { at: Some(v1::read_at::At::Exactly(revision.token)) });
    assert_eq!(export(&running, at).await, (first.clone(), end));
    assert_ne!(export(&running, None).await.0, first);
}
