//! Findings and holes over the wire: of a revision, of a draft, page by page, and that an error keeps a draft from publishing.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, deleted, draft, make, publish, publishing, puts};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Running, demo_lines};
use tonic::transport::Channel;
use tonic::{Code, Status};

type Client = CurationServiceClient<Channel>;

fn told<T: std::fmt::Debug>(result: Result<T, Status>) -> Refused {
    Refused::of(&result.unwrap_err())
}

/// A record of the demo catalogue with one place changed.
fn changed(id: &str, from: &str, to: &str) -> String {
    let wanted = format!("\"id\":\"{id}\"");
    let line = demo_lines().into_iter().find(|line| line.contains(&wanted)).unwrap();
    assert!(line.contains(from), "{id} has no {from}");
    line.replace(from, to)
}

fn validating(draft_id: &str) -> v1::ValidateDraftRequest {
    v1::ValidateDraftRequest { draft_id: draft_id.to_owned(), ..Default::default() }
}

async fn found(client: &mut Client, draft_id: &str) -> v1::Findings {
    client.validate_draft(validating(draft_id)).await.unwrap().into_inner().found.unwrap()
}

async fn edit(client: &mut Client, draft_id: &str, lines: Vec<String>) {
    let edit = v1::EditDraftRequest {
        change: change("mended"),
        draft_id: draft_id.to_owned(),
        puts: puts(lines),
        ..Default::default()
    };
    client.edit_draft(edit).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_pages_of_a_revision_add_up_to_all_of_it() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let whole = v1::ListFindingsRequest { page_size: 1_000, ..Default::default() };
    let whole = client.list_findings(whole).await.unwrap().into_inner().found.unwrap();
    assert_eq!((whole.errors, whole.warnings), (0, whole.findings.len() as u64));
    assert!(whole.complete);
    let (mut paged, mut token) = (Vec::new(), String::new());
    loop {
        let ask = v1::ListFindingsRequest { page_size: 7, page_token: token, ..Default::default() };
        let answer = client.list_findings(ask).await.unwrap().into_inner();
        paged.extend(answer.found.unwrap().findings);
        token = answer.next_page_token;
        if token.is_empty() {
            break;
        }
        // What is published meanwhile does not reach the later pages.
        publish(&mut client, vec![make(&format!("zz-{}", paged.len()), "Nobody's")]).await.unwrap();
    }
    assert_eq!(paged, whole.findings);

    // Every hole is a finding, and every finding of that kind a hole.
    let holes = v1::ListHolesRequest { page_size: 1_000, ..Default::default() };
    let holes = client.list_holes(holes).await.unwrap().into_inner();
    let of_kind = whole.findings.iter().filter(|it| it.kind() == v1::FindingKind::Hole).count();
    assert_eq!((holes.total, holes.holes.len()), (of_kind as u64, of_kind));
    let left_out: Vec<u32> = holes.holes.iter().map(|hole| hole.vehicles_total).collect();
    assert!(left_out.is_sorted_by(|one, other| one >= other), "{left_out:?}");
    for hole in &holes.holes {
        let named = u32::try_from(hole.vehicle_ids.len()).unwrap();
        assert_eq!(named, hole.vehicles_total.min(20), "{hole:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_record_may_be_asked_for_and_an_unknown_one_is_refused() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let about = |record: &str| v1::ListFindingsRequest { record: record.to_owned(), ..Default::default() };
    let answer = client.list_findings(about("dash/lumbria-1")).await.unwrap().into_inner().found.unwrap();
    let kinds: BTreeSet<_> = answer.findings.iter().map(v1::Finding::kind).collect();
    assert_eq!(kinds, BTreeSet::from([v1::FindingKind::Assumed, v1::FindingKind::Hole]));
    let sound = client.list_findings(about("vocabulary/orvane")).await.unwrap().into_inner().found.unwrap();
    assert_eq!(sound, v1::Findings { complete: true, ..Default::default() });

    let unknown = told(client.list_findings(about("dash/lumbria-7")).await);
    assert_eq!((unknown.code, unknown.reason.as_str()), (Code::NotFound, "RECORD_NOT_FOUND"));
    let malformed = told(client.list_findings(about("lumbria")).await);
    assert_eq!(malformed.paths, ["record"]);
    let gone = told(client.validate_draft(validating("no-draft")).await);
    assert_eq!(gone.reason, "DRAFT_NOT_OPEN");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_error_is_found_in_the_draft_and_keeps_it_from_being_published_until_it_is_mended() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let default = r#""default":{"6":"OFF","7":"OFF","8":"OFF"}"#;
    let without = changed("lkd-3017", default, r#""default":{"6":"OFF","7":"OFF"}"#);
    let id = draft(&mut client, vec![without]).await.unwrap();
    let broken = found(&mut client, &id).await;
    assert_eq!((broken.errors, broken.complete), (1, true));
    let first = &broken.findings[0];
    assert_eq!((first.severity(), first.kind()), (v1::Severity::Error, v1::FindingKind::NeverSet));
    assert_eq!((first.record.as_str(), first.field.as_str()), ("part/lkd-3017", "settings.0.switch.8"));

    let only = v1::ValidateDraftRequest { errors_only: true, ..validating(&id) };
    let only = client.validate_draft(only).await.unwrap().into_inner().found.unwrap();
    assert_eq!((only.findings, only.warnings), (vec![first.clone()], broken.warnings));

    let refused = told(client.publish_draft(publishing(&id)).await);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::FailedPrecondition, "RECORDS_CONTRADICT"));
    assert_eq!(
        (refused.metadata["total"].as_str(), refused.metadata["first"].as_str()),
        ("1", first.text.as_str())
    );

    edit(&mut client, &id, vec![changed("lkd-3017", default, default)]).await;
    assert_eq!(found(&mut client, &id).await.errors, 0);
    client.publish_draft(publishing(&id)).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn contradictions_are_found_as_well_and_hide_the_rest() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let edit = v1::EditDraftRequest {
        change: change("one goes"),
        draft_id: id.clone(),
        deletes: vec![deleted("vocabulary/collar-coax")],
        ..Default::default()
    };
    client.edit_draft(edit).await.unwrap();
    let broken = found(&mut client, &id).await;
    assert!(broken.errors > 1 && broken.warnings == 0 && !broken.complete, "{broken:?}");
    for it in &broken.findings {
        assert_eq!((it.kind(), it.other.as_str()), (v1::FindingKind::Dangling, "vocabulary/collar-coax"));
    }
    let holes = v1::ListDraftHolesRequest { draft_id: id.clone(), ..Default::default() };
    let holes = client.list_draft_holes(holes).await.unwrap().into_inner();
    assert!(holes.holes.is_empty() && !holes.complete);
    // The record that is gone has findings; one that only the draft has is known too.
    for (record, findings) in [("vocabulary/collar-coax", broken.findings.len()), ("vocabulary/zz-a", 0)] {
        let ask = v1::ValidateDraftRequest { record: record.to_owned(), ..validating(&id) };
        let answer = client.validate_draft(ask).await.unwrap().into_inner().found.unwrap();
        assert_eq!(answer.findings.len(), findings, "{record}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_of_a_draft_never_goes_on_in_another_state_of_it() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let first = v1::ListDraftHolesRequest { draft_id: id.clone(), page_size: 2, ..Default::default() };
    let answer = client.list_draft_holes(first.clone()).await.unwrap().into_inner();
    assert_eq!((answer.holes.len(), answer.complete), (2, true));
    let next = v1::ListDraftHolesRequest { page_token: answer.next_page_token, ..first.clone() };
    let second = client.list_draft_holes(next.clone()).await.unwrap().into_inner();
    assert_eq!(second.holes.len(), 2);
    assert_ne!(second.holes, answer.holes);

    // The token of one list continues no other.
    let other = v1::ValidateDraftRequest { page_token: next.page_token.clone(), ..validating(&id) };
    assert_eq!(told(client.validate_draft(other).await).paths, ["page_token"]);
    publish(&mut client, vec![make("zz-b", "B")]).await.unwrap();
    let outdated = told(client.list_draft_holes(next.clone()).await);
    assert_eq!((outdated.reason.as_str(), outdated.metadata["latest"].as_str()), ("DRAFT_OUTDATED", "2"));
    edit(&mut client, &id, vec![make("zz-a", "Another")]).await;
    assert_eq!(told(client.list_draft_holes(next).await).reason, "DRAFT_MOVED");
    client.list_draft_holes(first).await.unwrap();
}
