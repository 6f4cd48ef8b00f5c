//! Refusals: every published reason is produced, with the code and the metadata that the schema documents for it.

use std::collections::BTreeMap;
use std::num::NonZeroU32;
use std::time::Duration;

use dashwright_api::v1::read_at::At;
use dashwright_api::v1::{
    ErrorReason, GetDatasetInfoRequest, GetRecordRequest, ListRecordsRequest, LookUpFitmentRequest, ReadAt,
    RecordKey, RecordKind, ResolveVehicleRequest, SearchRecordsRequest, VehicleQuestion,
};
use dashwright_curation::BulkError;
use dashwright_engine::keys::{AuthFault, KeyId, Role, TooManyLive};
use dashwright_engine::{
    BulkEditError, EtagMismatch, LoadError, OutcomeError, OutcomeState, ReceiveError, RevertError,
    RevisionToken, TrailError, ViewError, WriteError, Writes,
};
use dashwright_grpc::auth::Denied;
use dashwright_grpc::{LIMITS, Refusal, Spent};
use dashwright_log::AppendError;
use dashwright_model::record::golden::PlanVerdict;
use dashwright_model::record::vehicle::Attribute;
use dashwright_sheet::SheetError;
use dashwright_tests::raw::{call, methods};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tonic::{Code, Status};

const SCHEMA: &str = include_str!("../../proto/dashwright/v1/errors.proto");

/// What the schema says of a reason: `CODE: …`, then `Metadata: …` with the keys between backticks.
struct Documented {
    code: Code,
    keys: Vec<String>,
    /// A key that is there only "where one is known".
    optional: Option<String>,
    /// Whether it is to be tried again "after the RetryInfo"; all that is unavailable is.
    retry: bool,
}

fn documented() -> BTreeMap<String, Documented> {
    let (mut found, mut comment) = (BTreeMap::new(), String::new());
    let (_, body) = SCHEMA.split_once("enum ErrorReason {").unwrap();
    for line in body.lines().map(str::trim) {
        if let Some(text) = line.strip_prefix("//") {
            comment.push_str(text);
        } else if let Some((name, _)) = line.split_once(" = ") {
            let name = name.trim_start_matches("ERROR_REASON_").to_owned();
            let comment = std::mem::take(&mut comment);
            if name != "UNSPECIFIED" {
                found.insert(name, read(&comment));
            }
        }
    }
    found
}

fn read(comment: &str) -> Documented {
    let (code, rest) = comment.trim().split_once(':').unwrap();
    let (_, metadata) = rest.split_once("Metadata:").unwrap();
    let keys: Vec<String> = metadata.split('`').skip(1).step_by(2).map(str::to_owned).collect();
    // "`a`, `b` where one is known": the last key is there only when there is something to say.
    let optional = metadata.contains("where one is known").then(|| keys.last().cloned()).flatten();
    let code = (0..17).map(Code::from).find(|it| wire(*it) == code).unwrap();
    let retry = code == Code::Unavailable || rest.contains("RetryInfo");
    Documented { code, keys, optional, retry }
}

/// The code as the gRPC specification writes it: the words of its name in capitals.
fn wire(code: Code) -> String {
    let mut words = String::new();
    for letter in format!("{code:?}").chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push('_');
        }
        words.extend(letter.to_uppercase());
    }
    words
}

