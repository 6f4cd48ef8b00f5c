//! Look-ups over a real socket: settled, depends, the question, and that answering it never takes back what was settled.

use std::collections::BTreeSet;

use dashwright_api::v1::{
    Attribute, Facets, FeatureFitment, LookUpFitmentRequest, LookUpFitmentResponse, MountFitment,
    NeedFitment, Reason, VehicleQuestion, Verdict,
};
use dashwright_tests::question::{answered, questions_of_lines};
use dashwright_tests::service::{Home, Running, demo_json, demo_lines};
use prost::Message as _;

async fn look_up(running: &Running, vehicle: &VehicleQuestion) -> LookUpFitmentResponse {
    let request = LookUpFitmentRequest { vehicle: Some(vehicle.clone()), ..Default::default() };
    running.fitment.clone().look_up_fitment(request).await.unwrap().into_inner()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_line_is_answered_and_its_question_never_takes_back_what_was_settled() {
    let (_home, running) = Running::demo().await.unwrap();
    let catalogue = demo_json().unwrap();
    let (mut narrowed, mut asked) = (0, 0);
    for (id, question) in questions_of_lines(&running).await.unwrap() {
        let answer = look_up(&running, &question).await;
        let options = catalogue["vehicle"][&id]["audio_options"].as_array().unwrap();
        assert_eq!(answer.candidates.len(), options.len(), "{id}");
        assert!(answer.candidates.iter().all(|it| it.vehicle_id == id), "{id}: {:?}", answer.candidates);
        check_answer(&id, &answer);
        asked += usize::from(answer.question.is_some());
        narrowed += narrow(&running, &id, &question, &answer).await;
    }
    assert!(asked >= 20 && narrowed >= 2 * asked, "{asked} questions, {narrowed} answers to them");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn asking_on_from_a_make_ends_with_one_answer() {
    let (_home, running) = Running::demo().await.unwrap();
    let makes = demo_json().unwrap();
    let makes = makes["vocabulary"].iter().filter(|(_, term)| term["of"] == "MAKE");
    let mut ends = 0;
    for (make, _) in makes {
        let mut open = vec![VehicleQuestion { make: make.clone(), ..Default::default() }];
        while let Some(question) = open.pop() {
            let answer = look_up(&running, &question).await;
            check_answer(make, &answer);
            narrow(&running, make, &question, &answer).await;
            let Some(next) = &answer.question else {
                ends += 1;
                continue;
            };
            // The first and the last choice are ways enough: the cascade's test takes them all.
            let ways = next.choices.first().into_iter().chain(next.choices.last());
            for choice in ways {
                let narrower = answered(&question, next.attribute(), &choice.value).unwrap();
                assert_ne!(narrower, question, "{make}: the question repeats itself: {next:?}");
                open.push(narrower);
            }
        }
    }
    assert!(ends >= 18, "{ends} ends");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_question_has_the_same_bytes_also_after_a_restart_and_in_another_store() {
    let (home, running) = Running::demo().await.unwrap();
    let questions = questions_of_lines(&running).await.unwrap();
    let first = bytes_of_all(&running, questions.values()).await;
    assert_eq!(first, bytes_of_all(&running, questions.values()).await, "asked again");
    running.stop().await.unwrap();

    let running = Running::start(&home).await.unwrap();
    assert_eq!(first, bytes_of_all(&running, questions.values()).await, "after a restart");
    running.stop().await.unwrap();

    let home = Home::new("demo").unwrap();
    let running = Running::start(&home).await.unwrap();
    running.load(demo_lines().into_iter().rev().collect()).await.unwrap();
    assert_eq!(first, bytes_of_all(&running, questions.values()).await, "loaded in another order");
    running.stop().await.unwrap();
}

async fn bytes_of_all(running: &Running, questions: impl Iterator<Item = &VehicleQuestion>) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    for question in questions {
        all.push(look_up(running, question).await.encode_to_vec());
    }
    all
}

/// What holds for every answer.
fn check_answer(id: &str, answer: &LookUpFitmentResponse) {
    assert_ne!(answer.verdict(), Verdict::Unspecified, "{id}");
    assert!(answer.weakest_evidence.is_some() || answer.remaining_lines > 200, "{id}: rests on nothing");
    assert!(!answer.cautions.is_empty() || answer.remaining_lines > 200, "{id}: no cautions");
    let count = u32::try_from(answer.candidates.len()).unwrap();
    for variant in &answer.depends {
        assert!(!variant.candidates.is_empty(), "{id}: a variant of nobody");
        assert!(variant.candidates.iter().all(|place| *place < count), "{id}: {:?}", variant.candidates);
    }
    // "The one question that matters; none when every candidate gets the same answer."
    assert_eq!(answer.question.is_some(), !answer.depends.is_empty(), "{id}: {:?}", answer.question);
    if answer.candidates.len() == 1 {
        assert!(answer.question.is_none(), "{id}: one candidate and a question");
        assert_ne!(answer.verdict(), Verdict::Depends, "{id}");
    }
    if let Some(question) = &answer.question {
        assert_ne!(question.attribute(), Attribute::Unspecified, "{id}");
        assert!(question.choices.len() > 1 && !question.text.is_empty(), "{id}: {question:?}");
        let reached: BTreeSet<u32> = question.choices.iter().flat_map(|it| it.candidates.clone()).collect();
        assert_eq!(reached, (0..count).collect(), "{id}: candidates that no choice leaves");
    }
    let named: BTreeSet<&str> = answer.parts.iter().map(|part| part.id.as_str()).collect();
    for facets in answer.settled.iter().chain(answer.depends.iter().filter_map(|it| it.facets.as_ref())) {
        let mounts = facets.mounts.iter().flat_map(|it| &it.parts);
        let needs = facets.needs.iter().flat_map(|it| &it.parts);
        for offer in mounts.chain(needs) {
            assert!(named.contains(offer.part_id.as_str()), "{id}: `{}` is offered, not told", offer.part_id);
        }
    }
}

/// Answers the open question with every choice; how many there were.
async fn narrow(
    running: &Running,
    id: &str,
    question: &VehicleQuestion,
    open: &LookUpFitmentResponse,
) -> usize {
    let Some(asked) = &open.question else { return 0 };
    for choice in &asked.choices {
        let narrower = answered(question, asked.attribute(), &choice.value).unwrap();
        let answer = look_up(running, &narrower).await;
        let place = format!("{id}, {:?} {}", asked.attribute(), choice.value);
        let keys = |answer: &LookUpFitmentResponse| -> Vec<(String, String)> {
            answer.candidates.iter().map(|it| (it.vehicle_id.clone(), it.audio_option.clone())).collect()
        };
        let all = keys(open);
        let told: BTreeSet<_> =
            choice.candidates.iter().map(|it| all[usize::try_from(*it).unwrap()].clone()).collect();
        assert_eq!(keys(&answer).into_iter().collect::<BTreeSet<_>>(), told, "{place}");
        if let Some(settled) = &open.settled {
            check_kept(&place, settled, answer.settled.as_ref().unwrap());
        }
        if open.verdict() != Verdict::Depends {
            assert_eq!(answer.verdict(), open.verdict(), "{place}");
        }
    }
    asked.choices.len()
}

/// What was settled for all is settled for each, word for word. Only its reasons are fewer: those of the others are gone.
fn check_kept(place: &str, before: &Facets, after: &Facets) {
    if before.opening.is_some() {
        assert_eq!(before.opening, after.opening, "{place}");
    }
    for one in &before.mounts {
        let found = after.mounts.iter().find(|it| it.chassis_class == one.chassis_class);
        let found = found.unwrap_or_else(|| panic!("{place}: {:?} is gone", one.chassis_class()));
        check_reasons(place, &one.reasons, &found.reasons);
        let without = |it: &MountFitment| MountFitment { reasons: Vec::new(), ..it.clone() };
        assert_eq!(without(one), without(found), "{place}");
    }
    for one in &before.needs {
        let found = after.needs.iter().find(|it| it.need == one.need);
        let found = found.unwrap_or_else(|| panic!("{place}: {:?} is gone", one.need()));
        check_reasons(place, &one.reasons, &found.reasons);
        let without = |it: &NeedFitment| NeedFitment { reasons: Vec::new(), ..it.clone() };
        assert_eq!(without(one), without(found), "{place}");
    }
    for one in &before.features {
        let found = after.features.iter().find(|it| it.feature == one.feature);
        let found = found.unwrap_or_else(|| panic!("{place}: {:?} is gone", one.feature()));
        check_reasons(place, &one.reasons, &found.reasons);
        let without = |it: &FeatureFitment| FeatureFitment { reasons: Vec::new(), ..it.clone() };
        assert_eq!(without(one), without(found), "{place}");
    }
}

/// Narrower answers have no reason that the wider one had not; at least one remains where there was one.
fn check_reasons(place: &str, before: &[Reason], after: &[Reason]) {
    let told = |reasons: &[Reason]| -> BTreeSet<(i32, String)> {
        reasons.iter().map(|it| (it.code, it.text.clone())).collect()
    };
    assert!(told(after).is_subset(&told(before)), "{place}: {before:?}, then {after:?}");
    assert_eq!(before.is_empty(), after.is_empty(), "{place}: {before:?}, then {after:?}");
}
