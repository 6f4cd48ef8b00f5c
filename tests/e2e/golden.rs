//! Golden questions over the wire: asked of a revision and of a draft, put with an answer, accepted by name, and what keeps a
//! draft from being published.

use dashwright_api::v1;
use dashwright_api::v1::bulk_edit_draft_request::Edit;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, draft, make, publishing};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Running, demo_lines};
use serde_json::{Value, json};
use tonic::transport::Channel;
use tonic::{Code, Status};

type Client = CurationServiceClient<Channel>;

fn edit(draft_id: &str, edit: Edit) -> v1::BulkEditDraftRequest {
    let (draft_id, edit) = (draft_id.to_owned(), Some(edit));
    v1::BulkEditDraftRequest { change: change("kept"), draft_id, edit, validate_only: false }
}

fn accept(ids: &[&str]) -> Edit {
    Edit::Accept(v1::AcceptAnswers { golden_ids: ids.iter().map(|id| (*id).to_owned()).collect() })
}

fn ask(json: &Value) -> Edit {
    Edit::Ask(v1::AskGolden { json: json.to_string() })
}

fn question(id: &str, words: &str) -> Value {
    json!({ "golden_question": {
        "id": id, "title": "A test asks", "vehicle": { "words": words }, "radio": "sonquill-rowan-2",
        "expected": { "verdict": "UNKNOWN" },
        "evidence": { "grade": "REPORTED", "source": "a test", "date": "2026-01-01" },
    } })
}

/// The cheaper antenna lead that changes the answer to `tamsel-2013-rowan`.
fn cheaper_lead() -> String {
    let line = demo_lines().into_iter().find(|line| line.contains("\"id\":\"mw-12\"")).unwrap();
    let mut record: Value = serde_json::from_str(&line).unwrap();
    record["part"]["id"] = json!("mw-11");
    record["part"]["number"] = json!("MW 11");
    record["part"]["price"]["amount"]["minor_units"] = json!(490);
    record.to_string()
}

fn told<T: std::fmt::Debug>(result: Result<T, Status>) -> Refused {
    Refused::of(&result.unwrap_err())
}

