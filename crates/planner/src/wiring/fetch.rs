//! Fetching: what no adapter offers is taken from the car's own wires, where that is permitted and recorded, or is said to be
//! missing.

use dashwright_model::record::audio::{AntennaFeed, AntennaRole, Presence, TurnOn};
use dashwright_model::record::radio::RadioAsk;
use dashwright_model::{Function, Need};

use super::compat::mismatches;
use super::ends::End;
use super::join::Joiner;
use super::{Fetch, Loose, LooseReason, Mismatch, Owner, functions_of};

/// Circuits that may be fetched elsewhere in the car. Never those of the restraint system, of brakes or of the engine: the
/// parking-brake switch is the lamp's, and is only listened to.
const MAY_BE_FETCHED: &[Function] = &[
    Function::Battery,
    Function::Switched,
    Function::Ground,
    Function::Illumination,
    Function::Reverse,
    Function::ParkingBrake,
    Function::SpeedPulse,
    Function::MicrophonePlus,
    Function::MicrophoneMinus,
    Function::CameraVideo,
    Function::CameraGround,
    Function::Steering1,
    Function::Steering2,
    Function::SteeringGround,
    Function::AuxLeft,
    Function::AuxRight,
    Function::AuxGround,
    Function::Usb,
    Function::PowerAntenna,
    Function::AmpOn,
];

/// What became of an end that the bench does not serve.
enum Fetched {
    /// It is taken from the car's own wire.
    Yes,
    /// The car's own wire must not meet it.
    MustNotMeet,
    /// There is none, or not one that may be taken.
    Nowhere,
}

impl Joiner<'_, '_> {
    /// Whether a lead of the radio that takes is of any use here.
    pub(super) fn is_wanted(&self, function: Function) -> bool {
        match function {
            Function::Reverse => self.wants_reverse(),
            Function::ParkingBrake => self.asks(RadioAsk::ParkingBrake),
            _ => true,
        }
    }

    /// Whether the radio does not work in full without a function.
    fn is_needed(&self, function: Function) -> bool {
        match function {
            Function::Battery | Function::Switched | Function::Ground => true,
            Function::ParkingBrake => self.asks(RadioAsk::ParkingBrake),
            Function::Reverse => self.asks(RadioAsk::Reverse),
            Function::SpeedPulse => self.asks(RadioAsk::SpeedPulse),
            _ => false,
        }
    }

    fn asks(&self, ask: RadioAsk) -> bool {
        self.bench.radio.asks_for.contains(&ask)
    }

    /// A taker that nothing on the bench gives to. `refused`: something would have, and must not.
    pub(super) fn without_giver(&mut self, function: Function, taker: &End, refused: bool) {
        let refused = match self.fetch(function, taker) {
            Fetched::Yes => return,
            Fetched::MustNotMeet => true,
            Fetched::Nowhere => refused,
        };
        match taker.lead.owner {
            Owner::Radio if !self.is_needed(function) => {
                let why = if refused { LooseReason::MustNotMeet } else { LooseReason::NoPartner };
                self.insulate(taker, why);
            }
            Owner::Radio | Owner::Part(_) => {
                let why = if refused { LooseReason::MustNotMeet } else { LooseReason::NotOffered };
                self.wiring.undecided.push(Loose { lead: taker.lead.clone(), function, why });
            }
            Owner::Socket(_) | Owner::ModuleInput(_) | Owner::Car => {}
        }
    }

    /// Takes a circuit from the car's own wire, if it may.
    fn fetch(&mut self, function: Function, taker: &End) -> Fetched {
        if !self.may_fetch(function, taker) {
            return Fetched::Nowhere;
        }
        let car = self.bench.car_end(function, self.bench.way_of(function));
        let wrong = mismatches(&car, taker);
        if !wrong.is_empty() {
            self.refuse(wrong);
            return Fetched::MustNotMeet;
        }
        self.take_from_car(function, taker);
        Fetched::Yes
    }

