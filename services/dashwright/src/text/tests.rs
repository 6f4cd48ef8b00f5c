//! Golden texts: fixed messages and every line that they are printed as.

use clap::Parser as _;
use dashwright_api::v1;

use crate::args::Cli;

use super::{choices, fitment, hits, indented, info, invitation, records};

/// The width that the texts are laid out for.
pub(super) const COLUMNS: usize = 80;

/// The lines of a text without colours, compared with those expected.
pub(super) fn check(text: &str, expected: &str) {
    let plain = anstream::adapter::strip_str(text).to_string();
    assert_eq!(plain.trim_end(), expected.trim_start_matches('\n').trim_end(), "\n{plain}");
    for line in plain.lines() {
        assert!(line.chars().count() <= COLUMNS, "too wide: {line}");
        assert_eq!(line, line.trim_end(), "ends in a blank");
    }
}

pub(super) fn text(text: &str) -> String {
    text.to_owned()
}

pub(super) fn revision() -> Option<v1::DatasetRevision> {
    Some(v1::DatasetRevision { token: text("TOKEN"), number: 7, content_hash: text("c0ffee") })
}

pub(super) fn key(kind: v1::RecordKind, id: &str) -> v1::RecordKey {
    v1::RecordKey { kind: kind.into(), id: text(id) }
}

pub(super) fn because(text: &str) -> Vec<v1::Reason> {
    vec![v1::Reason { text: text.to_owned(), ..v1::Reason::default() }]
}

pub(super) fn missing(field: &str, audio: &str) -> v1::Reason {
    v1::Reason {
        code: v1::ReasonCode::FactMissing.into(),
        field: text(field),
        records: vec![key(v1::RecordKind::FactoryAudio, audio)],
        text: text("unknown"),
        ..v1::Reason::default()
    }
}

fn offer(part: &str, limit: &str, condition: &str) -> v1::PartOffer {
    v1::PartOffer {
        part_id: text(part),
        statement: text("covers.0"),
        applies_by: text("plug family Flat 12"),
        limit: text(limit),
        radio_condition: text(condition),
        evidence: None,
    }
}

pub(super) fn part(id: &str, number: &str, cents: u64) -> v1::PartSummary {
    let amount = v1::Money {
        currency: text("USD"),
        minor_units: cents,
        text: format!("{}.{:02} USD", cents / 100, cents % 100),
    };
    v1::PartSummary {
        id: text(id),
        brand: text("Brandless"),
        number: text(number),
        title: format!("the part {number} with a title that goes on for longer than a column"),
        price: Some(v1::Price { amount: Some(amount), date: text("2025-01-01") }),
        bench_minutes: Some(12.5),
        ..v1::PartSummary::default()
    }
}

pub(super) fn candidate(code: &str, title: &str) -> v1::Candidate {
    v1::Candidate {
        make: text("Maker"),
        model: text("One"),
        first_year: 2012,
        last_year: 2015,
        distinction: text("estate"),
        audio_option: text(code),
        audio_title: text(title),
        ..v1::Candidate::default()
    }
}

fn need(need: v1::Need, met: v1::Met, parts: Vec<v1::PartOffer>, why: &str) -> v1::NeedFitment {
    let importance = v1::Importance::Must.into();
    v1::NeedFitment { need: need.into(), importance, met: met.into(), parts, reasons: because(why) }
}

fn feature(
    feature: v1::Feature,
    outcome: v1::Outcome,
    kept_by: Vec<v1::PartOffer>,
    reasons: Vec<v1::Reason>,
) -> v1::FeatureFitment {
    v1::FeatureFitment { feature: feature.into(), carrier: 0, outcome: outcome.into(), kept_by, reasons }
}

pub(super) fn opening() -> v1::Opening {
    v1::Opening {
        dash_id: text("one-1"),
        dash_title: text("Maker One"),
        opening_class: v1::OpeningClass::TwoDin.into(),
        width_mm: Some(182.0),
        height_mm: Some(103.5),
        held_by: vec![v1::Holding::SideBracket.into()],
        fasteners: vec![v1::Fastener {
            drive: v1::Drive::Hex.into(),
            size: 7,
            count: 4,
            location: text("at the sides"),
        }],
        evidence: Some(v1::Evidence {
            grade: v1::Grade::Measured.into(),
            source: text("calliper"),
            date: text("2024-05-01"),
            confirmed_jobs: 1,
            contradicted_jobs: 2,
        }),
        ..v1::Opening::default()
    }
}

