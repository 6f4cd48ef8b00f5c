//! Supply, speaker load, level, standby and steering ladder: the electrics of the radio, the parts and the car.

use dashwright_checks::feed::{Feed, NoFeed};
use dashwright_checks::ladder::{self, LadderQuestion, LadderReport, LadderRules, check_ladder};
use dashwright_checks::level::{self, Output, check_level};
use dashwright_checks::result::Outcome;
use dashwright_checks::speaker::{self, SpeakerQuestion, SpeakerReport, Topology, check_speaker};
use dashwright_checks::standby::check_standby;
use dashwright_checks::supply::{self, SupplyQuestion, check_supply};
use dashwright_model::record::audio::{AmplifierFeed, DriverTopology, Speaker, SteeringWire};
use dashwright_model::record::part::PartKind;
use dashwright_model::record::radio::{SocketKind, SteeringInputKind};
use dashwright_model::record::{Part, Radio, RecordKey, RecordKind};
use dashwright_model::{Function, Need};
use dashwright_quantity::{Amperes, Milliamperes, Ohms};

use super::{Planned, PlannedCheck, Subject};
use crate::reason::Reason;
use crate::wiring::{Bench, Join, Load, Mismatch, Owner, Sides};

/// The field that an input of the supply is.
pub(super) fn field_of_supply(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        supply::GREATEST_CURRENT => (RecordKind::Radio, "electrics.max_current"),
        supply::FUSE_RATING => (RecordKind::FactoryAudio, "fuse"),
        // Which lead it is the joins tell.
        _ => return None,
    })
}

/// The field that an input of the speaker load is.
pub(super) fn field_of_speaker(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        speaker::LEAST_LOAD => (RecordKind::Radio, "electrics.min_load"),
        speaker::TOPOLOGY => (RecordKind::FactoryAudio, "speakers.topology"),
        speaker::DRIVERS => (RecordKind::FactoryAudio, "speakers.drivers"),
        _ => return None,
    })
}

/// The field that an input of the level is.
pub(super) fn field_of_level(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        level::LINE_VOLTAGE => (RecordKind::Radio, "sockets.voltage"),
        level::POWER => (RecordKind::Radio, "electrics.rms_per_channel"),
        level::LOAD => (RecordKind::Radio, "electrics.rms_load"),
        level::SENSITIVITY => (RecordKind::FactoryAudio, "amplifier.input_sensitivity"),
        _ => return None,
    })
}

/// The field that an input of the ladder is.
pub(super) fn field_of_ladder(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        ladder::REFERENCE => (RecordKind::Radio, "steering_input.reference"),
        ladder::PULL_UP => (RecordKind::Radio, "steering_input.pull_up"),
        ladder::THRESHOLD => (RecordKind::Radio, "steering_input.learning_threshold"),
        ladder::BUTTONS => (RecordKind::FactoryAudio, "steering.buttons"),
        _ => return None,
    })
}

impl Planned<'_, '_> {
    pub(super) fn supply(&self) -> (PlannedCheck, Option<Result<Feed, NoFeed>>) {
        let question = SupplyQuestion {
            current: self.job.radio.electrics.max_current,
            fuse: self.job.view.audio.fuse,
            lead_limit: self.lead_limit(),
            supply: self.job.bench().car_voltage(),
        };
        let report = check_supply(&question, &self.job.request.rules.supply);
        (self.told(Subject::Job, report.result, Vec::new()), report.feed)
    }

    /// What the thinnest lead of supply and ground carries.
    fn lead_limit(&self) -> Option<Amperes> {
        let carries = |join: &Join| match join.load {
            Load::Fits { carries, .. } | Load::TooThin { carries, .. } => Some(carries),
            Load::NotWeighed | Load::Unknown => None,
        };
        let feeding = |join: &&Join| matches!(join.function, Function::Battery | Function::Ground);
        self.wiring.joins.iter().filter(feeding).filter_map(carries).min()
    }

    /// Where the radio drives the speakers itself.
    pub(super) fn speakers(&self) -> Vec<PlannedCheck> {
        let bypassed = self.parts.iter().any(|part| part.kind == PartKind::AmplifierBypass);
        if self.job.view.audio.amplifier.feed != AmplifierFeed::None && !bypassed {
            return Vec::new();
        }
        let told = |speaker: &Speaker| {
            let report = speaker_load(self.job.radio, speaker);
            self.told(Subject::Speaker(speaker.position), report.result, Vec::new())
        };
        self.job.view.audio.speakers.iter().map(told).collect()
    }

    /// Where the radio's own outputs feed the factory amplifier. What a module or an interface gives is set there.
    pub(super) fn level(&self) -> Option<PlannedCheck> {
        let (amplifier, radio) = (&self.job.view.audio.amplifier, self.job.radio);
        let passive = |part: &&&Part| matches!(part.kind, PartKind::HarnessAdapter | PartKind::Lead);
        let serves = |part: &&&Part| part.covers.iter().any(|cover| cover.need == Some(Need::Amplifier));
        if self.parts.iter().filter(serves).any(|part| !passive(&part)) {
            return None;
        }
        let output = match amplifier.feed {
            AmplifierFeed::LineLevel => {
                let line = radio.sockets.iter().find(|socket| socket.kind == SocketKind::LineOutput)?;
                Output::Line { voltage: line.voltage }
            }
            AmplifierFeed::SpeakerLevel => {
                Output::Speaker { power: radio.electrics.rms_per_channel, load: radio.electrics.rms_load }
            }
            AmplifierFeed::None | AmplifierFeed::DigitalBus => return None,
        };
        let report = check_level(output, amplifier.input_sensitivity, &self.job.request.rules.level);
        Some(self.told(Subject::Job, report.result, Vec::new()))
    }

