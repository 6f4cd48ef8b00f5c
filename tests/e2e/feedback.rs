//! Feedback over a real socket: what came of jobs is queued, moves nothing until a curator accepts it, and then only what comes after.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_api::v1::audit_service_client::AuditServiceClient;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::feedback_service_client::FeedbackServiceClient;
use dashwright_api::v1::resolve_outcome_request::Resolution;
use dashwright_engine::keys::Role;
use dashwright_tests::change::{change, publishing};
use dashwright_tests::keys::{Keys, with_key};
use dashwright_tests::raw::call_to_its_end;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running, demo_json, demo_lines};
use prost::Message as _;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tonic::transport::Channel;
use tonic::{Code, Status};
use v1::read_at::At;

const RADIO: &str = "sonquill-rowan-2";
const LINE: &str = "orvane-tamsel-2012-hatchback";

type Client = FeedbackServiceClient<Channel>;

fn client(running: &Running) -> Client {
    FeedbackServiceClient::new(running.channel.clone())
}

fn asked(audio: &str, radio: &str) -> v1::PlanInstallRequest {
    let words = "2013 orvane tamsel hatchback".to_owned();
    let vehicle = v1::VehicleQuestion { words, audio_option: audio.to_owned(), ..Default::default() };
    v1::PlanInstallRequest { vehicle: Some(vehicle), radio_id: radio.to_owned(), ..Default::default() }
}

async fn plan(running: &Running, question: &v1::PlanInstallRequest) -> v1::PlanInstallResponse {
    running.fitment.clone().plan_install(question.clone()).await.unwrap().into_inner()
}

fn report(question: &v1::PlanInstallRequest, plan: &v1::PlanInstallResponse) -> v1::ReportOutcomeRequest {
    let request_id = change("none").unwrap().request_id;
    v1::ReportOutcomeRequest {
        change: Some(v1::Change { request_id, reason: String::new() }),
        question: Some(question.clone()),
        fingerprint: plan.fingerprint.clone(),
        revision: plan.revision.clone().unwrap().token,
        result: v1::JobResult::Worked.into(),
        wrong: Vec::new(),
        note: String::new(),
    }
}

fn wrong(record: &str, kind: v1::WrongKind, text: &str) -> v1::WrongRecord {
    v1::WrongRecord { record: record.to_owned(), kind: kind.into(), text: text.to_owned() }
}

fn accept(outcome: u64, draft_id: &str, records: &[&str]) -> v1::ResolveOutcomeRequest {
    let records = records.iter().map(|record| (*record).to_owned()).collect();
    let resolution = Some(Resolution::Accept(v1::AcceptOutcome { draft_id: draft_id.to_owned(), records }));
    v1::ResolveOutcomeRequest { change: change("checked"), outcome, resolution, validate_only: false }
}

fn reject(outcome: u64) -> v1::ResolveOutcomeRequest {
    let resolution = Some(Resolution::Reject(v1::RejectOutcome {}));
    v1::ResolveOutcomeRequest { change: change("a mix-up"), outcome, resolution, validate_only: false }
}

async fn empty_draft(running: &Running) -> String {
    let mut client = CurationServiceClient::new(running.channel.clone());
    let begun = client.create_draft(v1::CreateDraftRequest { change: change("jobs") }).await.unwrap();
    begun.into_inner().draft.unwrap().draft_id
}

async fn listed(running: &Running, state: v1::OutcomeState) -> Vec<v1::JobOutcome> {
    let request = v1::ListOutcomesRequest { state: state.into(), ..Default::default() };
    client(running).list_outcomes(request).await.unwrap().into_inner().outcomes
}

fn told<T: std::fmt::Debug>(result: Result<T, Status>) -> (Code, String) {
    let refused = Refused::of(&result.unwrap_err());
    (refused.code, refused.reason)
}

