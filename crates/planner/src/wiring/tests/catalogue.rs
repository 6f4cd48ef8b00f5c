//! Every radio on every car of the demo catalogue, with no part, with each part that says something alone, and with all of
//! them at once, which nobody would choose: what has to be true of every wiring, read from the records themselves.

use std::collections::BTreeMap;
use std::sync::Arc;

use dashwright_model::exchange::to_line;
use dashwright_model::record::part::{LeadOrigin, PartLead};
use dashwright_model::record::radio::Direction;
use dashwright_model::record::{FactoryAudio, Part, Radio};
use dashwright_snapshot::{Case, Snapshot, SourceRecord};

use super::super::*;
use super::Need;
use super::bench::told;

fn snapshot() -> Snapshot {
    let records = dashwright_demo::records().unwrap().into_iter();
    let sources =
        records.map(|record| SourceRecord { text: Arc::from(to_line(&record).unwrap()), revision: 1 });
    Snapshot::build(sources.collect()).unwrap()
}

/// What lies on a bench, and what was made of it.
struct Job<'a> {
    audio: &'a FactoryAudio,
    radio: &'a Radio,
    parts: Vec<&'a Part>,
    wiring: Wiring,
}

impl Job<'_> {
    fn name(&self) -> String {
        let parts: Vec<&str> = self.parts.iter().map(|part| part.id.as_str()).collect();
        let lines = told(&self.wiring).join("\n");
        format!("{} {} {}\n{lines}", self.audio.id, self.radio.id, parts.join(" "))
    }

    /// What the car has at a way.
    fn at(&self, way: &PlugWay) -> Option<Function> {
        let mut plugs = self.audio.plugs.iter();
        let plug = plugs.find(|plug| plug.family == way.family)?;
        plug.ways.iter().find(|own| own.way == way.way).map(|own| own.function)
    }

    /// The lead of a part that an end is.
    fn lead(&self, end: &LeadEnd) -> Option<&PartLead> {
        let Owner::Part(id) = &end.owner else { return None };
        let part = self.parts.iter().find(|part| part.id == *id)?;
        part.leads.iter().find(|lead| {
            lead.function == end.printed && Some(lead.colour) == end.colour && way_of(lead) == end.way
        })
    }

    fn direction(&self, end: &LeadEnd) -> Option<Direction> {
        let own = self.radio.leads.iter().find(|lead| lead.function == end.printed);
        match &end.owner {
            Owner::Radio => own.map(|lead| lead.direction),
            _ => self.lead(end).map(|lead| lead.direction),
        }
    }

    fn voltage(&self, end: &LeadEnd) -> Option<Volts> {
        match (&end.owner, &end.way) {
            (Owner::Radio, _) => self.radio.leads.iter().find(|lead| lead.function == end.printed)?.voltage,
            (_, Some(way)) => self.audio.circuit(self.at(way)?)?.voltage,
            (_, None) => self.lead(end)?.voltage,
        }
    }
}

fn way_of(lead: &PartLead) -> Option<PlugWay> {
    match &lead.from {
        LeadOrigin::Way { family, way } => Some(PlugWay { family: family.clone(), way: way.clone() }),
        LeadOrigin::MadeByModule => None,
    }
}

/// Each job that the catalogue makes possible, and how many.
fn each_job(mut check: impl FnMut(&Job<'_>)) -> usize {
    let snapshot = snapshot();
    let mut count = 0;
    for case in snapshot.cases() {
        let audio = snapshot.audios().get(case.audio).unwrap();
        for (_, radio) in snapshot.radios().iter() {
            for parts in part_sets(&snapshot, case) {
                for direct in [&[][..], Need::ALL] {
                    let bench = Bench { audio, system_voltage: case.system_voltage, radio };
                    let wiring = wire(&bench, &parts, direct);
                    check(&Job { audio, radio, parts: parts.clone(), wiring });
                    count += 1;
                }
            }
        }
    }
    count
}

/// No part, each that offers something here, and all together, in the order of their ids.
fn part_sets<'a>(snapshot: &'a Snapshot, case: &Case) -> Vec<Vec<&'a Part>> {
    let offers = case.offers.iter().filter_map(|offer| snapshot.parts().get(offer.part));
    let parts: BTreeMap<&str, &Part> = offers.map(|part| (part.id.as_str(), part)).collect();
    let all: Vec<&Part> = parts.into_values().filter(|part| !part.leads.is_empty()).collect();
    let mut sets: Vec<Vec<&Part>> = all.iter().map(|part| vec![*part]).collect();
    sets.push(Vec::new());
    sets.push(all);
    sets
}