    /// Brings what the radio gives to the car's own wire, if it may.
    pub(super) fn fetch_for_giver(&mut self, function: Function, giver: &End) -> bool {
        let audio = self.bench.audio;
        let takes_lead = match function {
            Function::PowerAntenna => audio.antennas.iter().any(|antenna| {
                antenna.role == AntennaRole::Main && antenna.feed == Some(AntennaFeed::ByLead)
            }),
            Function::AmpOn => audio.amplifier.turn_on == Some(TurnOn::Lead),
            _ => false,
        };
        if !takes_lead || !self.may_fetch(function, giver) {
            return false;
        }
        let wrong = mismatches(giver, &self.bench.car_end(function, self.bench.way_of(function)));
        if !wrong.is_empty() {
            self.refuse(wrong);
            return false;
        }
        self.take_from_car(function, giver);
        true
    }

    fn take_from_car(&mut self, function: Function, end: &End) {
        let found_at = self.bench.audio.circuit(function).and_then(|circuit| circuit.found_at.clone());
        let way = if found_at.is_some() { None } else { self.bench.way_of(function) };
        self.wiring.fetched.push(Fetch { lead: end.lead.clone(), function, found_at, way });
    }

    fn may_fetch(&self, function: Function, end: &End) -> bool {
        let planned = self
            .met_directly
            .iter()
            .any(|need| functions_of(*need).contains(&function) || returns_of(*need).contains(&function));
        let is_lead = matches!(end.lead.owner, Owner::Radio | Owner::Part(_));
        let wired = match self.bench.presence(function) {
            // Into a socket, and at the plug, only what the plan takes there: nobody cuts a plug for what is of no use.
            Some(Presence::Elsewhere) => is_lead || planned && !self.serves_itself(function) || is_cars(end),
            Some(Presence::Discrete) => {
                self.has_dropped_a_substitute(function)
                    || planned && (is_lead || !self.serves_itself(function))
            }
            Some(Presence::DataBus | Presence::Absent) | None => false,
        };
        wired && MAY_BE_FETCHED.contains(&function)
    }

    /// Whether the radio does by itself what a function is for.
    fn serves_itself(&self, function: Function) -> bool {
        self.bench.radio.serves.iter().any(|feature| functions_of(feature.need()).contains(&function))
    }

    /// Whether the car has the circuit that a lead may only feign: the real one always comes before a substitute.
    pub(super) fn is_real_at_hand(&self, function: Function, taker: &End) -> bool {
        let wired = matches!(self.bench.presence(function), Some(Presence::Discrete | Presence::Elsewhere));
        function == Function::ParkingBrake
            && wired
            && mismatches(&self.bench.car_end(function, None), taker).is_empty()
    }

    /// Whether a lead that feigns the function was left out because the real circuit is at hand: that is taken then.
    fn has_dropped_a_substitute(&self, function: Function) -> bool {
        let mut loose = self.wiring.insulated.iter();
        loose.any(|loose| loose.function == function && loose.why == LooseReason::Feigned)
    }

    /// Why a camera stays without a supply.
    pub(super) fn camera_unfed(&self, taker: &End) -> Option<Mismatch> {
        if taker.function != Function::CameraPower {
            return None;
        }
        let record = self.bench.audio_key();
        Some(match taker.voltage {
            Some(needs) => Mismatch::CameraSupply { needs, record },
            None => Mismatch::FactMissing { record, field: "camera.supply".to_owned() },
        })
    }
}

/// The returns that go with the wires of a need.
const fn returns_of(need: Need) -> &'static [Function] {
    match need {
        Need::Steering => &[Function::SteeringGround],
        Need::Camera => &[Function::CameraGround],
        Need::Aux => &[Function::AuxGround],
        Need::Microphone => &[Function::MicrophoneMinus],
        _ => &[],
    }
}

fn is_cars(end: &End) -> bool {
    end.lead.owner == Owner::Car
}
