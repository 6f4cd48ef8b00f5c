//! Every radio in every vehicle of the demo catalogue: what has to be true of every plan, read from the plain JSON of the
//! records and not with the code under test.

#![cfg(test)]

#[path = "whole_catalogue/numbers.rs"]
mod numbers;

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use dashwright_model::exchange;
use dashwright_planner::{
    CasePlan, LeadEnd, Owner, Request, SettingState, Wiring, plan_case, setting_faults,
};
use dashwright_snapshot::{Snapshot, SourceRecord};
use dashwright_tests::service::demo_json;
use serde_json::Value;

/// A plan with the records that it is for.
struct Job<'a> {
    name: String,
    audio: &'a Value,
    dash: &'a Value,
    radio: &'a Value,
    vehicle: &'a Value,
    plan: CasePlan,
    /// The chosen parts.
    parts: Vec<&'a Value>,
}

impl Job<'_> {
    fn wiring(&self) -> Option<&Wiring> {
        Some(&self.plan.chosen.as_ref()?.work.as_ref()?.wiring)
    }

    /// What the car has at a way, by the record.
    fn at(&self, family: &str, way: &str) -> Option<&str> {
        let plugs = self.audio["plugs"].as_array()?;
        let plug = plugs.iter().find(|plug| plug["family"] == family)?;
        let ways = plug["ways"].as_array()?;
        ways.iter().find(|own| own["way"] == way)?["function"].as_str()
    }

    fn circuit(&self, function: &str) -> Option<&Value> {
        self.audio["circuits"].as_array()?.iter().find(|circuit| circuit["function"] == function)
    }

    /// The voltage at an end, by the records: the car's where it comes from a way.
    fn voltage(&self, end: &LeadEnd, function: &str) -> Option<f64> {
        match &end.owner {
            Owner::Radio => {
                let lead = list(self.radio, "leads").iter().find(|lead| lead["function"] == function)?;
                lead["voltage"].as_f64()
            }
            Owner::Part(id) if end.way.is_none() => {
                let part = self.parts.iter().find(|part| part["id"] == id.as_str())?;
                let lead = list(part, "leads").iter().find(|lead| lead["function"] == end.printed.name())?;
                lead["voltage"].as_f64()
            }
            Owner::Part(_) | Owner::Car => {
                let way = end.way.as_ref()?;
                self.circuit(self.at(way.family.as_str(), way.way.as_str())?)?["voltage"].as_f64()
            }
            Owner::Socket(_) | Owner::ModuleInput(_) => None,
        }
    }
}

fn list<'a>(record: &'a Value, field: &str) -> &'a [Value] {
    record[field].as_array().map(Vec::as_slice).unwrap_or_default()
}

fn snapshot() -> Snapshot {
    let records = dashwright_demo::records().unwrap().into_iter();
    let sources = records
        .map(|record| SourceRecord { text: Arc::from(exchange::to_line(&record).unwrap()), revision: 1 });
    Snapshot::build(sources.collect()).unwrap()
}

/// The catalogue, compiled and as plain JSON, and every plan of it: made once for all tests.
struct Catalogue {
    snapshot: Snapshot,
    json: BTreeMap<String, BTreeMap<String, Value>>,
}

static CATALOGUE: LazyLock<Catalogue> =
    LazyLock::new(|| Catalogue { snapshot: snapshot(), json: demo_json().unwrap() });

static JOBS: LazyLock<Vec<Job<'static>>> = LazyLock::new(all_jobs);