fn settled() -> v1::Facets {
    use v1::{Feature as F, Met, Need as N, Outcome as O};
    let harness =
        || vec![offer("hw-1", "", ""), offer("hw-2", "Six leads at most.", "only with a wide chassis")];
    v1::Facets {
        opening: Some(opening()),
        mounts: vec![v1::MountFitment {
            chassis_class: v1::ChassisClass::TwoDin.into(),
            verdict: v1::Verdict::FitsAsIs.into(),
            parts: Vec::new(),
            reasons: because("the opening is double height"),
        }],
        needs: vec![
            need(N::Power, Met::ByPart, harness(), "every radio needs it"),
            need(N::Usb, Met::ByNothingKnown, Vec::new(), "no part is known"),
            need(N::Ground, Met::ByPart, harness(), "every radio needs it"),
            need(N::Antenna, Met::Directly, Vec::new(), "the plug is the standard one"),
        ],
        features: vec![
            feature(F::Usb, O::Lost, Vec::new(), because("no part is known")),
            feature(F::SteeringButtons, O::KeptWithLimit, harness(), because("they are on wires")),
            feature(
                F::Clock,
                O::Unknown,
                Vec::new(),
                vec![missing("features.CLOCK", "b"), missing("features.CLOCK", "a")],
            ),
            feature(F::Subwoofer, O::NotPresent, Vec::new(), because("the car has none")),
        ],
    }
}

fn answer() -> v1::LookUpFitmentResponse {
    let only = |place, need| v1::Variant {
        candidates: vec![place],
        verdict: v1::Verdict::FitsWithParts.into(),
        facets: Some(v1::Facets { needs: vec![need], ..v1::Facets::default() }),
        ..v1::Variant::default()
    };
    let speakers =
        |part: &str, why: &str| need(v1::Need::Speakers, v1::Met::ByPart, vec![offer(part, "", "")], why);
    let choice = |value: &str, place| v1::QuestionChoice {
        value: text(value),
        title: format!("option {value}"),
        how_to_tell: text("Look under the seat."),
        candidates: vec![place],
    };
    v1::LookUpFitmentResponse {
        revision: revision(),
        candidates: vec![candidate("B", "base"), candidate("A", "amplified")],
        remaining_lines: 1,
        matches: vec![v1::Match {
            attribute: v1::Attribute::Model.into(),
            typed: text("onne"),
            matched: text("One"),
            kind: v1::MatchKind::Misspelt.into(),
            similarity_percent: 86,
        }],
        verdict: v1::Verdict::FitsWithParts.into(),
        settled: Some(settled()),
        depends: vec![only(0, speakers("hw-1", "no amplifier")), only(1, speakers("hw-2", "an amplifier"))],
        question: Some(v1::OpenQuestion {
            attribute: v1::Attribute::AudioOption.into(),
            text: text("Which factory audio does it have?"),
            choices: vec![choice("A", 1), choice("B", 0)],
        }),
        parts: vec![part("hw-1", "HW 1", 1_990), part("hw-2", "HW 2", 2_500)],
        cautions: vec![v1::Caution { text: text("test while the dash is open"), ..v1::Caution::default() }],
        weakest_evidence: Some(v1::WeakestEvidence {
            grade: v1::Grade::Reported.into(),
            record: Some(key(v1::RecordKind::Part, "hw-2")),
        }),
        ..v1::LookUpFitmentResponse::default()
    }
}

#[test]
fn a_look_up_is_told_from_the_question_to_what_it_rests_on() {
    let asked =
        v1::VehicleQuestion { words: text("onne"), model_year: 2013, ..v1::VehicleQuestion::default() };
    check(&fitment(&asked, &answer(), COLUMNS), include_str!("golden/look_up.txt"));
}

#[test]
fn a_look_up_of_too_many_vehicles_says_so() {
    let answer = v1::LookUpFitmentResponse {
        revision: revision(),
        remaining_lines: 700,
        verdict: v1::Verdict::Depends.into(),
        ..v1::LookUpFitmentResponse::default()
    };
    check(&fitment(&v1::VehicleQuestion::default(), &answer, COLUMNS), include_str!("golden/too_many.txt"));
}

