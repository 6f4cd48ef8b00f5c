//! The demo catalogue has no error; one thing broken in it is one finding.

use std::collections::BTreeMap;

use dashwright_model::dataset::clashes;
use dashwright_model::exchange::parse_line;
use dashwright_model::record::Record;
use dashwright_snapshot::SourceRecord;
use serde_json::{Value, json};

use super::*;

/// The records as JSON, by key; what stands below the kind.
struct Catalogue(BTreeMap<String, Value>);

impl Catalogue {
    fn demo() -> Self {
        let (mut records, demo) = (BTreeMap::new(), dashwright_demo::records().unwrap());
        for record in demo {
            let value = serde_json::to_value(&record).unwrap();
            let (kind, fields) = value.as_object().unwrap().iter().next().unwrap();
            records.insert(format!("{kind}/{}", record.id()), fields.clone());
        }
        Self(records)
    }

    /// The demo with one thing changed.
    fn with(change: impl FnOnce(&mut Self)) -> Self {
        let mut catalogue = Self::demo();
        change(&mut catalogue);
        catalogue
    }

    fn at(&mut self, record: &str) -> &mut Value {
        self.0.get_mut(record).unwrap_or_else(|| panic!("{record}"))
    }

    fn copy(&mut self, from: &str, to: &str) {
        let mut copied = self.at(from).clone();
        copied["id"] = json!(to.split_once('/').unwrap().1);
        self.0.insert(to.to_owned(), copied);
    }

    fn records(&self) -> Vec<Record> {
        let line = |(key, fields): (&String, &Value)| {
            let line = json!({ key.split_once('/').unwrap().0: fields }).to_string();
            parse_line(line.as_bytes(), 0).unwrap_or_else(|error| panic!("{key}: {error}"))
        };
        self.0.iter().map(line).collect()
    }

    /// What is found: what keeps it from compiling, or else what shows in the compiled.
    fn findings(&self) -> Vec<Finding> {
        let records = self.records();
        let clashing = clashes(&records);
        if !clashing.is_empty() {
            return clashing.into_iter().map(Finding::from).collect();
        }
        let compiled = self.compiled();
        findings(&compiled, &crate::holes(&compiled), &golden_answers(&compiled))
    }

    fn compiled(&self) -> Snapshot {
        let line = |record: &Record| dashwright_model::exchange::to_line(record).unwrap().into();
        let source = |record: &Record| SourceRecord { text: line(record), revision: 1 };
        Snapshot::build(self.records().iter().map(source).collect()).unwrap()
    }
}

fn told(finding: &Finding) -> (FindingKind, String, &str, Option<String>) {
    let Finding { record, path, kind, other, text: _ } = finding;
    (*kind, record.to_string(), path, other.as_ref().map(ToString::to_string))
}

/// What one change brings in that was not there, and that everything else stays.
fn news(change: impl FnOnce(&mut Catalogue)) -> Vec<Finding> {
    let (before, after) = (Catalogue::demo().findings(), Catalogue::with(change).findings());
    if after.iter().all(|it| it.severity() == Severity::Warning) {
        let gone: Vec<_> = before.iter().filter(|it| !after.contains(it)).collect();
        assert!(gone.is_empty(), "a change for the worse mended {gone:?}");
    }
    after.into_iter().filter(|it| !before.contains(it)).collect()
}

/// That a change is found as exactly one thing, and in which words.
fn one(
    kind: FindingKind,
    (record, path, other): (&str, &str, Option<&str>),
    words: &str,
    change: impl FnOnce(&mut Catalogue),
) {
    let found = news(change);
    let expected = [(kind, record.to_owned(), path, other.map(str::to_owned))];
    assert_eq!(found.iter().map(told).collect::<Vec<_>>(), expected, "{found:#?}");
    assert!(found[0].text.contains(words), "{}", found[0].text);
}

#[test]
fn the_demo_has_no_error_and_these_warnings() {
    let found = Catalogue::demo().findings();
    let errors: Vec<_> = found.iter().filter(|it| it.severity() == Severity::Error).collect();
    assert!(errors.is_empty(), "{errors:#?}");
    let mut counted: BTreeMap<FindingKind, usize> = BTreeMap::new();
    for it in &found {
        *counted.entry(it.kind).or_default() += 1;
    }
    let holes = counted.remove(&FindingKind::Hole).unwrap();
    assert!(holes > 30, "{holes}");
    let expected =
        [(FindingKind::UnmatedPlug, 1), (FindingKind::Assumed, 18), (FindingKind::Contradicted, 4)];
    assert_eq!(counted.into_iter().collect::<Vec<_>>(), expected);
}

