//! The small invented catalogue, and questions in short form.

use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::question::VehicleQuestion;
use dashwright_quantity::{Label, ModelYear};

use crate::{Snapshot, SourceRecord};

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

/// The catalogue in the order in which it is written here.
pub(super) fn catalogue() -> Snapshot {
    compile(records())
}

pub(super) fn compile(records: Vec<SourceRecord>) -> Snapshot {
    Snapshot::build(records)
        .unwrap_or_else(|error| panic!("{error}: {:?}", std::error::Error::source(&error)))
}

/// A question from `key=value` pairs, separated by `, `; a part without `=` goes on with the value before it.
pub(super) fn ask(text: &str) -> VehicleQuestion {
    let mut question = VehicleQuestion::default();
    for pair in text.split("; ").filter(|pair| !pair.is_empty()) {
        let (key, value) = pair.split_once('=').unwrap_or_else(|| panic!("no pair: {pair}"));
        let label = || Some(Label::new(value).unwrap());
        match key {
            "vin" => question.vin = Some(value.parse().unwrap()),
            "year" => question.model_year = Some(ModelYear::new(value.parse().unwrap()).unwrap()),
            "make" => question.make = label(),
            "model" => question.model = label(),
            "trim" => question.trim = label(),
            "built" => question.build_month = Some(value.parse().unwrap()),
            "market" => question.market = label(),
            "side" => question.drive_side = Some(value.parse().unwrap()),
            "body" => question.body = label(),
            "drivetrain" => question.drivetrain = label(),
            "audio" => question.audio_option = label(),
            "words" => question.words = label(),
            _ => panic!("no key: {key}"),
        }
    }
    question
}

pub(super) fn source(line: &str) -> SourceRecord {
    // Written anew, as the dataset would hold it, and checked on the way.
    let record = parse_line(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error}: {line}"));
    SourceRecord { text: to_line(&record).unwrap().into(), revision: 1 }
}

