//! Golden texts of plans: one message with every section, short, in full, and explained.

use dashwright_api::v1;

use super::tests::{COLUMNS, because, candidate, check, key, opening, part, revision, text};
use super::{Records, Shown, plan, records_of};

const SHORT: Shown = Shown { full: false, explain: false };
const FULL: Shown = Shown { full: true, explain: false };
const EXPLAINED: Shown = Shown { full: false, explain: true };

pub(super) fn money(cents: u64) -> v1::Money {
    let text = format!("{}.{:02} USD", cents / 100, cents % 100);
    v1::Money { currency: "USD".to_owned(), minor_units: cents, text }
}

pub(super) fn total(cents: u64, parts: u32) -> v1::Total {
    v1::Total { price: Some(money(cents)), unpriced: 0, parts, bench_minutes: 0.0, untimed: 0 }
}

pub(super) fn reason(code: v1::ReasonCode, words: &str, records: Vec<v1::RecordKey>) -> v1::Reason {
    v1::Reason { code: code.into(), text: text(words), records, ..v1::Reason::default() }
}

fn radio_lead(colour: &str) -> v1::LeadEnd {
    v1::LeadEnd { owner: v1::LeadOwner::Radio.into(), colour: text(colour), ..v1::LeadEnd::default() }
}

fn part_lead(colour: &str, way: &str) -> v1::LeadEnd {
    v1::LeadEnd {
        owner: v1::LeadOwner::Part.into(),
        part_id: text("hw-1"),
        colour: text(colour),
        way: text(way),
        ..v1::LeadEnd::default()
    }
}

fn served(need: v1::Need, limit: &str) -> v1::ServedNeed {
    v1::ServedNeed { need: need.into(), statement: text("covers.0"), limit: text(limit) }
}

fn planned(id: &str, serves: Vec<v1::ServedNeed>, cents: Option<u64>) -> v1::PlannedPart {
    v1::PlannedPart { part_id: text(id), serves, price: cents.map(money), ..v1::PlannedPart::default() }
}

fn parts() -> Vec<v1::PlannedPart> {
    use v1::Need as N;
    let harness = vec![served(N::Power, ""), served(N::Steering, "Six buttons at most.")];
    let mut kit = planned("kit-1", vec![served(N::Mount, "")], Some(2_500));
    kit.variant_part_ids = vec![text("kit-2")];
    let mut lead = planned("lead-1", Vec::new(), None);
    lead.required_by = vec![text("hw-1")];
    let mut camera = planned("cam-1", vec![served(N::Camera, "")], Some(900));
    camera.in_hand = true;
    vec![planned("hw-1", harness, Some(1_990)), kit, lead, camera]
}

fn need(need: v1::Need, met: v1::Met, part_ids: &[&str], adds: Option<i64>) -> v1::PlannedNeed {
    let dash = || vec![key(v1::RecordKind::Dash, "one-1")];
    v1::PlannedNeed {
        need: need.into(),
        importance: if adds.is_some() { v1::Importance::Wished } else { v1::Importance::Must }.into(),
        met: met.into(),
        part_ids: part_ids.iter().copied().map(text).collect(),
        adds_minor_units: adds,
        reasons: vec![reason(v1::ReasonCode::CircuitAtPlug, "the circuit is there", dash())],
    }
}

fn feature(feature: v1::Feature, outcome: v1::Outcome) -> v1::PlannedFeature {
    let present = reason(v1::ReasonCode::FeaturePresent, "the car has it", Vec::new());
    v1::PlannedFeature {
        feature: feature.into(),
        outcome: outcome.into(),
        reasons: vec![present],
        ..v1::PlannedFeature::default()
    }
}

fn features() -> Vec<v1::PlannedFeature> {
    use v1::{Feature as F, Outcome as O};
    let mut limited = feature(F::SteeringButtons, O::KeptWithLimit);
    limited.kept_by = vec![text("hw-1")];
    limited.limits = vec![text("Six buttons at most.")];
    let mut lost = feature(F::Subwoofer, O::Lost);
    lost.would_keep = vec![text("hw-2")];
    lost.reasons = because("the part is left out");
    vec![
        limited,
        lost,
        feature(F::ReverseCamera, O::Kept),
        feature(F::DriverDisplay, O::Lost),
        feature(F::Clock, O::Unknown),
        feature(F::Usb, O::NotPresent),
    ]
}