#[test]
fn a_second_record_of_a_key_is_found() {
    let mut records = Catalogue::demo().records();
    records.push(records[0].clone());
    let found: Vec<Finding> = clashes(&records).into_iter().map(Finding::from).collect();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].kind, FindingKind::SameKey);
}

#[test]
fn what_records_say_of_each_other_is_found() {
    let dangling = ("vehicle/marlquist-packhorn-2007", "dash", Some("dash/no-such"));
    one(FindingKind::Dangling, dangling, "does not exist", |it| {
        it.at("vehicle/marlquist-packhorn-2007")["dash"] = json!("no-such");
    });
    let wrong = ("part/hwk-210", "brand", Some("vocabulary/orvane"));
    one(FindingKind::WrongTerm, wrong, "as a BRAND, but it is a MAKE", |it| {
        it.at("part/hwk-210")["brand"] = json!("orvane");
    });
    let overlap = ("vehicle/marlquist-packhorn-2007", "years", Some("vehicle/marlquist-packhorn-2007b"));
    one(FindingKind::Overlap, overlap, "overlap in years", |it| {
        it.copy("vehicle/marlquist-packhorn-2007", "vehicle/marlquist-packhorn-2007b");
    });
    let foreign = ("part/hwk-205", "leads.0.from", Some("vocabulary/iso10487-a"));
    one(FindingKind::ForeignLead, foreign, "a plug that it does not occupy", |it| {
        it.at("part/hwk-205")["leads"][0]["from"] = json!({"WAY": {"family": "iso10487-a", "way": "1"}});
    });
    // A ring of two is told of both.
    let ring = news(|it| it.at("part/hwk-210")["life"] = json!({"SUPERSEDED_BY": "hwk-209"}));
    assert_eq!(ring.len(), 2);
    assert!(ring.iter().all(|it| it.kind == FindingKind::SupersessionLoop), "{ring:?}");
}

#[test]
fn a_switch_set_twice_or_never_is_found_once_however_many_pairs_there_are() {
    let bank = |it: &mut Catalogue| it.at("part/lkd-3017")["settings"][0]["SWITCH_BANK"].clone();
    let never = news(|it| {
        let mut bank = bank(it);
        bank["default"].as_object_mut().unwrap().remove("8");
        it.at("part/lkd-3017")["settings"][0]["SWITCH_BANK"] = bank;
    });
    assert_eq!(never.len(), 1, "{never:?}");
    assert_eq!((never[0].kind, never[0].path.as_str()), (FindingKind::NeverSet, "settings.0.switch.8"));
    assert!(never[0].text.contains("switch 8 of `S` by no rule and no default"), "{}", never[0].text);
    assert!(never[0].text.contains("more pairs"), "{}", never[0].text);
    let twice = news(|it| {
        let mut bank = bank(it);
        bank["rules"].as_array_mut().unwrap().push(json!({"when": "ALWAYS", "positions": {"8": "ON"}}));
        bank["rules"].as_array_mut().unwrap().push(json!({"when": "ALWAYS", "positions": {"8": "OFF"}}));
        it.at("part/lkd-3017")["settings"][0]["SWITCH_BANK"] = bank;
    });
    assert_eq!(twice.len(), 1, "{twice:?}");
    assert_eq!((twice[0].kind, twice[0].path.as_str()), (FindingKind::SetTwice, "settings.0.switch.8"));
}

