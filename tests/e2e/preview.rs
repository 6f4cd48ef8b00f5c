//! Previews over the wire: progress, groups and the end; what can not be previewed; and that nothing is changed.

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, deleted, draft, make, puts};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Running, demo_lines};
use tonic::transport::Channel;
use tonic::{Code, Status};
use v1::preview_draft_response::Piece;

type Client = CurationServiceClient<Channel>;

/// The antenna lead at 5.90 in place of 7.90.
fn cheaper() -> String {
    let line = demo_lines().into_iter().find(|line| line.contains("\"id\":\"mw-12\"")).unwrap();
    assert!(line.contains("\"minor_units\":790"));
    line.replace("\"minor_units\":790", "\"minor_units\":590")
}

async fn pieces(client: &mut Client, draft_id: &str) -> Result<Vec<Piece>, Status> {
    let request = v1::PreviewDraftRequest { draft_id: draft_id.to_owned() };
    let mut stream = client.preview_draft(request).await?.into_inner();
    let mut pieces = Vec::new();
    while let Some(answer) = stream.message().await? {
        pieces.extend(answer.piece);
    }
    Ok(pieces)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lower_price_is_previewed_group_by_group() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![cheaper()]).await.unwrap();
    let pieces = pieces(&mut client, &id).await.unwrap();
    assert!(matches!(pieces.first(), Some(Piece::Progress(v1::PreviewProgress { done: 0, total: 1.. }))));
    let Some(Piece::End(end)) = pieces.last() else { panic!("{:?}", pieces.last()) };
    let groups = pieces.iter().filter_map(|piece| if let Piece::Group(it) = piece { Some(it) } else { None });
    let groups: Vec<_> = groups.collect();
    assert_eq!(groups.len(), usize::try_from(end.groups_total).unwrap());
    assert_eq!(end.looked_at, end.touched);
    let changed: u64 = groups.iter().map(|group| group.plans).sum();
    assert_eq!(changed + end.unchanged, end.touched);
    // Two dollars less wherever the lead is in the plan already.
    let saved = groups.iter().find(|it| it.dearer_by_minor_units == Some(-200)).unwrap();
    assert_eq!(saved.changes().collect::<Vec<_>>(), [v1::PlanChange::Cheaper]);
    assert_eq!(saved.verdict_before(), v1::Verdict::FitsWithParts);
    assert!((1..=5).contains(&saved.examples.len()), "{saved:?}");
    let count = |change| end.counts.iter().find(|it| it.change() == change).map_or(0, |it| it.plans);
    assert_eq!(count(v1::PlanChange::NoLongerFits), 0);
    assert!(count(v1::PlanChange::Cheaper) >= saved.plans);
    assert_eq!(end.onto.as_ref().unwrap().number, 1);
    assert_eq!(end.golden_wrong_total, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_touches_no_plan_changes_none_and_what_can_not_be_asked_is_refused() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let told = pieces(&mut client, &id).await.unwrap();
    let [Piece::End(end)] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!((end.touched, end.looked_at, end.groups_total), (0, 0, 0));

    let edit = v1::EditDraftRequest {
        change: change("one goes"),
        draft_id: id.clone(),
        puts: puts(vec![cheaper()]),
        deletes: vec![deleted("vocabulary/collar-coax")],
        ..Default::default()
    };
    client.edit_draft(edit).await.unwrap();
    let refused = Refused::of(&pieces(&mut client, &id).await.unwrap_err());
    assert_eq!((refused.code, refused.reason.as_str()), (Code::FailedPrecondition, "RECORDS_CONTRADICT"));
    let refused = Refused::of(&pieces(&mut client, "no-draft").await.unwrap_err());
    assert_eq!((refused.code, refused.reason.as_str()), (Code::NotFound, "DRAFT_NOT_OPEN"));
    let refused = Refused::of(&pieces(&mut client, "").await.unwrap_err());
    assert_eq!(refused.paths, ["draft_id"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_golden_question_that_is_answered_otherwise_is_named() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let other = cheaper().replace("\"mw-12\"", "\"mw-11\"").replace("\"MW 12\"", "\"MW 11\"");
    let id = draft(&mut client, vec![other]).await.unwrap();
    let pieces = pieces(&mut client, &id).await.unwrap();
    let Some(Piece::End(end)) = pieces.last() else { panic!("{:?}", pieces.last()) };
    assert_eq!(
        (end.golden_wrong_total, end.golden_ids_wrong.as_slice()),
        (1, &["tamsel-2013-rowan".to_owned()][..])
    );
}

/// Whoever goes away in the middle keeps nobody else waiting.
#[tokio::test(flavor = "multi_thread")]
async fn a_preview_that_nobody_listens_to_ends() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![cheaper()]).await.unwrap();
    for _ in 0..3 {
        let request = v1::PreviewDraftRequest { draft_id: id.clone() };
        let mut stream = client.preview_draft(request).await.unwrap().into_inner();
        assert!(stream.message().await.unwrap().is_some());
        drop(stream);
    }
    assert!(matches!(pieces(&mut client, &id).await.unwrap().last(), Some(Piece::End(_))));
    running.stop().await.unwrap();
}