fn joins() -> Vec<v1::Join> {
    use v1::Function as F;
    let join = |function: v1::Function, ends: Vec<v1::LeadEnd>| v1::Join {
        function: function.into(),
        same_colour: ends.first().map(|it| &it.colour) == ends.get(1).map(|it| &it.colour),
        ends,
        ..v1::Join::default()
    };
    let module =
        v1::LeadEnd { owner: v1::LeadOwner::ModuleInput.into(), part_id: text("hw-1"), ..part_lead("", "") };
    let socket = v1::LeadEnd {
        owner: v1::LeadOwner::RadioSocket.into(),
        socket: v1::SocketKind::CameraInput.into(),
        ..v1::LeadEnd::default()
    };
    let mut battery = join(F::Battery, vec![radio_lead("YE"), part_lead("YE", "4")]);
    battery.meter_first = Some(key(v1::RecordKind::Part, "hw-1"));
    (battery.load, battery.carries_amps, battery.needs_amps) =
        (v1::JoinLoad::TooThin.into(), Some(7.5), Some(10.0));
    let mut ground = join(F::Ground, vec![radio_lead("BK"), part_lead("BN", "5"), part_lead("BK", "6")]);
    (ground.shared_splice, ground.load) = (true, v1::JoinLoad::Unknown.into());
    vec![
        battery,
        ground,
        join(F::CameraVideo, vec![socket, part_lead("YE", "")]),
        join(F::Steering1, vec![module, part_lead("BN+", "8")]),
    ]
}

fn leads(pieces: &mut v1::PlanPieces) {
    use v1::Function as F;
    let loose = |function: v1::Function, lead: v1::LeadEnd, reason: &str| v1::LooseLead {
        lead: Some(lead),
        function: function.into(),
        reason: text(reason),
    };
    let fetched = |function: v1::Function, found_at: &str, way: &str| v1::FetchedLead {
        lead: Some(radio_lead("GN")),
        function: function.into(),
        found_at: text(found_at),
        plug_family: text("flat-12"),
        way: text(way),
    };
    pieces.joins = joins();
    pieces.insulated = vec![
        loose(F::Dimmer, part_lead("OG/WH", "5"), "the other side does not have it"),
        loose(F::SpeedPulse, part_lead("GN/WH", "18"), "the other side does not have it"),
    ];
    pieces.fetched = vec![
        fetched(F::ParkingBrake, "at the lever", ""),
        fetched(F::Reverse, "", "9"),
        fetched(F::SpeedPulse, "", ""),
    ];
    pieces.undecided = vec![loose(F::Switched, radio_lead(""), "neither side offers it")];
    pieces.plugs = vec![
        v1::PluggedPart {
            part_id: text("hw-1"),
            plug_family: text("flat-12"),
            passes_through: true,
            ..v1::PluggedPart::default()
        },
        v1::PluggedPart {
            part_id: text("cam-1"),
            socket: v1::SocketKind::CameraInput.into(),
            ..v1::PluggedPart::default()
        },
    ];
    pieces.colour_traps = vec![v1::ColourTrap { text: text("both blue, and not joined"), leads: Vec::new() }];
    let bridged = "bridged outputs never meet a common ground";
    pieces.refused_joins = vec![reason(v1::ReasonCode::Unjoinable, bridged, Vec::new())];
}

fn settings() -> Vec<v1::PartSettings> {
    let switch = |number, on| v1::SwitchSetting { number, on, from: format!("settings.0.rules.{number}") };
    vec![v1::PartSettings {
        part_id: text("hw-1"),
        switch_banks: vec![v1::SwitchBankSetting {
            name: text("bank A"),
            on_is: text("UP"),
            switches: vec![switch(1, true), switch(2, false)],
        }],
        selectors: vec![v1::SelectorSetting {
            name: text("radio"),
            position: 3,
            from: text("settings.1.default"),
        }],
        instructions: vec![v1::InstructionSetting {
            name: text("learning"),
            text: text("Press each button."),
        }],
    }]
}

