//! Drafts beside each other: etags, drafts that are carried over to later revisions, collisions with both sides, and who may
//! publish.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, draft, make, publish, publishing};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tonic::transport::Channel;
use tonic::{Code, Status};

type Client = CurationServiceClient<Channel>;

fn told<T: std::fmt::Debug>(result: Result<T, Status>) -> Refused {
    Refused::of(&result.unwrap_err())
}

/// One record put into a draft, expecting an etag.
fn put(draft_id: &str, json: String, etag: &str) -> v1::EditDraftRequest {
    v1::EditDraftRequest {
        change: change("an edit"),
        draft_id: draft_id.to_owned(),
        puts: vec![v1::RecordPut { json, etag: etag.to_owned() }],
        ..v1::EditDraftRequest::default()
    }
}

fn delete(draft_id: &str, record: &str, etag: &str) -> v1::EditDraftRequest {
    let deletes = vec![v1::RecordDelete { record: record.to_owned(), etag: etag.to_owned() }];
    v1::EditDraftRequest { deletes, puts: Vec::new(), ..put(draft_id, String::new(), "") }
}

async fn begin(client: &mut Client) -> String {
    let request = v1::CreateDraftRequest { change: change("a test begins") };
    client.create_draft(request).await.unwrap().into_inner().draft.unwrap().draft_id
}

async fn items(client: &mut Client, draft_id: &str) -> Vec<v1::DraftItem> {
    let request = v1::GetDraftRequest { draft_id: draft_id.to_owned(), ..Default::default() };
    client.get_draft(request).await.unwrap().into_inner().items
}

async fn etag_of(running: &Running, id: &str) -> String {
    record(running, id).await.unwrap().etag
}

async fn record(running: &Running, id: &str) -> Option<v1::Record> {
    let key = Some(v1::RecordKey { kind: v1::RecordKind::Vocabulary.into(), id: id.to_owned() });
    let request = v1::GetRecordRequest { read_at: None, key };
    running.catalogue.clone().get_record(request).await.ok()?.into_inner().record
}