/// What the demo catalogue says of the car and the radio, and the parts that the plan names: each with its evidence as JSON.
fn rests_on(plan: &v1::PlanInstallResponse) -> Vec<(String, Value)> {
    let all = demo_json().unwrap();
    let line = &all["vehicle"][LINE];
    let audio = line["audio_options"].as_array().unwrap().iter();
    let audio = audio.clone().find(|option| option["code"] == "A8").unwrap()["audio"].as_str().unwrap();
    // In the order of the kinds, and then of the ids.
    let parts = &plan.settled.as_ref().unwrap().parts;
    assert!(parts.len() > 3, "{parts:?}");
    let mut keys = vec![("dash", line["dash"].as_str().unwrap()), ("factory_audio", audio), ("radio", RADIO)];
    keys.extend(parts.iter().map(|part| ("part", part.part_id.as_str())));
    keys.push(("vehicle", LINE));
    let evidence = |(kind, id): (&str, &str)| (format!("{kind}/{id}"), all[kind][id]["evidence"].clone());
    keys.into_iter().map(evidence).collect()
}

fn jobs(evidence: &Value, what: &str) -> u64 {
    evidence[what].as_u64().unwrap_or(0)
}

/// The fewest confirmations and the most contradictions of records, with so many jobs more.
fn at_weakest(records: &[(String, Value)], more: u64) -> (u64, u64) {
    let confirmed = records.iter().map(|(_, evidence)| jobs(evidence, "confirmed_jobs") + more).min();
    let contradicted = records.iter().map(|(_, evidence)| jobs(evidence, "contradicted_jobs")).max();
    (confirmed.unwrap(), contradicted.unwrap())
}

fn told_jobs(plan: &v1::PlanInstallResponse) -> (u64, u64) {
    let jobs = plan.jobs.as_ref().unwrap();
    (jobs.confirmed_jobs.into(), jobs.contradicted_jobs.into())
}