fn steps() -> Vec<v1::Step> {
    let step = |phase: v1::Phase, words: &str| v1::Step {
        phase: phase.into(),
        text: text(words),
        ..v1::Step::default()
    };
    let mut out = step(v1::Phase::Out, "take off: panel");
    out.tools = vec![text("plastic trim tool")];
    out.fasteners = opening().fasteners;
    out.minutes = Some(5.0);
    out.caution = text("Pull at the bottom first.");
    let mut test = step(v1::Phase::TestOpen, "test reverse camera");
    test.expect = text("picture, the right way round");
    vec![out, step(v1::Phase::Bench, "set HW 1 as listed"), test]
}

fn settled() -> v1::PlanPieces {
    use v1::{Met, Need as N};
    let mut added = need(N::Satellite, Met::ByNothingKnown, &[], Some(0));
    added.reasons = vec![reason(v1::ReasonCode::Added, "the caller wants it added", Vec::new())];
    let mut pieces = v1::PlanPieces {
        opening: Some(opening()),
        mount: Some(v1::PlannedMount {
            chassis_class: v1::ChassisClass::TwoDin.into(),
            part_ids: vec![text("kit-1")],
            spare_depth_mm: Some(4.0),
            reasons: because("the opening is shaped"),
        }),
        parts: parts(),
        needs: vec![
            need(N::Mount, Met::ByPart, &["kit-1"], None),
            need(N::Power, Met::ByPart, &["hw-1"], None),
            need(N::Antenna, Met::Directly, &[], None),
            need(N::Steering, Met::ByPart, &["hw-1"], Some(-50)),
            need(N::Camera, Met::ByPart, &["cam-1"], Some(0)),
            added,
        ],
        features: features(),
        settings: settings(),
        steps: steps(),
        bench_minutes: Some(12.5),
        vehicle_minutes: Some(28.0),
        ..v1::PlanPieces::default()
    };
    leads(&mut pieces);
    pieces
}

fn variant(place: u32, id: &str, cents: u64) -> v1::PlanVariant {
    use v1::{Feature as F, Need as N, Outcome as O};
    let mut all = total(cents, 5);
    (all.unpriced, all.untimed) = (1, 2);
    let musts = v1::Alternative {
        part_ids: vec![text("hw-1"), text("kit-1")],
        total: Some(total(4_490, 2)),
        missed: vec![N::Camera.into(), N::Steering.into()],
    };
    let pieces = v1::PlanPieces {
        parts: vec![planned(id, vec![served(N::Speakers, "")], Some(cents - 4_490))],
        total: Some(all),
        needs: vec![need(N::Speakers, v1::Met::ByPart, &[id], None)],
        features: vec![feature(F::BroadcastReception, O::Kept)],
        alternatives: vec![v1::Alternative { missed: Vec::new(), ..musts.clone() }],
        musts_only: Some(musts),
        proven_best: Some(false),
        ..v1::PlanPieces::default()
    };
    v1::PlanVariant {
        candidates: vec![place],
        verdict: v1::Verdict::FitsWithParts.into(),
        verdict_reasons: Vec::new(),
        pieces: Some(pieces),
    }
}

fn jobs() -> v1::JobCounts {
    v1::JobCounts {
        confirmed_jobs: 0,
        least_confirmed: Some(key(v1::RecordKind::Radio, "radio-1")),
        contradicted_jobs: 1,
        most_contradicted: Some(key(v1::RecordKind::Part, "hw-1")),
    }
}

