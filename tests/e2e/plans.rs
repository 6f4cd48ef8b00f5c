//! Plans over a real socket: every call agrees with every other, and answering the question takes nothing back.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1::{
    Aim, ListRadiosForVehicleRequest, ListRadiosForVehicleResponse, ListRecordsRequest,
    ListVehiclesForPartRequest, ListVehiclesForRadioRequest, Order, PlanInstallRequest, PlanInstallResponse,
    RecordKind, Total, VehicleQuestion, Verdict,
};
use dashwright_tests::question::{answered, questions_of_lines};
use dashwright_tests::service::Running;
use prost::Message as _;
use tonic_types::StatusExt as _;

async fn plan(running: &Running, vehicle: &VehicleQuestion, radio: &str) -> PlanInstallResponse {
    let request = PlanInstallRequest {
        vehicle: Some(vehicle.clone()),
        radio_id: radio.to_owned(),
        ..Default::default()
    };
    running.fitment.clone().plan_install(request).await.unwrap().into_inner()
}

async fn radios(running: &Running) -> Vec<String> {
    let request = ListRecordsRequest { kind: RecordKind::Radio.into(), ..Default::default() };
    let listed = running.catalogue.clone().list_records(request).await.unwrap().into_inner();
    listed.records.into_iter().map(|record| record.key.unwrap().id).collect()
}

async fn radios_for(running: &Running, vehicle: &VehicleQuestion) -> ListRadiosForVehicleResponse {
    let request = ListRadiosForVehicleRequest { vehicle: Some(vehicle.clone()), ..Default::default() };
    running.fitment.clone().list_radios_for_vehicle(request).await.unwrap().into_inner()
}

/// The needs that a part serves, by vehicle line and audio option.
type Served = BTreeMap<(String, String), BTreeSet<i32>>;

/// The verdict of each candidate of an answer, by the code of its audio option.
fn verdicts(answer: &PlanInstallResponse) -> BTreeMap<(String, String), Verdict> {
    let numbered = answer.candidates.iter().zip(0_u32..);
    let verdict = |number: u32| {
        let variant = answer.depends.iter().find(|variant| variant.candidates.contains(&number));
        variant.map_or(answer.verdict(), |variant| variant.verdict())
    };
    numbered
        .map(|(one, number)| ((one.vehicle_id.clone(), one.audio_option.clone()), verdict(number)))
        .collect()
}

/// The parts of each candidate's plan: those that are settled and those of its variant.
fn parts_of(answer: &PlanInstallResponse, number: u32) -> BTreeMap<String, BTreeSet<i32>> {
    let variant = answer.depends.iter().find(|variant| variant.candidates.contains(&number));
    let own = variant.and_then(|variant| variant.pieces.as_ref());
    let pieces = answer.settled.iter().chain(own);
    let parts = pieces.flat_map(|pieces| &pieces.parts);
    let serves = |part: &dashwright_api::v1::PlannedPart| part.serves.iter().map(|one| one.need).collect();
    parts.map(|part| (part.part_id.clone(), serves(part))).collect()
}

fn total_of(answer: &PlanInstallResponse, number: u32) -> Option<Total> {
    let variant = answer.depends.iter().find(|variant| variant.candidates.contains(&number));
    let own = variant.and_then(|variant| variant.pieces.as_ref());
    answer.settled.iter().chain(own).find_map(|pieces| pieces.total.clone())
}

fn fits(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::FitsAsIs | Verdict::FitsWithParts)
}

