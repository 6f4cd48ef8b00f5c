//! Joining: every lead of the radio and of the chosen parts finds its partner, or is said to have none.

use dashwright_model::record::audio::{AntennaRole, Presence, SpeakerReturn};
use dashwright_model::record::part::{Occupancy, Part, Preference, Resource};
use dashwright_model::record::radio::{Direction, RadioAsk, SocketKind};
use dashwright_model::{Function, Grade, Need};
use dashwright_quantity::{LeadColour, PartId};

use super::compat::mismatches;
use super::ends::{Class, End, class_of, socket_of};
use super::refuse::feed_by;
use super::traps::traps;
use super::{Bench, Fetch, Join, LeadEnd, Load, Loose, LooseReason, Owner, Socketed, Wiring};
use crate::evidence::weaker;

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
];

/// Joins the leads of the radio and of the chosen parts. What is met directly may be taken from the car's own wires.
#[must_use]
pub fn wire(bench: &Bench<'_>, parts: &[&Part], met_directly: &[Need]) -> Wiring {
    let radio: Vec<End> = bench.radio.leads.iter().map(|lead| bench.end_of_radio(lead)).collect();
    let adapters: Vec<End> =
        parts.iter().flat_map(|part| part.leads.iter().map(|lead| bench.end_of_part(part, lead))).collect();
    let steering = steering_module(parts);
    let mut joiner = Joiner { bench, met_directly, steering, wiring: Wiring::default() };
    let mut adapters_left = joiner.set_aside(adapters.clone());
    for end in &mut adapters_left {
        joiner.feed_camera_from_supply(end, &adapters);
    }
    for function in Function::ALL {
        let own = radio.iter().find(|end| end.function == *function);
        let (offered, rest): (Vec<End>, Vec<End>) =
            adapters_left.into_iter().partition(|end| end.function == *function);
        adapters_left = rest;
        joiner.join(*function, own, offered);
    }
    let mut wiring = joiner.wiring;
    wiring.traps = traps(&radio, &adapters, &wiring.joins);
    wiring.sockets = sockets(parts);
    wiring
}

struct Joiner<'b, 'a> {
    bench: &'b Bench<'a>,
    met_directly: &'b [Need],
    /// The module that listens to the steering buttons in the radio's place.
    steering: Option<PartId>,
    wiring: Wiring,
}

impl Joiner<'_, '_> {
    fn insulate(&mut self, end: &End, why: LooseReason) {
        self.wiring.insulated.push(Loose { lead: end.lead.clone(), function: end.function, why });
    }

    /// Insulates what is never joined here, and gives back the rest.
    fn set_aside(&mut self, ends: Vec<End>) -> Vec<End> {
        let mut rest = Vec::new();
        for mut end in ends {
            // The camera's return is a ground like any other.
            if end.function == Function::CameraGround {
                end.function = Function::Ground;
                end.direction = Direction::Sink;
            }
            if end.dead {
                self.insulate(&end, LooseReason::DeadWay);
            } else if end.function == Function::PowerAntenna && !self.feeds(&end) {
                self.insulate(&end, LooseReason::NotFed);
            } else {
                rest.push(end);
            }
        }
        rest
    }

    /// Whether the car's antenna is fed by this kind of lead: 12 V goes into an antenna only where that is recorded.
    fn feeds(&self, end: &End) -> bool {
        let mains = self.bench.audio.antennas.iter().filter(|antenna| antenna.role == AntennaRole::Main);
        let wanted = feed_by(end);
        mains.map(|antenna| antenna.feed).any(|feed| feed == Some(wanted))
    }

    /// A camera at the car's own voltage without a supply of its own is fed from the reverse lead, or from the switched
    /// supply where there is none (common practice, no source).
    fn feed_camera_from_supply(&self, end: &mut End, all: &[End]) {
        let is_fed = end.function == Function::CameraPower && end.direction == Direction::Sink;
        let own_source = all.iter().any(|other| {
            other.function == Function::CameraPower
                && other.direction == Direction::Source
                && mismatches(other, end).is_empty()
        });
        let by_radio = self.bench.radio_end(Function::CameraPower);
        if !is_fed || own_source || by_radio.is_some() || end.voltage != self.bench.car_voltage() {
            return;
        }
        let reverse =
            |other: &End| other.function == Function::Reverse && other.direction == Direction::Source;
        let elsewhere = self.bench.presence(Function::Reverse) == Some(Presence::Elsewhere);
        let from_reverse = (all.iter().any(reverse) || elsewhere) && self.wants_reverse();
        end.function = if from_reverse { Function::Reverse } else { Function::Switched };
    }