fn term(fields: &str) -> SourceRecord {
    source(&format!(r#"{{"vocabulary":{{{fields},{EVIDENCE}}}}}"#))
}

/// A line: id, make, model, first and last year, trims, further fields, audio options by name.
pub(super) fn line(
    head: [&str; 3],
    years: [u16; 2],
    trims: &str,
    rest: &str,
    options: &[&str],
) -> SourceRecord {
    let [id, make, model] = head;
    let options: Vec<String> = options.iter().map(|option| audio_option(option)).collect();
    let (options, [from, to]) = (options.join(","), years);
    let rest = if rest.is_empty() { String::new() } else { format!("{rest},") };
    source(&format!(
        r#"{{"vehicle":{{"id":"{id}","make":"{make}","model":"{model}","years":{{"from":{from},"to":{to}}},"trims":{trims},{rest}"dash":"d","audio_options":[{options}],{EVIDENCE}}}}}"#
    ))
}

fn audio_option(option: &str) -> String {
    let (code, title) = match option {
        "base" => ("B", "base six-speaker"),
        "amp" => ("A", "branded amplified ten-speaker"),
        _ => panic!("no such option: {option}"),
    };
    format!(
        r#"{{"code":"{code}","title":"{title}","how_to_tell":"look for the {option} badge","audio":"{option}"}}"#
    )
}

fn audio(id: &str) -> SourceRecord {
    source(&format!(
        r#"{{"factory_audio":{{"id":"{id}","title":"{id}","amplifier":{{"feed":"NONE"}},"plugs":[{{"family":"f","ways_count":1,"ways":[{{"way":"1","function":"BATTERY"}}]}}],"circuits":[],"features":{{}},{EVIDENCE}}}}}"#
    ))
}

pub(super) fn frame() -> Vec<SourceRecord> {
    vec![
        source(&format!(
            r#"{{"dash":{{"id":"d","title":"d","opening":{{"class":"ONE_DIN"}},"held_by":["CLIPS"],{EVIDENCE}}}}}"#
        )),
        term(r#""id":"f","of":{"PLUG_FAMILY":{}},"name":"F""#),
        audio("base"),
        audio("amp"),
        term(r#""id":"orvane","of":"MAKE","name":"Orvane","aliases":["Orv"]"#),
        term(r#""id":"belto","of":"MAKE","name":"Beltó""#),
        term(r#""id":"beltrane","of":"MAKE","name":"Beltrane""#),
    ]
}

pub(super) fn records() -> Vec<SourceRecord> {
    [frame(), words(), bodies_and_trims(), months_and_markets(), numbers()].concat()
}

fn words() -> Vec<SourceRecord> {
    vec![
        term(r#""id":"corlan","of":{"MODEL":{"make":"orvane"}},"name":"Corlan","aliases":["CV"]"#),
        term(
            r#""id":"big","of":{"PHRASE":{"stands_for":"branded amplified ten-speaker"}},"name":"big speakers","aliases":["premium sound"]"#,
        ),
        term(r#""id":"wagon","of":{"PHRASE":{"stands_for":"estate"}},"name":"wagon""#),
    ]
}

fn bodies_and_trims() -> Vec<SourceRecord> {
    let both: &[&str] = &["base", "amp"];
    let told = r#""how_to_tell":{"BODY":"count the side windows","TRIM":"badge on the boot lid"}"#;
    vec![
        // One model in two bodies; its trims at the end of its life: one by name, and all others.
        line(
            ["corlan-estate", "orvane", "Corlan"],
            [2014, 2018],
            r#""ALL""#,
            &format!(r#""body":"estate",{told}"#),
            both,
        ),
        line(
            ["corlan-saloon", "orvane", "Corlan"],
            [2014, 2018],
            r#""ALL""#,
            r#""body":"saloon""#,
            &["base"],
        ),
        line(
            ["corlan-sport", "orvane", "Corlan"],
            [2019, 2020],
            r#"{"THESE":["Sport","Sport Plus"]}"#,
            told,
            both,
        ),
        line(["corlan-others", "orvane", "Corlan"], [2019, 2021], r#""ALL_OTHERS""#, "", both),
        // A name that is one slip from another of the same make, and from one of another make.
        line(["corlin", "orvane", "Corlin"], [2010, 2020], r#"{"THESE":["Base"]}"#, "", both),
        line(["corlex", "belto", "Corlex"], [2012, 2016], r#""ALL""#, "", &["base"]),
    ]
}

fn months_and_markets() -> Vec<SourceRecord> {
    let month = r#""how_to_tell":{"BUILD_MONTH":"label on the door post"}"#;
    vec![
        // A split year.
        line(
            ["tesk-early", "belto", "Tesk 300"],
            [2020, 2020],
            r#""ALL""#,
            &format!(r#""build":{{"to":"2020-06"}},{month}"#),
            &["base"],
        ),
        line(
            ["tesk-late", "belto", "Tesk 300"],
            [2020, 2020],
            r#""ALL""#,
            &format!(r#""build":{{"from":"2020-07"}},{month}"#),
            &["amp"],
        ),
        line(["tesk-500", "belto", "Tesk 500"], [2018, 2022], r#""ALL""#, "", &["base"]),
        // Markets and sides; a trim that is a model elsewhere; a model that is a number.
        line(
            ["sport-left", "belto", "Sport"],
            [2015, 2019],
            r#""ALL""#,
            r#""market":"NA","drive_side":"LEFT","drivetrain":"all-wheel""#,
            &["base"],
        ),
        line(
            ["sport-right", "belto", "Sport"],
            [2015, 2019],
            r#""ALL""#,
            r#""market":"UK","drive_side":"RIGHT","drivetrain":"all-wheel""#,
            &["base"],
        ),
        line(["number", "belto", "2016"], [2016, 2019], r#""ALL""#, "", &["base"]),
    ]
}

/// Light lines of two cycles under one pattern, heavy ones likewise, and a more specific pattern.
fn numbers() -> Vec<SourceRecord> {
    vec![
        line(
            ["vexa-old", "beltrane", "Vexa"],
            [1984, 1988],
            r#""ALL""#,
            r#""weight_class":"LIGHT","vin_patterns":["4KD?B5??-??"]"#,
            &["base"],
        ),
        line(
            ["vexa", "beltrane", "Vexa"],
            [2014, 2018],
            r#""ALL""#,
            r#""weight_class":"LIGHT","vin_patterns":["4KD?B5??-??"]"#,
            &["base"],
        ),
        line(
            ["vexa-special", "beltrane", "Vexa S"],
            [2014, 2018],
            r#""ALL""#,
            r#""weight_class":"LIGHT","vin_patterns":["4KD?B5X?-??"]"#,
            &["base"],
        ),
        line(
            ["truck-old", "beltrane", "Truck"],
            [1984, 1990],
            r#""ALL""#,
            r#""weight_class":"HEAVY","vin_patterns":["4KT?????-??"]"#,
            &["base"],
        ),
        line(
            ["truck", "beltrane", "Truck"],
            [2014, 2020],
            r#""ALL""#,
            r#""weight_class":"HEAVY","vin_patterns":["4KT?????-??"]"#,
            &["base"],
        ),
        line(
            ["abroad", "orvane", "Abroad"],
            [2011, 2013],
            r#""ALL""#,
            r#""vin_patterns":["WKX?????-??"]"#,
            &["base"],
        ),
    ]
}