    pub(super) fn standby(&self) -> PlannedCheck {
        let radio = self.job.radio;
        let radio_key = RecordKey { kind: RecordKind::Radio, id: radio.id.as_term() };
        let mut draws: Vec<(RecordKey, &str, Option<Milliamperes>)> =
            vec![(radio_key, "electrics.standby", radio.electrics.standby)];
        for part in self.parts.iter().filter(|part| part.standby.is_some() || has_electronics(part.kind)) {
            let key = RecordKey { kind: RecordKind::Part, id: part.id.as_term() };
            draws.push((key, "standby", part.standby));
        }
        let currents: Vec<_> = draws.iter().map(|(_, _, current)| *current).collect();
        let report = check_standby(&currents, None, &self.job.request.rules.standby);
        let unknown = report.unknown.iter().filter_map(|place| draws.get(*place));
        let lacks = unknown.map(|(record, field, _)| Reason::FactMissing {
            record: record.clone(),
            field: (*field).to_owned(),
        });
        let lacks = lacks.collect();
        self.told(Subject::Job, report.result, lacks)
    }

    /// Of the wires whose buttons the radio measures itself.
    pub(super) fn ladders(&self) -> Vec<PlannedCheck> {
        let measured = |wire: &&SteeringWire| {
            self.wiring.joins.iter().any(|join| join.function == wire.wire && joins_radio_to_car(join))
        };
        let wires = self.job.view.audio.steering.iter().filter(measured);
        let told = |wire: &SteeringWire| {
            let report = learnt(self.job.radio, wire, &self.job.request.rules.ladder)?;
            Some(self.told(Subject::Buttons(wire.wire), report.result, Vec::new()))
        };
        wires.filter_map(told).collect()
    }
}

fn joins_radio_to_car(join: &Join) -> bool {
    let of_radio = |owner: &Owner| matches!(owner, Owner::Radio | Owner::Socket(_));
    join.ends.iter().any(|end| of_radio(&end.owner))
        && join.ends.iter().any(|end| end.owner == Owner::Car || end.way.is_some())
}

/// Whether parts of a kind have electronics that draw current at rest (common practice, no source).
const fn has_electronics(kind: PartKind) -> bool {
    match kind {
        PartKind::DataModule
        | PartKind::SteeringInterface
        | PartKind::AmplifierRetention
        | PartKind::Converter => true,
        PartKind::DashKit
        | PartKind::HarnessAdapter
        | PartKind::AntennaAdapter
        | PartKind::CameraRetention
        | PartKind::UsbAuxRetention
        | PartKind::AmplifierBypass
        | PartKind::Bracket
        | PartKind::Lead
        | PartKind::LooseItem => false,
    }
}

fn speaker_load(radio: &Radio, speaker: &Speaker) -> SpeakerReport {
    let topology = speaker.topology.map(|topology| match topology {
        DriverTopology::Series => Topology::Series,
        DriverTopology::Parallel => Topology::Parallel,
    });
    let least_load = radio.electrics.min_load;
    check_speaker(&SpeakerQuestion { drivers: &speaker.drivers, topology, least_load })
}

/// The first speaker that loads the radio with less than it may drive.
pub(crate) fn load_mismatch(bench: &Bench<'_>) -> Option<Mismatch> {
    let least = bench.radio.electrics.min_load?;
    let overloads = |speaker: &Speaker| {
        let report = speaker_load(bench.radio, speaker);
        let load = report.load.filter(|_| report.result.outcome == Outcome::Fail)?;
        let sides = Sides { source: bench.radio_key(), sink: bench.audio_key() };
        Some(Mismatch::SpeakerLoad { position: speaker.position, load, least, sides })
    };
    bench.audio.speakers.iter().find_map(overloads)
}

/// What an input that learns makes of the buttons on a wire; nothing where the radio has no such input.
fn learnt(radio: &Radio, wire: &SteeringWire, rules: &LadderRules) -> Option<LadderReport> {
    let input = radio.steering_input.filter(|input| input.kind == SteeringInputKind::Ladder)?;
    let buttons: Vec<Ohms> = wire.buttons.values().copied().collect();
    let question = LadderQuestion {
        buttons: &buttons,
        reference: input.reference,
        pull_up: input.pull_up,
        threshold: input.learning_threshold,
    };
    Some(check_ladder(&question, rules))
}

/// The first wire on which the radio can not tell two buttons apart, every resistor as it is stated: tolerances are no proof.
pub(crate) fn ladder_mismatch(bench: &Bench<'_>) -> Option<Mismatch> {
    let too_close = |wire: &SteeringWire| {
        let report = learnt(bench.radio, wire, &LadderRules::usual())?;
        let closest = report.closest.filter(|_| report.result.outcome == Outcome::Fail)?;
        let threshold = bench.radio.steering_input?.learning_threshold?;
        let sides = Sides { source: bench.audio_key(), sink: bench.radio_key() };
        Some(Mismatch::ButtonsTooClose { wire: wire.wire, apart: closest.apart, threshold, sides })
    };
    bench.audio.steering.iter().find_map(too_close)
}