    fn join(&mut self, function: Function, own: Option<&End>, offered: Vec<End>) {
        let (sources, sinks): (Vec<End>, Vec<End>) =
            offered.into_iter().partition(|end| end.direction == Direction::Source);
        // What the radio gives goes to those that take; everything else comes from those that give.
        match own.map(|own| own.direction) {
            Some(Direction::Source) => {
                self.leave_unused(sources);
                self.give(function, own, sinks);
            }
            None if function == Function::PowerAntenna && !sinks.is_empty() => {
                self.leave_unused(sources);
                let by_amp_on = self.bench.radio_end(Function::AmpOn);
                self.give(function, by_amp_on.as_ref(), sinks);
            }
            Some(Direction::Sink) | None => self.take(function, own, sources, sinks),
        }
    }

    fn leave_unused(&mut self, ends: Vec<End>) {
        for end in &ends {
            self.insulate(end, LooseReason::NoPartner);
        }
    }

    /// A lead of the radio that gives: speakers, turn-on, antenna supply.
    fn give(&mut self, function: Function, own: Option<&End>, sinks: Vec<End>) {
        let Some(own) = own else { return self.leave_unused(sinks) };
        let lent = own.function != function;
        let fits = self.fitting(own, sinks, |own, sink| mismatches(own, sink));
        let mut chosen = fits;
        if class_of(function) != Class::Shared {
            for unused in chosen.split_off(chosen.len().min(1)) {
                self.insulate(&unused, LooseReason::OtherPreferred);
            }
        }
        if chosen.is_empty() {
            if !lent {
                let why = self.why_alone(function);
                self.insulate(own, why);
            }
            return;
        }
        if lent {
            // The turn-on lead serves the antenna too: it joins the same splice when its own turn comes, or here.
            return self.lend_amp_on(own, chosen);
        }
        self.add(function, Some(own), chosen);
    }

    /// The radio has no lead for the antenna: its amplifier turn-on feeds it (common practice, no source).
    fn lend_amp_on(&mut self, own: &End, antennas: Vec<End>) {
        let at = |join: &&mut Join| join.ends.contains(&own.lead);
        if let Some(join) = self.wiring.joins.iter_mut().find(at) {
            join.ends.extend(antennas.into_iter().map(|end| end.lead));
            join.same_colour = same_colour(&join.ends);
            return;
        }
        // AMP_ON comes after POWER_ANTENNA in the order of functions: it finds its splice begun.
        self.add(Function::AmpOn, Some(own), antennas);
    }

    fn why_alone(&self, function: Function) -> LooseReason {
        let common =
            self.bench.audio.speakers.iter().any(|speaker| speaker.returns_by == SpeakerReturn::CommonGround);
        match class_of(function) {
            Class::Speaker if common && self.bench.presence(function).is_none() => LooseReason::CommonGround,
            _ if function == Function::PowerAntenna => LooseReason::NotFed,
            _ => LooseReason::NoPartner,
        }
    }

    /// A function that comes from the car or a module: supplies, triggers, signals.
    fn take(&mut self, function: Function, own: Option<&End>, sources: Vec<End>, sinks: Vec<End>) {
        if let Some(module) = self.steering.clone().filter(|_| is_steering(function)) {
            if let Some(own) = own {
                self.insulate(own, LooseReason::OtherPreferred);
            }
            let ends = sources.into_iter().chain(sinks).collect();
            return self.one_to(function, Owner::ModuleInput(module), ends);
        }
        let wanted = own.filter(|_| self.is_wanted(function));
        if let (Some(own), None) = (own, wanted) {
            self.insulate(own, LooseReason::NothingNeedsIt);
        }
        let socket = socket_of(function).filter(|kind| own.is_none() && self.bench.has_socket(*kind));
        if let Some(kind) = socket {
            return self.one_to(function, Owner::Socket(kind), sources.into_iter().chain(sinks).collect());
        }
        let takers: Vec<&End> = wanted.into_iter().chain(&sinks).collect();
        let Some(first) = takers.first() else { return self.leave_unused(sources) };
        let offered = !sources.is_empty();
        let mut fits = self.fitting(first, sources, |taker, source| mismatches(source, taker));
        let unused = fits.split_off(fits.len().min(1));
        for unused in unused {
            let why = if unused.feigns { LooseReason::Feigned } else { LooseReason::OtherPreferred };
            self.insulate(&unused, why);
        }
        match fits.pop() {
            Some(source) => {
                let ends = std::iter::once(source).chain(sinks).collect();
                self.add(function, wanted, ends);
            }
            None => self.without_source(function, wanted, sinks, offered),
        }
    }

