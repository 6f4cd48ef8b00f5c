//! Datasets that break exactly one thing.

use super::*;
use crate::exchange::parse_line;

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

fn record(kind: &str, fields: &str) -> Record {
    let line = format!("{{\"{kind}\":{{{fields},{EVIDENCE}}}}}");
    parse_line(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error}: {line}"))
}

fn line(id: &str, rest: &str) -> Record {
    let audio = r#""audio_options":[{"code":"B","title":"base","how_to_tell":"look","audio":"a"}]"#;
    record("vehicle", &format!(r#""id":"{id}","make":"m","model":"One","dash":"d",{audio},{rest}"#))
}

fn base() -> Vec<Record> {
    vec![
        record("vocabulary", r#""id":"m","of":"MAKE","name":"M""#),
        record("vocabulary", r#""id":"f","of":{"PLUG_FAMILY":{}},"name":"F""#),
        record("dash", r#""id":"d","title":"d","opening":{"class":"ONE_DIN"},"held_by":["CLIPS"]"#),
        record(
            "factory_audio",
            r#""id":"a","title":"a","amplifier":{"feed":"NONE"},
            "plugs":[{"family":"f","ways_count":1,"ways":[{"way":"1","function":"BATTERY"}]}],"circuits":[],"features":{}"#
                .replace('\n', "")
                .as_str(),
        ),
        line("v1", r#""years":{"from":2014,"to":2016},"trims":"ALL""#),
    ]
}

fn check(extra: Vec<Record>, expected: &[&str]) {
    let mut records = base();
    records.extend(extra);
    let found: Vec<String> = clashes(&records).iter().map(ToString::to_string).collect();
    assert_eq!(found, expected);
}

#[test]
fn a_clean_dataset_has_no_clashes() {
    check(vec![], &[]);
}

#[test]
fn a_record_that_does_not_exist_is_named_with_the_field() {
    check(
        vec![record(
            "part",
            r#""id":"p","brand":"nobody","number":"1","title":"t","kind":"LEAD","life":"CURRENT","covers":[]"#,
        )],
        &["`part/p` names `vocabulary/nobody` in `brand`, which does not exist"],
    );
}

#[test]
fn a_term_of_another_kind_is_no_make() {
    let wrong = line("v2", r#""years":{"from":2020,"to":2021},"trims":"ALL""#);
    let Record::Vehicle(vehicle) = wrong else { panic!("a vehicle") };
    let mut vehicle = vehicle.into_inner();
    vehicle.make = "f".parse().unwrap();
    check(
        vec![Record::Vehicle(crate::Valid::new(vehicle).unwrap())],
        &["`vehicle/v2` names `vocabulary/f` in `make` as a MAKE, but it is a PLUG_FAMILY"],
    );
}

#[test]
fn overlapping_lines_are_named_both() {
    let both =
        ["`vehicle/v1` and `vehicle/v2` overlap in years, trims, build months, market, drive side and body"];
    check(vec![line("v2", r#""years":{"from":2016,"to":2018},"trims":"ALL""#)], &both);
    check(vec![line("v2", r#""years":{"from":2016,"to":2018},"trims":{"THESE":["Sport"]}"#)], &both);
    check(vec![line("v2", r#""years":{"from":2016,"to":2018},"trims":"ALL","body":"estate""#)], &both);
    check(vec![line("v2", r#""years":{"from":2017,"to":2018},"trims":"ALL""#)], &[]);
}

#[test]
fn lines_that_differ_in_one_attribute_do_not_overlap() {
    let pairs = [
        (r#""trims":{"THESE":["Sport"]}"#, r#""trims":{"THESE":["Base"]}"#),
        (r#""trims":{"THESE":["Sport"]}"#, r#""trims":"ALL_OTHERS""#),
        (
            r#""trims":"ALL","build":{"to":"2020-06"},"how_to_tell":{"BUILD_MONTH":"door label"}"#,
            r#""trims":"ALL","build":{"from":"2020-07"},"how_to_tell":{"BUILD_MONTH":"door label"}"#,
        ),
        (r#""trims":"ALL","drive_side":"LEFT""#, r#""trims":"ALL","drive_side":"RIGHT""#),
        (r#""trims":"ALL","market":"NA""#, r#""trims":"ALL","market":"EU""#),
        (r#""trims":"ALL","body":"estate""#, r#""trims":"ALL","body":"saloon""#),
    ];
    for (one, other) in pairs {
        let years = r#""years":{"from":2020,"to":2021}"#;
        check(vec![line("v2", &format!("{years},{one}")), line("v3", &format!("{years},{other}"))], &[]);
    }
}

#[test]
fn supersession_never_runs_in_a_circle() {
    let part = |id: &str, successor: &str| {
        let rest = r#""brand":"b","number":"1","title":"t","kind":"LEAD","covers":[]"#;
        record("part", &format!(r#""id":"{id}","life":{{"SUPERSEDED_BY":"{successor}"}},{rest}"#))
    };
    let brand = record("vocabulary", r#""id":"b","of":"BRAND","name":"B""#);
    check(
        vec![brand, part("p1", "p2"), part("p2", "p1"), part("p3", "p1")],
        &["`part/p1` is superseded in a circle", "`part/p2` is superseded in a circle"],
    );
}

#[test]
fn a_lead_comes_from_a_plug_that_the_part_occupies() {
    let brand = record("vocabulary", r#""id":"b","of":"BRAND","name":"B""#);
    let lead = r#"{"function":"BATTERY","colour":"YE","direction":"SOURCE","from":{"WAY":{"family":"f","way":"1"}}}"#;
    let part = record(
        "part",
        &format!(
            r#""id":"p","brand":"b","number":"1","title":"t","kind":"HARNESS_ADAPTER","life":"CURRENT","covers":[],"leads":[{lead}]"#
        ),
    );
    check(
        vec![brand, part],
        &["`part/p` has a lead in `leads.0.from` from `vocabulary/f`, a plug that it does not occupy"],
    );
}
