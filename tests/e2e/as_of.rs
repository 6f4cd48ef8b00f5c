//! As of a revision: every call that reads answers the same bytes after later edits, restarts, a lost store and a restore.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_tests::change::{change, deleted, publishing, puts as over};
use dashwright_tests::raw::{call_to_its_end, methods, methods_as_of};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running, demo_lines};
use prost::Message;
use v1::get_proof_request::Proof;
use v1::read_at::At;

/// Calls whose requests name no revision to read, and why none is to be named.
const NOT_AS_OF: &[(&str, &str)] = &[
    ("AuditService/DiffRevisions", "names two revisions instead; asked below"),
    ("AuditService/GetCheckpoint", "the trail as it is now"),
    ("AuditService/GetProof", "names the sizes of the trail instead; asked below"),
    ("AuditService/ListEntries", "all entries that there are now"),
    ("AuditService/ListRevisions", "all revisions that there are now"),
    ("AuditService/WatchRevisions", "revisions as they come"),
    ("CatalogueService/GetRecordSchema", "what this program takes, whatever the revision; asked below"),
    ("CurationService/BulkEditDraft", "changes something"),
    ("CurationService/CreateDraft", "changes something"),
    ("CurationService/DiscardDraft", "changes something"),
    ("CurationService/EditDraft", "changes something"),
    ("CurationService/GetDraft", "what is in no revision"),
    ("CurationService/ImportRecords", "changes something"),
    ("CurationService/ListDraftGoldenAnswers", "what is in no revision"),
    ("CurationService/ListDraftHoles", "what is in no revision"),
    ("CurationService/ListDrafts", "what is in no revision"),
    ("CurationService/PreviewDraft", "what is in no revision"),
    ("CurationService/PublishDraft", "changes something"),
    ("CurationService/RevertRevision", "changes something"),
    ("CurationService/ValidateDraft", "what is in no revision"),
    ("FeedbackService/ListOutcomes", "what is in no revision"),
    ("FeedbackService/ReportOutcome", CHANGES_BY_QUESTION),
    ("FeedbackService/ResolveOutcome", "changes something"),
    ("FitmentService/SizeFeed", "asks nothing of the dataset"),
    ("KeyService/Backup", "the whole trail as it is now"),
    ("KeyService/CreateKey", "changes something"),
    ("KeyService/ListKeys", "keys as they are now"),
    ("KeyService/RevokeKey", "changes something"),
];

/// Why a call is not asked as of a revision although there is a question in its request that could name one.
const CHANGES_BY_QUESTION: &str =
    "changes something, and does not look at the revision of the question in it";

/// The call whose answer also tells of the server: the name of the history that it goes on with.
const INFO: &str = "CatalogueService/GetDatasetInfo";

const RADIO: &str = "sonquill-rowan-2";