    /// Whether a lead of the radio that takes is of any use here.
    fn is_wanted(&self, function: Function) -> bool {
        let asks = |ask: RadioAsk| self.bench.radio.asks_for.contains(&ask);
        match function {
            Function::Reverse => self.wants_reverse(),
            Function::ParkingBrake => asks(RadioAsk::ParkingBrake),
            _ => true,
        }
    }

    /// A reverse trigger is joined only where a camera or the radio's own asking is.
    fn wants_reverse(&self) -> bool {
        self.bench.radio.asks_for.contains(&RadioAsk::Reverse) || self.bench.audio.camera.is_some()
    }

    /// The ends that may meet another, the best first; those that may not are refused and insulated.
    fn fitting(
        &mut self,
        own: &End,
        ends: Vec<End>,
        check: impl Fn(&End, &End) -> Vec<super::Mismatch>,
    ) -> Vec<End> {
        let mut fits = Vec::new();
        for end in ends {
            let wrong = check(own, &end);
            if wrong.is_empty() {
                fits.push(end);
            } else {
                self.wiring.refused.extend(wrong);
                self.insulate(&end, LooseReason::MustNotMeet);
            }
        }
        fits.sort_by_key(rank);
        self.one_for_each_way(fits)
    }

    /// Two leads that come from one way of one plug are the same wire twice: one of them is used.
    fn one_for_each_way(&mut self, ends: Vec<End>) -> Vec<End> {
        let mut kept: Vec<End> = Vec::new();
        for end in ends {
            let again = end.lead.way.is_some() && kept.iter().any(|other| other.lead.way == end.lead.way);
            if again {
                self.insulate(&end, LooseReason::OtherPreferred);
            } else {
                kept.push(end);
            }
        }
        kept
    }

    /// A function that no adapter offers: from the car's own wires where that is permitted and recorded.
    fn without_source(&mut self, function: Function, own: Option<&End>, sinks: Vec<End>, refused: bool) {
        let mut takers: Vec<End> = own.into_iter().cloned().collect();
        takers.extend(sinks);
        let way = self.bench.way_of(function);
        let car = self.bench.car_end(function, way.clone());
        for taker in takers {
            let wrong = mismatches(&car, &taker);
            if self.may_fetch(function) && wrong.is_empty() {
                let circuit = self.bench.audio.circuit(function);
                let found_at = circuit.and_then(|circuit| circuit.found_at.clone());
                let way = if found_at.is_some() { None } else { way.clone() };
                self.wiring.fetched.push(Fetch { lead: taker.lead, function, found_at, way });
            } else if self.is_needed(function) || taker.lead.owner != Owner::Radio {
                let why = if refused { LooseReason::MustNotMeet } else { LooseReason::NotOffered };
                self.wiring.undecided.push(Loose { lead: taker.lead, function, why });
            } else {
                let why = if refused { LooseReason::MustNotMeet } else { LooseReason::NoPartner };
                self.insulate(&taker, why);
            }
        }
    }

    fn may_fetch(&self, function: Function) -> bool {
        let wired = match self.bench.presence(function) {
            Some(Presence::Elsewhere) => true,
            // At the plug only what the plan takes there: nobody cuts a plug for a lead that is of no use.
            Some(Presence::Discrete) => {
                self.met_directly.iter().any(|need| super::functions_of(*need).contains(&function))
            }
            Some(Presence::DataBus | Presence::Absent) | None => false,
        };
        wired && MAY_BE_FETCHED.contains(&function)
    }

    /// Whether the radio does not work in full without a function.
    fn is_needed(&self, function: Function) -> bool {
        let asks = |ask: RadioAsk| self.bench.radio.asks_for.contains(&ask);
        match function {
            Function::Battery | Function::Switched | Function::Ground => true,
            Function::ParkingBrake => asks(RadioAsk::ParkingBrake),
            Function::Reverse => asks(RadioAsk::Reverse),
            Function::SpeedPulse => asks(RadioAsk::SpeedPulse),
            _ => false,
        }
    }

    /// Leads that end in a socket or in a module's own input, one to one.
    fn one_to(&mut self, function: Function, owner: Owner, mut ends: Vec<End>) {
        ends.sort_by_key(rank);
        let unused = ends.split_off(ends.len().min(1));
        for unused in &unused {
            self.insulate(unused, LooseReason::OtherPreferred);
        }
        if let Some(end) = ends.pop() {
            let taker = LeadEnd {
                owner,
                printed: function,
                colour: None,
                gauge: None,
                current_limit: None,
                way: None,
            };
            let ends = vec![taker, end.lead];
            self.wiring.joins.push(Join {
                function,
                ends,
                same_colour: false,
                meter_first: None,
                load: Load::NotWeighed,
            });
        }
    }