fn check_all(check: impl Fn(&Job<'_>)) -> usize {
    JOBS.iter().for_each(check);
    JOBS.len()
}

/// Every radio in every vehicle line with each of its audio options.
fn all_jobs() -> Vec<Job<'static>> {
    let Catalogue { snapshot, json } = &*CATALOGUE;
    let request = Request::default();
    let mut jobs = Vec::new();
    for line in snapshot.lines() {
        let vehicle = &json["vehicle"][snapshot.line_id(line)];
        let dash = &json["dash"][vehicle["dash"].as_str().unwrap()];
        for option in snapshot.options_of(line) {
            let audio = &json["factory_audio"][option.option.audio.as_str()];
            for (index, radio) in snapshot.radios().iter() {
                let plan = plan_case(snapshot, option.case, index, &request).unwrap();
                let chosen = plan.chosen.iter().flat_map(|chosen| &chosen.parts);
                let ids = chosen.map(|one| snapshot.parts().get(one.part).unwrap().id.to_string());
                let parts = ids.map(|id| &json["part"][&id]).collect();
                let name = format!("{} {} {}", snapshot.line_id(line), option.option.code, radio.id);
                let radio = &json["radio"][radio.id.as_str()];
                jobs.push(Job { name, audio, dash, radio, vehicle, plan, parts });
            }
        }
    }
    jobs
}

fn ends(wiring: &Wiring) -> impl Iterator<Item = &LeadEnd> {
    let joined = wiring.joins.iter().flat_map(|join| &join.ends);
    let loose = wiring.insulated.iter().chain(&wiring.undecided).map(|loose| &loose.lead);
    joined.chain(loose).chain(wiring.fetched.iter().map(|fetch| &fetch.lead))
}

#[test]
fn every_lead_of_radio_and_parts_is_told_exactly_once() {
    let mut leads = std::cell::Cell::new(0);
    let jobs = check_all(|job| {
        let Some(wiring) = job.wiring() else { return };
        let mut told: BTreeMap<String, usize> = BTreeMap::new();
        for end in ends(wiring) {
            let owner = match &end.owner {
                Owner::Radio => "radio".to_owned(),
                Owner::Part(part) => part.to_string(),
                Owner::Socket(_) | Owner::ModuleInput(_) | Owner::Car => continue,
            };
            *told.entry(format!("{owner} {}", end.printed)).or_default() += 1;
        }
        let mut expected: BTreeMap<String, usize> = BTreeMap::new();
        let own = list(job.radio, "leads").iter().map(|lead| ("radio".to_owned(), lead));
        let of_parts = job.parts.iter().flat_map(|part| {
            list(part, "leads").iter().map(|lead| (part["id"].as_str().unwrap().to_owned(), lead))
        });
        for (owner, lead) in own.chain(of_parts) {
            *expected.entry(format!("{owner} {}", lead["function"].as_str().unwrap())).or_default() += 1;
        }
        assert_eq!(told, expected, "{}", job.name);
        leads.set(leads.get() + expected.len());
    });
    assert!(jobs > 1_500 && *leads.get_mut() > 20_000, "{jobs} jobs, {leads:?} leads");
}

#[test]
fn no_two_voltages_ever_meet_and_no_signal_crosses() {
    check_all(|job| {
        let Some(wiring) = job.wiring() else { return };
        for join in &wiring.joins {
            let function = join.function.name();
            let volts = join.ends.iter().filter_map(|end| job.voltage(end, end.printed.name()));
            let mut volts: Vec<f64> = volts.collect();
            volts.dedup();
            assert!(volts.len() < 2, "{}: {function} joins {volts:?} V", job.name);
            // Function follows the car's way, whatever is printed.
            for (end, way) in join.ends.iter().filter_map(|end| Some((end, end.way.as_ref()?))) {
                let car = job.at(way.family.as_str(), way.way.as_str()).unwrap();
                let fed = matches!(function, "REVERSE" | "SWITCHED") && car == "CAMERA_POWER";
                let ground = function == "GROUND" && car == "CAMERA_GROUND";
                let antenna = function == "AMP_ON" && car == "POWER_ANTENNA";
                assert!(car == function || fed || ground || antenna, "{}: {end:?} in {function}", job.name);
            }
            let radio = join.ends.iter().filter(|end| end.owner == Owner::Radio).count();
            assert!(radio <= 1, "{}: two leads of the radio in {function}", job.name);
            // Speakers, lines, video and buses never share a splice.
            let alone =
                function.starts_with("SPEAKER") || function.starts_with("LINE") || function.contains("VIDEO");
            assert!(!alone || join.ends.len() == 2, "{}: {function} is spliced", job.name);
        }
    });
}