/// A call, and the bytes of its request.
type Question = (&'static str, Vec<u8>);

/// What a call comes to: the bytes of every message of the answer, or the refusal, whose details have no order on the wire.
type Answer = Result<Vec<Vec<u8>>, (String, Refused)>;

/// A revision, and what was answered while it was the latest.
struct Kept {
    number: u64,
    questions: Vec<Question>,
    answers: Vec<Answer>,
}

/// At least one question of every call that reads a revision.
fn questions(token: &str) -> Vec<Question> {
    let read_at = Some(v1::ReadAt { at: Some(At::Exactly(token.to_owned())) });
    let mut asked = of_vehicle(&read_at);
    asked.extend(of_records(&read_at));
    asked
}

fn of_vehicle(read_at: &Option<v1::ReadAt>) -> Vec<Question> {
    let question = v1::VehicleQuestion { words: "2013 orvane tamsel hatchback".into(), ..Default::default() };
    let (vehicle, radio_id) = (Some(question.clone()), RADIO.to_owned());
    let page = v1::ListChoicesRequest { read_at: read_at.clone(), page_size: 2, ..Default::default() };
    let choices = v1::ListChoicesRequest { vehicle: vehicle.clone(), page_size: 0, ..page.clone() };
    let resolve = v1::ResolveVehicleRequest {
        read_at: read_at.clone(),
        vehicle: vehicle.clone(),
        ..Default::default()
    };
    let look_up = v1::LookUpFitmentRequest { read_at: read_at.clone(), vehicle: vehicle.clone() };
    let plan = v1::PlanInstallRequest {
        read_at: read_at.clone(),
        vehicle: vehicle.clone(),
        radio_id: radio_id.clone(),
        order: None,
    };
    let line = |item: &str| v1::CartLine { item: item.to_owned(), quantity: 1 };
    let cart = v1::CheckCartRequest {
        read_at: read_at.clone(),
        vehicle: vehicle.clone(),
        radio_id: radio_id.clone(),
        order: None,
        lines: vec![line("hwk-210-d"), line("lkd-1001")],
    };
    let carts = v1::CheckCartsRequest { correlation_id: "one".to_owned(), cart: Some(cart.clone()) };
    let radios = v1::ListRadiosForVehicleRequest { read_at: read_at.clone(), vehicle, ..Default::default() };
    let vehicles =
        v1::ListVehiclesForRadioRequest { read_at: read_at.clone(), radio_id, ..Default::default() };
    let part = v1::ListVehiclesForPartRequest {
        read_at: read_at.clone(),
        part_id: "hwk-210-d".into(),
        ..Default::default()
    };
    let settled = v1::VehicleQuestion { audio_option: "A8".into(), ..question.clone() };
    let sheet = v1::RenderBenchSheetRequest {
        read_at: read_at.clone(),
        vehicle: Some(settled.clone()),
        radio_id: RADIO.to_owned(),
        ..Default::default()
    };
    let picture = v1::RenderPictureRequest {
        read_at: read_at.clone(),
        vehicle: Some(settled),
        radio_id: RADIO.to_owned(),
        picture: v1::PictureKind::Plug.into(),
        ..Default::default()
    };
    vec![
        ("SheetService/RenderBenchSheet", sheet.encode_to_vec()),
        ("SheetService/RenderPicture", picture.encode_to_vec()),
        ("FitmentService/ListChoices", page.encode_to_vec()),
        ("FitmentService/ListChoices", choices.encode_to_vec()),
        ("FitmentService/ResolveVehicle", resolve.encode_to_vec()),
        ("FitmentService/LookUpFitment", look_up.encode_to_vec()),
        ("FitmentService/PlanInstall", plan.encode_to_vec()),
        ("FitmentService/CheckCart", cart.encode_to_vec()),
        ("FitmentService/CheckCarts", carts.encode_to_vec()),
        ("FitmentService/ListRadiosForVehicle", radios.encode_to_vec()),
        ("FitmentService/ListVehiclesForRadio", vehicles.encode_to_vec()),
        ("FitmentService/ListVehiclesForPart", part.encode_to_vec()),
    ]
}

fn of_records(read_at: &Option<v1::ReadAt>) -> Vec<Question> {
    let part = v1::RecordKind::Part.into();
    let get = |id: &str| {
        let key = Some(v1::RecordKey { kind: part, id: id.to_owned() });
        v1::GetRecordRequest { read_at: read_at.clone(), key }.encode_to_vec()
    };
    let list =
        v1::ListRecordsRequest { read_at: read_at.clone(), kind: part, page_size: 5, ..Default::default() };
    let search =
        v1::SearchRecordsRequest { read_at: read_at.clone(), query: "coax".to_owned(), ..Default::default() };
    let (info, export) = (
        v1::GetDatasetInfoRequest { read_at: read_at.clone() },
        v1::ExportRecordsRequest { read_at: read_at.clone(), format: 0 },
    );
    let table = v1::ExchangeFormat::PartTable.into();
    let table = v1::ExportRecordsRequest { read_at: read_at.clone(), format: table };
    let findings = v1::ListFindingsRequest { read_at: read_at.clone(), page_size: 200, ..Default::default() };
    let holes = v1::ListHolesRequest { read_at: read_at.clone(), page_size: 5, ..Default::default() };
    let golden = v1::ListGoldenAnswersRequest { read_at: read_at.clone(), ..Default::default() };
    vec![
        ("CurationService/ListGoldenAnswers", golden.encode_to_vec()),
        ("CurationService/ExportRecords", table.encode_to_vec()),
        ("CurationService/ListFindings", findings.encode_to_vec()),
        ("CurationService/ListHoles", holes.encode_to_vec()),
        ("CatalogueService/GetRecord", get("hwk-210-d")),
        // In some revisions there is none of these.
        ("CatalogueService/GetRecord", get("mw-99")),
        ("CatalogueService/GetRecord", get("lkd-1001")),
        ("CatalogueService/ListRecords", list.encode_to_vec()),
        ("CatalogueService/SearchRecords", search.encode_to_vec()),
        (INFO, info.encode_to_vec()),
        ("CurationService/ExportRecords", export.encode_to_vec()),
    ]
}

/// What is asked by other names than that of a revision and must not change either.
fn of_history(size: u64, tokens: &[String]) -> Vec<Question> {
    let inclusion = Proof::Inclusion(v1::InclusionProofRequest { sequence: 2, tree_size: size });
    let consistency = Proof::Consistency(v1::ConsistencyProofRequest { from_size: 2, to_size: size });
    let proof = |proof| v1::GetProofRequest { proof: Some(proof) }.encode_to_vec();
    let schema = v1::GetRecordSchemaRequest { kind: v1::RecordKind::Radio.into() };
    let mut asked = vec![
        ("AuditService/GetProof", proof(inclusion)),
        ("AuditService/GetProof", proof(consistency)),
        ("CatalogueService/GetRecordSchema", schema.encode_to_vec()),
    ];
    if let [.., from, to] = tokens {
        let diff = v1::DiffRevisionsRequest {
            from: from.clone(),
            to: to.clone(),
            page_size: 100,
            ..Default::default()
        };
        asked.push(("AuditService/DiffRevisions", diff.encode_to_vec()));
    }
    asked
}

async fn answer(running: &Running, questions: &[Question]) -> Vec<Answer> {
    let mut answers = Vec::new();
    for (call, message) in questions {
        let path = format!("/dashwright.v1.{call}");
        let answer = call_to_its_end(&running.channel, &path, message.clone()).await.unwrap();
        answers.push(answer.map_err(|it| (it.message().to_owned(), Refused::of(&it))));
    }
    answers
}

fn line(id: &str) -> String {
    let wanted = format!("\"id\":\"{id}\"");
    let found = demo_lines().into_iter().find(|line| line.contains(&wanted));
    found.unwrap_or_else(|| panic!("no record {id} in the demo catalogue"))
}

/// A record of the demo catalogue with every `from` replaced.
fn edited(id: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(line(id), |text, (from, to)| {
        assert!(text.contains(from), "{id} has no {from}");
        text.replace(from, to)
    })
}

/// Four edits of what the answers rest on: a price, a cheaper part and another radio, a part that goes, what a car has.
fn edits() -> [(Vec<String>, Vec<String>); 4] {
    let cheaper = edited(
        "mw-12",
        &[
            ("\"mw-12\"", "\"mw-99\""),
            ("\"MW 12\"", "\"MW 99\""),
            ("\"minor_units\":790", "\"minor_units\":490"),
        ],
    );
    let radio = edited(RADIO, &[(RADIO, "sonquill-rowan-9"), ("\"Rowan 2\"", "\"Rowan 9\"")]);
    let audio = [("base six-speaker", "six speakers, no amplifier")];
    [
        (vec![edited("hwk-210-d", &[("\"minor_units\":3290", "\"minor_units\":3690")])], vec![]),
        // The golden question expects the dearer part.
        (vec![cheaper, radio], vec!["golden_question/tamsel-2013-rowan".to_owned()]),
        (vec![], vec!["part/lkd-1001".to_owned()]),
        (vec![edited("orvane-tamsel-2012-hatchback", &audio)], vec!["part/mw-99".to_owned()]),
    ]
}

async fn publish(running: &Running, (puts, deletes): (Vec<String>, Vec<String>)) {
    let mut client = CurationServiceClient::new(running.channel.clone());
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("begin") }).await.unwrap();
    let draft_id = begun.into_inner().draft.unwrap().draft_id;
    let edit = v1::EditDraftRequest {
        change: change("edit"),
        draft_id: draft_id.clone(),
        puts: over(puts),
        deletes: deletes.iter().map(|record| deleted(record)).collect(),
        validate_only: false,
    };
    client.edit_draft(edit).await.unwrap();
    client.publish_draft(publishing(&draft_id)).await.unwrap();
}