fn answer() -> v1::PlanInstallResponse {
    let choice = |value: &str, place| v1::QuestionChoice {
        value: text(value),
        title: format!("option {value}"),
        how_to_tell: text("Look under the seat."),
        candidates: vec![place],
    };
    let consent = "the hazard switch is lost, which was consented to";
    let mut amplified = variant(1, "amp-1", 9_480);
    amplified.verdict_reasons = vec![reason(v1::ReasonCode::LossConsented, consent, Vec::new())];
    let caution = |code: v1::CautionCode, words: &str| v1::Caution { code: code.into(), text: text(words) };
    let mut numbered: Vec<_> = ["HW 1", "HW 2", "KIT 1", "KIT 2", "LEAD 1", "CAM 1", "AMP 1", "AMP 2"]
        .map(|number| part(&number.to_lowercase().replace(' ', "-"), number, 0))
        .into();
    for part in &mut numbered {
        part.title = format!("made as {}", part.number);
        if part.id == "hw-1" {
            let evidence =
                v1::Evidence { confirmed_jobs: 3, contradicted_jobs: 1, ..v1::Evidence::default() };
            part.evidence = Some(evidence);
        }
        part.variant = text(if part.id == "kit-2" { "silver" } else { "" });
    }
    v1::PlanInstallResponse {
        revision: revision(),
        candidates: vec![candidate("B", "base"), candidate("A", "amplified")],
        remaining_lines: 1,
        matches: vec![
            v1::Match {
                typed: text("2013"),
                matched: text("2013"),
                kind: v1::MatchKind::Exact.into(),
                ..v1::Match::default()
            },
            v1::Match { typed: text("onne"), kind: v1::MatchKind::Unused.into(), ..v1::Match::default() },
        ],
        verdict: v1::Verdict::FitsWithParts.into(),
        verdict_reasons: because("every need is met"),
        settled: Some(settled()),
        depends: vec![variant(0, "amp-2", 7_480), amplified],
        question: Some(v1::OpenQuestion {
            attribute: v1::Attribute::AudioOption.into(),
            text: text("Which factory audio does it have?"),
            choices: vec![choice("A", 1), choice("B", 0)],
        }),
        parts: numbered,
        cautions: vec![
            caution(v1::CautionCode::Fuses, "a larger fuse never cures an overload"),
            caution(v1::CautionCode::RestraintSystem, "never probe the restraint system"),
        ],
        weakest_evidence: Some(v1::WeakestEvidence {
            grade: v1::Grade::Reported.into(),
            record: Some(key(v1::RecordKind::Part, "hw-1")),
        }),
        fingerprint: text("ab12"),
        jobs: Some(jobs()),
        radio: Some(v1::RadioSummary {
            id: text("radio-1"),
            brand: text("Brandless"),
            model: text("One"),
            chassis_class: v1::ChassisClass::TwoDin.into(),
            floating_screen: true,
            price: Some(v1::Price { amount: Some(money(34_900)), date: text("2025-01-01") }),
            brings: vec![text("navigation")],
            evidence: None,
        }),
        ..v1::PlanInstallResponse::default()
    }
}

fn told(answer: &v1::PlanInstallResponse, records: &Records, shown: Shown) -> String {
    let asked = v1::VehicleQuestion { words: text("onne 2013"), ..v1::VehicleQuestion::default() };
    plan(&asked, answer, records, shown, COLUMNS)
}

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

#[test]
fn a_plan_is_told_in_short_for_the_counter() {
    check(&told(&answer(), &Records::new(), SHORT), include_str!("golden/plan.txt"));
}

#[test]
fn a_plan_is_told_in_full_for_the_bench() {
    check(&told(&answer(), &Records::new(), FULL), include_str!("golden/plan_full.txt"));
}

#[test]
fn a_plan_is_explained_down_to_its_evidence() {
    let record = |json: &str, grade: v1::Grade| v1::Record {
        json: text(json),
        evidence: Some(v1::Evidence {
            grade: grade.into(),
            source: text("its sheet"),
            date: text("2024-01-01"),
            ..v1::Evidence::default()
        }),
        ..v1::Record::default()
    };
    let own = r#"{"part": {"covers": [{"evidence": {"grade": "BENCH_VERIFIED", "source": "a job", "date": "2025-02-01"}}]}}"#;
    let records = Records::from([
        (text("part/hw-1"), record(own, v1::Grade::Reported)),
        (text("part/kit-1"), record("{}", v1::Grade::Measured)),
        (text("dash/one-1"), record("{}", v1::Grade::Measured)),
    ]);
    check(&told(&answer(), &records, EXPLAINED), include_str!("golden/plan_explained.txt"));
}

