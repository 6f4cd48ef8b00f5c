//! Golden texts of carts, and of the lists of radios and vehicles.

use dashwright_api::v1;

use super::plan_tests::{money, total};
use super::tests::{COLUMNS, because, candidate, check, part, revision, text};
use super::{cart, radios, vehicles_for_part, vehicles_for_radio};

fn line(item: &str, status: v1::LineStatus, words: &str) -> v1::CheckedLine {
    v1::CheckedLine {
        item: text(item),
        status: status.into(),
        text: text(words),
        ..v1::CheckedLine::default()
    }
}

fn lines() -> Vec<v1::CheckedLine> {
    use v1::LineStatus as S;
    let mut needed = line("HW 1", S::Needed, "needed");
    needed.part_id = text("hw-1");
    needed.serves = vec![v1::Need::Power.into(), v1::Need::Ground.into()];
    let mut conflict = line("hw-2", S::InConflict, "can not be used beside another line");
    (conflict.part_id, conflict.other_line, conflict.reasons) =
        (text("hw-2"), Some(0), because("both take the plug"));
    let mut replaced = line("HW 0", S::OneTooMany, "1 more than needed");
    (replaced.part_id, replaced.successor_part_id) = (text("hw-0"), text("hw-1"));
    let mut ambiguous = line("HW", S::UnknownItem, "not in the catalogue");
    ambiguous.known_part_ids = vec![text("hw-1"), text("hw-2")];
    let mut radio = line("radio-1", S::Needed, "the radio");
    radio.radio_id = text("radio-1");
    vec![needed, conflict, replaced, ambiguous, radio]
}

fn completion(candidates: Vec<u32>, add: &[&str]) -> v1::Completion {
    v1::Completion {
        candidates,
        verdict: v1::Verdict::FitsWithParts.into(),
        add_part_ids: add.iter().copied().map(text).collect(),
        total: Some(total(2_500 * add.len() as u64, u32::try_from(add.len()).unwrap())),
        ..v1::Completion::default()
    }
}

fn answer() -> v1::CheckCartResponse {
    let mut cheaper = completion(vec![0], &["hw-2"]);
    cheaper.cheaper = Some(v1::CheaperList {
        part_ids: vec![text("hw-1"), text("unlisted")],
        price: Some(money(1_990)),
        than: Some(money(4_490)),
    });
    v1::CheckCartResponse {
        revision: revision(),
        candidates: vec![candidate("B", "base"), candidate("A", "amplified")],
        remaining_lines: 1,
        verdict: v1::CartVerdict::Incomplete.into(),
        lines: lines(),
        completions: vec![cheaper, completion(vec![1], &[])],
        parts: vec![part("hw-1", "HW 1", 1_990), part("hw-2", "HW 2", 2_500)],
        ..v1::CheckCartResponse::default()
    }
}

fn asked() -> v1::VehicleQuestion {
    v1::VehicleQuestion { words: text("one"), ..v1::VehicleQuestion::default() }
}

#[test]
fn a_cart_is_told_line_by_line_and_then_what_it_lacks() {
    check(&cart(&asked(), &answer(), COLUMNS), include_str!("golden/cart.txt"));
}

#[test]
fn a_cart_that_many_vehicles_complete_differently_has_a_row_each() {
    let mut answer = answer();
    answer.lines.clear();
    answer.completions = (0..5).map(|place| completion(vec![place % 2], &["hw-1"])).collect();
    let text = anstream::adapter::strip_str(&cart(&asked(), &answer, COLUMNS)).to_string();
    let row = "vehicle 2 (audio A: amplified)  fits with parts  25.00 USD for 1 part";
    assert!(text.contains("To add, by vehicle") && text.contains(row), "{text}");
}

#[test]
fn every_verdict_on_a_cart_has_words_of_its_own() {
    use v1::CartVerdict as V;
    let all = [V::Unspecified, V::Complete, V::CompleteWithSurplus, V::Incomplete, V::Depends, V::NoWay];
    let told = all.map(|verdict| {
        let answer = v1::CheckCartResponse { verdict: verdict.into(), ..v1::CheckCartResponse::default() };
        cart(&asked(), &answer, COLUMNS).lines().nth(1).map(str::to_owned)
    });
    let different: std::collections::BTreeSet<_> = told.iter().collect();
    assert_eq!(different.len(), all.len(), "{told:?}");
}

#[test]
fn radios_have_a_verdict_and_what_their_parts_come_to() {
    let radio = |id: &str, verdict: v1::Verdict, least, most| v1::RadioForVehicle {
        radio: Some(v1::RadioSummary {
            id: text(id),
            brand: text("Brandless"),
            model: text(id),
            ..v1::RadioSummary::default()
        }),
        verdict: verdict.into(),
        least,
        most,
        part_ids: Vec::new(),
    };
    let mut answer = v1::ListRadiosForVehicleResponse {
        revision: revision(),
        candidates: vec![candidate("B", "base"), candidate("A", "amplified")],
        remaining_lines: 1,
        radios: vec![
            radio("span", v1::Verdict::FitsWithParts, Some(total(1_990, 1)), Some(total(2_500, 2))),
            radio("one", v1::Verdict::FitsWithParts, Some(total(1_990, 1)), Some(total(1_990, 1))),
            radio("no", v1::Verdict::CannotFit, None, None),
        ],
        total: 4,
        next_page_token: text("NEXT"),
        parts: Vec::new(),
    };
    check(&radios(&answer, true, COLUMNS), include_str!("golden/radios.txt"));
    let (table, _) = include_str!("golden/radios.txt").split_once("\n4 radios").unwrap();
    assert_eq!(radios(&answer, false, COLUMNS).trim_end(), table);
    (answer.candidates, answer.radios, answer.remaining_lines) = (Vec::new(), Vec::new(), 700);
    answer.next_page_token.clear();
    check(
        &radios(&answer, true, COLUMNS),
        "700 vehicle lines remain, too many to weigh: say more of the vehicle\nrevision 7, token TOKEN",
    );
}

#[test]
fn vehicles_are_told_by_line_and_audio_option() {
    let vehicle = |code: &str, last_year| {
        let mut it = candidate(code, "base");
        (it.vehicle_id, it.last_year) = (text("maker-one"), last_year);
        Some(it)
    };
    let answer = v1::ListVehiclesForRadioResponse {
        revision: revision(),
        vehicles: vec![
            v1::VehicleForRadio {
                vehicle: vehicle("A", 2015),
                verdict: v1::Verdict::FitsAsIs.into(),
                total: Some(total(0, 0)),
            },
            v1::VehicleForRadio {
                vehicle: vehicle("B", 2012),
                verdict: v1::Verdict::NotWithExclusions.into(),
                total: None,
            },
        ],
        total_lines: 9,
        next_page_token: String::new(),
    };
    check(&vehicles_for_radio(&answer, true, COLUMNS), include_str!("golden/vehicles_radio.txt"));
    let answer = v1::ListVehiclesForPartResponse {
        revision: revision(),
        vehicles: vec![v1::VehicleForPart {
            vehicle: vehicle("A", 2015),
            serves: vec![v1::Need::Power.into(), v1::Need::Ground.into()],
        }],
        total: 1,
        next_page_token: String::new(),
        successor_part_id: String::new(),
    };
    check(&vehicles_for_part(&answer, true, COLUMNS), include_str!("golden/vehicles_part.txt"));
}
