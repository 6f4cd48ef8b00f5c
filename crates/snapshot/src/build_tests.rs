//! The compile step, on records of a few words.

use std::collections::BTreeSet;

use dashwright_model::exchange::{parse_line, to_line};

use super::*;
use crate::case::Via;

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

fn source(kind: &str, fields: &str) -> SourceRecord {
    let line = format!("{{\"{kind}\":{{{fields},{EVIDENCE}}}}}");
    let record = parse_line(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error}: {line}"));
    SourceRecord { text: to_line(&record).unwrap().into(), revision: 1 }
}

fn term(id: &str, of: &str) -> SourceRecord {
    source("vocabulary", &format!(r#""id":"{id}","of":{of},"name":"{id}""#))
}

fn dash(id: &str, class: &str) -> SourceRecord {
    source("dash", &format!(r#""id":"{id}","title":"t","opening":{{"class":"{class}"}},"held_by":["CLIPS"]"#))
}

fn audio(id: &str, family: &str) -> SourceRecord {
    let plug =
        format!(r#"{{"family":"{family}","ways_count":1,"ways":[{{"way":"1","function":"BATTERY"}}]}}"#);
    let rest = r#""amplifier":{"feed":"NONE"},"circuits":[],"features":{}"#;
    source("factory_audio", &format!(r#""id":"{id}","title":"t","plugs":[{plug}],{rest}"#))
}

/// A line on dash `d` with audio `a`, unless the rest says otherwise.
fn line(id: &str, years: [u16; 2], trims: &str) -> SourceRecord {
    vehicle(id, "One", years, trims, "d", "a", "")
}

fn vehicle(
    id: &str,
    model: &str,
    [from, to]: [u16; 2],
    trims: &str,
    dash: &str,
    audio: &str,
    rest: &str,
) -> SourceRecord {
    let option = format!(r#"{{"code":"B","title":"base","how_to_tell":"look","audio":"{audio}"}}"#);
    let years = format!(r#""years":{{"from":{from},"to":{to}}}"#);
    let tail = format!(r#""dash":"{dash}","audio_options":[{option}]{rest}"#);
    source("vehicle", &format!(r#""id":"{id}","make":"m","model":"{model}",{years},"trims":{trims},{tail}"#))
}

fn part(id: &str, covers: &str) -> SourceRecord {
    part_with_life(id, r#""CURRENT""#, covers)
}

fn part_with_life(id: &str, life: &str, covers: &str) -> SourceRecord {
    let head = format!(r#""id":"{id}","brand":"b","number":"1","title":"t","kind":"HARNESS_ADAPTER""#);
    source("part", &format!(r#"{head},"life":{life},"covers":[{covers}]"#))
}

fn meets(need: &str, scope: &str) -> String {
    format!(r#"{{"says":"MEETS","need":"{need}","scope":{scope}}}"#)
}

fn not_for(need: Option<&str>, scope: &str) -> String {
    let need = need.map_or(String::new(), |need| format!(r#""need":"{need}","#));
    format!(r#"{{"says":"NOT_FOR",{need}"scope":{scope}}}"#)
}

fn any_of(item: &str) -> String {
    format!(r#"{{"ANY_OF":[{item}]}}"#)
}

/// Two makes of terms, two dashes, two audios.
fn frame() -> Vec<SourceRecord> {
    vec![
        term("m", r#""MAKE""#),
        term("b", r#""BRAND""#),
        term("f", r#"{"PLUG_FAMILY":{}}"#),
        term("g", r#"{"PLUG_FAMILY":{}}"#),
        dash("d", "ONE_DIN"),
        dash("e", "TWO_DIN"),
        audio("a", "f"),
        audio("z", "g"),
    ]
}

fn build(extra: Vec<SourceRecord>) -> Snapshot {
    let mut records = frame();
    records.extend(extra);
    Snapshot::build(records).unwrap()
}

fn refused(extra: Vec<SourceRecord>) -> String {
    let mut records = frame();
    records.extend(extra);
    Snapshot::build(records).unwrap_err().to_string()
}

/// What the parts say of a line with one audio option: offers as `NEED part`, exclusions as `not NEED part`.
fn said(snapshot: &Snapshot, vehicle: &str) -> Vec<String> {
    let line = snapshot.line(snapshot.line_by_id(vehicle).unwrap()).unwrap();
    let case = snapshot.case(snapshot.options_of(line)[0].case).unwrap();
    let part = |part| snapshot.parts().get(part).unwrap().id.to_string();
    let offers = case.offers.iter().map(|offer| format!("{} {}", offer.need, part(offer.part)));
    let exclusions = case.exclusions.iter().map(|excluded| {
        let need = excluded.need.map_or("all".to_owned(), |need| need.to_string());
        format!("not {need} {}", part(excluded.part))
    });
    offers.chain(exclusions).collect()
}

#[test]
fn the_content_hash_is_the_sum_of_the_sorted_export() {
    let records = vec![line("v2", [2015, 2016], r#""ALL""#), line("v1", [2012, 2013], r#""ALL""#)];
    let snapshot = build(records.clone());
    // By hand: kinds in the order of `RecordKind`, ids in theirs, a line break after every line. The digest is sha2's.
    let order = ["b", "f", "g", "m", "d", "e", "a", "z", "v1", "v2"];
    let all: Vec<SourceRecord> = frame().into_iter().chain(records).collect();
    let text: String = order
        .iter()
        .map(|id| {
            let of = all.iter().find(|source| source.text.contains(&format!(r#":{{"id":"{id}","#))).unwrap();
            format!("{}\n", of.text)
        })
        .collect();
    assert_eq!(snapshot.content_hash(), <[u8; 32]>::from(Sha256::digest(text.as_bytes())));
    assert_ne!(snapshot.content_hash(), build(vec![]).content_hash());
    // SHA-256 of nothing, FIPS 180-4's well-known value.
    let empty = Snapshot::build(vec![]).unwrap().content_hash();
    let hex: String = empty.iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

#[test]
fn what_is_no_record_or_stands_twice_is_refused() {
    let broken = SourceRecord { text: r#"{"wheel":{}}"#.into(), revision: 1 };
    let error = Snapshot::build(vec![term("m", r#""MAKE""#), broken]).unwrap_err();
    assert_eq!(error.to_string(), "record number 1 of the dataset can not be read");
    assert!(std::error::Error::source(&error).unwrap().to_string().contains("unknown variant `wheel`"));
    assert_eq!(refused(vec![term("m", r#""MAKE""#)]), "`vocabulary/m` stands twice in the dataset");
    // One id in two kinds is two records.
    build(vec![term("d", r#""BRAND""#)]);
}

#[test]
fn what_a_line_names_must_exist() {
    let names = |dash, audio| refused(vec![vehicle("v", "One", [2014, 2015], r#""ALL""#, dash, audio, "")]);
    assert_eq!(names("none", "a"), "`vehicle/v` names `dash/none`, which does not exist");
    assert_eq!(names("d", "none"), "`vehicle/v` names `factory_audio/none`, which does not exist");
    let mut records = frame();
    records.remove(0);
    records.push(line("v", [2014, 2015], r#""ALL""#));
    let error = Snapshot::build(records).unwrap_err();
    assert_eq!(error.to_string(), "`vehicle/v` names `vocabulary/m`, which does not exist");
}

#[test]
fn lines_that_look_alike_to_every_part_share_a_case() {
    let two = [line("v1", [2012, 2013], r#""ALL""#), line("v2", [2015, 2016], r#""ALL""#)];
    let snapshot = build(two.to_vec());
    assert_eq!((snapshot.cases().len(), snapshot.option_sets().len()), (1, 1));

    let years = r#"{"vehicles":[{"make":"m","years":{"from":2010,"to":2014}}]}"#;
    let mut scoped = two.to_vec();
    scoped.push(part("p", &meets("POWER", &any_of(years))));
    let snapshot = build(scoped);
    assert_eq!((snapshot.cases().len(), snapshot.option_sets().len()), (2, 2));

    let left = vehicle("v3", "One", [2018, 2018], r#""ALL""#, "d", "a", r#","drive_side":"LEFT""#);
    let volts = vehicle("v4", "One", [2019, 2019], r#""ALL""#, "d", "a", r#","system_voltage":"24V""#);
    let snapshot = build([&two[..], &[left, volts]].concat());
    assert_eq!(snapshot.cases().len(), 3);
}

#[test]
fn a_scope_describes_the_whole_of_a_line_or_nothing() {
    let scope = |vehicles: &str| any_of(&format!(r#"{{"vehicles":[{vehicles}]}}"#));
    let built = r#","build":{"from":"2014-03","to":"2014-06"},"how_to_tell":{"BUILD_MONTH":"door label"}"#;
    let market = r#","market":"NA""#;
    // The scope, the line's trims and further fields, and whether it describes the line's years 2014-2016.
    let cases = [
        (r#"{"make":"m"}"#, r#""ALL""#, "", true),
        (r#"{"make":"b"}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","model":"One"}"#, r#""ALL""#, "", true),
        (r#"{"make":"m","model":"Two"}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","years":{"from":2014,"to":2016}}"#, r#""ALL""#, "", true),
        (r#"{"make":"m","years":{"from":2014,"to":2015}}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","years":{"from":2015,"to":2020}}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","model":"One","trims":["S","T"]}"#, r#"{"THESE":["S"]}"#, "", true),
        (r#"{"make":"m","model":"One","trims":["S"]}"#, r#"{"THESE":["S","T"]}"#, "", false),
        (r#"{"make":"m","model":"One","trims":["S"]}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","model":"One","trims":["S"]}"#, r#""ALL_OTHERS""#, "", false),
        (r#"{"make":"m","build":{"from":"2014-01"}}"#, r#""ALL""#, built, true),
        (r#"{"make":"m","build":{"from":"2014-04"}}"#, r#""ALL""#, built, false),
        (r#"{"make":"m","build":{"from":"2014-01"}}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","market":"NA"}"#, r#""ALL""#, market, true),
        (r#"{"make":"m","market":"EU"}"#, r#""ALL""#, market, false),
        (r#"{"make":"m","market":"NA"}"#, r#""ALL""#, "", false),
        (r#"{"make":"m","drive_side":"LEFT"}"#, r#""ALL""#, "", false),
    ];
    for (vehicles, trims, rest, applies) in cases {
        let own = vehicle("v", "One", [2014, 2016], trims, "d", "a", rest);
        let snapshot = build(vec![own, part("p", &meets("POWER", &scope(vehicles)))]);
        let expected: &[&str] = if applies { &["POWER p"] } else { &[] };
        assert_eq!(said(&snapshot, "v"), expected, "{vehicles} on {trims} {rest}");
    }
}

#[test]
fn scopes_see_dash_audio_plug_and_opening() {
    let cases = [
        (r#"{"dashes":["d"]}"#, true),
        (r#"{"dashes":["e"]}"#, false),
        (r#"{"audios":["a"]}"#, true),
        (r#"{"audios":["z"]}"#, false),
        (r#"{"plug_families":["g","f"]}"#, true),
        (r#"{"plug_families":["g"]}"#, false),
        (r#"{"openings":["ONE_DIN"]}"#, true),
        (r#"{"openings":["TWO_DIN"]}"#, false),
        (r#"{"openings":["ONE_DIN"],"plug_families":["g"]}"#, false),
        (r#"{"dashes":["e"]},{"plug_families":["f"]}"#, true),
    ];
    for (items, applies) in cases {
        let snapshot =
            build(vec![line("v", [2014, 2016], r#""ALL""#), part("p", &meets("MOUNT", &any_of(items)))]);
        assert_eq!(said(&snapshot, "v").len(), usize::from(applies), "{items}");
    }
    let items = r#"{"dashes":["e"]},{"plug_families":["f"]}"#;
    let snapshot = build(vec![
        line("v", [2014, 2016], r#""ALL""#),
        part("p", &meets("MOUNT", &any_of(items))),
        part("q", &meets("MOUNT", r#""ANY""#)),
    ]);
    let via: Vec<Via> = snapshot.cases()[0].offers.iter().map(|offer| offer.via).collect();
    assert_eq!(via, [Via::Item(1), Via::Any]);
}

#[test]
fn a_refusal_beats_every_promise() {
    let plug = any_of(r#"{"plug_families":["f"]}"#);
    let other = any_of(r#"{"plug_families":["g"]}"#);
    let promises = [meets("POWER", r#""ANY""#), meets("SPEAKERS", &plug)].join(",");
    let offered = |refusal: &str| {
        let snapshot =
            build(vec![line("v", [2014, 2016], r#""ALL""#), part("p", &format!("{promises},{refusal}"))]);
        said(&snapshot, "v").join(", ")
    };
    assert_eq!(offered(&not_for(Some("POWER"), &plug)), "SPEAKERS p, not POWER p");
    assert_eq!(offered(&not_for(None, &plug)), "not all p");
    assert_eq!(offered(&not_for(None, &other)), "POWER p, SPEAKERS p");
    // One that is limited to some radios is weighed when the radio is known.
    let some =
        format!(r#"{{"says":"NOT_FOR","need":"POWER","scope":{plug},"radio":{{"chassis":["ONE_DIN"]}}}}"#);
    assert_eq!(offered(&some), "POWER p, SPEAKERS p, not POWER p");
}

#[test]
fn only_parts_that_can_be_had_are_offered() {
    let cover = meets("POWER", r#""ANY""#);
    let snapshot = build(vec![
        line("v", [2014, 2016], r#""ALL""#),
        part_with_life("gone", r#""DISCONTINUED""#, &cover),
        part_with_life("old", r#"{"SUPERSEDED_BY":"new"}"#, &cover),
        part_with_life("new", r#"{"HARDWARE_REVISION":"2"}"#, &cover),
    ]);
    assert_eq!(said(&snapshot, "v"), ["POWER new"]);
}

#[test]
fn lines_are_found_by_make_model_and_id() {
    let snapshot = build(vec![
        vehicle("v3", "Two", [2012, 2013], r#""ALL""#, "e", "z", ""),
        line("v2", [2012, 2013], r#""ALL""#),
        line("v1", [2015, 2016], r#""ALL""#),
    ]);
    let ids: Vec<&str> = snapshot.lines().iter().map(|line| snapshot.line_id(line)).collect();
    assert_eq!(ids, ["v2", "v1", "v3"]);
    for id in ids {
        assert_eq!(snapshot.line_id(snapshot.line(snapshot.line_by_id(id).unwrap()).unwrap()), id);
    }
    assert!(snapshot.line_by_id("v4").is_none());
    let make = MakeIx::new(0);
    let lines: Vec<_> =
        snapshot.models_of(make).map(|model| snapshot.lines_of(ModelIx::new(model))).collect();
    assert_eq!(lines, [0..2, 2..3]);
}

#[test]
fn the_order_of_the_records_does_not_matter() {
    let covers =
        [meets("POWER", r#""ANY""#), not_for(Some("POWER"), &any_of(r#"{"dashes":["e"]}"#))].join(",");
    let mut records = frame();
    records.extend([
        vehicle("v3", "Two", [2012, 2013], r#""ALL""#, "e", "z", ""),
        line("v2", [2012, 2013], r#""ALL""#),
        line("v1", [2015, 2016], r#""ALL""#),
        part("p", &covers),
        part("q", &meets("MOUNT", &any_of(r#"{"vehicles":[{"make":"m","model":"Two"}]}"#))),
    ]);
    let shape = |records: Vec<SourceRecord>| {
        let snapshot = Snapshot::build(records).unwrap();
        format!("{:?}", snapshot.content_hash())
            + &format!("{:?} {:?}", snapshot.lines(), snapshot.models())
            + &format!("{:?} {:?}", snapshot.cases(), snapshot.option_sets())
    };
    let expected = shape(records.clone());
    let mut seen = BTreeSet::new();
    for turn in 0..records.len() {
        let mut other = records.clone();
        other.rotate_left(turn);
        if turn % 2 == 1 {
            other.reverse();
        }
        seen.insert(shape(other));
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), [expected]);
}

/// What a module's settings say of vehicles tells cases apart like what its statements say, and can be asked of a case.
#[test]
fn the_scopes_of_settings_tell_cases_apart() {
    let two = [line("v1", [2012, 2013], r#""ALL""#), line("v2", [2015, 2016], r#""ALL""#)];
    let years = r#"{"ANY_OF":[{"vehicles":[{"make":"m","years":{"from":2010,"to":2014}}]}]}"#;
    let rule = format!(r#"{{"when":{{"VEHICLE":{years}}},"position":1}}"#);
    let selector = format!(r#"{{"SELECTOR":{{"name":"S","positions":2,"default":0,"rules":[{rule}]}}}}"#);
    let head = r#""id":"p","brand":"b","number":"1","title":"t","kind":"DATA_MODULE","life":"CURRENT""#;
    let module = format!(r#"{head},"covers":[{}],"settings":[{selector}]"#, meets("POWER", r#""ANY""#));
    let snapshot = build([&two[..], &[source("part", &module)]].concat());
    assert_eq!(snapshot.cases().len(), 2);
    let scope: dashwright_model::Scope = serde_json::from_str(years).unwrap();
    let describes = |vehicle: &str| {
        let line = snapshot.line(snapshot.line_by_id(vehicle).unwrap()).unwrap();
        snapshot.describes(&scope, snapshot.case(snapshot.options_of(line)[0].case).unwrap())
    };
    assert_eq!(["v1", "v2"].map(describes), [true, false]);
}