/// Takes down what is answered as of the latest revision.
async fn keep(running: &Running, tokens: &mut Vec<String>) -> Kept {
    let info = running.catalogue.clone().get_dataset_info(v1::GetDatasetInfoRequest::default()).await;
    let revision = info.unwrap().into_inner().revision.unwrap();
    tokens.push(revision.token.clone());
    let mut questions = questions(&revision.token);
    questions.extend(of_history(running.engine.trail_size(), tokens));
    let answers = answer(running, &questions).await;
    Kept { number: revision.number, questions, answers }
}

/// Asks everything again. Only the name of the history that goes on may have become another, and that by a restore.
async fn check(running: &Running, kept: &[Kept], after: &str, incarnation: Option<&str>) {
    for Kept { number, questions, answers } in kept {
        let again = answer(running, questions).await;
        for ((question, expected), mut found) in questions.iter().zip(answers).zip(again) {
            if let (INFO, Some(name), Ok(found)) = (question.0, incarnation, &mut found) {
                let told = v1::GetDatasetInfoResponse::decode(found[0].as_slice()).unwrap();
                assert_eq!(told.incarnation, name, "{after}");
                let first = v1::GetDatasetInfoResponse::decode(expected.as_ref().unwrap()[0].as_slice());
                let incarnation = first.unwrap().incarnation;
                found[0] = v1::GetDatasetInfoResponse { incarnation, ..told }.encode_to_vec();
            }
            assert!(*expected == found, "{} as of revision {number} {after}: other bytes", question.0);
        }
    }
}

