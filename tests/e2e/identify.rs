//! From nothing to one vehicle line: by the cascade, by number, by attributes, by misspelt words.

use std::collections::BTreeSet;

use dashwright_api::v1::{
    Attribute, MatchKind, ResolveVehicleRequest, ResolveVehicleResponse, VehicleQuestion,
};
use dashwright_tests::question::{cascade, questions_of_lines};
use dashwright_tests::service::{Running, demo_json};
use serde_json::Value;

async fn resolve(running: &Running, vehicle: VehicleQuestion) -> ResolveVehicleResponse {
    let request = ResolveVehicleRequest { vehicle: Some(vehicle), ..Default::default() };
    running.fitment.clone().resolve_vehicle(request).await.unwrap().into_inner()
}

/// Line and audio option, as the catalogue's files say.
fn every_option() -> BTreeSet<(String, String)> {
    let mut all = BTreeSet::new();
    for (id, line) in &demo_json().unwrap()["vehicle"] {
        let options = line["audio_options"].as_array().unwrap();
        all.extend(options.iter().map(|option| (id.clone(), option["code"].as_str().unwrap().to_owned())));
    }
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn the_cascade_leads_to_every_line_and_audio_option() {
    let (_home, running) = Running::demo().await.unwrap();
    let places = cascade(&running, VehicleQuestion::default()).await.unwrap();
    let mut reached = BTreeSet::new();
    for place in &places {
        assert_eq!(place.next.revision.as_ref().unwrap().number, 1);
        let ends = place.attribute() == Attribute::Unspecified;
        assert_eq!(ends, place.next.choices.is_empty(), "{:?}", place.question);
        if !ends {
            assert_ne!(
                place.next.choices.len(),
                1,
                "nothing is asked that has one answer: {:?}",
                place.question
            );
            continue;
        }
        assert_eq!(place.next.remaining_lines, 1, "{:?}", place.question);
        let found = resolve(&running, place.question.clone()).await;
        assert_eq!(found.candidates.len(), 1, "{:?}: {:?}", place.question, found.candidates);
        reached.extend(found.candidates.into_iter().map(|it| (it.vehicle_id, it.audio_option)));
    }
    assert_eq!(reached, every_option());
    assert_eq!(places[0].attribute(), Attribute::ModelYear, "years come first");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_choice_leaves_as_many_lines_as_it_says() {
    let (_home, running) = Running::demo().await.unwrap();
    let make = VehicleQuestion { make: "orvane".to_owned(), ..Default::default() };
    let mut checked = 0;
    for place in cascade(&running, make).await.unwrap() {
        for choice in &place.next.choices {
            let question =
                dashwright_tests::question::answered(&place.question, place.attribute(), &choice.value)
                    .unwrap();
            assert_eq!(resolve(&running, question).await.remaining_lines, choice.lines, "{choice:?}");
            checked += 1;
        }
    }
    assert!(checked > 20, "{checked} choices");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_leads_to_the_line_whose_pattern_it_has() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut checked = 0;
    for (id, line) in &demo_json().unwrap()["vehicle"] {
        for pattern in line["vin_patterns"].as_array().into_iter().flatten() {
            let vin = number(pattern.as_str().unwrap(), line);
            let found = resolve(&running, VehicleQuestion { vin: vin.clone(), ..Default::default() }).await;
            assert!(found.candidates.iter().any(|it| it.vehicle_id == *id), "{vin} of {id}: {found:?}");
            assert!(found.matches.iter().any(|it| it.kind() == MatchKind::VinPattern), "{vin}: {found:?}");
            checked += 1;
        }
    }
    assert!(checked > 73, "{checked} patterns");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn attributes_lead_to_every_line() {
    let (_home, running) = Running::demo().await.unwrap();
    let questions = questions_of_lines(&running).await.unwrap();
    let lines: BTreeSet<String> = every_option().into_iter().map(|(line, _)| line).collect();
    assert_eq!(questions.keys().cloned().collect::<BTreeSet<_>>(), lines);
    for (id, question) in questions {
        let found = resolve(&running, question).await;
        assert!(found.candidates.iter().all(|it| it.vehicle_id == id), "{id}: {found:?}");
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn misspelt_words_are_matched_and_the_answer_says_so() {
    let (_home, running) = Running::demo().await.unwrap();
    let words = "2014 tessamr calbrok work".to_owned();
    let found = resolve(&running, VehicleQuestion { words, ..Default::default() }).await;
    let lines: BTreeSet<&str> = found.candidates.iter().map(|it| it.vehicle_id.as_str()).collect();
    assert_eq!(lines, BTreeSet::from(["tessamer-calbrook-2013-work"]), "{found:?}");
    for (typed, attribute) in [("tessamr", Attribute::Make), ("calbrok", Attribute::Model)] {
        let seen = found.matches.iter().find(|it| it.typed == typed).unwrap();
        assert_eq!((seen.attribute(), seen.kind()), (attribute, MatchKind::Misspelt), "{seen:?}");
        assert!((50..100).contains(&seen.similarity_percent), "{seen:?}");
    }
    let misspelt = VehicleQuestion { make: "Dovrene".to_owned(), model_year: 2012, ..Default::default() };
    let found = resolve(&running, misspelt).await;
    assert!(found.candidates.iter().all(|it| it.make == "Dovrenne"), "{found:?}");
    assert!(!found.candidates.is_empty());
    running.stop().await.unwrap();
}

/// A number of a pattern in the first year of a line that the pattern allows.
fn number(pattern: &str, line: &Value) -> String {
    let year = line["years"]["from"].as_u64().unwrap();
    let mut vin: Vec<char> = pattern.chars().collect();
    vin.extend("111111".chars().skip(vin.len() - 11));
    if vin[6] == '?' {
        // 49 CFR 565.15 (c): a figure at position 7 says a year before 2010, a letter one from 2010 on; on light vehicles.
        vin[6] = if year < 2010 { '1' } else { 'A' };
    }
    if vin[9] == '?' {
        vin[9] = year_code(year);
    }
    for place in vin.iter_mut().filter(|place| **place == '?') {
        *place = '1';
    }
    vin[8] = check_digit(&vin);
    vin.into_iter().collect()
}

/// Table VII of 49 CFR 565.15: 30 codes, beginning with A for 1980.
fn year_code(year: u64) -> char {
    let codes: Vec<char> = "ABCDEFGHJKLMNPRSTVWXY123456789".chars().collect();
    codes[usize::try_from(year - 1980).unwrap() % codes.len()]
}

/// Tables III to VI of 49 CFR 565.15: values of letters, weights of positions, the remainder by 11.
fn check_digit(vin: &[char]) -> char {
    const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
    let value = |letter: char| match letter {
        'A'..='H' => letter as u32 - 'A' as u32 + 1,
        'J'..='N' => letter as u32 - 'J' as u32 + 1,
        'P' => 7,
        'R' => 9,
        'S'..='Z' => letter as u32 - 'S' as u32 + 2,
        figure => figure.to_digit(10).unwrap_or(0),
    };
    let sum: u32 = vin.iter().zip(WEIGHTS).map(|(letter, weight)| value(*letter) * weight).sum();
    if sum % 11 == 10 { 'X' } else { char::from_digit(sum % 11, 10).unwrap() }
}

#[test]
fn the_check_digit_of_the_regulations_own_sample_is_found() {
    // 49 CFR 565.15 (c), sample calculation: sum 411, remainder 4.
    assert_eq!(check_digit(&"1G4AH59H05G118341".chars().collect::<Vec<_>>()), '4');
}