#[tokio::test(flavor = "multi_thread")]
async fn an_edit_finds_what_it_expects_or_nothing_of_it_is_done() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    publish(&mut client, vec![make("zz-a", "One")]).await.unwrap();
    let id = begin(&mut client).await;
    let live = etag_of(&running, "zz-a").await;

    // There is one already, and this one is not the one that was looked at.
    let mut two = put(&id, make("zz-a", "Two"), "");
    two.puts.push(v1::RecordPut { json: make("zz-b", "B"), etag: "0".repeat(32) });
    let both = told(client.edit_draft(two).await);
    assert_eq!((both.code, both.reason.as_str()), (Code::Aborted, "ETAG_MISMATCH"));
    assert_eq!(both.metadata["total"], "2");
    assert_eq!(both.metadata["first"], format!("vocabulary/zz-a={live}, vocabulary/zz-b="));
    assert!(items(&mut client, &id).await.is_empty());

    // What was looked at may be replaced once; then the draft's own etag counts.
    let looked = client.edit_draft(put(&id, make("zz-a", "Two"), &live)).await.unwrap().into_inner();
    assert_eq!(looked.draft.unwrap().edits, 1);
    let stale = told(client.edit_draft(put(&id, make("zz-a", "Three"), &live)).await);
    assert_eq!(stale.reason, "ETAG_MISMATCH");
    let own = items(&mut client, &id).await.remove(0).etag;
    assert_eq!(stale.metadata["first"], format!("vocabulary/zz-a={own}"));
    client.edit_draft(put(&id, make("zz-a", "Three"), &own)).await.unwrap();
    client.edit_draft(put(&id, make("zz-a", "Four"), "*")).await.unwrap();

    // Deletions, and what comes after one.
    let own = items(&mut client, &id).await.remove(0).etag;
    assert_eq!(told(client.edit_draft(delete(&id, "vocabulary/zz-a", &live)).await).reason, "ETAG_MISMATCH");
    client.edit_draft(delete(&id, "vocabulary/zz-a", &own)).await.unwrap();
    let gone = items(&mut client, &id).await.remove(0);
    assert!(gone.json.is_empty() && gone.etag != own);
    client.edit_draft(put(&id, make("zz-a", "Five"), "")).await.unwrap();
    assert_eq!(
        told(client.edit_draft(delete(&id, "vocabulary/never", "*")).await).reason,
        "RECORD_NOT_FOUND"
    );
    assert_eq!(record(&running, "zz-a").await.unwrap().etag, live, "nothing is published");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_only_validated_fails_where_it_would_and_changes_nothing() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = begin(&mut client).await;
    let validated = |edit: v1::EditDraftRequest| v1::EditDraftRequest { validate_only: true, ..edit };
    let edit = put(&id, make("zz-a", "One"), "");
    let would = client.edit_draft(validated(edit.clone())).await.unwrap().into_inner();
    assert!(items(&mut client, &id).await.is_empty());
    // The request id was not used up.
    let is = client.edit_draft(edit).await.unwrap().into_inner();
    let edits = |answer: &v1::EditDraftResponse| answer.draft.as_ref().unwrap().edits;
    assert_eq!((edits(&would), edits(&is), is.repeated), (1, 1, false));
    assert_eq!(
        told(client.edit_draft(validated(put(&id, make("zz-a", "Two"), ""))).await).reason,
        "ETAG_MISMATCH"
    );

    let publishing = publishing(&id);
    let only = v1::PublishDraftRequest { validate_only: true, ..publishing.clone() };
    let would = client.publish_draft(only.clone()).await.unwrap().into_inner();
    assert!(would.checkpoint.is_empty() && record(&running, "zz-a").await.is_none());
    let is = client.publish_draft(publishing).await.unwrap().into_inner();
    assert_eq!(would, v1::PublishDraftResponse { checkpoint: String::new(), ..is });

    let id = begin(&mut client).await;
    client.edit_draft(delete(&id, "vocabulary/orvane", "*")).await.unwrap();
    let only = v1::PublishDraftRequest { draft_id: id, change: change("never"), ..only };
    assert_eq!(told(client.publish_draft(only).await).reason, "RECORDS_CONTRADICT");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draft_is_carried_over_to_what_was_published_since() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    publish(&mut client, vec![make("zz-a", "A"), make("zz-c", "C")]).await.unwrap();
    // One that changes, one that is new, one that both delete, one that both make the same.
    let id =
        draft(&mut client, vec![make("zz-a", "A2"), make("zz-b", "B"), make("zz-d", "D")]).await.unwrap();
    client.edit_draft(delete(&id, "vocabulary/zz-c", "*")).await.unwrap();
    let other = draft(&mut client, vec![make("zz-x", "X"), make("zz-d", "D")]).await.unwrap();
    client.edit_draft(delete(&other, "vocabulary/zz-c", "*")).await.unwrap();
    client.publish_draft(publishing(&other)).await.unwrap();

    assert!(items(&mut client, &id).await.iter().all(|item| item.collision.is_none()));
    let published = client.publish_draft(publishing(&id)).await.unwrap().into_inner();
    assert_eq!(published.revision.unwrap().number, 4);
    for (name, title) in [("zz-a", Some("A2")), ("zz-b", Some("B")), ("zz-c", None), ("zz-x", Some("X"))] {
        let found = record(&running, name).await.map(|record| record.title);
        assert_eq!(found.as_deref(), title, "{name}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_both_have_changed_is_shown_with_both_sides_and_settled_by_who_has_seen_them() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    publish(&mut client, vec![make("zz-a", "A"), make("zz-b", "B")]).await.unwrap();
    let lines = vec![make("zz-a", "mine"), make("zz-b", "mine too"), make("zz-n", "new here")];
    let id = draft(&mut client, lines).await.unwrap();
    let own: Vec<String> = items(&mut client, &id).await.into_iter().map(|item| item.etag).collect();
    let other = draft(&mut client, vec![make("zz-a", "theirs"), make("zz-n", "new there")]).await.unwrap();
    client.edit_draft(delete(&other, "vocabulary/zz-b", "*")).await.unwrap();
    client.publish_draft(publishing(&other)).await.unwrap();

    let collides = told(client.publish_draft(publishing(&id)).await);
    assert_eq!((collides.code, collides.reason.as_str()), (Code::Aborted, "DRAFT_COLLIDES"));
    assert_eq!(collides.metadata["total"], "3");
    assert_eq!(collides.metadata["first"], "vocabulary/zz-a, vocabulary/zz-b, vocabulary/zz-n");
    let found = items(&mut client, &id).await;
    let sides = |item: &v1::DraftItem| item.collision.clone().map(|it| (it.before_json, it.now_json));
    assert_eq!(sides(&found[0]), Some((make("zz-a", "A"), make("zz-a", "theirs"))));
    assert_eq!(sides(&found[1]), Some((make("zz-b", "B"), String::new())));
    assert_eq!(sides(&found[2]), Some((String::new(), make("zz-n", "new there"))));

    // Who knows only of the draft changes it, and settles nothing.
    client.edit_draft(put(&id, make("zz-a", "mine again"), &own[0])).await.unwrap();
    assert_eq!(told(client.publish_draft(publishing(&id)).await).metadata["total"], "3");
    // Who states the etag for both sides does.
    for (item, json) in items(&mut client, &id).await.iter().zip(["both", "kept", "new in both"]) {
        let name = item.record.strip_prefix("vocabulary/").unwrap();
        client.edit_draft(put(&id, make(name, json), &item.etag)).await.unwrap();
    }
    client.publish_draft(publishing(&id)).await.unwrap();
    assert_eq!(record(&running, "zz-a").await.unwrap().title, "both");
    assert_eq!(record(&running, "zz-b").await.unwrap().title, "kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draft_that_was_edited_since_it_was_looked_at_is_not_published() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let request = v1::GetDraftRequest { draft_id: id.clone(), ..Default::default() };
    let etag = client.get_draft(request).await.unwrap().into_inner().draft.unwrap().etag;
    client.edit_draft(put(&id, make("zz-b", "B"), "")).await.unwrap();
    let publishing = v1::PublishDraftRequest { etag, ..publishing(&id) };
    let moved = told(client.publish_draft(publishing).await);
    assert_eq!((moved.code, moved.reason.as_str()), (Code::Aborted, "DRAFT_MOVED"));
}

/// Drafts that are begun together on one revision all go live, in some order, each as a whole.
#[tokio::test(flavor = "multi_thread")]
async fn publishers_that_race_make_one_line_of_revisions() {
    const PUBLISHERS: usize = 8;
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let mut drafts = Vec::new();
    for number in 0..PUBLISHERS {
        let lines = ["a", "b"].map(|half| make(&format!("zz-{number}-{half}"), "half of it"));
        drafts.push(draft(&mut client, lines.to_vec()).await.unwrap());
    }
    let mut races = tokio::task::JoinSet::new();
    for id in drafts {
        let mut client = client.clone();
        races.spawn(async move { client.publish_draft(publishing(&id)).await.unwrap().into_inner() });
    }
    let published: Vec<_> = races.join_all().await;
    let numbers: BTreeSet<u64> = published.iter().map(|it| it.revision.as_ref().unwrap().number).collect();
    assert_eq!(numbers, (2..2 + PUBLISHERS as u64).collect());
    assert!(published.iter().all(|it| it.changed_records == 2));
    let all = running.catalogue.clone().get_dataset_info(v1::GetDatasetInfoRequest::default()).await.unwrap();
    assert_eq!(all.into_inner().revision.unwrap().number, 1 + PUBLISHERS as u64);
}

#[tokio::test(flavor = "multi_thread")]
async fn where_duties_are_separate_nobody_publishes_what_they_have_edited() {
    let (_home, running) = Running::with_separate_publisher().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let own = told(client.publish_draft(publishing(&id)).await);
    assert_eq!((own.code, own.reason.as_str()), (Code::PermissionDenied, "OWN_EDITS"));
}