/// ListRadiosForVehicle, ListVehiclesForRadio and ListVehiclesForPart say what PlanInstall says, for every pair.
#[tokio::test(flavor = "multi_thread")]
async fn every_pair_of_vehicle_and_radio_agrees_in_every_call() {
    let (_home, running) = Running::demo().await.unwrap();
    let radios = radios(&running).await;
    let mut by_radio = BTreeMap::new();
    for radio in &radios {
        by_radio.insert(radio.clone(), vehicles_for(&running, radio).await);
    }
    let mut served: BTreeMap<(String, String), Served> = BTreeMap::new();
    let (mut pairs, mut fitting) = (0, 0);
    for (id, question) in questions_of_lines(&running).await.unwrap() {
        let listed = radios_for(&running, &question).await;
        assert_eq!(listed.total as usize, radios.len());
        for radio in &radios {
            let answer = plan(&running, &question, radio).await;
            let row = listed.radios.iter().find(|row| row.radio.as_ref().unwrap().id == *radio).unwrap();
            assert_eq!(row.verdict(), answer.verdict(), "{id} {radio}");
            for (((vehicle, option), verdict), number) in verdicts(&answer).into_iter().zip(0..) {
                let number = place(&answer, &vehicle, &option).unwrap_or(number);
                let (own_verdict, own_total) = &by_radio[radio][&(vehicle.clone(), option.clone())];
                assert_eq!(*own_verdict, verdict, "{vehicle} {option} {radio}");
                assert_eq!(*own_total, total_of(&answer, number), "{vehicle} {option} {radio}");
                pairs += 1;
                fitting += usize::from(fits(verdict));
                for (part, needs) in parts_of(&answer, number) {
                    let key = (part.clone(), radio.clone());
                    if !served.contains_key(&key) {
                        served.insert(key.clone(), vehicles_of_part(&running, &part, radio).await);
                    }
                    let serves = served[&key].get(&(vehicle.clone(), option.clone()));
                    // A part that another part needs may serve nothing by itself.
                    let serves = serves.cloned().unwrap_or_default();
                    assert!(needs.is_subset(&serves), "{vehicle} {radio} {part}: {needs:?} {serves:?}");
                }
            }
        }
    }
    assert!(pairs > 1_000 && fitting > 300, "{pairs} pairs, {fitting} fit");
    running.stop().await.unwrap();
}

fn place(answer: &PlanInstallResponse, vehicle: &str, option: &str) -> Option<u32> {
    let found = answer
        .candidates
        .iter()
        .position(|one| (one.vehicle_id.as_str(), one.audio_option.as_str()) == (vehicle, option))?;
    u32::try_from(found).ok()
}

async fn vehicles_for(
    running: &Running,
    radio: &str,
) -> BTreeMap<(String, String), (Verdict, Option<Total>)> {
    let mut found = BTreeMap::new();
    let mut page_token = String::new();
    loop {
        let request = ListVehiclesForRadioRequest {
            radio_id: radio.to_owned(),
            page_size: 30,
            page_token,
            ..Default::default()
        };
        let page = running.fitment.clone().list_vehicles_for_radio(request).await.unwrap().into_inner();
        for row in page.vehicles {
            let verdict = row.verdict();
            let vehicle = row.vehicle.unwrap();
            let key = (vehicle.vehicle_id, vehicle.audio_option);
            assert!(found.insert(key, (verdict, row.total)).is_none(), "a vehicle is listed twice");
        }
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return found;
        }
    }
}