/// Every reason with a status that has it: from calls where a call can provoke it, and otherwise from the refusal itself.
async fn produced(running: &Running) -> Vec<(ErrorReason, Status)> {
    let mut all = provoked_by_vehicles(running).await;
    all.extend(provoked_by_reads(running).await);
    let not_kept = {
        let error = Box::new(ViewError::NotKept { revision: 7, oldest: 9 });
        Refusal::View { incarnation: "one".to_owned(), error }
    };
    let refusals = [
        (ErrorReason::RevisionNotKept, not_kept),
        (ErrorReason::PlanNotFound, Refusal::PlanNotFound { fingerprint: "ab12".to_owned() }),
        (ErrorReason::PlanNotSettled, Refusal::PlanNotSettled { verdict: PlanVerdict::Depends, plans: 2 }),
        (
            ErrorReason::SheetNotSettled,
            Refusal::SheetNotSettled { plans: 2, open: Some(Attribute::AudioOption) },
        ),
        (ErrorReason::SheetTooLarge, Refusal::SheetTooLarge { bytes: 1 << 30 }),
        (ErrorReason::SheetNotMade, Refusal::Sheet(SheetError::Template)),
        (ErrorReason::Overloaded, Refusal::Overloaded),
        (
            ErrorReason::CallsTooFrequent,
            Refusal::Spent(Spent::Rate { per_second: NonZeroU32::MIN, wait: Duration::from_millis(5) }),
        ),
        (ErrorReason::CallsTooMany, Refusal::Spent(Spent::Calls { most: 1 })),
        (ErrorReason::AnswersUnread, Refusal::Spent(Spent::Unread { most: 1 })),
        (ErrorReason::StreamTooLong, Refusal::TooManyCarts),
        (ErrorReason::ImportBusy, ReceiveError::Busy.into()),
        (ErrorReason::ImportsFull, ReceiveError::Full.into()),
        (ErrorReason::ChunkOutOfPlace, ReceiveError::OutOfPlace { sequence: 1, offset: 2, bytes: 3 }.into()),
        (ErrorReason::ChunkAltered, ReceiveError::AlteredChunk { offset: 2 }.into()),
        (ErrorReason::ImportIncomplete, ReceiveError::Incomplete { received: 1, bytes: 2 }.into()),
        (ErrorReason::Draining, Refusal::Draining),
        (ErrorReason::Deadline, Refusal::Deadline { most: Duration::from_millis(5) }),
        (ErrorReason::Internal, Refusal::Internal { request_id: "one".to_owned() }),
        (ErrorReason::DataDamaged, Refusal::Damaged),
    ];
    all.extend(changes());
    all.extend(refusals.map(|(reason, refusal)| (reason, Status::from(refusal))));
    let denied = denied().map(|(reason, denied)| (reason, Status::from(Refusal::Denied(denied))));
    all.extend(denied);
    all
}

/// Changes that are refused; `curation.rs` and `audit.rs` provoke most of them by a call.
fn changes() -> Vec<(ErrorReason, Status)> {
    let draft = || "d".to_owned();
    let stopped = WriteError::Stopped { writes: Writes::StoppedByLog };
    let full = WriteError::Log(AppendError::NoSpace { free: 1, needed: 2 });
    let (kind, of, request_id) = ("draft.edit".to_owned(), draft(), "r".to_owned());
    let live = TooManyLive { holder: "till".to_owned(), live: vec![KeyId::new([1; 8])] };
    let mismatch = EtagMismatch { record: "part/kit-7".to_owned(), current: None };
    let refusals = [
        (ErrorReason::RequestIdReused, WriteError::RequestReused { request_id, kind, of }),
        (
            ErrorReason::ImportUnfinished,
            WriteError::ImportUnfinished { draft: draft(), request_id: "q".to_owned() },
        ),
        (ErrorReason::DraftNotOpen, WriteError::NoOpenDraft { draft: draft() }),
        (ErrorReason::DraftOutdated, WriteError::Outdated { base: 1, current: 2 }),
        (ErrorReason::DraftMoved, WriteError::DraftMoved { draft: draft() }),
        (ErrorReason::DraftEmpty, WriteError::EmptyDraft { draft: draft() }),
        (ErrorReason::EtagMismatch, WriteError::Etags { first: vec![mismatch], total: 2 }),
        (ErrorReason::DraftCollides, WriteError::Collides { draft: draft(), first: vec![draft()], total: 1 }),
        (ErrorReason::OwnEdits, WriteError::OwnEdits { draft: draft() }),
        (ErrorReason::EditTooLarge, WriteError::LargeEdit { records: 1_001, bytes: 1 }),
        (ErrorReason::WritesStopped, stopped),
        (ErrorReason::DiskFull, full),
        (ErrorReason::KeyNotFound, WriteError::NoKey { key: "k".to_owned() }),
        (ErrorReason::TooManyKeys, WriteError::TooManyLive(live)),
        (ErrorReason::FirstKeyNotOperator, WriteError::FirstKey),
    ];
    let told = |(reason, error)| (reason, Status::from(Refusal::from(error)));
    let mut all: Vec<_> = refusals.into_iter().map(told).collect();
    let outcomes = [
        (ErrorReason::OutcomeNotFound, OutcomeError::NotFound { outcome: 7 }),
        (ErrorReason::OutcomeResolved, OutcomeError::Resolved { outcome: 7, state: OutcomeState::Accepted }),
        (ErrorReason::OutcomeCountsNothing, OutcomeError::CountsNothing { outcome: 7 }),
        (ErrorReason::OutcomeQueueFull, OutcomeError::QueueFull),
        (ErrorReason::DraftTakesNoMore, OutcomeError::DraftTakesNoMore { draft: draft() }),
    ];
    let told = |(reason, error)| (reason, Status::from(Refusal::from(WriteError::Outcome(error))));
    all.extend(outcomes.into_iter().map(told));
    let contradict = LoadError::Contradictions { first: Vec::new(), total: 3 };
    all.push((ErrorReason::RecordsContradict, Status::from(Refusal::from(contradict))));
    let changed = RevertError::ChangedSince { first: vec!["part/kit-7".parse().unwrap()], total: 1 };
    all.push((ErrorReason::ChangedSince, Status::from(Refusal::from(changed))));
    all.push((ErrorReason::NothingToRevert, Status::from(Refusal::from(RevertError::NothingToDo))));
    let key = || "part/kit-7".parse().unwrap();
    let named = BulkError::StillNamed { record: key(), first: vec![(key(), "dash".to_owned())], total: 1 };
    let bulk = [
        (ErrorReason::RecordExists, BulkError::Exists(key())),
        (ErrorReason::NothingToChange, BulkError::NothingToDo(key())),
        (ErrorReason::StillNamed, named),
        (ErrorReason::EditContradicts, BulkError::NotWithin(key())),
    ];
    let told = |(reason, error)| (reason, Status::from(Refusal::from(BulkEditError::Bulk(error))));
    all.extend(bulk.into_iter().map(told));
    let beyond = TrailError::Beyond { wanted: 9, size: 7 };
    all.push((ErrorReason::TrailShorter, Status::from(Refusal::from(beyond))));
    all
}