#[test]
fn what_would_hurt_is_in_no_plan() {
    check_all(|job| {
        if job.plan.chosen.is_none() {
            return;
        }
        let wiring = job.wiring().unwrap();
        // 24 V never meets a 12 V radio, nor the other way round.
        let car = if job.vehicle["system_voltage"] == "24V" { 24.0 } else { 12.0 };
        let supply = job.radio["electrics"]["supply"].as_f64().unwrap_or(12.0);
        assert_eq!(car, supply, "{}", job.name);
        // Common-ground speakers never meet outputs that are, or may be, bridged.
        let common = list(job.audio, "speakers").iter().any(|speaker| speaker["return"] == "COMMON_GROUND");
        let from_car = |end: &LeadEnd| end.way.is_some();
        let on_speakers = wiring
            .joins
            .iter()
            .any(|join| join.function.name().starts_with("SPEAKER") && join.ends.iter().any(from_car));
        if common && on_speakers {
            assert_eq!(job.radio["electrics"]["bridged_outputs"], false, "{}", job.name);
        }
        // 12 V goes into an antenna only where the car's feed is recorded.
        let fed = list(job.audio, "antennas").iter().any(|antenna| {
            antenna["role"] == "MAIN" && (antenna["feed"] == "BY_LEAD" || antenna["feed"] == "THROUGH_COAX")
        });
        let antenna =
            |end: &LeadEnd| end.printed.name() == "POWER_ANTENNA" && matches!(end.owner, Owner::Part(_));
        let joined = wiring.joins.iter().flat_map(|join| &join.ends).any(antenna);
        assert!(fed || !joined, "{}: 12 V into an antenna whose feed is not recorded", job.name);
        // A lead that feigns the parking brake is in no default plan.
        let feigns = |part: &&Value| list(part, "leads").iter().any(|lead| lead["defeats_interlock"] == true);
        assert!(!job.parts.iter().any(feigns), "{}", job.name);
        // Nothing of the restraint system, of brakes or of the engine is tapped.
        for fetch in &wiring.fetched {
            let place =
                fetch.found_at.as_ref().map(|place| place.as_str().to_lowercase()).unwrap_or_default();
            assert!(
                !["airbag", "restraint", "abs ", "injector"].iter().any(|word| place.contains(word)),
                "{place}"
            );
        }
        // Whoever needs power has it, or it is said to be missing.
        let names: Vec<&str> = wiring.joins.iter().map(|join| join.function.name()).collect();
        let told = |name: &str| {
            names.contains(&name)
                || wiring.fetched.iter().any(|fetch| fetch.function.name() == name)
                || wiring.undecided.iter().any(|loose| loose.function.name() == name)
        };
        for function in ["BATTERY", "SWITCHED", "GROUND"] {
            assert!(told(function), "{}: {function} is dropped", job.name);
        }
    });
}

#[test]
fn every_switch_of_every_chosen_module_has_one_position() {
    let banks = std::cell::Cell::new(0);
    check_all(|job| {
        let settings = job.plan.chosen.iter().filter_map(|chosen| chosen.work.as_ref());
        for setting in settings.flat_map(|work| &work.settings).flat_map(|part| &part.settings) {
            if let SettingState::SwitchBank { switches, .. } = &setting.state {
                let numbers: Vec<u8> = switches.iter().map(|(number, ..)| *number).collect();
                let all: Vec<u8> = (1..=u8::try_from(numbers.len()).unwrap()).collect();
                assert_eq!(numbers, all, "{}", job.name);
                banks.set(banks.get() + 1);
            }
        }
    });
    assert!(banks.get() > 50, "{} banks", banks.get());
    assert_eq!(setting_faults(&CATALOGUE.snapshot), []);
}
