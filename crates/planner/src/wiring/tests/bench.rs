//! Benches in words. One line is one thing:
//!
//! ```text
//! car 24V grade=REPORTED                          the car's voltage, the grade of its records
//! way p/4 BATTERY YE 12V TO_SUPPLY STEADY         a way of plug p, its colour, its circuit
//! way p/5 SWITCHED grade=ASSUMED                  what the circuit alone rests on
//! elsewhere REVERSE 12V at=tail-lamp              a circuit that is not at the plug
//! bus SWITCHED                                    a circuit on a data bus only
//! speaker FRONT_LEFT COMMON_GROUND                antenna BY_LEAD      camera COMPOSITE 6V
//! amplifier LEAD                                  ladder STEERING_1
//! radio RD=SWITCHED… is written lead by lead:
//! lead SWITCHED RD SINK 12V 10A                   a lead of the radio
//! socket CAMERA_INPUT 2 · asks REVERSE · draws 10A · supply 24V · bridged true · steers SERIAL · serves REVERSE_CAMERA
//! part h grade=MEASURED                           a part; the leads below it are its own
//! lead BATTERY YE SOURCE @p/4 15A PREFERRED FEIGNS
//! covers CAMERA · covers CAMERA for=r · requires x y · takes SERIAL_DATA
//! ```

use dashwright_model::Need;
use dashwright_model::record::vehicle::SystemVoltage;
use dashwright_model::record::{FactoryAudio, Part, Radio};
use serde_json::{Map, Value, json};

use super::super::*;

/// What lies on a bench.
pub(super) struct Setup {
    audio: FactoryAudio,
    voltage: Option<SystemVoltage>,
    radio: Radio,
    parts: Vec<Part>,
}

impl Setup {
    pub(super) fn read(text: &str) -> Self {
        let mut writer = Writer::new();
        for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
            let words: Vec<&str> = line.split_whitespace().collect();
            writer.line(words[0], &words[1..]);
        }
        writer.setup()
    }

    fn bench(&self) -> Bench<'_> {
        Bench { audio: &self.audio, system_voltage: self.voltage, radio: &self.radio }
    }

    pub(super) fn wire(&self, direct: &[Need]) -> Wiring {
        let parts: Vec<&Part> = self.parts.iter().collect();
        wire(&self.bench(), &parts, direct)
    }

    /// Why a part can not serve a need; why the car's wires can not for the part called `car`.
    pub(super) fn refusals(&self, part: &str, need: Need) -> Vec<Mismatch> {
        let part_of = |id: &PartId| self.parts.iter().find(|part| part.id == *id);
        match self.parts.iter().find(|own| own.id.as_str() == part) {
            Some(part) => refusals(&self.bench(), part, need, &part_of),
            None => direct_refusals(&self.bench(), need),
        }
    }
}

/// Compares the whole wiring, line by line.
#[track_caller]
pub(super) fn check(bench: &str, direct: &[Need], expected: &str) {
    let told = told(&Setup::read(bench).wire(direct));
    let expected: Vec<&str> = expected.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    assert_eq!(told, expected, "\n{}", told.join("\n"));
}

/// Compares what refuses a part's need.
#[track_caller]
pub(super) fn check_refusals(bench: &str, part: &str, need: Need, expected: &[&str]) {
    let told: Vec<String> = Setup::read(bench).refusals(part, need).iter().map(mismatch).collect();
    assert_eq!(told, expected, "{part} {need}");
}

/// A wiring in words.
pub(super) fn told(wiring: &Wiring) -> Vec<String> {
    let Wiring { joins, insulated, fetched, undecided, sockets: _, traps, refused } = wiring;
    let mut lines: Vec<String> = joins.iter().map(join).collect();
    lines.extend(insulated.iter().map(|loose| format!("insulated {} {:?}", end(&loose.lead), loose.why)));
    lines.extend(fetched.iter().map(|fetch| {
        let way = fetch.way.as_ref().map(|way| format!("{}/{}", way.family, way.way));
        let place = fetch.found_at.as_ref().map(ToString::to_string).or(way).unwrap();
        format!("fetched {} {} at {place}", fetch.function, end(&fetch.lead))
    }));
    lines.extend(undecided.iter().map(|loose| format!("undecided {} {:?}", end(&loose.lead), loose.why)));
    lines.extend(traps.iter().map(|trap| match trap {
        ColourTrap::Print { lead, really } => format!("print {} carries {really}", end(lead)),
        ColourTrap::SameColour { radio, adapter, really } => {
            format!("trap {} is no {} {really}", end(radio), end(adapter))
        }
    }));
    lines.extend(refused.iter().map(|refused| format!("refused {}", mismatch(refused))));
    lines
}

