//! Ends: the leads of the radio, of the parts and of the car, each with what it really does and how.

use dashwright_model::record::audio::{Circuit, Presence};
use dashwright_model::record::part::{LeadOrigin, Part, PartLead, Preference};
use dashwright_model::record::radio::{Direction, RadioLead, SocketKind};
use dashwright_model::record::vehicle::SystemVoltage;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_model::{Function, Grade, Polarity, SignalKind};
use dashwright_quantity::{Label, TermId, Volts};

use super::{Bench, LeadEnd, Owner, PlugWay};
use crate::answer::WeakestEvidence;
use crate::evidence::{weak, weaker};

/// An end with everything that decides whom it may meet.
#[derive(Clone, Debug)]
pub(super) struct End {
    pub(super) lead: LeadEnd,
    /// What it does here.
    pub(super) function: Function,
    /// Whether it carries to the radio or takes from it.
    pub(super) direction: Direction,
    pub(super) voltage: Option<Volts>,
    pub(super) polarity: Option<Polarity>,
    pub(super) signal: Option<SignalKind>,
    pub(super) preference: Option<Preference>,
    /// It only feigns a circuit.
    pub(super) feigns: bool,
    /// This car has nothing at its way.
    pub(super) dead: bool,
    /// What it rests on.
    pub(super) evidence: WeakestEvidence,
    /// The record that says what it is.
    pub(super) record: RecordKey,
}

impl End {
    /// Whether it is made by a module rather than taken from the car.
    pub(super) fn is_made(&self) -> bool {
        matches!(self.lead.owner, Owner::Part(_)) && self.lead.way.is_none()
    }
}

/// What a radio takes where its record says nothing: every radio of the catalogue takes 12 V unless it says otherwise.
const USUAL_SUPPLY: f64 = 12.0;