#[test]
fn choices_say_how_to_go_on() {
    let choice = |value: &str, title: &str, lines| v1::Choice {
        value: text(value),
        title: text(title),
        lines,
        ..v1::Choice::default()
    };
    let mut answer = v1::ListChoicesResponse {
        revision: revision(),
        attribute: v1::Attribute::Make.into(),
        choices: vec![choice("one", "Maker One", 12), choice("two", "two", 1)],
        remaining_lines: 13,
        next_page_token: text("NEXT"),
        ..v1::ListChoicesResponse::default()
    };
    check(&choices(&answer, true, COLUMNS), include_str!("golden/choices.txt"));
    check(
        &choices(&answer, false, COLUMNS),
        "\nmake, of 13 vehicle lines\n  VALUE             LINES\n  one    Maker One  12\n  two               1",
    );
    answer.attribute = v1::Attribute::Unspecified.into();
    answer.remaining_lines = 1;
    answer.next_page_token.clear();
    check(
        &choices(&answer, true, COLUMNS),
        "1 vehicle line and one factory audio option: nothing is left to choose\nrevision 7, token TOKEN",
    );
}

#[test]
fn records_and_hits_are_tables() {
    let answer = v1::ListRecordsResponse {
        revision: revision(),
        records: vec![v1::Record {
            key: Some(key(v1::RecordKind::FactoryAudio, "audio-1")),
            title: text("base"),
            changed_in_revision: 3,
            ..v1::Record::default()
        }],
        total: 1,
        next_page_token: String::new(),
    };
    check(&records(&answer, true, COLUMNS), include_str!("golden/records.txt"));
    let hit = v1::SearchHit {
        key: Some(key(v1::RecordKind::Part, "hw-1")),
        title: text("HW 1"),
        similarity_percent: 93,
        matched: text("HW 1 harness"),
    };
    let found = v1::SearchRecordsResponse { revision: revision(), hits: vec![hit] };
    check(&hits(&found, COLUMNS), include_str!("golden/hits.txt"));
    let nothing = v1::SearchRecordsResponse { revision: None, hits: Vec::new() };
    check(
        &hits(&nothing, COLUMNS),
        "no record resembles these words\na revision that the server does not name",
    );
}

#[test]
fn what_is_served_is_told_with_counts_and_limits() {
    let answer = v1::GetDatasetInfoResponse {
        revision: revision(),
        incarnation: text("first"),
        published_at: text("2026-01-01T00:00:00Z"),
        counts: vec![v1::KindCount { kind: v1::RecordKind::Dash.into(), count: 40 }],
        limits: [(text("calls"), 2), (text("answer_bytes"), 1)].into(),
        server_version: text("1.2.3"),
        writes: v1::Writes::Taken.into(),
    };
    check(&info("http://127.0.0.1:1", &answer, COLUMNS), include_str!("golden/info.txt"));
}

#[test]
fn json_is_spread_out_in_its_own_order() {
    check(&indented(r#"{"z":{"b":1,"a":[]}}"#), "{\n  \"z\": {\n    \"b\": 1,\n    \"a\": []\n  }\n}");
    check(&indented("not JSON"), "not JSON");
}

#[test]
fn the_invitation_names_commands_with_the_address() {
    let text = invitation("target/debug/dashwright", "http://127.0.0.1:9");
    for command in [
        "target/debug/dashwright plan 2013 orvane tamsel hatchback --audio A8 --radio sonquill-rowan-2 --full \
         --server http://127.0.0.1:9",
        "target/debug/dashwright cart 2013 orvane tamsel hatchback --audio B6 --radio sonquill-rowan-2 \
         --item hwk-210 --item qm-7.214:2 --server http://127.0.0.1:9",
        "target/debug/dashwright radios 2013 orvane tamsel hatchback --server http://127.0.0.1:9",
        "target/debug/dashwright choices --year 2018 --make orvane --server http://127.0.0.1:9",
        "grpcurl -plaintext 127.0.0.1:9 list",
    ] {
        assert!(text.lines().any(|line| line.trim().starts_with(command)), "{text}");
    }
}

#[test]
fn every_command_of_the_invitation_is_understood() {
    let text = invitation("dashwright", "http://127.0.0.1:9");
    let commands = text.lines().map(str::trim).filter(|line| line.starts_with("dashwright "));
    let understood = |line: &str| Cli::try_parse_from(line.split(' ')).map(|_| line.to_owned());
    let understood: Result<Vec<String>, clap::Error> = commands.map(understood).collect();
    assert_eq!(understood.unwrap().len(), 5, "{text}");
}