#[test]
fn a_lead_that_gives_what_radios_give_is_found() {
    let mut place = 0;
    let found = news(|it| {
        // Every radio has speaker outputs, which give.
        let leads = it.at("part/hwk-210")["leads"].as_array_mut().unwrap();
        place = leads.iter().position(|lead| lead["direction"] == "SINK").unwrap();
        leads[place]["direction"] = json!("SOURCE");
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        (found[0].kind, found[0].record.to_string()),
        (FindingKind::GiverToGiver, "part/hwk-210".to_owned())
    );
    assert_eq!(found[0].path, format!("leads.{place}.direction"));
}

#[test]
fn geometry_that_can_not_be_is_found() {
    one(FindingKind::InTheOpening, ("dash/tamsel-1", "surroundings.0", None), "where the opening is", |it| {
        let opening = it.at("dash/tamsel-1")["opening"].as_object_mut().unwrap();
        assert_ne!(opening["class"], "SHAPED");
        opening.entry("width").or_insert(json!(182));
        opening.entry("height").or_insert(json!(53));
        it.at("dash/tamsel-1")["surroundings"] = json!([{
            "name": "ash tray", "kind": "COMPARTMENT", "left": -40, "right": 40, "bottom": -60, "top": -20,
            "proud": 0, "clearance": "NEVER_COVER"
        }]);
    });
    one(
        FindingKind::NarrowFrame,
        ("part/qm-7.210", "kit.frame", None),
        "smaller than the least body",
        |it| {
            it.copy("part/qm-7.214", "part/qm-7.210");
            it.at("part/qm-7.210")["number"] = json!("QM 7.210");
            it.at("part/qm-7.210")["kit"] =
                json!({"takes": ["TWO_DIN"], "frame": {"width": 182, "height": 99, "x": 0, "y": 0}});
        },
    );
}

#[test]
fn a_radio_that_names_no_socket_is_found() {
    let found = news(|it| {
        it.copy("radio/sonquill-rowan-2", "radio/zz");
        it.at("radio/zz")["model"] = json!("Nobody's");
        it.at("radio/zz").as_object_mut().unwrap().remove("sockets");
    });
    let bare: Vec<_> = found.iter().filter(|it| it.kind == FindingKind::NoSockets).collect();
    assert_eq!(
        bare.iter().map(|it| told(it)).collect::<Vec<_>>(),
        [(FindingKind::NoSockets, "radio/zz".into(), "sockets", None)]
    );
    assert!(bare[0].severity() == Severity::Error && bare[0].text.contains("not even that of the antenna"));
}

#[test]
fn a_plug_that_nothing_mates_is_found() {
    one(
        FindingKind::UnmatedPlug,
        ("factory_audio/orv-2-base", "plugs.0.family", Some("vocabulary/zz-9")),
        "which no part mates",
        |it| {
            it.copy("vocabulary/arvo-20", "vocabulary/zz-9");
            it.at("vocabulary/zz-9")["name"] = json!("Nine ways");
            it.at("vocabulary/zz-9")["aliases"] = json!([]);
            let plugs = it.at("factory_audio/orv-2-base")["plugs"].as_array_mut().unwrap();
            plugs.insert(
                0,
                json!({"family": "zz-9", "ways_count": 9, "ways": [{"way": "1", "function": "SPEED_PULSE"}]}),
            );
        },
    );
}

#[test]
fn what_nothing_names_and_what_serves_nothing_is_found() {
    for (from, to, words) in [
        ("dash/tamsel-1", "dash/zz", "is the dash of no vehicle line"),
        ("factory_audio/orv-1-base", "factory_audio/zz", "is an option of no vehicle line"),
        ("vocabulary/arvo-20", "vocabulary/zz", "is named by no record"),
        ("vocabulary/orvane-tamsel", "vocabulary/zz", "is the model of no vehicle line"),
    ] {
        one(FindingKind::Orphan, (to, "id", None), words, |it| {
            it.copy(from, to);
            if from.starts_with("vocabulary/") {
                it.at(to)["name"] = json!("Nobody's");
                it.at(to)["aliases"] = json!([]);
            }
        });
    }
    one(FindingKind::Orphan, ("part/zz", "covers", None), "no vehicle is described by that", |it| {
        it.copy("part/hwk-210", "part/zz");
        it.at("part/zz")["number"] = json!("ZZ 1");
        for cover in it.at("part/zz")["covers"].as_array_mut().unwrap() {
            cover["scope"] = json!({"ANY_OF": [{"vehicles": [{"make": "orvane", "model": "Nobody's"}]}]});
        }
    });
}

#[test]
fn parts_that_lead_nowhere_are_found() {
    let left = ("part/zz", "life", Some("part/hwk-300"));
    one(FindingKind::NoSuccessorLeft, left, "in the end by `hwk-300`, which can not be had", |it| {
        it.copy("part/hwk-209", "part/zz");
        it.at("part/zz")["number"] = json!("ZZ 1");
        it.at("part/zz")["life"] = json!({"SUPERSEDED_BY": "hwk-300"});
    });
    let needs = ("part/am-4l.410", "requires.0", Some("part/hwk-300"));
    one(FindingKind::NeedsUnavailable, needs, "none can be had", |it| {
        it.at("part/am-4l.410")["requires"] = json!([["hwk-300"]]);
    });
    let conflict = ("part/am-4l.410", "requires.0", Some("part/lkd-3205"));
    one(FindingKind::NeedsItsConflict, conflict, "with none of which it can be used", |it| {
        it.at("part/am-4l.410")["conflicts"] = json!(["lkd-3205"]);
    });
}

#[test]
fn prices_and_weak_evidence_are_found() {
    one(FindingKind::NoPrice, ("part/hwk-210", "price", None), "has no price", |it| {
        it.at("part/hwk-210").as_object_mut().unwrap().remove("price");
    });
    let other = ("part/hwk-210", "price.amount.currency", None);
    one(FindingKind::OtherCurrency, other, "has a price in CHF, and most have not", |it| {
        it.at("part/hwk-210")["price"]["amount"]["currency"] = json!("CHF");
    });
    one(FindingKind::Assumed, ("dash/tamsel-2", "evidence.grade", None), "is only assumed", |it| {
        it.at("dash/tamsel-2")["evidence"]["grade"] = json!("ASSUMED");
    });
    let contradicted = ("vehicle/orvane-tamsel-2019", "evidence.contradicted_jobs", None);
    one(FindingKind::Contradicted, contradicted, "contradicted by 9 jobs", |it| {
        it.at("vehicle/orvane-tamsel-2019")["evidence"]["contradicted_jobs"] = json!(9);
    });
}

/// A need that a single part met: without the part there is a hole for each class, in one finding.
#[test]
fn a_hole_is_found_with_how_many_lines_it_leaves_out() {
    let found = news(|it| it.at("part/hwk-310")["life"] = json!("DISCONTINUED"));
    let holes: Vec<_> = found.iter().filter(|it| it.kind == FindingKind::Hole).map(told).collect();
    let of =
        |audio: &str, need| holes.iter().any(|it| it.1 == format!("factory_audio/{audio}") && it.2 == need);
    assert!(of("tes-1-base", "POWER") && of("tes-1-base", "SPEAKERS"), "{holes:?}");
}

#[test]
fn only_errors_that_a_draft_brings_in_count_against_it() {
    let broken = Catalogue::with(|it| {
        let bank = &mut it.at("part/lkd-3017")["settings"][0]["SWITCH_BANK"];
        bank["default"].as_object_mut().unwrap().remove("8");
    });
    let before = broken.compiled();
    assert_eq!(new_errors(&Catalogue::demo().compiled(), &before).len(), 1);
    let mut worse = broken;
    worse.at("part/lkd-3017")["settings"][0]["SWITCH_BANK"]["default"].as_object_mut().unwrap().remove("7");
    let found = new_errors(&before, &worse.compiled());
    assert_eq!(found.iter().map(told).map(|it| it.2.to_owned()).collect::<Vec<_>>(), ["settings.0.switch.7"]);
}

#[test]
fn a_golden_question_that_is_answered_otherwise_is_an_error_until_the_answer_is_accepted() {
    // By the records: the open-ended lead of 4.90 takes the place of the one of 7.90 as soon as it is there.
    let cheaper = |it: &mut Catalogue| {
        it.copy("part/mw-12", "part/mw-11");
        it.at("part/mw-11")["price"]["amount"]["minor_units"] = json!(490);
        it.at("part/mw-11")["number"] = json!("MW 11");
    };
    let found = news(cheaper);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        told(&found[0]),
        (FindingKind::GoldenAnswer, "golden_question/tamsel-2013-rowan".into(), "expected", None)
    );
    assert!(found[0].text.contains("mw-11") && found[0].text.contains("mw-12"), "{}", found[0].text);

    let accepted = news(|it| {
        cheaper(it);
        let plans = it.at("golden_question/tamsel-2013-rowan")["expected"]["plans"].as_array_mut().unwrap();
        // In an order of its own, which says nothing.
        plans[1] = json!(["mw-11", "vq-22.1", "hwk-210-d", "lkd-1001", "qm-7.214"]);
    });
    assert_eq!(accepted, []);
}

#[test]
fn a_golden_question_that_is_no_longer_understood_is_an_error() {
    let question =
        |change: fn(&mut Value)| news(|it| change(it.at("golden_question/tamsel-2024-no-harness")));
    for (found, why) in [
        (question(|it| it["vehicle"]["words"] = json!("2024 orvane tamsel blorb")), "`blorb` means nothing"),
        (question(|it| it["vehicle"]["model_year"] = json!(1999)), "1999"),
        (question(|it| it["order"] = json!({"consents": ["POWER"]})), "consent to losing `POWER`"),
    ] {
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].kind, FindingKind::GoldenAnswer);
        assert!(found[0].text.contains(why), "{}", found[0].text);
    }
}

#[test]
fn a_wrong_answer_that_becomes_another_wrong_answer_is_a_new_error() {
    let expecting = |verdict: &'static str| {
        Catalogue::with(move |it| {
            it.at("golden_question/tamsel-2024-no-harness")["expected"]["verdict"] = json!(verdict);
        })
    };
    let (wrong, other) = (expecting("CANNOT_FIT").compiled(), expecting("FITS_AS_IS").compiled());
    assert_eq!(new_errors(&wrong, &wrong), []);
    assert_eq!(new_errors(&wrong, &other).len(), 1);
}
