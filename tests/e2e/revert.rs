//! Going back: a publish taken back, the content of an old revision, and what stands in the way.

use std::collections::BTreeMap;

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, deleted, draft, make, publish, publishing, puts};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tonic::Code;
use tonic::transport::Channel;

type Client = CurationServiceClient<Channel>;

fn going_back(revision: u32, kind: v1::RevertKind) -> v1::RevertRevisionRequest {
    v1::RevertRevisionRequest { change: change("a mistake"), revision, kind: kind.into() }
}

/// Every record of the latest revision, with its content hash.
async fn dataset(running: &Running) -> (String, BTreeMap<String, String>) {
    let view = running.engine.view();
    let kinds = dashwright_model::record::RecordKind::ALL;
    let records = kinds.iter().flat_map(|kind| {
        view.snapshot()
            .records(*kind)
            .iter()
            .map(move |kept| (format!("{kind}/{}", kept.id), kept.text.to_string()))
    });
    (view.content_hash().to_string(), records.collect())
}

async fn reverted(client: &mut Client, revision: u32, kind: v1::RevertKind) -> v1::PublishDraftResponse {
    let made = client.revert_revision(going_back(revision, kind)).await.unwrap().into_inner();
    let id = made.draft.unwrap().draft_id;
    client.publish_draft(publishing(&id)).await.unwrap().into_inner()
}

/// A change, an addition and a deletion in one publish.
async fn three_in_one(client: &mut Client) {
    let id = draft(client, vec![make("zz-a", "changed"), make("zz-new", "new")]).await.unwrap();
    let edit = v1::EditDraftRequest {
        change: change("and one goes"),
        draft_id: id.clone(),
        deletes: vec![deleted("vocabulary/zz-b")],
        ..v1::EditDraftRequest::default()
    };
    client.edit_draft(edit).await.unwrap();
    client.publish_draft(publishing(&id)).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_publish_is_taken_back_and_what_came_later_stays() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    publish(&mut client, vec![make("zz-a", "A"), make("zz-b", "B")]).await.unwrap();
    let (_, mut expected) = dataset(&running).await;
    three_in_one(&mut client).await;
    publish(&mut client, vec![make("zz-later", "later")]).await.unwrap();
    expected.insert("vocabulary/zz-later".to_owned(), make("zz-later", "later"));

    let published = reverted(&mut client, 3, v1::RevertKind::TakeBack).await;
    assert_eq!((published.revision.unwrap().number, published.changed_records), (5, 3));
    assert_eq!(dataset(&running).await.1, expected);
    // The history keeps both.
    assert_eq!(running.engine.revision(3).unwrap().unwrap().changed, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_changed_again_since_is_not_undone_unseen() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    publish(&mut client, vec![make("zz-a", "A"), make("zz-b", "B")]).await.unwrap();
    three_in_one(&mut client).await;
    publish(&mut client, vec![make("zz-a", "and again"), make("zz-b", "back")]).await.unwrap();
    let refused = client.revert_revision(going_back(3, v1::RevertKind::TakeBack)).await;
    let told = Refused::of(&refused.unwrap_err());
    assert_eq!((told.code, told.reason.as_str()), (Code::FailedPrecondition, "CHANGED_SINCE"));
    assert_eq!(told.metadata["first"], "vocabulary/zz-a, vocabulary/zz-b");
    assert_eq!(told.metadata["total"], "2");
    let open = client.list_drafts(v1::ListDraftsRequest {}).await.unwrap().into_inner().drafts;
    assert!(open.is_empty(), "{open:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_content_of_an_old_revision_is_made_new_to_the_byte() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let demo = dataset(&running).await;
    publish(&mut client, vec![make("zz-a", "A"), make("zz-b", "B")]).await.unwrap();
    three_in_one(&mut client).await;
    let published = reverted(&mut client, 1, v1::RevertKind::Content).await;
    let revision = published.revision.unwrap();
    assert_eq!((revision.number, &revision.content_hash), (4, &demo.0));
    assert_eq!(dataset(&running).await, demo);
    let nothing = client.revert_revision(going_back(1, v1::RevertKind::Content)).await;
    assert_eq!(Refused::of(&nothing.unwrap_err()).reason, "NOTHING_TO_REVERT");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_whole_first_load_is_taken_back_in_several_entries_and_made_again() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let demo = dataset(&running).await;
    let request = going_back(1, v1::RevertKind::TakeBack);
    let made = client.revert_revision(request.clone()).await.unwrap().into_inner();
    let again = client.revert_revision(request).await.unwrap().into_inner();
    assert_eq!(again, v1::RevertRevisionResponse { repeated: true, ..made.clone() });
    client.publish_draft(publishing(&made.draft.unwrap().draft_id)).await.unwrap();
    assert!(dataset(&running).await.1.is_empty());
    let back = reverted(&mut client, 1, v1::RevertKind::Content).await;
    assert_eq!(
        (back.revision.unwrap().content_hash, back.changed_records),
        (demo.0.clone(), demo.1.len() as u64)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_revision_that_is_none_is_refused() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    for (revision, kind) in [(0, v1::RevertKind::Content), (2, v1::RevertKind::TakeBack)] {
        let told = Refused::of(&client.revert_revision(going_back(revision, kind)).await.unwrap_err());
        assert_eq!((told.reason.as_str(), told.paths), ("FIELDS_INVALID", vec!["revision".to_owned()]));
    }
    let told = client.revert_revision(going_back(1, v1::RevertKind::Unspecified)).await.unwrap_err();
    assert_eq!(Refused::of(&told).paths, ["kind"]);
    // The draft of a revert can be edited like any other.
    let made = client.revert_revision(going_back(1, v1::RevertKind::TakeBack)).await.unwrap().into_inner();
    let edit = v1::EditDraftRequest {
        change: change("and one more"),
        draft_id: made.draft.unwrap().draft_id,
        puts: puts(vec![make("zz-a", "A")]),
        ..v1::EditDraftRequest::default()
    };
    client.edit_draft(edit).await.unwrap();
}
