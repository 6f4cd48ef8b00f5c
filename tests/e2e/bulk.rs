//! Edits that touch many records: what they come to in a draft, what is refused, and that a repetition changes nothing.

use dashwright_api::v1;
use dashwright_api::v1::bulk_edit_draft_request::Edit;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::split_vehicle_line::At;
use dashwright_tests::change::{change, draft, make, publishing};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tonic::Code;
use tonic::transport::Channel;

type Client = CurationServiceClient<Channel>;

fn request(draft_id: &str, edit: Edit) -> v1::BulkEditDraftRequest {
    let (draft_id, edit) = (draft_id.to_owned(), Some(edit));
    v1::BulkEditDraftRequest { change: change("put in order"), draft_id, edit, validate_only: false }
}

fn rename(record: &str, new_id: &str, new_name: &str) -> Edit {
    let text = str::to_owned;
    Edit::Rename(v1::RenameRecord { record: text(record), new_id: text(new_id), new_name: text(new_name) })
}

fn supersede(part: &str, successor: &str) -> Edit {
    Edit::Supersede(v1::SupersedePart { part_id: part.to_owned(), successor_id: successor.to_owned() })
}

fn split(line: &str, at: At) -> Edit {
    let (line_id, new_line_id) = (line.to_owned(), "the-later-half".to_owned());
    Edit::Split(v1::SplitVehicleLine { line_id, new_line_id, at: Some(at), how_to_tell: String::new() })
}

fn retire(record: &str) -> Edit {
    Edit::Retire(v1::RetireRecord { record: record.to_owned() })
}

async fn empty_draft(client: &mut Client) -> String {
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("order") }).await.unwrap();
    begun.into_inner().draft.unwrap().draft_id
}

async fn refused(client: &mut Client, id: &str, edit: Edit) -> Refused {
    Refused::of(&client.bulk_edit_draft(request(id, edit)).await.unwrap_err())
}

/// The records of a draft, with whether each is put.
async fn items(client: &mut Client, id: &str) -> Vec<(String, bool)> {
    let request = v1::GetDraftRequest { draft_id: id.to_owned(), page_size: 1_000, ..Default::default() };
    let answer = client.get_draft(request).await.unwrap().into_inner();
    answer.items.into_iter().map(|item| (item.record, !item.json.is_empty())).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_renamed_family_is_published_and_every_answer_goes_on() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = empty_draft(&mut client).await;
    let ask = request(&id, rename("vocabulary/collar-coax", "collar-coax-7", "Collar coax, seven ways"));
    let looked = v1::BulkEditDraftRequest { validate_only: true, change: change("look"), ..ask.clone() };
    let looked = client.bulk_edit_draft(looked).await.unwrap().into_inner();
    assert_eq!(items(&mut client, &id).await, []);

    let answer = client.bulk_edit_draft(ask.clone()).await.unwrap().into_inner();
    assert_eq!((&answer.touched, answer.touched_total), (&looked.touched, looked.touched_total));
    assert_eq!(answer.touched.len(), usize::try_from(answer.touched_total).unwrap());
    let kinds = |kind: v1::TouchKind| answer.touched.iter().filter(|it| it.kind() == kind).count();
    assert_eq!((kinds(v1::TouchKind::Renamed), kinds(v1::TouchKind::Named)), (1, 1));
    assert!(kinds(v1::TouchKind::Follows) > 2);
    // The renamed one stands under both keys: put under the new one, deleted under the old one.
    assert_eq!(items(&mut client, &id).await.len(), kinds(v1::TouchKind::Follows) + 2);

    let again = client.bulk_edit_draft(ask).await.unwrap().into_inner();
    assert!(again.repeated);
    assert_eq!(again.draft, answer.draft);
    let published = client.publish_draft(publishing(&id)).await.unwrap().into_inner();
    assert_eq!(published.changed_records, items_count(&answer));
    let snapshot = running.engine.view();
    let kind = dashwright_model::record::RecordKind::Vocabulary;
    assert!(snapshot.snapshot().record(kind, "collar-coax").is_none());
    assert_eq!(snapshot.snapshot().term_name("collar-coax-7"), "Collar coax, seven ways");
}

/// Followers, and the renamed record under both keys.
fn items_count(answer: &v1::BulkEditDraftResponse) -> u64 {
    answer.touched.iter().filter(|it| it.kind() == v1::TouchKind::Follows).count() as u64 + 2
}

#[tokio::test(flavor = "multi_thread")]
async fn edits_build_on_each_other_in_one_draft() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = empty_draft(&mut client).await;
    for edit in [
        supersede("lkd-3205", "lkd-3206"),
        split("marlquist-packhorn-2019", At::ModelYear(2022)),
        rename("vehicle/the-later-half", "marlquist-packhorn-2022", ""),
        retire("vehicle/marlquist-packhorn-2022"),
        retire("part/lkd-3206"),
    ] {
        client.bulk_edit_draft(request(&id, edit)).await.unwrap();
    }
    let expected = [
        ("part/am-4l.410", true),
        ("part/lkd-3205", true),
        ("part/lkd-3206", true),
        ("vehicle/marlquist-packhorn-2019", true),
        ("vehicle/marlquist-packhorn-2022", false),
        ("vehicle/the-later-half", false),
    ];
    assert_eq!(items(&mut client, &id).await, expected.map(|(record, put)| (record.to_owned(), put)));
    client.publish_draft(publishing(&id)).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_makes_no_sense_is_refused_and_the_draft_is_untouched() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    for (edit, code, reason) in [
        (rename("radio/kelvora-tern-2", "kelvora-gannet-10f", ""), Code::AlreadyExists, "RECORD_EXISTS"),
        (rename("vocabulary/zz-a", "", "A"), Code::FailedPrecondition, "NOTHING_TO_CHANGE"),
        (rename("radio/no-such", "x", ""), Code::NotFound, "RECORD_NOT_FOUND"),
        (rename("radio/kelvora-tern-2", "", "Tern"), Code::FailedPrecondition, "EDIT_CONTRADICTS"),
        (supersede("lkd-3205", "hwk-300"), Code::FailedPrecondition, "EDIT_CONTRADICTS"),
        (split("marlquist-packhorn-2019", At::ModelYear(2019)), Code::FailedPrecondition, "EDIT_CONTRADICTS"),
        (retire("dash/tamsel-2"), Code::FailedPrecondition, "STILL_NAMED"),
        (supersede("", ""), Code::InvalidArgument, "FIELDS_INVALID"),
        (split("Not An Id", At::BuildMonth("2019".to_owned())), Code::InvalidArgument, "FIELDS_INVALID"),
        (split("a", At::ModelYear(7)), Code::InvalidArgument, "FIELDS_INVALID"),
        (rename("vocabulary/zz-a", "", ""), Code::InvalidArgument, "FIELDS_INVALID"),
        (retire("nothing"), Code::InvalidArgument, "FIELDS_INVALID"),
    ] {
        let told = refused(&mut client, &id, edit.clone()).await;
        assert_eq!((told.code, told.reason.as_str()), (code, reason), "{edit:?}");
    }
    let told = refused(&mut client, &id, supersede("", "")).await;
    assert_eq!(told.paths, ["supersede.part_id", "supersede.successor_id"]);
    let told = refused(&mut client, "no-draft", retire("part/lkd-3205")).await;
    assert_eq!(told.reason, "DRAFT_NOT_OPEN");
    assert_eq!(items(&mut client, &id).await, [("vocabulary/zz-a".to_owned(), true)]);
}