impl Bench<'_> {
    pub(crate) fn radio_key(&self) -> RecordKey {
        RecordKey { kind: RecordKind::Radio, id: self.radio.id.as_term() }
    }

    pub(crate) fn audio_key(&self) -> RecordKey {
        RecordKey { kind: RecordKind::FactoryAudio, id: self.audio.id.as_term() }
    }

    /// The voltage of the car's supply.
    pub(crate) fn car_voltage(&self) -> Option<Volts> {
        let nominal = match self.system_voltage? {
            SystemVoltage::V12 => 12.0,
            SystemVoltage::V24 => 24.0,
        };
        Volts::new(nominal).ok()
    }

    /// The voltage that the radio is fed with.
    pub(super) fn radio_voltage(&self) -> Option<Volts> {
        self.radio.electrics.supply.or(Volts::new(USUAL_SUPPLY).ok())
    }

    pub(super) fn has_socket(&self, kind: SocketKind) -> bool {
        self.radio.sockets.iter().any(|socket| socket.kind == kind && socket.count > 0)
    }

    /// The radio's lead of a function.
    pub(super) fn radio_end(&self, function: Function) -> Option<End> {
        let lead = self.radio.leads.iter().find(|lead| lead.function == function)?;
        Some(self.end_of_radio(lead))
    }

    pub(super) fn end_of_radio(&self, lead: &RadioLead) -> End {
        let RadioLead { function, colour, gauge, current_limit, voltage, polarity, signal, direction } = lead;
        let fed = at_supply_voltage(*function);
        End {
            lead: LeadEnd {
                owner: Owner::Radio,
                printed: *function,
                colour: Some(*colour),
                gauge: *gauge,
                current_limit: *current_limit,
                way: None,
            },
            function: *function,
            direction: *direction,
            voltage: voltage.or(if fed { self.radio_voltage() } else { None }),
            polarity: *polarity,
            signal: *signal,
            preference: None,
            feigns: false,
            dead: false,
            evidence: weak(self.radio.evidence.grade, RecordKind::Radio, self.radio.id.as_term()),
            record: self.radio_key(),
        }
    }

    /// A lead of a part. What comes from a way does what this car has there.
    pub(super) fn end_of_part(&self, part: &Part, lead: &PartLead) -> End {
        let way = match &lead.from {
            LeadOrigin::Way { family, way } => Some(PlugWay { family: family.clone(), way: way.clone() }),
            LeadOrigin::MadeByModule => None,
        };
        let own = weak(part.evidence.grade, RecordKind::Part, part.id.as_term());
        let end = End {
            lead: LeadEnd {
                owner: Owner::Part(part.id.clone()),
                printed: lead.function,
                colour: Some(lead.colour),
                gauge: lead.gauge,
                current_limit: lead.current_limit,
                way: way.clone(),
            },
            function: lead.function,
            direction: lead.direction,
            voltage: lead.voltage,
            polarity: lead.polarity,
            signal: lead.signal,
            preference: lead.preference,
            feigns: lead.defeats_interlock,
            dead: false,
            evidence: own.clone(),
            record: RecordKey { kind: RecordKind::Part, id: part.id.as_term() },
        };
        let Some(way) = way else { return end };
        let Some(function) = self.function_at(&way.family, &way.way) else {
            return End { dead: true, ..end };
        };
        let car = self.car_end(function, Some(way));
        // Which way it goes is the car's too, where the print is wrong.
        let direction = if function == lead.function { lead.direction } else { car.direction };
        End {
            function,
            direction,
            voltage: car.voltage,
            polarity: car.polarity,
            signal: car.signal,
            evidence: weaker(car.evidence, own),
            record: car.record,
            ..end
        }
    }

    /// The car's own wire of a function, as it is seen from the radio.
    pub(super) fn car_end(&self, function: Function, way: Option<PlugWay>) -> End {
        let circuit = self.audio.circuit(function);
        let colour = way.as_ref().and_then(|way| self.colour_at(way));
        let camera = || self.audio.camera.as_ref().filter(|_| function == Function::CameraPower)?.supply;
        let recorded = circuit.and_then(|circuit| circuit.voltage).or_else(camera);
        let by_system = || if at_supply_voltage(function) { self.car_voltage() } else { None };
        End {
            lead: LeadEnd {
                owner: Owner::Car,
                printed: function,
                colour,
                gauge: None,
                current_limit: None,
                way,
            },
            function,
            direction: direction_of(function),
            voltage: recorded.or_else(by_system),
            polarity: circuit.and_then(|circuit| circuit.polarity),
            signal: circuit.and_then(|circuit| circuit.signal),
            preference: None,
            feigns: false,
            dead: false,
            evidence: weak(self.grade(circuit), RecordKind::FactoryAudio, self.audio.id.as_term()),
            record: self.audio_key(),
        }
    }

    /// The radio's socket for a function, as an end that it brings; nothing where it has none, or not one more.
    pub(super) fn socket_end(&self, function: Function) -> Option<End> {
        let kind = socket_of(function)?;
        let count = self.radio.sockets.iter().find(|socket| socket.kind == kind)?.count;
        if pair_of(function).is_some_and(|pair| pair > count) || count == 0 {
            return None;
        }
        let signal = match kind {
            SocketKind::CameraInput => Some(SignalKind::CompositeVideo),
            SocketKind::LineOutput => Some(SignalKind::Line),
            _ => None,
        };
        let lead = LeadEnd {
            owner: Owner::Socket(kind),
            printed: function,
            colour: None,
            gauge: None,
            current_limit: None,
            way: None,
        };
        Some(End {
            lead,
            function,
            direction: if radio_gives(function) { Direction::Source } else { Direction::Sink },
            voltage: None,
            polarity: None,
            signal,
            preference: None,
            feigns: false,
            dead: false,
            evidence: weak(self.radio.evidence.grade, RecordKind::Radio, self.radio.id.as_term()),
            record: self.radio_key(),
        })
    }

    fn grade(&self, circuit: Option<&Circuit>) -> Grade {
        let own = circuit.and_then(|circuit| circuit.evidence.as_ref());
        own.unwrap_or(&self.audio.evidence).grade
    }

    /// What this car has at a way; nothing where it does not have the plug or the way.
    fn function_at(&self, family: &TermId, label: &Label) -> Option<Function> {
        let plug = self.audio.plugs.iter().find(|plug| plug.family == *family)?;
        plug.ways.iter().find(|way| way.way == *label).map(|way| way.function)
    }

    /// What a lead of a part does here; nothing where this car has nothing at its way.
    pub(super) fn function_of(&self, lead: &PartLead) -> Option<Function> {
        match &lead.from {
            LeadOrigin::Way { family, way } => self.function_at(family, way),
            LeadOrigin::MadeByModule => Some(lead.function),
        }
    }

    fn colour_at(&self, at: &PlugWay) -> Option<dashwright_quantity::LeadColour> {
        let plug = self.audio.plugs.iter().find(|plug| plug.family == at.family)?;
        plug.ways.iter().find(|way| way.way == at.way).and_then(|way| way.colour)
    }

    /// The first way of a plug that carries a function.
    pub(super) fn way_of(&self, function: Function) -> Option<PlugWay> {
        self.audio.plugs.iter().find_map(|plug| {
            let way = plug.ways.iter().find(|way| way.function == function)?;
            Some(PlugWay { family: plug.family.clone(), way: way.way.clone() })
        })
    }

    pub(super) fn presence(&self, function: Function) -> Option<Presence> {
        self.audio.circuit(function).map(|circuit| circuit.presence)
    }
}