#[test]
fn every_lead_is_told_exactly_once() {
    let jobs = each_job(|job| {
        let Wiring { joins, insulated, fetched, undecided, .. } = &job.wiring;
        let joined = joins.iter().flat_map(|join| &join.ends);
        let loose = insulated.iter().chain(undecided).map(|loose| &loose.lead);
        let all = joined.chain(loose).chain(fetched.iter().map(|fetch| &fetch.lead));
        let named =
            |owner: &str, printed: Function, way: Option<&PlugWay>| format!("{owner} {printed} {way:?}");
        let mut told: Vec<String> = all
            .filter_map(|end| match &end.owner {
                Owner::Radio => Some(named("radio", end.printed, None)),
                Owner::Part(part) => Some(named(part.as_str(), end.printed, end.way.as_ref())),
                Owner::Socket(_) | Owner::ModuleInput(_) | Owner::Car => None,
            })
            .collect();
        let mut leads: Vec<String> =
            job.radio.leads.iter().map(|lead| named("radio", lead.function, None)).collect();
        for part in &job.parts {
            let own = part.leads.iter();
            leads.extend(own.map(|lead| named(part.id.as_str(), lead.function, way_of(lead).as_ref())));
        }
        told.sort();
        leads.sort();
        assert_eq!(told, leads, "{}", job.name());
    });
    assert!(jobs > 20_000, "{jobs}");
}

#[test]
fn no_join_hurts() {
    each_job(|job| {
        for join in &job.wiring.joins {
            let at = |end: &LeadEnd| end.way.as_ref().and_then(|way| job.at(way));
            // One voltage.
            let volts: Vec<Volts> = join.ends.iter().filter_map(|end| job.voltage(end)).collect();
            assert!(volts.windows(2).all(|two| two[0] == two[1]), "{volts:?} {}", job.name());
            // One gives; the return of a camera is a ground that the car's record has as giving.
            let camera = |end: &&LeadEnd| at(end) != Some(Function::CameraGround);
            let directions = join.ends.iter().filter(camera).filter_map(|end| job.direction(end));
            let gives = directions.filter(|direction| *direction == Direction::Source).count();
            assert!(gives <= 1, "{} {gives} give {}", join.function, job.name());
            // The car's function, not the print; what feeds a camera or an antenna from another lead is named.
            for end in join.ends.iter().filter(|end| end.way.is_some()) {
                let lent = matches!(
                    (join.function, at(end).unwrap()),
                    (Function::Switched | Function::Reverse, Function::CameraPower)
                        | (Function::Ground, Function::CameraGround)
                        | (Function::AmpOn, Function::PowerAntenna)
                );
                assert!(lent || at(end) == Some(join.function), "{} {}", join.function, job.name());
            }
            // Only supplies, grounds and triggers share a splice.
            use Function as F;
            let shares = matches!(
                join.function,
                F::Battery
                    | F::Switched
                    | F::Ground
                    | F::Illumination
                    | F::PowerAntenna
                    | F::AmpOn
                    | F::Reverse
                    | F::ParkingBrake
                    | F::Mute
                    | F::CameraPower
            );
            assert!(shares || join.ends.len() == 2, "{} {}", join.function, job.name());
        }
    });
}

#[test]
fn nothing_on_the_bench_breaks_a_rule_that_protects() {
    let (mut common, mut fed, mut chopped) = (0, 0, 0);
    each_job(|job| {
        use dashwright_model::SignalKind;
        use dashwright_model::record::audio::{AntennaFeed, AntennaRole, SpeakerReturn};
        let from_car = |function: &str| {
            let joins = job.wiring.joins.iter().filter(|join| join.function.name().starts_with(function));
            joins.flat_map(|join| &join.ends).filter(|end| end.way.is_some()).count()
        };
        let shared =
            job.audio.speakers.iter().any(|speaker| speaker.returns_by == SpeakerReturn::CommonGround);
        if shared && job.radio.electrics.bridged_outputs != Some(false) {
            common += 1;
            assert_eq!(from_car("SPEAKER_"), 0, "{}", job.name());
        }
        let mut mains = job.audio.antennas.iter().filter(|antenna| antenna.role == AntennaRole::Main);
        let feed = mains.next().and_then(|antenna| antenna.feed);
        if feed != Some(AntennaFeed::ByLead) {
            fed += 1;
            assert_eq!(from_car("POWER_ANTENNA"), 0, "{}", job.name());
        }
        let lighting = job.audio.circuit(Function::Illumination).and_then(|circuit| circuit.signal);
        if lighting == Some(SignalKind::Chopped) {
            chopped += 1;
            assert_eq!(from_car("ILLUMINATION"), 0, "{}", job.name());
        }
        for fetch in &job.wiring.fetched {
            let circuit = job.audio.circuit(fetch.function).unwrap();
            assert_eq!(circuit.found_at, fetch.found_at, "{}", job.name());
            assert!(fetch.found_at.is_some() != fetch.way.is_some(), "{}", job.name());
        }
    });
    assert!(common > 0 && fed > 0 && chopped > 0, "{common} {fed} {chopped}");
}