async fn backup(running: &Running) -> Vec<u8> {
    let request = v1::BackupRequest { reason: "a test".to_owned() }.encode_to_vec();
    let pieces = call_to_its_end(&running.channel, "/dashwright.v1.KeyService/Backup", request).await;
    let pieces = pieces.unwrap().unwrap();
    pieces.iter().flat_map(|piece| v1::BackupResponse::decode(piece.as_slice()).unwrap().chunk).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_answer_as_of_a_revision_is_the_same_bytes_for_good() {
    let (home, running) = Running::demo().await.unwrap();
    let mut tokens = Vec::new();
    let mut kept = vec![keep(&running, &mut tokens).await];
    for edit in edits() {
        publish(&running, edit).await;
        kept.push(keep(&running, &mut tokens).await);
        check(&running, &kept, "after later edits", None).await;
    }
    assert_eq!(kept.last().map(|last| last.number), Some(5));
    each_revision_is_answered_differently(&kept);

    let backup = backup(&running).await;
    publish(&running, (vec![line("mw-12").replace("\"MW 12\"", "\"MW 12-A\"")], vec![])).await;
    running.stop().await.unwrap();
    let running = Running::start(&home).await.unwrap();
    check(&running, &kept, "after a restart", None).await;
    running.stop().await.unwrap();
    home.lose_store().unwrap();
    let running = Running::start(&home).await.unwrap();
    check(&running, &kept, "after the store was lost", None).await;
    running.stop().await.unwrap();

    let copy = Home::restored("copy", &backup).unwrap();
    let running = Running::start(&copy).await.unwrap();
    check(&running, &kept, "after a restore", Some("copy-0")).await;
    publish(&running, (vec![line("mw-12").replace("\"MW 12\"", "\"MW 12-B\"")], vec![])).await;
    check(&running, &kept, "after an edit of what was restored", Some("copy-0")).await;
    running.stop().await.unwrap();
}

/// Otherwise the same bytes would show little.
fn each_revision_is_answered_differently(kept: &[Kept]) {
    let mut plans = BTreeSet::new();
    for Kept { questions, answers, .. } in kept {
        let place = questions.iter().position(|(call, _)| *call == "FitmentService/PlanInstall").unwrap();
        let plan = v1::PlanInstallResponse::decode(answers[place].as_ref().unwrap()[0].as_slice()).unwrap();
        // The fingerprint tells revisions from each other whatever is in them.
        let plan = v1::PlanInstallResponse { revision: None, fingerprint: String::new(), ..plan };
        plans.insert(plan.encode_to_vec());
    }
    assert_eq!(plans.len(), kept.len(), "an edit has changed nothing of the plan");
    let refused = |kept: &Kept| kept.answers.iter().filter(|answer| answer.is_err()).count();
    // There is no mw-99 in revisions 1, 2 and 5, and no lkd-1001 in 4 and 5.
    assert_eq!(kept.iter().map(refused).collect::<Vec<_>>(), [1, 1, 0, 1, 2]);
}

/// A call that is new must be asked above, or be listed with why it can not be.
#[test]
fn every_call_is_asked_or_names_no_revision() {
    let short = |path: &String| path.trim_start_matches("/dashwright.v1.").to_owned();
    let asked: BTreeSet<_> = questions("token").into_iter().map(|(call, _)| call.to_owned()).collect();
    let others: BTreeMap<_, _> = NOT_AS_OF.iter().copied().collect();
    let changes = |call: &String| others.get(call.as_str()) == Some(&CHANGES_BY_QUESTION);
    let as_of = methods_as_of().unwrap();
    let as_of: BTreeSet<_> = as_of.iter().map(short).filter(|call| !changes(call)).collect();
    assert_eq!(asked, as_of, "asked above; of a revision by the schema");
    let named: BTreeSet<_> = asked.into_iter().chain(others.keys().map(|call| (*call).to_owned())).collect();
    assert_eq!(named, methods().unwrap().iter().map(short).collect());
}