fn join(join: &Join) -> String {
    let ends: Vec<String> = join.ends.iter().map(end).collect();
    let mut line = format!("{}: {}", join.function, ends.join(" + "));
    if join.same_colour {
        line.push_str("; same");
    }
    if let Some(weak) = &join.meter_first {
        line.push_str(&format!("; meter, {} of {}", weak.grade, weak.record.id));
    }
    match join.load {
        Load::NotWeighed => {}
        Load::Fits { carries, needs } => line.push_str(&format!("; {carries} for {needs}")),
        Load::TooThin { carries, needs } => line.push_str(&format!("; too thin, {carries} for {needs}")),
        Load::Unknown => line.push_str("; load unknown"),
    }
    line
}

/// Owner, print, colour and way.
fn end(end: &LeadEnd) -> String {
    let owner = match &end.owner {
        Owner::Radio => "radio".to_owned(),
        Owner::Socket(kind) => format!("socket {kind}"),
        Owner::Part(part) => part.to_string(),
        Owner::ModuleInput(part) => format!("input of {part}"),
        Owner::Car => "car".to_owned(),
    };
    let colour = end.colour.map(|colour| format!(" {colour}")).unwrap_or_default();
    let way = end.way.as_ref().map(|way| format!(" @{}/{}", way.family, way.way)).unwrap_or_default();
    format!("{owner} {}{colour}{way}", end.printed)
}

fn mismatch(mismatch: &Mismatch) -> String {
    let from = |sides: &Sides| format!("{} onto {}", sides.source.id, sides.sink.id);
    match mismatch {
        Mismatch::Voltage { function, source, sink, sides } => {
            format!("{function} {source} onto {sink}, {}", from(sides))
        }
        Mismatch::Polarity { function, source, sink, sides } => {
            format!("{function} {source} onto {sink}, {}", from(sides))
        }
        Mismatch::Signal { function, source, sink, sides } => {
            format!("{function} {source} onto {sink}, {}", from(sides))
        }
        Mismatch::CommonGroundOnBridged { sides } => format!("common ground, {}", from(sides)),
        Mismatch::SpeakerLoad { position, load, least, sides } => {
            format!("{position} {load} below {least}, {}", from(sides))
        }
        Mismatch::ButtonsTooClose { wire, apart, threshold, sides } => {
            format!("{wire} {:.3} V below {threshold}, {}", apart.get(), from(sides))
        }
        Mismatch::SteeringKind { sides } => format!("ladder, {}", from(sides)),
        Mismatch::CameraSignal { sides } => format!("camera signal, {}", from(sides)),
        Mismatch::AntennaFeed { record } => format!("antenna feed of {}", record.id),
        Mismatch::CameraSupply { needs, record } => format!("camera of {} needs {needs}", record.id),
        Mismatch::NoRadioLead { function, record } => format!("no {function} at {}", record.id),
        Mismatch::FactMissing { record, field } => format!("unknown {field} of {}", record.id),
    }
}

fn evidence(grade: &str) -> Value {
    json!({"grade": grade, "source": "by hand", "date": "2024-05-01"})
}

/// Records as JSON, as far as they are read.
struct Writer {
    voltage: Option<SystemVoltage>,
    audio: Value,
    radio: Value,
    parts: Vec<Value>,
}

impl Writer {
    fn new() -> Self {
        let audio = json!({
            "id": "a", "title": "t", "amplifier": {"feed": "NONE"}, "plugs": [], "circuits": [], "speakers": [],
            "antennas": [], "steering": [], "features": {}, "evidence": evidence("MEASURED")
        });
        let radio = json!({
            "id": "r", "brand": "b", "model": "m", "chassis": {"class": "TWO_DIN"}, "leads": [], "sockets": [],
            "electrics": {}, "asks_for": [], "serves": [], "evidence": evidence("MEASURED")
        });
        Self { voltage: Some(SystemVoltage::V12), audio, radio, parts: Vec::new() }
    }