/// Whether a function is at the supply's voltage where nothing else is recorded.
const fn at_supply_voltage(function: Function) -> bool {
    matches!(
        function,
        Function::Battery
            | Function::Switched
            | Function::Illumination
            | Function::Reverse
            | Function::PowerAntenna
            | Function::AmpOn
    )
}

/// Which way a function goes, seen from the radio.
const fn direction_of(function: Function) -> Direction {
    match class_of(function) {
        Class::Speaker | Class::LineOut => Direction::Sink,
        _ => match function {
            Function::PowerAntenna | Function::AmpOn | Function::CameraPower => Direction::Sink,
            _ => Direction::Source,
        },
    }
}

/// Whether the radio gives and the car takes.
pub(super) const fn radio_gives(function: Function) -> bool {
    matches!(direction_of(function), Direction::Sink)
}

/// Which pair of line outputs serves a function: front, rear, subwoofer, centre, in this order (common practice, no source).
const fn pair_of(function: Function) -> Option<u8> {
    use Function as F;
    match function {
        F::LineFrontLeftPlus | F::LineFrontLeftMinus | F::LineFrontRightPlus | F::LineFrontRightMinus => {
            Some(1)
        }
        F::LineRearLeftPlus | F::LineRearLeftMinus | F::LineRearRightPlus | F::LineRearRightMinus => Some(2),
        F::LineSubwooferPlus | F::LineSubwooferMinus => Some(3),
        F::LineCenterPlus | F::LineCenterMinus => Some(4),
        _ => None,
    }
}

/// What may share a splice with what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Class {
    /// Supply, ground and triggers: several leads may share a splice.
    Shared,
    /// A speaker.
    Speaker,
    /// A line signal to an amplifier.
    LineOut,
    /// Video, bus, coax, sound, steering: one lead to one lead.
    Alone,
}

/// The class of a function.
pub(super) const fn class_of(function: Function) -> Class {
    use Function as F;
    match function {
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
        | F::CameraGround => Class::Shared,
        F::SpeakerFrontLeftPlus
        | F::SpeakerFrontLeftMinus
        | F::SpeakerFrontRightPlus
        | F::SpeakerFrontRightMinus
        | F::SpeakerRearLeftPlus
        | F::SpeakerRearLeftMinus
        | F::SpeakerRearRightPlus
        | F::SpeakerRearRightMinus
        | F::SpeakerCenterPlus
        | F::SpeakerCenterMinus
        | F::SpeakerSubwooferPlus
        | F::SpeakerSubwooferMinus => Class::Speaker,
        F::LineFrontLeftPlus
        | F::LineFrontLeftMinus
        | F::LineFrontRightPlus
        | F::LineFrontRightMinus
        | F::LineRearLeftPlus
        | F::LineRearLeftMinus
        | F::LineRearRightPlus
        | F::LineRearRightMinus
        | F::LineCenterPlus
        | F::LineCenterMinus
        | F::LineSubwooferPlus
        | F::LineSubwooferMinus => Class::LineOut,
        _ => Class::Alone,
    }
}

/// The socket of a radio that takes what has no lead.
pub(super) const fn socket_of(function: Function) -> Option<SocketKind> {
    use Function as F;
    match function {
        F::CameraVideo => Some(SocketKind::CameraInput),
        F::AuxLeft | F::AuxRight | F::AuxGround => Some(SocketKind::Aux),
        F::MicrophonePlus | F::MicrophoneMinus => Some(SocketKind::Microphone),
        F::Usb => Some(SocketKind::Usb),
        F::AntennaMain => Some(SocketKind::Antenna),
        F::Gnss => Some(SocketKind::Gnss),
        F::Satellite => Some(SocketKind::SatelliteTuner),
        _ if matches!(class_of(function), Class::LineOut) => Some(SocketKind::LineOutput),
        _ => None,
    }
}
