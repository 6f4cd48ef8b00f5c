//! Revisions: every answer names its own, and a read may say which it wants.

use dashwright_api::v1::read_at::At;
use dashwright_api::v1::{
    DatasetRevision, GetDatasetInfoRequest, GetRecordRequest, ListChoicesRequest, ListRecordsRequest,
    LookUpFitmentRequest, ReadAt, RecordKey, RecordKind, ResolveVehicleRequest, SearchRecordsRequest,
    VehicleQuestion,
};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use tonic::{Code, Status};

/// One call of every kind that reads the dataset, each at the revision that is wanted.
async fn read_all(running: &Running, at: Option<At>) -> Vec<(&'static str, Result<DatasetRevision, Status>)> {
    let read_at = at.map(|at| ReadAt { at: Some(at) });
    let vehicle = Some(VehicleQuestion { make: "orvane".to_owned(), ..Default::default() });
    let (fitment, catalogue) = (&mut running.fitment.clone(), &mut running.catalogue.clone());
    let choices = ListChoicesRequest { read_at: read_at.clone(), ..Default::default() };
    let resolve =
        ResolveVehicleRequest { read_at: read_at.clone(), vehicle: vehicle.clone(), ..Default::default() };
    let look_up = LookUpFitmentRequest { read_at: read_at.clone(), vehicle };
    let key = Some(RecordKey { kind: RecordKind::Vocabulary.into(), id: "orvane".to_owned() });
    let get = GetRecordRequest { read_at: read_at.clone(), key };
    let list =
        ListRecordsRequest { read_at: read_at.clone(), kind: RecordKind::Part.into(), ..Default::default() };
    let search =
        SearchRecordsRequest { read_at: read_at.clone(), query: "orvane".to_owned(), ..Default::default() };
    let info = GetDatasetInfoRequest { read_at };
    macro_rules! revision {
        ($answer:expr) => {
            $answer.await.map(|it| it.into_inner().revision.unwrap())
        };
    }
    vec![
        ("ListChoices", revision!(fitment.list_choices(choices))),
        ("ResolveVehicle", revision!(fitment.resolve_vehicle(resolve))),
        ("LookUpFitment", revision!(fitment.look_up_fitment(look_up))),
        ("GetRecord", revision!(catalogue.get_record(get))),
        ("ListRecords", revision!(catalogue.list_records(list))),
        ("SearchRecords", revision!(catalogue.search_records(search))),
        ("GetDatasetInfo", revision!(catalogue.get_dataset_info(info))),
    ]
}

async fn all_read(running: &Running, at: Option<At>, expected: &DatasetRevision) {
    for (call, revision) in read_all(running, at).await {
        assert_eq!(revision.unwrap(), *expected, "{call}");
    }
}

async fn all_refuse(running: &Running, at: At, code: Code, reason: &str) {
    for (call, revision) in read_all(running, Some(at)).await {
        let refused = Refused::of(&revision.unwrap_err());
        assert_eq!((refused.code, refused.reason.as_str()), (code, reason), "{call}");
    }
}

async fn latest(running: &Running) -> DatasetRevision {
    let info = running.catalogue.clone().get_dataset_info(GetDatasetInfoRequest::default()).await;
    info.unwrap().into_inner().revision.unwrap()
}

const MORE: &str = r#"{"vocabulary":{"id":"aaa","of":"MAKE","name":"Aaa","evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}}}"#;

#[tokio::test(flavor = "multi_thread")]
async fn every_answer_names_its_revision_and_a_read_may_ask_for_one() {
    let (_home, running) = Running::demo().await.unwrap();
    let one = latest(&running).await;
    assert_eq!((one.number, one.content_hash.len()), (1, 64));
    all_read(&running, None, &one).await;
    all_read(&running, Some(At::AtLeast(one.token.clone())), &one).await;
    all_read(&running, Some(At::Exactly(one.token.clone())), &one).await;

    running.load(vec![MORE.to_owned()]).await.unwrap();
    let two = latest(&running).await;
    assert_eq!(two.number, 2);
    assert!(two.token != one.token && two.content_hash != one.content_hash);
    all_read(&running, None, &two).await;
    all_read(&running, Some(At::AtLeast(one.token.clone())), &two).await;
    all_read(&running, Some(At::Exactly(one.token.clone())), &one).await;
    all_read(&running, Some(At::Exactly(two.token.clone())), &two).await;
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_that_was_altered_or_is_of_another_dataset_is_refused() {
    let (_home, running) = Running::demo().await.unwrap();
    let token = latest(&running).await.token;
    for garbled in ["x", &token[1..], &token.to_uppercase(), &"A".repeat(5000)] {
        for at in [At::AtLeast(garbled.to_owned()), At::Exactly(garbled.to_owned())] {
            all_refuse(&running, at, Code::InvalidArgument, "REVISION_TOKEN_INVALID").await;
        }
    }
    let other = Home::new("other").unwrap();
    let other = Running::start(&other).await.unwrap();
    let foreign = latest(&other).await.token;
    for at in [At::AtLeast(foreign.clone()), At::Exactly(foreign)] {
        all_refuse(&running, at, Code::FailedPrecondition, "REVISION_OF_ANOTHER_DATASET").await;
    }
    other.stop().await.unwrap();
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_read_waits_for_the_revision_that_it_asks_for() {
    let (home, running) = Running::demo().await.unwrap();
    // The token of revision 2, from another copy of the same dataset that is ahead.
    let ahead = Home::new("demo").unwrap();
    let ahead = Running::start(&ahead).await.unwrap();
    for _ in 0..2 {
        ahead.load(vec![MORE.replace("Aaa", &format!("Aaa {}", latest(&ahead).await.number))]).await.unwrap();
    }
    let at = At::AtLeast(latest(&ahead).await.token);
    ahead.stop().await.unwrap();

    let mut client = running.catalogue.clone();
    let request = GetDatasetInfoRequest { read_at: Some(ReadAt { at: Some(at) }) };
    let waiting = tokio::spawn(async move { client.get_dataset_info(request).await });
    // Another call of the same connection is answered while the first one waits.
    assert_eq!(latest(&running).await.number, 1);
    assert!(!waiting.is_finished());
    running.load(vec![MORE.to_owned()]).await.unwrap();
    let reached = waiting.await.unwrap().unwrap().into_inner().revision.unwrap();
    assert_eq!(reached, latest(&running).await);
    running.stop().await.unwrap();
    drop(home);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restart_keeps_revision_and_content() {
    let (home, running) = Running::demo().await.unwrap();
    let before = latest(&running).await;
    running.stop().await.unwrap();
    let running = Running::start(&home).await.unwrap();
    all_read(&running, None, &before).await;
    all_read(&running, Some(At::Exactly(before.token.clone())), &before).await;
    running.stop().await.unwrap();
}
