//! How long compiling and identifying take with 150 vehicle lines and with 150,000: the two should cost the same.
//!
//! `cargo run --release -p dashwright-snapshot --example measure_snapshot`

use std::error::Error;
use std::hint::black_box;
use std::time::{Duration, Instant};

use dashwright_model::question::VehicleQuestion;
use dashwright_quantity::{Label, ModelYear};
use dashwright_snapshot::{Snapshot, SourceRecord};

const EVIDENCE: &str = r#""evidence":{"grade":"ASSUMED","source":"generated","date":"2026-01-01"}"#;
const LINES_PER_MODEL: usize = 5;
const MODELS_PER_MAKE: usize = 50;
/// Calls are timed one by one until there are this many, or until they have taken [`LONG_ENOUGH`]; the median stands.
const CALLS: usize = 2_001;
const LONG_ENOUGH: Duration = Duration::from_millis(500);

fn main() -> Result<(), Box<dyn Error>> {
    let questions = questions()?;
    let mut small: Vec<Duration> = Vec::new();
    for lines in [150, 150_000] {
        let records = records(lines);
        let start = Instant::now();
        let snapshot = Snapshot::build(records)?;
        println!("{lines} lines: compiled in {:?}", start.elapsed());
        for (number, (name, question)) in questions.iter().enumerate() {
            let identify = median(|| drop(black_box(snapshot.identify(black_box(question)))));
            let choices = median(|| drop(black_box(snapshot.choices(black_box(question)))));
            let outcome = snapshot.identify(question).map_or_else(|e| e.to_string(), |f| f.total.to_string());
            let ratio = small.get(number).map(|before| identify.as_secs_f64() / before.as_secs_f64());
            let ratio = ratio.map_or(String::new(), |ratio| format!(" × {ratio:.2}"));
            println!("  {name:<28} identify {identify:>10.1?}{ratio}  choices {choices:>10.1?}  → {outcome}");
            if lines == 150 {
                small.push(identify);
            }
        }
    }
    Ok(())
}

fn median(mut call: impl FnMut()) -> Duration {
    let (mut times, begun) = (Vec::new(), Instant::now());
    while times.len() < CALLS && (times.is_empty() || begun.elapsed() < LONG_ENOUGH) {
        let start = Instant::now();
        call();
        times.push(start.elapsed());
    }
    times.sort();
    times.get(times.len() / 2).copied().unwrap_or_default()
}

fn questions() -> Result<Vec<(&'static str, VehicleQuestion)>, Box<dyn Error>> {
    let (make, model) = (make_name(0), model_name(0, 7));
    let label = |text: &str| Label::new(text).map(Some);
    let misspelt = model.replacen('a', "e", 1);
    let year = ModelYear::new(2011)?;
    let named = VehicleQuestion {
        model_year: Some(year),
        make: label(&make)?,
        model: label(&model)?,
        ..VehicleQuestion::default()
    };
    let words = |text: String| -> Result<VehicleQuestion, Box<dyn Error>> {
        Ok(VehicleQuestion { words: label(&text)?, ..VehicleQuestion::default() })
    };
    Ok(vec![
        ("year, make, model", named.clone()),
        ("misspelt model of a make", VehicleQuestion { model: label(&misspelt)?, ..named.clone() }),
        ("misspelt model alone", VehicleQuestion { model: label(&misspelt)?, ..VehicleQuestion::default() }),
        ("trim as well", VehicleQuestion { trim: label("Sport")?, ..named }),
        ("free words", words(format!("2011 {make} {model} estate with the big speakers"))?),
        ("free words, misspelt", words(format!("2011 {misspelt} estate with the big speekers"))?),
        ("number", VehicleQuestion { vin: Some("WAAAAAAA7BA000001".parse()?), ..VehicleQuestion::default() }),
        ("year alone", VehicleQuestion { model_year: Some(year), ..VehicleQuestion::default() }),
        (
            "trim alone (looks at all)",
            VehicleQuestion { trim: label("Sport")?, ..VehicleQuestion::default() },
        ),
        ("nothing", VehicleQuestion::default()),
    ])
}