/// Who is not let in; `keys.rs` provokes each by a call.
fn denied() -> [(ErrorReason, Denied); 6] {
    let id = KeyId::new([1; 8]);
    [
        (ErrorReason::KeyMissing, Denied::Missing),
        (ErrorReason::KeyMalformed, Denied::Key(AuthFault::Mistyped)),
        (ErrorReason::KeyUnknown, Denied::Key(AuthFault::WrongSecret { id: id.clone() })),
        (ErrorReason::KeyRevoked, Denied::Key(AuthFault::Revoked { id: id.clone() })),
        (ErrorReason::KeyExpired, Denied::Key(AuthFault::Expired { id })),
        (ErrorReason::RoleMissing, Denied::Role { needed: Role::Auditor, key: None }),
    ]
}

async fn provoked_by_vehicles(running: &Running) -> Vec<(ErrorReason, Status)> {
    let asked = [
        (ErrorReason::FieldsInvalid, VehicleQuestion { model_year: 7, ..Default::default() }),
        (ErrorReason::QuestionEmpty, VehicleQuestion::default()),
        // 49 CFR 565.15 (c): the sample number with another check digit than its own, which is 4.
        (ErrorReason::VinRefused, vin("1G4AH59H55G118341")),
        (
            ErrorReason::InputsContradict,
            VehicleQuestion { make: "orvane".to_owned(), ..vin("UB7FA111151111111") },
        ),
        (ErrorReason::WordUnknown, VehicleQuestion { make: "qqqqqqqq".to_owned(), ..Default::default() }),
        (
            ErrorReason::NoVehicleLine,
            VehicleQuestion { make: "orvane".to_owned(), model_year: 1999, ..Default::default() },
        ),
    ];
    let mut all = Vec::new();
    for (reason, vehicle) in asked {
        let request = ResolveVehicleRequest { vehicle: Some(vehicle), ..Default::default() };
        let answer = running.fitment.clone().resolve_vehicle(request).await;
        all.push((reason, answer.expect_err(reason.as_str_name())));
    }
    all
}

fn vin(text: &str) -> VehicleQuestion {
    VehicleQuestion { vin: text.to_owned(), ..Default::default() }
}