    fn setup(self) -> Setup {
        Setup {
            audio: serde_json::from_value(self.audio).unwrap(),
            voltage: self.voltage,
            radio: serde_json::from_value(self.radio).unwrap(),
            parts: self.parts.into_iter().map(|part| serde_json::from_value(part).unwrap()).collect(),
        }
    }

    fn line(&mut self, kind: &str, words: &[&str]) {
        match kind {
            "car" => self.car(words),
            "way" => self.way(words),
            "elsewhere" => self.circuit(words[0], "ELSEWHERE", &words[1..]),
            "bus" => self.circuit(words[0], "DATA_BUS", &words[1..]),
            "wire" => self.circuit(words[0], "DISCRETE", &words[1..]),
            "speaker" => push(
                &mut self.audio["speakers"],
                json!({"position": words[0], "drivers": [4.0], "return": words[1]}),
            ),
            "drivers" => {
                let speaker = self.audio["speakers"].as_array_mut().unwrap().last_mut().unwrap();
                speaker["topology"] = json!(words[0]);
                speaker["drivers"] = words[1..].iter().map(|ohms| number(ohms, 'Ω').unwrap()).collect();
            }
            "antenna" => {
                let mut antenna = json!({"role": "MAIN", "family": "coax"});
                if words[0] != "UNKNOWN" {
                    antenna["feed"] = json!(words[0]);
                }
                push(&mut self.audio["antennas"], antenna);
            }
            "camera" => {
                let mut camera = json!({"signal": words[0]});
                if let Some(supply) = words.get(1) {
                    camera["supply"] = number(supply, 'V').unwrap();
                }
                self.audio["camera"] = camera;
            }
            "amplifier" => self.audio["amplifier"] = json!({"feed": "SPEAKER_LEVEL", "turn_on": words[0]}),
            "ladder" => {
                let ohms = words[1..].iter().map(|ohms| number(ohms, 'Ω').unwrap());
                let mut buttons: Map<_, _> = (1..).map(|place| format!("b{place}")).zip(ohms).collect();
                buttons.entry("b1").or_insert(json!(1000.0));
                push(
                    &mut self.audio["steering"],
                    json!({"wire": words[0], "return": "OWN", "buttons": buttons}),
                );
            }
            "socket" => {
                let count: u8 = words[1].parse().unwrap();
                push(&mut self.radio["sockets"], json!({"kind": words[0], "count": count}));
            }
            "asks" => push(&mut self.radio["asks_for"], json!(words[0])),
            "serves" => push(&mut self.radio["serves"], json!(words[0])),
            "draws" => self.radio["electrics"]["max_current"] = number(words[0], 'A').unwrap(),
            "supply" => self.radio["electrics"]["supply"] = number(words[0], 'V').unwrap(),
            "bridged" => self.radio["electrics"]["bridged_outputs"] = json!(words[0] == "true"),
            "least" => self.radio["electrics"]["min_load"] = number(words[0], 'Ω').unwrap(),
            "steers" => {
                self.radio["steering_input"] = json!({"kind": words[0]});
                if let [_, pull_up, reference, threshold] = words {
                    let input = &mut self.radio["steering_input"];
                    input["pull_up"] = number(pull_up, 'Ω').unwrap();
                    input["reference"] = number(reference, 'V').unwrap();
                    input["learning_threshold"] = number(threshold, 'V').unwrap();
                }
            }
            "part" => self.part(words),
            "lead" => self.lead(words),
            "covers" | "requires" | "takes" => self.of_part(kind, words),
            _ => panic!("`{kind}`"),
        }
    }

    fn car(&mut self, words: &[&str]) {
        for word in words {
            match (*word, word.strip_prefix("grade=")) {
                (_, Some(grade)) => self.audio["evidence"] = evidence(grade),
                ("12V", _) => self.voltage = Some(SystemVoltage::V12),
                ("24V", _) => self.voltage = Some(SystemVoltage::V24),
                ("?V", _) => self.voltage = None,
                _ => panic!("`{word}`"),
            }
        }
    }