fn records(lines: usize) -> Vec<SourceRecord> {
    let term = |id: &str, of: &str, name: &str| {
        format!(r#"{{"vocabulary":{{"id":"{id}","of":{of},"name":"{name}",{EVIDENCE}}}}}"#)
    };
    let audio = |id: &str| {
        let plug = r#"{"family":"f","ways_count":1,"ways":[{"way":"1","function":"BATTERY"}]}"#;
        let rest = r#""amplifier":{"feed":"NONE"},"circuits":[],"features":{}"#;
        format!(r#"{{"factory_audio":{{"id":"{id}","title":"t","plugs":[{plug}],{rest},{EVIDENCE}}}}}"#)
    };
    let opening = r#""title":"t","opening":{"class":"ONE_DIN"},"held_by":["CLIPS"]"#;
    let mut texts = vec![
        term("f", r#"{"PLUG_FAMILY":{}}"#, "F"),
        term("big", r#"{"PHRASE":{"stands_for":"amplified"}}"#, "big speakers"),
        format!(r#"{{"dash":{{"id":"d",{opening},{EVIDENCE}}}}}"#),
        audio("a"),
        audio("z"),
    ];
    let makes = lines.div_ceil(LINES_PER_MODEL * MODELS_PER_MAKE);
    texts.extend((0..makes).map(|make| term(&format!("m{make}"), r#""MAKE""#, &make_name(make))));
    texts.extend((0..lines).map(vehicle));
    texts.into_iter().map(|text| SourceRecord { text: text.into(), revision: 1 }).collect()
}

fn vehicle(line: usize) -> String {
    let (model, span) = (line / LINES_PER_MODEL, line % LINES_PER_MODEL);
    let (make, model) = (model / MODELS_PER_MAKE, model % MODELS_PER_MAKE);
    let from = 1995 + 5 * span;
    let body = if model % 2 == 0 { "saloon" } else { "estate" };
    let option = |code: &str, title: &str, audio: &str| {
        format!(r#"{{"code":"{code}","title":"{title}","how_to_tell":"look","audio":"{audio}"}}"#)
    };
    let options = format!("{},{}", option("B", "base", "a"), option("A", "amplified", "z"));
    let name = model_name(make, model);
    // The maker code tells the make, positions 4 and 5 the model, position 10 the year in two cycles.
    let pattern = format!("W{}{}???-{}?", letters(make), letters(model), letters(span).split_off(1));
    format!(
        r#"{{"vehicle":{{"id":"v{line}","make":"m{make}","model":"{name}","years":{{"from":{from},"to":{}}},"trims":{{"THESE":["Base","Sport"]}},"body":"{body}","dash":"d","audio_options":[{options}],"vin_patterns":["{pattern}"],{EVIDENCE}}}}}"#,
        from + 4
    )
}

/// Two letters that may stand in an identification number: 529 pairs, then from the beginning.
fn letters(number: usize) -> String {
    const LETTERS: &[u8] = b"ABCDEFGHJKLMNPRSTUVWXYZ";
    let letter = |index: usize| LETTERS.get(index % LETTERS.len()).map_or('A', |byte| char::from(*byte));
    [letter(number / LETTERS.len()), letter(number)].iter().collect()
}

fn make_name(make: usize) -> String {
    format!("M{}rox", syllables(make))
}

/// No two makes have a model of one name: as hard as it gets for a misspelling.
fn model_name(make: usize, model: usize) -> String {
    format!("{}va", syllables(make * MODELS_PER_MAKE + model))
}

fn syllables(number: usize) -> String {
    const SYLLABLES: [&str; 10] = ["ba", "ke", "di", "fo", "gu", "ha", "je", "ki", "lo", "mu"];
    let digits = format!("{number:05}");
    digits.bytes().filter_map(|digit| SYLLABLES.get(usize::from(digit - b'0'))).copied().collect()
}