    fn add(&mut self, function: Function, own: Option<&End>, others: Vec<End>) {
        let all: Vec<&End> = own.into_iter().chain(&others).collect();
        if all.len() < 2 {
            return self.leave_unused(others);
        }
        // The amplifier turn-on may have begun its splice with the antenna.
        let begun =
            self.wiring.joins.iter_mut().find(|join| own.is_some_and(|own| join.ends.contains(&own.lead)));
        if let Some(join) = begun {
            join.ends.extend(others.into_iter().map(|end| end.lead));
            join.same_colour = same_colour(&join.ends);
            return;
        }
        let metered = matches!(function, Function::Battery | Function::Switched | Function::Ground)
            || class_of(function) == Class::Speaker;
        let evidence = others.iter().map(|end| end.evidence.clone()).reduce(weaker);
        let weak = evidence.filter(|evidence| metered && evidence.grade > Grade::Measured);
        let ends: Vec<LeadEnd> = all.iter().map(|end| end.lead.clone()).collect();
        let load = self.load(function, &ends);
        self.wiring.joins.push(Join {
            function,
            same_colour: same_colour(&ends),
            ends,
            meter_first: weak,
            load,
        });
    }

    /// The thinnest end against what the radio draws.
    fn load(&self, function: Function, ends: &[LeadEnd]) -> Load {
        if !matches!(function, Function::Battery | Function::Ground) {
            return Load::NotWeighed;
        }
        // Leads of converters on the splice carry their own share alone.
        let main = ends.iter().take(2).map(|end| end.current_limit).collect::<Option<Vec<_>>>();
        let carries = main.and_then(|limits| limits.into_iter().min());
        match (carries, self.bench.radio.electrics.max_current) {
            (Some(carries), Some(needs)) if needs <= carries => Load::Fits { carries, needs },
            (Some(carries), Some(needs)) => Load::TooThin { carries, needs },
            _ => Load::Unknown,
        }
    }
}

/// A chosen module that listens to the steering buttons and speaks to the radio through its socket. What the harness brings
/// out of them goes to the module then, and not to the radio as well.
fn steering_module(parts: &[&Part]) -> Option<PartId> {
    let speaks = |part: &Part| {
        part.occupies.iter().any(|occupied| {
            matches!(
                occupied.what,
                Resource::RadioSocket(SocketKind::SteeringRemote | SocketKind::SerialData)
            )
        })
    };
    let listens = |part: &Part| part.covers.iter().any(|cover| cover.need == Some(Need::Steering));
    let bare = |part: &Part| !part.leads.iter().any(|lead| is_steering(lead.function));
    parts.iter().find(|part| speaks(part) && listens(part) && bare(part)).map(|part| part.id.clone())
}

const fn is_steering(function: Function) -> bool {
    matches!(function, Function::Steering1 | Function::Steering2 | Function::SteeringGround)
}

/// The order in which leads of one function are taken: what is preferred, the real before the feigned, what the car has
/// before what a module makes; then by part, as they come.
fn rank(end: &End) -> (bool, u8, bool) {
    let preference = match end.preference {
        Some(Preference::Preferred) => 0,
        None => 1,
        Some(Preference::Fallback) => 2,
    };
    (end.feigns, preference, end.is_made())
}

fn same_colour(ends: &[LeadEnd]) -> bool {
    let colours: Option<Vec<LeadColour>> = ends.iter().map(|end| end.colour).collect();
    colours.is_some_and(|colours| colours.windows(2).all(|pair| matches!(pair, [one, other] if one == other)))
}

/// What plugs into what: those that pass a plug through stand before the one that takes it.
fn sockets(parts: &[&Part]) -> Vec<Socketed> {
    let mut all: Vec<(Resource, bool, Socketed)> = Vec::new();
    for part in parts {
        for occupied in &part.occupies {
            let passes_through = occupied.mode == Occupancy::PassesThrough;
            let (plug, socket) = match &occupied.what {
                Resource::FactoryPlug(family) => (Some(family.clone()), None),
                Resource::RadioSocket(kind) => (None, Some(*kind)),
            };
            let one = Socketed { part: part.id.clone(), plug, socket, passes_through };
            all.push((occupied.what.clone(), !passes_through, one));
        }
    }
    // Stable: parts of one plug stay in the order of their ids.
    all.sort_by(|(one, last, _), (other, other_last, _)| (one, last).cmp(&(other, other_last)));
    all.into_iter().map(|(_, _, socketed)| socketed).collect()
}