async fn vehicles_of_part(running: &Running, part: &str, radio: &str) -> Served {
    let mut found = BTreeMap::new();
    let mut page_token = String::new();
    loop {
        let request = ListVehiclesForPartRequest {
            part_id: part.to_owned(),
            radio_id: radio.to_owned(),
            page_size: 200,
            page_token,
            ..Default::default()
        };
        let page = running.fitment.clone().list_vehicles_for_part(request).await.unwrap().into_inner();
        for row in page.vehicles {
            let serves = row.serves.iter().copied().collect();
            let vehicle = row.vehicle.unwrap();
            found.insert((vehicle.vehicle_id, vehicle.audio_option), serves);
        }
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return found;
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn answering_the_question_never_takes_back_what_was_settled() {
    let (_home, running) = Running::demo().await.unwrap();
    let (mut asked, mut narrowed) = (0, 0);
    for (id, question) in questions_of_lines(&running).await.unwrap() {
        for radio in ["sonquill-larch-1", "sonquill-rowan-2", "kelvora-tern-2", "nordvale-loom-2"] {
            let answer = plan(&running, &question, radio).await;
            let Some(open) = &answer.question else { continue };
            asked += 1;
            assert!(answer.depends.len() > 1, "{id} {radio}: a question and nothing depends");
            for choice in &open.choices {
                let narrower = answered(&question, open.attribute(), &choice.value).unwrap();
                let next = plan(&running, &narrower, radio).await;
                kept(&id, &answer, &next);
                narrowed += 1;
            }
        }
    }
    assert!(asked >= 20 && narrowed >= 2 * asked, "{asked} questions, {narrowed} answers");
    running.stop().await.unwrap();
}

/// What was settled before is settled now.
fn kept(id: &str, before: &PlanInstallResponse, now: &PlanInstallResponse) {
    let (before, now) = (before.settled.as_ref().unwrap(), now.settled.as_ref().unwrap());
    for part in &before.parts {
        let same = now.parts.iter().any(|own| own.part_id == part.part_id);
        assert!(same, "{id}: part {} is taken back", part.part_id);
    }
    for need in &before.needs {
        let same = |own: &&dashwright_api::v1::PlannedNeed| {
            (own.need, own.met, &own.part_ids) == (need.need, need.met, &need.part_ids)
        };
        assert!(now.needs.iter().any(|own| same(&own)), "{id}: {need:?} is taken back");
    }
    for feature in &before.features {
        let same = |own: &&dashwright_api::v1::PlannedFeature| {
            (own.feature, own.outcome) == (feature.feature, feature.outcome)
        };
        assert!(now.features.iter().any(|own| same(&own)), "{id}: {feature:?} is taken back");
    }
    for join in &before.joins {
        let same = |own: &&dashwright_api::v1::Join| (own.function, &own.ends) == (join.function, &join.ends);
        assert!(now.joins.iter().any(|own| same(&own)), "{id}: {join:?} is taken back");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_plan_has_the_same_bytes() {
    let (_home, running) = Running::demo().await.unwrap();
    for (id, question) in questions_of_lines(&running).await.unwrap().into_iter().take(20) {
        for aim in [Aim::LowestPrice, Aim::FewestParts, Aim::LeastBenchTime] {
            let request = PlanInstallRequest {
                vehicle: Some(question.clone()),
                radio_id: "sonquill-rowan-2".to_owned(),
                order: Some(Order { aim: aim.into(), ..Default::default() }),
                ..Default::default()
            };
            let ask = || async {
                let answer = running.fitment.clone().plan_install(request.clone()).await.unwrap();
                answer.into_inner().encode_to_vec()
            };
            assert_eq!(ask().await, ask().await, "{id} {aim:?}");
        }
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_superseded_part_is_answered_with_its_successor() {
    let (_home, running) = Running::demo().await.unwrap();
    let served = async |part: &str| {
        let request =
            ListVehiclesForPartRequest { part_id: part.to_owned(), page_size: 200, ..Default::default() };
        running.fitment.clone().list_vehicles_for_part(request).await.unwrap().into_inner()
    };
    let (earlier, standing) = (served("hwk-209").await, served("hwk-210").await);
    assert_eq!((earlier.successor_part_id.as_str(), standing.successor_part_id.as_str()), ("hwk-210", ""));
    assert!(!standing.vehicles.is_empty());
    assert_eq!(earlier.vehicles, standing.vehicles);
    // Discontinued, and nothing stands for it.
    let gone = served("hwk-300").await;
    assert_eq!((gone.successor_part_id.as_str(), gone.total), ("", 0));
}

/// Of several ids that are not there only the first is looked for: a question must not cost a search for each of its parts.
#[tokio::test(flavor = "multi_thread")]
async fn whoever_mistypes_an_id_is_told_what_is_called_like_it() {
    let (_home, running) = Running::demo().await.unwrap();
    let words = "2013 orvane tamsel hatchback".to_owned();
    let mut request = PlanInstallRequest {
        vehicle: Some(VehicleQuestion { words, ..Default::default() }),
        radio_id: "sonquill-rowen-2".to_owned(),
        ..Default::default()
    };
    let refused = running.fitment.clone().plan_install(request.clone()).await.unwrap_err();
    assert!(refused.message().contains("like it are `sonquill-rowan-2`, `sonquill-rowan-2s`"), "{refused:?}");
    request.radio_id = "sonquill-rowan-2".to_owned();
    let excluded_part_ids = vec!["hwk-2100".to_owned(), "hwk-2090".to_owned()];
    request.order = Some(Order { excluded_part_ids, ..Default::default() });
    let refused = running.fitment.clone().plan_install(request).await.unwrap_err();
    let details = refused.get_error_details();
    let [first, second] = details.bad_request().unwrap().field_violations.as_slice() else {
        panic!("{details:?}")
    };
    assert!(first.description.contains("like it are `hwk-210`"), "{first:?}");
    assert!(second.description.ends_with("`hwk-2090`, which the catalogue does not have"), "{second:?}");
    running.stop().await.unwrap();
}