async fn bytes_as_of(running: &Running, question: &v1::PlanInstallRequest, token: &str) -> Vec<Vec<u8>> {
    let read_at = Some(v1::ReadAt { at: Some(At::Exactly(token.to_owned())) });
    let message = v1::PlanInstallRequest { read_at, ..question.clone() }.encode_to_vec();
    let path = "/dashwright.v1.FitmentService/PlanInstall";
    call_to_its_end(&running.channel, path, message).await.unwrap().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_counts_once_it_is_accepted_and_published_and_nothing_earlier_changes() {
    let (_home, running) = Running::demo().await.unwrap();
    let question = asked("A8", RADIO);
    let before = plan(&running, &question).await;
    let records = rests_on(&before);
    assert_eq!(told_jobs(&before), at_weakest(&records, 0));
    let token = before.revision.clone().unwrap().token;
    let first = bytes_as_of(&running, &question, &token).await;

    let request = report(&question, &before);
    let reported = client(&running).report_outcome(request.clone()).await.unwrap().into_inner();
    let names: Vec<String> = records.iter().map(|(name, _)| name.clone()).collect();
    assert_eq!((&reported.rests_on, reported.repeated), (&names, false));
    let again = client(&running).report_outcome(request).await.unwrap().into_inner();
    assert_eq!((again.outcome, again.repeated), (reported.outcome, true));
    assert_eq!(plan(&running, &question).await, before);

    let draft = empty_draft(&running).await;
    let accepting = accept(reported.outcome, &draft, &[]);
    let looked =
        v1::ResolveOutcomeRequest { validate_only: true, change: change("look"), ..accepting.clone() };
    let looked = client(&running).resolve_outcome(looked).await.unwrap().into_inner();
    assert_eq!((looked.outcome.unwrap().state(), looked.draft.unwrap().edits), (v1::OutcomeState::Open, 1));
    let accepted = client(&running).resolve_outcome(accepting.clone()).await.unwrap().into_inner();
    assert_eq!(accepted.outcome.as_ref().unwrap().resolution.as_ref().unwrap().counted, names);
    let again = client(&running).resolve_outcome(accepting).await.unwrap().into_inner();
    assert_eq!((again.outcome, again.repeated), (accepted.outcome, true));
    assert_eq!(plan(&running, &question).await, before, "a draft changes no answer");

    let mut curation = CurationServiceClient::new(running.channel.clone());
    curation.publish_draft(publishing(&draft)).await.unwrap();
    let after = plan(&running, &question).await;
    assert_eq!(told_jobs(&after), at_weakest(&records, 1));
    for part in &after.parts {
        let name = format!("part/{}", part.id);
        let Some((_, was)) = records.iter().find(|(record, _)| *record == name) else { continue };
        let now = part.evidence.as_ref().unwrap();
        assert_eq!(u64::from(now.confirmed_jobs), jobs(was, "confirmed_jobs") + 1, "{name}");
        let grade = was["grade"].as_str().unwrap();
        let expected = if grade == "ASSUMED" { "REPORTED" } else { grade };
        assert_eq!(now.grade().as_str_name(), format!("GRADE_{expected}"), "{name}");
    }
    assert_ne!(after.fingerprint, before.fingerprint);
    assert_eq!(bytes_as_of(&running, &question, &token).await, first);
    // A job takes a while: its plan may be an earlier revision's by the time that it is reported.
    let late = client(&running).report_outcome(report(&question, &before)).await.unwrap().into_inner();
    assert_eq!(late.rests_on, names);
    let counted = listed(&running, v1::OutcomeState::Accepted).await;
    assert_eq!(counted.len(), 1);
    assert_eq!(counted[0].resolution.as_ref().unwrap().published_in_revision, 2);
    check_trail(&running, &names).await;
    running.stop().await.unwrap();
}

/// The trail tells of a record that it was reported on, and that the job was counted.
async fn check_trail(running: &Running, names: &[String]) {
    let mut client = AuditServiceClient::new(running.channel.clone());
    for record in names {
        let request = v1::ListEntriesRequest { record: record.clone(), ..Default::default() };
        let entries = client.list_entries(request).await.unwrap().into_inner().entries;
        let kinds: Vec<&str> = entries.iter().map(|entry| entry.kind.as_str()).collect();
        // Loaded, reported, accepted, reported again.
        assert_eq!(kinds, ["draft.edit", "outcome.report", "draft.edit", "outcome.report"], "{record}");
        assert_eq!(entries[2].published_in_revision, 2);
    }
    let request = v1::ListEntriesRequest {
        kind: "outcome.report".to_owned(),
        with_payload: true,
        ..v1::ListEntriesRequest::default()
    };
    let entries = client.list_entries(request).await.unwrap().into_inner().entries;
    let payload: Value = serde_json::from_str(&entries[0].payload).unwrap();
    assert_eq!(
        (&payload["result"], &payload["vehicles"][0]),
        (&"WORKED".into(), &format!("{LINE} A8").into())
    );
}

/// By hand from the form that `planner/src/rests.rs` and `grpc/src/fingerprint.rs` promise for good; SHA-256 by the sha2 crate.
#[tokio::test(flavor = "multi_thread")]
async fn a_fingerprint_is_of_the_plan_and_not_of_the_words() {
    let (home, running) = Running::demo().await.unwrap();
    let question = asked("A8", RADIO);
    let first = plan(&running, &question).await;
    let mut gist = format!("radio {RADIO}, fits with parts\nplan of 0: fits with parts, dash tamsel-2\n");
    for part in &first.settled.as_ref().unwrap().parts {
        gist.push_str(&format!("part {}\n", part.part_id));
    }
    let revision = first.revision.clone().unwrap();
    let mut whole =
        format!("dashwright plan 1\n{}\n{}\n", revision.token, revision.content_hash).into_bytes();
    whole.extend(Sha256::digest(gist));
    whole.extend(format!("{LINE} A8\n").bytes());
    let expected: String = Sha256::digest(whole).iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(first.fingerprint, expected);

    let vehicle = v1::VehicleQuestion {
        model_year: 2013,
        make: "Orvane".to_owned(),
        model: "tamsel".to_owned(),
        body: "hatchback".to_owned(),
        audio_option: "A8".to_owned(),
        ..Default::default()
    };
    let other_words = v1::PlanInstallRequest { vehicle: Some(vehicle), ..question.clone() };
    assert_eq!(plan(&running, &other_words).await.fingerprint, expected);
    let mut all = BTreeSet::from([expected.clone()]);
    for (audio, radio) in [("B6", RADIO), ("", RADIO), ("A8", "kelvora-tern-2"), ("B6", "kelvora-tern-2")] {
        assert!(all.insert(plan(&running, &asked(audio, radio)).await.fingerprint), "{audio} {radio}");
    }
    running.stop().await.unwrap();
    let running = Running::start(&home).await.unwrap();
    assert_eq!(plan(&running, &question).await.fingerprint, expected);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_that_is_unknown_open_or_no_way_takes_no_report() {
    let (_home, running) = Running::demo().await.unwrap();
    let question = asked("A8", RADIO);
    let good = report(&question, &plan(&running, &question).await);
    let refused = async |request: v1::ReportOutcomeRequest| {
        let change = report(
            &question,
            &v1::PlanInstallResponse { revision: Some(v1::DatasetRevision::default()), ..Default::default() },
        )
        .change;
        told(client(&running).report_outcome(v1::ReportOutcomeRequest { change, ..request }).await)
    };
    let not_found = (Code::NotFound, "PLAN_NOT_FOUND".to_owned());
    let mistyped = v1::ReportOutcomeRequest { fingerprint: "ab12".to_owned(), ..good.clone() };
    assert_eq!(refused(mistyped).await, not_found);
    let other_car = v1::ReportOutcomeRequest { question: Some(asked("B6", RADIO)), ..good.clone() };
    assert_eq!(refused(other_car).await, not_found);

    let open = asked("", RADIO);
    let answer = plan(&running, &open).await;
    assert!(!answer.depends.is_empty());
    let not_settled = (Code::FailedPrecondition, "PLAN_NOT_SETTLED".to_owned());
    assert_eq!(refused(report(&open, &answer)).await, not_settled);

    // A shelf with an antenna lead alone: nothing can be installed, and whoever says so nevertheless is mistaken.
    let order = v1::Order { stocked_part_ids: vec!["mw-12".to_owned()], ..Default::default() };
    let no_way = v1::PlanInstallRequest { order: Some(order), ..question.clone() };
    let answer = plan(&running, &no_way).await;
    assert_eq!(answer.verdict(), v1::Verdict::NotWithExclusions);
    assert_eq!(refused(report(&no_way, &answer)).await, not_settled);
    let otherwise = v1::ReportOutcomeRequest {
        result: v1::JobResult::DidNotWork.into(),
        wrong: vec![wrong("dash/tamsel-2", v1::WrongKind::WrongData, "it went in with what the car had")],
        ..report(&no_way, &answer)
    };
    let queued = client(&running).report_outcome(otherwise).await.unwrap().into_inner();
    assert!(queued.rests_on.contains(&"dash/tamsel-2".to_owned()), "{queued:?}");
    assert!(queued.rests_on.iter().all(|record| !record.starts_with("part/")), "{queued:?}");
    let elsewhere = v1::ReportOutcomeRequest { revision: "x".to_owned(), ..good };
    assert_eq!(refused(elsewhere).await, (Code::InvalidArgument, "REVISION_TOKEN_INVALID".to_owned()));
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn every_malformed_field_of_a_report_is_told_at_once() {
    let (_home, running) = Running::demo().await.unwrap();
    let empty = client(&running).report_outcome(v1::ReportOutcomeRequest::default()).await.unwrap_err();
    let mut paths = Refused::of(&empty).paths;
    paths.sort();
    assert_eq!(paths, ["change", "fingerprint", "question", "result", "revision"]);

    let question = asked("A8", RADIO);
    let good = report(&question, &plan(&running, &question).await);
    let part = "radio/sonquill-rowan-2";
    let lines = [
        (wrong("nothing", v1::WrongKind::WrongLead, ""), "wrong[0].record"),
        (wrong("dash/no-such", v1::WrongKind::WrongLead, ""), "wrong[0].record"),
        (wrong(part, v1::WrongKind::Unspecified, ""), "wrong[0].kind"),
        (v1::WrongRecord { kind: 77, ..wrong(part, v1::WrongKind::Missing, "") }, "wrong[0].kind"),
        (wrong(part, v1::WrongKind::Other, " "), "wrong[0].text"),
        (wrong(part, v1::WrongKind::Missing, "a\u{1b}[2J"), "wrong[0].text"),
        (wrong(part, v1::WrongKind::Missing, &"x".repeat(1_001)), "wrong[0].text"),
    ];
    for (line, path) in lines {
        let request = v1::ReportOutcomeRequest { wrong: vec![line.clone()], ..good.clone() };
        let refused = Refused::of(&client(&running).report_outcome(request).await.unwrap_err());
        assert_eq!(
            (refused.reason.as_str(), refused.paths),
            ("FIELDS_INVALID", vec![path.to_owned()]),
            "{line:?}"
        );
    }
    // Every record that the plan does not rest on is named.
    let strangers = ["part/kit-7", "part/lkd-3009", "dash/tamsel-2", "vocabulary/orvane"];
    let strangers = strangers.map(|record| wrong(record, v1::WrongKind::DoesNotFit, "")).to_vec();
    let request = v1::ReportOutcomeRequest { wrong: strangers, ..good.clone() };
    let status = client(&running).report_outcome(request).await.unwrap_err();
    assert_eq!(Refused::of(&status).paths, ["wrong[0].record", "wrong[1].record", "wrong[3].record"]);

    let twice = vec![wrong(part, v1::WrongKind::Missing, ""); 2];
    let many = (0..13).map(|number| wrong(&format!("part/p{number}"), v1::WrongKind::Missing, "")).collect();
    let mut vehicle = question.vehicle.clone().unwrap();
    vehicle.make = "x".repeat(121);
    let odd = v1::PlanInstallRequest { vehicle: Some(vehicle), radio_id: "none".to_owned(), ..question };
    for (request, path) in [
        (v1::ReportOutcomeRequest { wrong: twice, ..good.clone() }, vec!["wrong[1].record"]),
        (v1::ReportOutcomeRequest { wrong: many, ..good.clone() }, vec!["wrong"]),
        (v1::ReportOutcomeRequest { note: "x".repeat(1_001), ..good.clone() }, vec!["note"]),
        (v1::ReportOutcomeRequest { result: 9, ..good.clone() }, vec!["result"]),
        (
            v1::ReportOutcomeRequest { question: Some(odd), ..good.clone() },
            vec!["question.vehicle.make", "question.radio_id"],
        ),
    ] {
        let refused = Refused::of(&client(&running).report_outcome(request).await.unwrap_err());
        assert_eq!(refused.paths, path);
    }
    assert_eq!(listed(&running, v1::OutcomeState::Unspecified).await, []);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_shop_reports_and_a_curator_decides() {
    let mut keys = Keys::none();
    let (reader, curator) = (keys.make(Role::Reader).unwrap(), keys.make(Role::Curator).unwrap());
    let home = Home::new("keys").unwrap();
    let running = Running::start_for(&home, keys.access()).await.unwrap();
    running.load(demo_lines()).await.unwrap();
    let question = asked("A8", RADIO);
    let mut fitment = running.fitment.clone();
    let answer = fitment.plan_install(with_key(question.clone(), reader.reveal()).unwrap()).await;
    let request = report(&question, &answer.unwrap().into_inner());
    let mut client = client(&running);
    assert_eq!(told(client.report_outcome(request.clone()).await).0, Code::Unauthenticated);
    let done = client.report_outcome(with_key(request, reader.reveal()).unwrap()).await.unwrap().into_inner();
    let list = v1::ListOutcomesRequest::default();
    let missing = (Code::PermissionDenied, "ROLE_MISSING".to_owned());
    let refused = client.list_outcomes(with_key(list.clone(), reader.reveal()).unwrap()).await;
    assert_eq!(told(refused), missing);
    let refused = client.resolve_outcome(with_key(reject(done.outcome), reader.reveal()).unwrap()).await;
    assert_eq!(told(refused), missing);
    let resolved = client.resolve_outcome(with_key(reject(done.outcome), curator.reveal()).unwrap()).await;
    let outcome = resolved.unwrap().into_inner().outcome.unwrap();
    let (reporter, curator_name) = (&outcome.reporter, &outcome.resolution.as_ref().unwrap().curator);
    assert!(reporter.contains("holder 0") && curator_name.contains("holder 1"), "{outcome:?}");
    let found = client.list_outcomes(with_key(list, curator.reveal()).unwrap()).await.unwrap().into_inner();
    assert_eq!(found.outcomes, [outcome]);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_queue_is_read_page_by_page() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    let (amplified, base) = (asked("A8", RADIO), asked("B6", RADIO));
    let plans = [plan(&running, &amplified).await, plan(&running, &base).await];
    let mut numbers = Vec::new();
    for place in 0..7 {
        let (question, plan) = if place % 2 == 0 { (&amplified, &plans[0]) } else { (&base, &plans[1]) };
        let request = report(question, plan);
        numbers.push(client.report_outcome(request).await.unwrap().into_inner().outcome);
    }
    client.resolve_outcome(reject(numbers[0])).await.unwrap();
    let mut request = v1::ListOutcomesRequest { page_size: 3, ..Default::default() };
    let (mut found, mut pages) = (Vec::new(), 0);
    loop {
        let page = client.list_outcomes(request.clone()).await.unwrap().into_inner();
        found.extend(page.outcomes.iter().map(|it| it.outcome));
        pages += 1;
        if page.next_page_token.is_empty() {
            break;
        }
        request.page_token = page.next_page_token;
    }
    // What is open comes first.
    numbers.rotate_left(1);
    assert_eq!((found, pages), (numbers, 3));

    let of_record =
        |record: &str| v1::ListOutcomesRequest { record: record.to_owned(), ..Default::default() };
    for (record, expected) in [
        ("factory_audio/orv-2-amp", 4),
        ("factory_audio/orv-2-base", 3),
        ("dash/tamsel-2", 7),
        ("part/no", 0),
    ] {
        let found = client.list_outcomes(of_record(record)).await.unwrap().into_inner();
        assert_eq!((found.outcomes.len(), found.next_page_token.as_str()), (expected, ""), "{record}");
    }
    assert_eq!(listed(&running, v1::OutcomeState::Rejected).await.len(), 1);
    let other = v1::ListOutcomesRequest { state: 1, ..request };
    let bad = v1::ListOutcomesRequest {
        state: 9,
        record: "x".to_owned(),
        page_size: 501,
        page_token: "x".to_owned(),
    };
    assert_eq!(told(client.list_outcomes(other).await).1, "PAGE_TOKEN_INVALID");
    let mut paths = Refused::of(&client.list_outcomes(bad).await.unwrap_err()).paths;
    paths.sort();
    assert_eq!(paths, ["page_size", "page_token", "record", "state"]);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_can_not_be_resolved_is_told_and_a_discarded_draft_opens_its_outcomes_again() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = client(&running);
    let question = asked("A8", RADIO);
    let answer = plan(&running, &question).await;
    let did_not = v1::ReportOutcomeRequest {
        result: v1::JobResult::DidNotWork.into(),
        wrong: vec![wrong("factory_audio/orv-2-amp", v1::WrongKind::WrongLead, "the grey one is rear")],
        note: "an hour lost".to_owned(),
        ..report(&question, &answer)
    };
    let outcome = client.report_outcome(did_not).await.unwrap().into_inner().outcome;
    let unexplained =
        v1::ReportOutcomeRequest { result: v1::JobResult::DidNotWork.into(), ..report(&question, &answer) };
    let unexplained = client.report_outcome(unexplained).await.unwrap().into_inner().outcome;
    let draft = empty_draft(&running).await;
    for (request, code, reason) in [
        (reject(1), Code::NotFound, "OUTCOME_NOT_FOUND"),
        (accept(999_999, &draft, &[]), Code::NotFound, "OUTCOME_NOT_FOUND"),
        (accept(outcome, "no-draft", &[]), Code::NotFound, "DRAFT_NOT_OPEN"),
        (accept(unexplained, &draft, &[]), Code::FailedPrecondition, "OUTCOME_COUNTS_NOTHING"),
    ] {
        assert_eq!(told(client.resolve_outcome(request).await), (code, reason.to_owned()));
    }
    let nothing = v1::ResolveOutcomeRequest { change: None, resolution: None, ..reject(0) };
    for (request, expected) in [
        (nothing, vec!["change", "outcome", "resolution"]),
        (accept(outcome, "", &[]), vec!["accept.draft_id"]),
        (
            accept(outcome, &draft, &["part/no-such", "x", "dash/tamsel-2", "dash/tamsel-2"]),
            vec!["accept.records[0]", "accept.records[1]", "accept.records[3]"],
        ),
        (v1::ResolveOutcomeRequest { change: change(" "), ..reject(outcome) }, vec!["change.reason"]),
    ] {
        assert_eq!(Refused::of(&client.resolve_outcome(request).await.unwrap_err()).paths, expected);
    }

    let accepted = client.resolve_outcome(accept(outcome, &draft, &[])).await.unwrap().into_inner();
    let counted = accepted.outcome.unwrap().resolution.unwrap().counted;
    assert_eq!(counted, ["factory_audio/orv-2-amp"]);
    let refused = Refused::of(&client.resolve_outcome(reject(outcome)).await.unwrap_err());
    let resolved = (Code::FailedPrecondition, "OUTCOME_RESOLVED");
    assert_eq!((refused.code, refused.reason.as_str()), resolved);
    assert_eq!(refused.metadata["state"], "accepted");
    let mut curation = CurationServiceClient::new(running.channel.clone());
    let discard = v1::DiscardDraftRequest { change: change("not today"), draft_id: draft };
    curation.discard_draft(discard).await.unwrap();
    let open: Vec<u64> = listed(&running, v1::OutcomeState::Open).await.iter().map(|it| it.outcome).collect();
    assert_eq!(open, [outcome, unexplained]);

    let draft = empty_draft(&running).await;
    client.resolve_outcome(accept(outcome, &draft, &[])).await.unwrap();
    client.resolve_outcome(accept(unexplained, &draft, &["dash/tamsel-2"])).await.unwrap();
    curation.publish_draft(publishing(&draft)).await.unwrap();
    let after = plan(&running, &question).await.jobs.unwrap();
    assert_eq!(after.contradicted_jobs, 1);
    running.stop().await.unwrap();
}

/// What the demo catalogue says that every candidate has, of one kind; nothing where they differ.
fn shared(kind: &str, ids: impl Iterator<Item = String>) -> Vec<String> {
    let ids: BTreeSet<String> = ids.collect();
    if ids.len() == 1 { ids.into_iter().map(|id| format!("{kind}/{id}")).collect() } else { Vec::new() }
}

/// A question by year, make, model and option may leave several lines that get one plan: which of them the job has seen nobody knows.
#[tokio::test(flavor = "multi_thread")]
async fn of_several_vehicles_with_one_plan_only_what_they_share_counts() {
    let (_home, running) = Running::demo().await.unwrap();
    let all = demo_json().unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let mut several = 0;
    for line in all["vehicle"].values() {
        let question = v1::VehicleQuestion {
            make: text(&line["make"]),
            model: text(&line["model"]),
            model_year: u32::try_from(line["years"]["from"].as_u64().unwrap()).unwrap(),
            audio_option: text(&line["audio_options"][0]["code"]),
            ..Default::default()
        };
        let question = v1::PlanInstallRequest {
            vehicle: Some(question),
            radio_id: RADIO.to_owned(),
            ..Default::default()
        };
        let plan = plan(&running, &question).await;
        let planned = [v1::Verdict::FitsAsIs, v1::Verdict::FitsWithParts].contains(&plan.verdict());
        if !planned || !plan.depends.is_empty() || plan.candidates.len() < 2 {
            continue;
        }
        let reported = client(&running).report_outcome(report(&question, &plan)).await.unwrap().into_inner();
        let lines = || plan.candidates.iter().map(|it| (it, &all["vehicle"][&it.vehicle_id]));
        let audio = |(it, line): (&v1::Candidate, &Value)| {
            let mut options = line["audio_options"].as_array().unwrap().iter();
            text(&options.find(|option| option["code"] == it.audio_option.as_str()).unwrap()["audio"])
        };
        let expected = [
            shared("dash", lines().map(|(_, line)| text(&line["dash"]))),
            shared("factory_audio", lines().map(audio)),
            shared("vehicle", lines().map(|(it, _)| it.vehicle_id.clone())),
        ]
        .concat();
        let of_vehicle = |record: &&String| !record.starts_with("part/") && !record.starts_with("radio/");
        let found: Vec<String> = reported.rests_on.iter().filter(of_vehicle).cloned().collect();
        assert_eq!(found, expected, "{:?}", plan.candidates);
        several += usize::from(expected.len() < 3);
    }
    assert!(several > 0, "no question leaves several vehicles with one plan");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn outcomes_outlive_a_restart_a_lost_store_and_a_restore() {
    let (home, running) = Running::demo().await.unwrap();
    let question = asked("A8", RADIO);
    let answer = plan(&running, &question).await;
    let mut numbers = Vec::new();
    for _ in 0..3 {
        let done = client(&running).report_outcome(report(&question, &answer)).await.unwrap().into_inner();
        numbers.push(done.outcome);
    }
    let draft = empty_draft(&running).await;
    client(&running).resolve_outcome(accept(numbers[0], &draft, &[])).await.unwrap();
    client(&running).resolve_outcome(reject(numbers[1])).await.unwrap();
    let expected = listed(&running, v1::OutcomeState::Unspecified).await;
    assert_eq!(expected.len(), 3);
    let request = v1::BackupRequest { reason: "a test".to_owned() }.encode_to_vec();
    let pieces = call_to_its_end(&running.channel, "/dashwright.v1.KeyService/Backup", request).await;
    let pieces = pieces.unwrap().unwrap();
    let backup: Vec<u8> =
        pieces.iter().flat_map(|piece| v1::BackupResponse::decode(piece.as_slice()).unwrap().chunk).collect();
    running.stop().await.unwrap();
    for lost in [false, true] {
        if lost {
            home.lose_store().unwrap();
        }
        let running = Running::start(&home).await.unwrap();
        assert_eq!(listed(&running, v1::OutcomeState::Unspecified).await, expected, "store lost: {lost}");
        running.stop().await.unwrap();
    }
    let copy = Home::restored("copy", &backup).unwrap();
    let running = Running::start(&copy).await.unwrap();
    assert_eq!(listed(&running, v1::OutcomeState::Unspecified).await, expected);
    // The plan is of a revision before the backup, which both histories have.
    client(&running).report_outcome(report(&question, &answer)).await.unwrap();
    running.stop().await.unwrap();
}