    fn way(&mut self, words: &[&str]) {
        let (family, way) = words[0].split_once('/').unwrap();
        let plugs = self.audio["plugs"].as_array_mut().unwrap();
        if !plugs.iter().any(|plug| plug["family"] == family) {
            plugs.push(json!({"family": family, "ways_count": 40, "ways": []}));
        }
        let plug = plugs.iter_mut().find(|plug| plug["family"] == family).unwrap();
        let mut one = json!({"way": way, "function": words[1]});
        let mut rest = &words[2..];
        if let Some(colour) = rest.first().filter(|word| word.parse::<LeadColour>().is_ok()) {
            one["colour"] = json!(colour);
            rest = &rest[1..];
        }
        push(&mut plug["ways"], one);
        self.circuit(words[1], "DISCRETE", rest);
    }

    fn circuit(&mut self, function: &str, presence: &str, words: &[&str]) {
        let mut circuit = Map::new();
        circuit.insert("function".to_owned(), json!(function));
        circuit.insert("presence".to_owned(), json!(presence));
        for word in words {
            if let Some(place) = word.strip_prefix("at=") {
                circuit.insert("found_at".to_owned(), json!(place));
            } else if let Some(grade) = word.strip_prefix("grade=") {
                circuit.insert("evidence".to_owned(), evidence(grade));
            } else {
                electric(&mut circuit, word);
            }
        }
        push(&mut self.audio["circuits"], Value::Object(circuit));
    }

    fn part(&mut self, words: &[&str]) {
        let grade = words.get(1).map_or("MEASURED", |word| word.strip_prefix("grade=").unwrap());
        self.parts.push(json!({
            "id": words[0], "brand": "b", "number": "1", "title": "t", "kind": "HARNESS_ADAPTER", "life": "CURRENT",
            "covers": [], "leads": [], "occupies": [], "requires": [], "evidence": evidence(grade)
        }));
    }

    fn of_part(&mut self, kind: &str, words: &[&str]) {
        let part = self.parts.last_mut().unwrap();
        match kind {
            "covers" => {
                let mut cover = json!({"says": "MEETS", "need": words[0], "scope": "ANY"});
                if let Some(radio) = words.get(1).and_then(|word| word.strip_prefix("for=")) {
                    cover["radio"] = json!({"radios": [radio]});
                }
                push(&mut part["covers"], cover);
            }
            "requires" => push(&mut part["requires"], json!(words)),
            _ => push(&mut part["occupies"], json!({"what": {"RADIO_SOCKET": words[0]}, "mode": "TAKES"})),
        }
    }

    /// A lead of the last part; of the radio before the first.
    fn lead(&mut self, words: &[&str]) {
        let mut lead = Map::new();
        lead.insert("function".to_owned(), json!(words[0]));
        lead.insert("colour".to_owned(), json!(words[1]));
        for word in &words[2..] {
            if let Some((family, way)) = word.strip_prefix('@').and_then(|place| place.split_once('/')) {
                lead.insert("from".to_owned(), json!({"WAY": {"family": family, "way": way}}));
            } else if let Some(limit) = number(word, 'A') {
                lead.insert("current_limit".to_owned(), limit);
            } else {
                match *word {
                    "SOURCE" | "SINK" => lead.insert("direction".to_owned(), json!(word)),
                    "PREFERRED" | "FALLBACK" => lead.insert("preference".to_owned(), json!(word)),
                    "FEIGNS" => lead.insert("defeats_interlock".to_owned(), json!(true)),
                    _ => {
                        electric(&mut lead, word);
                        None
                    }
                };
            }
        }
        match self.parts.last_mut() {
            Some(part) => {
                lead.entry("from").or_insert(json!("MADE_BY_MODULE"));
                push(&mut part["leads"], Value::Object(lead));
            }
            None => push(&mut self.radio["leads"], Value::Object(lead)),
        }
    }
}

/// Volts, polarity or kind of signal.
fn electric(fields: &mut Map<String, Value>, word: &str) {
    let (field, value) = match number(word, 'V') {
        Some(volts) => ("voltage", volts),
        None if word.starts_with("TO_") => ("polarity", json!(word)),
        None => ("signal", json!(word)),
    };
    fields.insert(field.to_owned(), value);
}

fn number(word: &str, unit: char) -> Option<Value> {
    Some(json!(word.strip_suffix(unit)?.parse::<f64>().ok()?))
}

fn push(list: &mut Value, value: Value) {
    list.as_array_mut().unwrap().push(value);
}