async fn provoked_by_reads(running: &Running) -> Vec<(ErrorReason, Status)> {
    let mut client = running.catalogue.clone();
    let key = RecordKey { kind: RecordKind::Part.into(), id: "no-such-part".to_owned() };
    let unknown = GetRecordRequest { key: Some(key), ..Default::default() };
    let list = ListRecordsRequest { kind: RecordKind::Part.into(), ..Default::default() };
    let page = ListRecordsRequest { page_token: "x".to_owned(), ..list.clone() };
    let large = ListRecordsRequest { page_token: "x".repeat(LIMITS.request_bytes), ..list };
    let mut all = vec![
        (ErrorReason::RecordNotFound, client.get_record(unknown).await.unwrap_err()),
        (ErrorReason::PageTokenInvalid, client.list_records(page).await.unwrap_err()),
        (ErrorReason::MessageTooLarge, client.list_records(large).await.unwrap_err()),
    ];
    let later = RevisionToken::new(running.engine.view().incarnation(), 99).to_string();
    for (reason, token) in [
        (ErrorReason::RevisionTokenInvalid, "x".to_owned()),
        (ErrorReason::RevisionOfAnotherDataset, RevisionToken::new("elsewhere", 1).to_string()),
        (ErrorReason::RevisionNotReached, later),
    ] {
        let read_at = Some(ReadAt { at: Some(At::AtLeast(token)) });
        let mut request = tonic::Request::new(GetDatasetInfoRequest { read_at });
        // Short, because one of them waits as long as it may.
        request.set_timeout(Duration::from_secs(2));
        all.push((reason, client.get_dataset_info(request).await.unwrap_err()));
    }
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn every_reason_is_produced_as_the_schema_documents_it() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut documented = documented();
    for (reason, status) in produced(&running).await {
        let name = reason.as_str_name().trim_start_matches("ERROR_REASON_");
        let expected = documented.remove(name).unwrap_or_else(|| panic!("{name} is documented once"));
        let refused = Refused::of(&status);
        assert_eq!((refused.domain.as_str(), refused.reason.as_str()), ("dashwright", name), "{status:?}");
        assert_eq!(refused.code, expected.code, "{name}");
        for key in &expected.keys {
            let there = refused.metadata.contains_key(key);
            assert!(there || expected.optional.as_ref() == Some(key), "{name} without `{key}`: {refused:?}");
        }
        for key in refused.metadata.keys() {
            assert!(expected.keys.contains(key), "{name} has `{key}`, which is not documented");
        }
        assert_eq!(refused.retry, expected.retry, "{name}: {refused:?}");
        assert_eq!(!refused.paths.is_empty(), refused.code == Code::InvalidArgument, "{name}: {refused:?}");
        assert!(refused.detail_bytes <= LIMITS.error_detail_bytes, "{name}");
        assert!(!status.message().is_empty() && !status.message().ends_with('.'), "{name}");
    }
    let missing: Vec<&String> = documented.keys().collect();
    assert!(missing.is_empty(), "not produced: {missing:?}");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn every_malformed_field_is_told_at_once() {
    let (_home, running) = Running::demo().await.unwrap();
    let long = "x".repeat(121);
    let vehicle = VehicleQuestion {
        vin: "123".to_owned(),
        model_year: 70_000,
        make: long.clone(),
        model: "a\u{7}b".to_owned(),
        build_month: "2018-13".to_owned(),
        drive_side: 9,
        words: long,
        ..Default::default()
    };
    let paths = ["vin", "model_year", "make", "model", "build_month", "drive_side", "words"];
    let paths: Vec<String> = paths.iter().map(|field| format!("vehicle.{field}")).collect();
    let look_up = LookUpFitmentRequest { vehicle: Some(vehicle.clone()), ..Default::default() };
    let refused = Refused::of(&running.fitment.clone().look_up_fitment(look_up).await.unwrap_err());
    assert_eq!((refused.reason.as_str(), &refused.paths), ("FIELDS_INVALID", &paths));

    let resolve = ResolveVehicleRequest { vehicle: Some(vehicle), page_size: 501, ..Default::default() };
    let refused = Refused::of(&running.fitment.clone().resolve_vehicle(resolve).await.unwrap_err());
    assert_eq!(refused.paths, [paths, vec!["page_size".to_owned()]].concat());

    let get = GetRecordRequest {
        key: Some(RecordKey { kind: 77, id: "No such id".to_owned() }),
        ..Default::default()
    };
    let refused = Refused::of(&running.catalogue.clone().get_record(get).await.unwrap_err());
    assert_eq!(refused.paths, ["key.kind", "key.id"]);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn tokens_are_told_together_with_the_other_fields() {
    let (_home, running) = Running::demo().await.unwrap();
    let read_at = Some(ReadAt { at: Some(At::AtLeast("x".to_owned())) });
    let list =
        ListRecordsRequest { read_at, page_size: 1001, page_token: "x".to_owned(), ..Default::default() };
    let refused = Refused::of(&running.catalogue.clone().list_records(list).await.unwrap_err());
    let mut paths = refused.paths;
    paths.sort();
    assert_eq!(paths, ["kind", "page_size", "page_token", "read_at.at_least"]);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn details_stay_small_whatever_is_sent() {
    let (_home, running) = Running::demo().await.unwrap();
    // Four bytes a character, and each escaped where a text is quoted: the most that a character can take.
    for text in ["𝔘".repeat(120), "𝔘".repeat(5000), "\"\\".repeat(60), "%".repeat(120), "\u{1}".repeat(120)]
    {
        for status in hostile(&running, &text).await {
            let refused = Refused::of(&status);
            assert_eq!(refused.domain, "dashwright", "{status:?}");
            assert!(
                refused.detail_bytes <= LIMITS.error_detail_bytes,
                "{} bytes: {status:?}",
                refused.detail_bytes
            );
            assert!(status.message().len() <= 1024, "{} bytes: {status:?}", status.message().len());
        }
    }
    running.stop().await.unwrap();
}

/// One text in every place that takes a text.
async fn hostile(running: &Running, text: &str) -> Vec<Status> {
    let it = || text.to_owned();
    let all = VehicleQuestion {
        vin: it(),
        model_year: u32::MAX,
        make: it(),
        model: it(),
        trim: it(),
        build_month: it(),
        market: it(),
        drive_side: i32::MIN,
        body: it(),
        drivetrain: it(),
        audio_option: it(),
        words: it(),
    };
    let questions = [
        all,
        VehicleQuestion { make: it(), ..Default::default() },
        VehicleQuestion { words: it(), ..Default::default() },
        VehicleQuestion { make: "orvane".to_owned(), model: it(), ..Default::default() },
        VehicleQuestion { make: "orvane".to_owned(), build_month: it(), ..Default::default() },
    ];
    let (mut fitment, mut catalogue) = (running.fitment.clone(), running.catalogue.clone());
    let mut refused = Vec::new();
    for vehicle in questions {
        let request =
            ResolveVehicleRequest { vehicle: Some(vehicle), page_size: u32::MAX, ..Default::default() };
        refused.extend(fitment.resolve_vehicle(request.clone()).await.err());
        refused
            .extend(fitment.resolve_vehicle(ResolveVehicleRequest { page_size: 0, ..request }).await.err());
    }
    let kinds = vec![i32::MAX; 5000];
    let search = SearchRecordsRequest { query: it(), kinds, page_size: u32::MAX, ..Default::default() };
    refused.push(catalogue.search_records(search).await.unwrap_err());
    let read_at = Some(ReadAt { at: Some(At::Exactly(it())) });
    let key = Some(RecordKey { kind: RecordKind::Dash.into(), id: "none".to_owned() });
    refused.push(catalogue.get_record(GetRecordRequest { read_at, key }).await.unwrap_err());
    let key = Some(RecordKey { kind: i32::MIN, id: it() });
    refused.push(catalogue.get_record(GetRecordRequest { key, ..Default::default() }).await.unwrap_err());
    refused
}

#[tokio::test(flavor = "multi_thread")]
async fn every_method_answers_or_gives_a_published_reason_also_to_bytes_that_are_no_message() {
    let (_home, running) = Running::demo().await.unwrap();
    let methods = methods().unwrap();
    assert!(methods.len() >= 8, "{methods:?}");
    for method in methods {
        for message in [vec![], vec![0xff; 40], vec![0x0a, 0x7f, 0x01]] {
            let broken = !message.is_empty();
            let Err(status) = call(&running.channel, &method, message).await.unwrap() else {
                assert!(!broken, "{method} answers bytes that are no message");
                continue;
            };
            let refused = Refused::of(&status);
            assert_eq!(refused.domain, "dashwright", "{method}: {status:?}");
            assert_eq!(refused.code, Code::InvalidArgument, "{method}: {status:?}");
        }
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_method_that_is_none_is_unimplemented() {
    let (_home, running) = Running::demo().await.unwrap();
    for path in ["/dashwright.v1.FitmentService/NoSuchCall", "/no.such.Service/Call"] {
        let status = call(&running.channel, path, Vec::new()).await.unwrap().unwrap_err();
        assert_eq!(status.code(), Code::Unimplemented, "{path}");
    }
    running.stop().await.unwrap();
}
