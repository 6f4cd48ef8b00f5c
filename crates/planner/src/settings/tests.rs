//! Settings on a small invented catalogue: two cars, two radios, one module. Expected positions are read off the rules.

use dashwright_model::exchange::{parse_line, to_line};
use dashwright_snapshot::SourceRecord;

use super::*;

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"by hand","date":"2024-05-01"}"#;

fn source(kind: &str, fields: &str) -> SourceRecord {
    let line = format!(r#"{{"{kind}":{{{fields},{EVIDENCE}}}}}"#);
    let record = parse_line(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error}: {line}"));
    SourceRecord { text: to_line(&record).unwrap().into(), revision: 1 }
}

fn radio(id: &str, chassis: &str, rest: &str) -> SourceRecord {
    let lead = r#"{"function":"BATTERY","colour":"YE","direction":"SINK"}"#;
    let head = format!(r#""id":"{id}","brand":"b-{id}","model":"m","chassis":{{"class":"{chassis}"}}"#);
    source("radio", &format!(r#"{head},"leads":[{lead}]{rest}"#))
}

/// A line from 2012 to 2013 and one from 2018 to 2019 with the same dash and audio, radios `r` and `s`, and the module `m`.
fn catalogue(module: &str) -> Snapshot {
    let term = |id: &str, of: &str| source("vocabulary", &format!(r#""id":"{id}","of":{of},"name":"{id}""#));
    let plug = r#"{"family":"f","ways_count":1,"ways":[{"way":"1","function":"BATTERY"}]}"#;
    let car = |id: &str, from: u16| {
        let option = r#"{"code":"B","title":"base","how_to_tell":"look","audio":"a"}"#;
        let years = format!(r#""years":{{"from":{from},"to":{}}},"trims":"ALL""#, from + 1);
        source(
            "vehicle",
            &format!(r#""id":"{id}","make":"m","model":"One",{years},"dash":"d","audio_options":[{option}]"#),
        )
    };
    let head = r#""id":"m","brand":"b-r","number":"1","title":"t","kind":"DATA_MODULE""#;
    Snapshot::build(vec![
        term("m", r#""MAKE""#),
        term("b-r", r#""BRAND""#),
        term("b-s", r#""BRAND""#),
        term("f", r#"{"PLUG_FAMILY":{}}"#),
        source("dash", r#""id":"d","title":"t","opening":{"class":"ONE_DIN"},"held_by":["CLIPS"]"#),
        source(
            "factory_audio",
            &format!(
                r#""id":"a","title":"t","amplifier":{{"feed":"NONE"}},"plugs":[{plug}],"circuits":[],"features":{{}}"#
            ),
        ),
        car("early", 2012),
        car("late", 2018),
        radio("r", "ONE_DIN", r#","sockets":[{"kind":"SERIAL_DATA","count":1}]"#),
        radio("s", "TWO_DIN", ""),
        source("part", &format!("{head},{module}")),
    ])
    .unwrap()
}

const CURRENT: &str = r#""life":"CURRENT","covers":[{"says":"MEETS","need":"STEERING","scope":"ANY"}]"#;

fn with_settings(settings: &str) -> Snapshot {
    catalogue(&format!(r#"{CURRENT},"settings":[{settings}]"#))
}

/// A rule for cars from 2018 on.
const LATE: &str = r#"{"VEHICLE":{"ANY_OF":[{"vehicles":[{"make":"m","years":{"from":2018,"to":2030}}]}]}}"#;

fn bank(switches: u8, default: &str, rules: &str) -> String {
    format!(
        r#"{{"SWITCH_BANK":{{"name":"A","switches":{switches},"on_is":"DOWN","default":{{{default}}},"rules":[{rules}]}}}}"#
    )
}

fn rule(when: &str, positions: &str) -> String {
    format!(r#"{{"when":{when},"positions":{{{positions}}}}}"#)
}

fn selector(default: &str, rules: &str) -> String {
    format!(r#"{{"SELECTOR":{{"name":"S","positions":8{default},"rules":[{rules}]}}}}"#)
}

/// The settings of the module in a car with a radio, in words; the fault where there is one.
fn told(snapshot: &Snapshot, car: &str, radio: &str) -> String {
    let line = snapshot.line(snapshot.line_by_id(car).unwrap()).unwrap();
    let case = snapshot.case(snapshot.options_of(line)[0].case).unwrap();
    let (_, radio) = snapshot.radios().find(radio).unwrap();
    let (_, part) = snapshot.parts().find("m").unwrap();
    match settings(snapshot, case, radio, part) {
        Err(fault) => format!("{fault:?}").replace('"', "").replace("Label(", "").replace(')', ""),
        Ok(answers) => answers.iter().map(state).collect::<Vec<_>>().join("; "),
    }
}

/// `number name: switch position<rule…`, `d` for the default.
fn state(answer: &SettingAnswer) -> String {
    let by = |rule: RuleNumber| rule.map_or("d".to_owned(), |rule| rule.to_string());
    let text = match &answer.state {
        SettingState::SwitchBank { name, on_is, switches } => {
            let each = switches.iter().map(|(switch, at, rule)| format!(" {switch}{at}<{}", by(*rule)));
            format!("{name} {on_is}:{}", each.collect::<String>())
        }
        SettingState::Selector { name, position, rule } => format!("{name}: {position}<{}", by(*rule)),
        SettingState::Instruction { name, text } => format!("{name}: {text}"),
    };
    format!("{} {text}", answer.number)
}

#[test]
fn each_switch_has_the_position_of_its_rule_or_the_default() {
    let rules = [
        rule(r#"{"RADIO":{"brands":["b-r"]}}"#, r#""1":"ON""#),
        rule(LATE, r#""2":"ON""#),
        rule(r#""ALWAYS""#, r#""3":"OFF""#),
    ];
    let snapshot = with_settings(&bank(3, r#""1":"OFF","2":"OFF""#, &rules.join(",")));
    assert_eq!(told(&snapshot, "early", "r"), "0 A DOWN: 1ON<0 2OFF<d 3OFF<2");
    assert_eq!(told(&snapshot, "early", "s"), "0 A DOWN: 1OFF<d 2OFF<d 3OFF<2");
    assert_eq!(told(&snapshot, "late", "r"), "0 A DOWN: 1ON<0 2ON<1 3OFF<2");
    assert_eq!(told(&snapshot, "late", "s"), "0 A DOWN: 1OFF<d 2ON<1 3OFF<2");
    assert_eq!(setting_faults(&snapshot), []);
}

#[test]
fn a_rule_for_both_needs_both() {
    let both = LATE
        .replace("VEHICLE", "BOTH")
        .replace(r#"{"BOTH":"#, r#"{"BOTH":{"radio":{"chassis":["ONE_DIN"]},"vehicle":"#)
        + "}";
    let snapshot = with_settings(&bank(1, r#""1":"OFF""#, &rule(&both, r#""1":"ON""#)));
    let all = [("early", "r"), ("early", "s"), ("late", "r"), ("late", "s")];
    let told = all.map(|(car, radio)| told(&snapshot, car, radio));
    assert_eq!(told, ["0 A DOWN: 1OFF<d", "0 A DOWN: 1OFF<d", "0 A DOWN: 1ON<0", "0 A DOWN: 1OFF<d"]);
}

#[test]
fn a_switch_that_is_set_twice_differently_is_a_fault_and_twice_alike_is_none() {
    let rules =
        |second: &str| [rule(r#""ALWAYS""#, r#""1":"ON""#), rule(LATE, &format!(r#""1":"{second}""#))];
    let snapshot = with_settings(&bank(1, "", &rules("OFF").join(",")));
    assert_eq!(told(&snapshot, "early", "r"), "0 A DOWN: 1ON<0");
    assert_eq!(told(&snapshot, "late", "r"), "Twice { setting: A, switch: 1, rules: (0, 1 }");
    // Both radios, in the later car only.
    let faults = setting_faults(&snapshot);
    let radios: Vec<&str> = faults.iter().map(|fault| fault.radio.as_str()).collect();
    assert_eq!(radios, ["r", "s"]);
    let late = snapshot.options_of(snapshot.line(snapshot.line_by_id("late").unwrap()).unwrap())[0].case;
    assert!(faults.iter().all(|fault| fault.case == late && fault.part.as_str() == "m"), "{faults:?}");

    let alike = with_settings(&bank(1, "", &rules("ON").join(",")));
    assert_eq!(told(&alike, "late", "r"), "0 A DOWN: 1ON<0");
}

#[test]
fn a_switch_that_nothing_sets_is_a_fault() {
    let snapshot = with_settings(&bank(2, r#""1":"OFF""#, &rule(LATE, r#""2":"ON""#)));
    assert_eq!(told(&snapshot, "early", "r"), "Never { setting: A, switch: 2 }");
    assert_eq!(told(&snapshot, "late", "r"), "0 A DOWN: 1OFF<d 2ON<0");
}

#[test]
fn a_selector_takes_its_rule_or_the_default_and_never_two_rules() {
    let by_radio = r#"{"when":{"RADIO":{"radios":["r"]}},"position":4}"#;
    let by_car = |position: u8| format!(r#"{{"when":{LATE},"position":{position}}}"#);
    let with_default = with_settings(&selector(r#","default":7"#, by_radio));
    assert_eq!(told(&with_default, "early", "r"), "0 S: 4<0");
    assert_eq!(told(&with_default, "early", "s"), "0 S: 7<d");
    let without = with_settings(&selector("", by_radio));
    assert_eq!(told(&without, "early", "s"), "SelectorNever { setting: S }");
    // At most one rule may hold, even if two agree.
    for position in [4, 5] {
        let two = with_settings(&selector("", &format!("{by_radio},{}", by_car(position))));
        assert_eq!(told(&two, "early", "r"), "0 S: 4<0");
        assert_eq!(told(&two, "late", "s"), format!("0 S: {position}<1"));
        assert_eq!(told(&two, "late", "r"), "SelectorTwice { setting: S, rules: (0, 1 }");
    }
}

#[test]
fn an_instruction_is_shown_where_it_holds() {
    let sockets = r#"{"RADIO":{"sockets":["SERIAL_DATA"]}}"#;
    let text = r#"{"INSTRUCTION":{"name":"I","when":"#;
    let snapshot = with_settings(&format!(
        r#"{text}{sockets},"text":"load the serial file"}}}},{}"#,
        selector(r#","default":1"#, "")
    ));
    assert_eq!(told(&snapshot, "early", "r"), "0 I: load the serial file; 1 S: 1<d");
    // The selector keeps its place in the record.
    assert_eq!(told(&snapshot, "early", "s"), "1 S: 1<d");
}

#[test]
fn every_fault_of_a_part_is_found_and_only_for_those_that_it_is_for() {
    let settings = format!(r#""settings":[{},{}]"#, bank(1, "", ""), selector("", ""));
    let found = |says: &str| {
        let snapshot = catalogue(&format!("{says},{settings}"));
        let faults = setting_faults(&snapshot);
        faults.iter().map(|fault| format!("{} {}", fault.radio, fault.fault_name())).collect::<Vec<_>>()
    };
    let meets = |rest: &str| format!(r#"{{"says":"MEETS","need":"STEERING","scope":"ANY"{rest}}}"#);
    let not_for = |rest: &str| format!(r#"{{"says":"NOT_FOR","scope":"ANY"{rest}}}"#);
    let only_r = r#","radio":{"radios":["r"]}"#;
    let both_of_r = ["r Never", "r SelectorNever"];
    // For one radio alone; for all but one; for all but one in the only need that it meets.
    assert_eq!(found(&format!(r#""life":"CURRENT","covers":[{}]"#, meets(only_r))), both_of_r);
    let not_s = not_for(r#","radio":{"radios":["s"]}"#);
    assert_eq!(found(&format!(r#""life":"CURRENT","covers":[{},{not_s}]"#, meets(""))), both_of_r);
    let not_s = not_for(r#","need":"STEERING","radio":{"radios":["s"]}"#);
    assert_eq!(found(&format!(r#""life":"CURRENT","covers":[{},{not_s}]"#, meets(""))), both_of_r);
    // One that can only be had from a shelf is set too.
    assert_eq!(found(&format!(r#""life":"DISCONTINUED","covers":[{}]"#, meets(only_r))), both_of_r);
}

impl FaultySetting {
    fn fault_name(&self) -> &'static str {
        match self.fault {
            SettingFault::Twice { .. } => "Twice",
            SettingFault::Never { .. } => "Never",
            SettingFault::SelectorTwice { .. } => "SelectorTwice",
            SettingFault::SelectorNever { .. } => "SelectorNever",
        }
    }
}