#[test]
fn the_records_of_an_explanation_are_those_that_it_names() {
    let keys = records_of(&answer());
    let names: Vec<&str> = keys.keys().map(String::as_str).collect();
    let expected =
        ["dash/one-1", "part/amp-1", "part/amp-2", "part/cam-1", "part/hw-1", "part/kit-1", "part/lead-1"];
    assert_eq!(names, expected);
}

#[test]
fn a_loss_by_consent_and_the_verdict_come_before_all_else() {
    let text = plain(&told(&answer(), &Records::new(), SHORT));
    let mut lines = text.lines().map(str::trim);
    assert_eq!(lines.next(), Some("Plan"));
    let first = lines.next().unwrap_or_default();
    assert!(first.starts_with("vehicle 2 (audio A: amplified): the hazard switch is lost"), "{first}");
    assert!(lines.any(|line| line.starts_with("fits with parts")), "{text}");
}

#[test]
fn what_must_be_and_is_not_met_is_told_even_where_there_is_no_plan() {
    let mut lacking = need(v1::Need::Speakers, v1::Met::ByNothingKnown, &[], None);
    lacking.reasons = because("nothing stands between them");
    let no_part = reason(v1::ReasonCode::NoPartMeets, "no part meets speakers here", Vec::new());
    let beside = reason(v1::ReasonCode::NotTogether, "parts do not go together", Vec::new());
    let answer = v1::PlanInstallResponse {
        verdict: v1::Verdict::NoKnownWay.into(),
        verdict_reasons: [no_part, beside].into_iter().chain(lacking.reasons.clone()).collect(),
        settled: Some(v1::PlanPieces {
            needs: vec![lacking],
            // What is lost without a plan is everything: it is told of plans only.
            features: vec![feature(v1::Feature::Clock, v1::Outcome::Lost)],
            ..v1::PlanPieces::default()
        }),
        ..v1::PlanInstallResponse::default()
    };
    check(
        &told(&answer, &Records::new(), SHORT),
        "\nPlan\n  no way is known\n    why: parts do not go together\n  question     onne 2013\n\nNot met\n  speakers (must): nothing known meets it\n    \
         why: nothing stands between them\n\nrevision not named\n\
         joins, settings, steps and all cautions: add --full; why: add --explain",
    );
}

#[test]
fn one_plan_says_how_its_job_is_told_of() {
    let mut answer = answer();
    answer.depends.clear();
    let told = plain(&told(&answer, &Records::new(), SHORT));
    let end = "after the job: `dashwright outcome report`, the same words, --fingerprint and\n  --at";
    assert!(told.trim_end().ends_with(end), "{told}");
}

#[test]
fn many_variants_have_a_row_each_unless_everything_is_wanted() {
    let mut answer = answer();
    answer.settled = None;
    answer.depends = (0..5).map(|place| variant(place % 2, "amp-2", 7_480)).collect();
    for pieces in answer.depends.iter_mut().filter_map(|variant| variant.pieces.as_mut()) {
        pieces.total = Some(total(7_480, 5));
    }
    let text = plain(&told(&answer, &Records::new(), SHORT));
    let row = "vehicle 2 (audio A: amplified)  fits with parts  74.80 USD for 5 parts";
    assert!(text.contains("Plans, by vehicle") && text.contains(row), "{text}");
    assert!(!text.contains("AMP 2"), "{text}");
    assert!(plain(&told(&answer, &Records::new(), FULL)).contains("AMP 2"));
}

#[test]
fn a_difference_of_prices_has_the_minor_digits_of_its_currency() {
    let mut answer = answer();
    answer.depends.clear();
    for (currency, expected) in [("JPY", "steering -50 JPY"), ("KWD", "steering -0.050 KWD")] {
        let pieces = answer.settled.get_or_insert_default();
        for price in pieces.parts.iter_mut().filter_map(|part| part.price.as_mut()) {
            price.currency = text(currency);
        }
        let told = plain(&told(&answer, &Records::new(), SHORT));
        assert!(told.contains(expected), "{told}");
    }
}