async fn answers(client: &mut Client, draft_id: &str) -> v1::ListDraftGoldenAnswersResponse {
    let request = v1::ListDraftGoldenAnswersRequest { draft_id: draft_id.to_owned(), ..Default::default() };
    client.list_draft_golden_answers(request).await.unwrap().into_inner()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_answer_is_accepted_by_name_before_the_draft_is_published() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let live =
        client.list_golden_answers(v1::ListGoldenAnswersRequest::default()).await.unwrap().into_inner();
    assert_eq!((live.total, live.wrong), (3, 0));
    assert!(live.answers.iter().all(|it| it.right && it.found == it.expected), "{live:?}");

    let id = draft(&mut client, vec![cheaper_lead()]).await.unwrap();
    let asked = answers(&mut client, &id).await;
    assert_eq!((asked.total, asked.wrong, asked.complete), (3, 1, true));
    let wrong = asked.answers.iter().find(|it| !it.right).unwrap();
    assert_eq!(wrong.golden_id, "tamsel-2013-rowan");
    let lists = |answer: &Option<v1::ShortAnswer>| answer.clone().unwrap().plans;
    // The amplified car keeps its list; the other takes the cheaper lead.
    assert_eq!(lists(&wrong.found)[0], lists(&wrong.expected)[0]);
    assert_eq!(lists(&wrong.found)[1].part_ids, ["hwk-210-d", "lkd-1001", "mw-11", "qm-7.214", "vq-22.1"]);

    let refused = told(client.publish_draft(publishing(&id)).await);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::FailedPrecondition, "RECORDS_CONTRADICT"));
    assert!(refused.metadata["first"].contains("golden_question/tamsel-2013-rowan"), "{refused:?}");

    let look = v1::BulkEditDraftRequest { validate_only: true, ..edit(&id, accept(&["tamsel-2013-rowan"])) };
    client.bulk_edit_draft(look).await.unwrap();
    assert_eq!(answers(&mut client, &id).await.wrong, 1);
    let accepted =
        client.bulk_edit_draft(edit(&id, accept(&["tamsel-2013-rowan"]))).await.unwrap().into_inner();
    let [touched] = accepted.touched.as_slice() else { panic!("{accepted:?}") };
    assert_eq!(
        (touched.record.as_str(), touched.kind()),
        ("golden_question/tamsel-2013-rowan", v1::TouchKind::Accepts)
    );
    assert_eq!(answers(&mut client, &id).await.wrong, 0);
    client.publish_draft(publishing(&id)).await.unwrap();
    let live =
        client.list_golden_answers(v1::ListGoldenAnswersRequest::default()).await.unwrap().into_inner();
    assert_eq!((live.total, live.wrong), (3, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_question_is_put_with_the_answer_that_the_draft_gives() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![cheaper_lead()]).await.unwrap();
    let put = client.bulk_edit_draft(edit(&id, ask(&question("kept", "2013 orvane tamsel hatchback")))).await;
    assert_eq!(put.unwrap().into_inner().touched[0].kind(), v1::TouchKind::Made);
    let asked = answers(&mut client, &id).await;
    let kept = asked.answers.iter().find(|it| it.golden_id == "kept").unwrap();
    assert!(
        kept.right && kept.expected.as_ref().unwrap().plans[1].part_ids.contains(&"mw-11".to_owned()),
        "{kept:?}"
    );
    let verdict = kept.expected.as_ref().unwrap().verdict();
    assert_eq!(verdict, v1::Verdict::FitsWithParts);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_can_not_be_kept_or_accepted_is_refused_and_the_draft_is_untouched() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let radio = |radio: &str| {
        let mut asked = question("q", "2013 orvane tamsel");
        asked["golden_question"]["radio"] = json!(radio);
        asked
    };
    let term: Value = serde_json::from_str(&make("zz-b", "B")).unwrap();
    for (wanted, code, reason) in [
        (accept(&["tamsel-2013-rowan"]), Code::FailedPrecondition, "NOTHING_TO_CHANGE"),
        (accept(&["no-such"]), Code::NotFound, "RECORD_NOT_FOUND"),
        (accept(&[]), Code::InvalidArgument, "FIELDS_INVALID"),
        (accept(&["a", "a"]), Code::InvalidArgument, "FIELDS_INVALID"),
        (accept(&["Not An Id"]), Code::InvalidArgument, "FIELDS_INVALID"),
        (ask(&question("q", "2013 orvane blorb")), Code::FailedPrecondition, "EDIT_CONTRADICTS"),
        (ask(&radio("no-such")), Code::FailedPrecondition, "EDIT_CONTRADICTS"),
        (ask(&question("tamsel-2013-rowan", "2013 orvane")), Code::AlreadyExists, "RECORD_EXISTS"),
        (ask(&term), Code::InvalidArgument, "FIELDS_INVALID"),
        (ask(&json!({"golden_question": {}})), Code::InvalidArgument, "FIELDS_INVALID"),
    ] {
        let refused = told(client.bulk_edit_draft(edit(&id, wanted.clone())).await);
        assert_eq!((refused.code, refused.reason.as_str()), (code, reason), "{wanted:?}");
    }
    let many: Vec<String> = (0..101).map(|number| format!("q-{number}")).collect();
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    assert_eq!(told(client.bulk_edit_draft(edit(&id, accept(&many))).await).paths, ["accept.golden_ids"]);
    assert_eq!(answers(&mut client, &id).await.total, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_renamed_part_keeps_every_answer_right_and_a_named_part_is_not_deleted() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = CurationServiceClient::new(running.channel.clone());
    let id = draft(&mut client, vec![make("zz-a", "A")]).await.unwrap();
    let rename =
        v1::RenameRecord { record: "part/mw-12".into(), new_id: "aa-1".into(), new_name: String::new() };
    let touched = client.bulk_edit_draft(edit(&id, Edit::Rename(rename))).await.unwrap().into_inner().touched;
    assert!(touched.iter().any(|it| it.record == "golden_question/tamsel-2013-rowan"), "{touched:?}");
    assert_eq!(answers(&mut client, &id).await.wrong, 0);
    client.publish_draft(publishing(&id)).await.unwrap();
}
