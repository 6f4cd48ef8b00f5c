//! Joining: every lead of the radio and of the chosen parts finds its partner, or is said to have none.
//!
//! Function by function: what gives on one side, what takes on the other. Each taker gets the best giver that it may meet;
//! supplies, grounds and triggers share a splice, everything else goes one to one.

use dashwright_model::record::audio::{AntennaRole, Presence, SpeakerPosition, SpeakerReturn};
use dashwright_model::record::part::{Occupancy, Part, Preference, Resource};
use dashwright_model::record::radio::{Direction, RadioAsk, SocketKind};
use dashwright_model::{Function, Grade, Need};
use dashwright_quantity::{LeadColour, PartId};

use super::compat::mismatches;
use super::ends::{Class, End, class_of, radio_gives};
use super::refuse::{feed_by, forbidden, is_made_for};
use super::traps::traps;
use super::{Bench, Join, LeadEnd, Load, Loose, LooseReason, Mismatch, Owner, Socketed, Wiring};
use crate::evidence::weaker;

/// Joins the leads of the radio and of the chosen parts. What is met directly may be taken from the car's own wires.
#[must_use]
pub fn wire(bench: &Bench<'_>, parts: &[&Part], met_directly: &[Need]) -> Wiring {
    let radio: Vec<End> = bench.radio.leads.iter().map(|lead| bench.end_of_radio(lead)).collect();
    let adapters: Vec<End> =
        parts.iter().flat_map(|part| part.leads.iter().map(|lead| bench.end_of_part(part, lead))).collect();
    let steering = steering_module(parts);
    let camera = shows_camera(parts, &adapters, met_directly);
    let mut joiner = Joiner { bench, parts, met_directly, steering, camera, wiring: Wiring::default() };
    let mut open = joiner.set_aside(adapters.clone());
    open.extend(joiner.car_ends(&adapters));
    for end in &mut open {
        joiner.feed_camera_from_supply(end, &adapters);
    }
    for function in Function::ALL {
        let own = radio.iter().find(|end| end.function == *function);
        let (offered, rest): (Vec<End>, Vec<End>) =
            open.into_iter().partition(|end| end.function == *function);
        open = rest;
        joiner.join(*function, own, offered);
    }
    let mut wiring = joiner.wiring;
    wiring.traps = traps(bench, &radio, &adapters, &wiring);
    wiring.sockets = sockets(parts);
    wiring
}

pub(super) struct Joiner<'b, 'a> {
    pub(super) bench: &'b Bench<'a>,
    parts: &'b [&'b Part],
    pub(super) met_directly: &'b [Need],
    /// The module that listens to the steering buttons in the radio's place.
    steering: Option<PartId>,
    /// The radio shows a camera in this plan.
    camera: bool,
    pub(super) wiring: Wiring,
}

impl Joiner<'_, '_> {
    /// Tells a lead that is joined to nothing. Sockets of the radio and wires of the car are no loose ends.
    pub(super) fn insulate(&mut self, end: &End, why: LooseReason) {
        if matches!(end.lead.owner, Owner::Radio | Owner::Part(_)) {
            self.wiring.insulated.push(Loose { lead: end.lead.clone(), function: end.function, why });
        }
    }

    /// Tells what must not meet, each once.
    pub(super) fn refuse(&mut self, mismatches: impl IntoIterator<Item = Mismatch>) {
        for mismatch in mismatches {
            if !self.wiring.refused.contains(&mismatch) {
                self.wiring.refused.push(mismatch);
            }
        }
    }

    /// Insulates what is never joined here, and gives back the rest.
    fn set_aside(&mut self, ends: Vec<End>) -> Vec<End> {
        let mut rest = Vec::new();
        for mut end in ends {
            if end.dead {
                self.insulate(&end, LooseReason::DeadWay);
            } else if end.function == Function::PowerAntenna && !self.feeds(&end) {
                self.insulate(&end, LooseReason::NotFed);
            } else if let Some(mismatch) = forbidden(self.bench, &end, self.parts, self.steering.is_some()) {
                self.refuse([mismatch]);
                self.insulate(&end, LooseReason::MustNotMeet);
            } else {
                self.rename(&mut end);
                rest.push(end);
            }
        }
        rest
    }

    /// What joins another function's splice.
    fn rename(&self, end: &mut End) {
        let has = |function: Function| self.bench.radio_end(function).is_some();
        match end.function {
            // The camera's return is a ground like any other.
            Function::CameraGround => {
                end.function = Function::Ground;
                end.direction = Direction::Sink;
            }
            // A radio without a lead for the antenna feeds it by its amplifier turn-on (common practice, no source).
            Function::PowerAntenna if !has(Function::PowerAntenna) && has(Function::AmpOn) => {
                end.function = Function::AmpOn;
            }
            _ => {}
        }
    }

    /// Whether the car's antenna is fed by this kind of lead: 12 V goes into an antenna only where that is recorded.
    fn feeds(&self, end: &End) -> bool {
        let mains = self.bench.audio.antennas.iter().filter(|antenna| antenna.role == AntennaRole::Main);
        let wanted = feed_by(end);
        mains.map(|antenna| antenna.feed).any(|feed| feed == Some(wanted))
    }

    /// Wires of the car that take what the radio or a supply gives, where no part brings them out and the plan takes them
    /// straight from the car.
    fn car_ends(&self, adapters: &[End]) -> Vec<End> {
        let wired = |function: Function| {
            matches!(self.bench.presence(function), Some(Presence::Discrete | Presence::Elsewhere))
        };
        let brought = |function: Function| adapters.iter().any(|end| !end.dead && end.function == function);
        let takes_straight = |need: Need, function: Function| {
            self.met_directly.contains(&need) && wired(function) && !brought(function)
        };
        let no_lead = self.bench.radio_end(Function::PowerAntenna).is_none();
        let pairs = [
            (Need::Camera, Function::CameraPower, true),
            (Need::Camera, Function::CameraGround, true),
            // With a lead of its own for the antenna the radio's is fetched; the turn-on lead is needed elsewhere too.
            (Need::AntennaPower, Function::PowerAntenna, no_lead),
        ];
        let straight =
            pairs.into_iter().filter(|(need, function, may)| *may && takes_straight(*need, *function));
        let mut ends: Vec<End> = straight
            .map(|(_, function, _)| self.bench.car_end(function, self.bench.way_of(function)))
            .filter(|end| end.function != Function::PowerAntenna || self.feeds(end))
            .collect();
        ends.iter_mut().for_each(|end| self.rename(end));
        ends
    }

    /// A camera at the car's own voltage without a supply of its own is fed from the reverse lead, or from the switched
    /// supply where there is none (common practice, no source).
    fn feed_camera_from_supply(&self, end: &mut End, all: &[End]) {
        let is_fed = end.function == Function::CameraPower && end.direction == Direction::Sink;
        let serves = |other: &End| {
            other.function == Function::CameraPower
                && other.direction == Direction::Source
                && mismatches(other, end).is_empty()
        };
        let own_source = all.iter().any(serves)
            || self.bench.radio_end(Function::CameraPower).is_some_and(|own| serves(&own));
        if !is_fed || own_source || end.voltage.is_none() || end.voltage != self.bench.car_voltage() {
            return;
        }
        let reverse = |other: &End| {
            other.function == Function::Reverse && other.direction == Direction::Source && !other.dead
        };
        let elsewhere = self.bench.presence(Function::Reverse) == Some(Presence::Elsewhere);
        let from_reverse = (all.iter().any(reverse) || elsewhere) && self.wants_reverse();
        end.function = if from_reverse { Function::Reverse } else { Function::Switched };
    }

    fn join(&mut self, function: Function, own: Option<&End>, offered: Vec<End>) {
        if let Some(module) = self.steering.clone().filter(|_| is_steering(function)) {
            if let Some(own) = own {
                self.insulate(own, LooseReason::OtherPreferred);
            }
            return self.one_to(function, Owner::ModuleInput(module), offered);
        }
        if let Some(own) = own.filter(|own| own.direction == Direction::Sink && !self.is_wanted(function)) {
            self.insulate(own, LooseReason::NothingNeedsIt);
            return self.pair(function, None, offered);
        }
        let mut socket = self.bench.socket_end(function).filter(|_| own.is_none());
        if let Some(socket) =
            socket.as_mut().filter(|_| self.parts.iter().any(|part| is_made_for(part, self.bench.radio)))
        {
            // The maker of the part knows what the radio's camera input takes.
            socket.signal = socket.signal.filter(|_| function != Function::CameraVideo);
        }
        self.pair(function, own.or(socket.as_ref()), offered);
    }

    /// Gives each taker the best giver that it may meet.
    fn pair(&mut self, function: Function, own: Option<&End>, offered: Vec<End>) {
        let (givers, takers): (Vec<End>, Vec<End>) =
            offered.into_iter().partition(|end| end.direction == Direction::Source);
        let (mut givers, mut takers) = (self.ranked(givers), self.ranked(takers));
        let shared = class_of(function) == Class::Shared;
        match own {
            Some(own) if own.direction == Direction::Source => givers.insert(0, own.clone()),
            // A module between the car and the radio takes what the car gives; the radio takes what the module gives.
            Some(own) if shared => takers.insert(0, own.clone()),
            Some(own) => takers.push(own.clone()),
            None => {}
        }
        // The real parking brake comes before any substitute, also where it has to be fetched.
        if takers.iter().any(|taker| self.is_real_at_hand(function, taker)) {
            let (feigned, real): (Vec<End>, Vec<End>) = givers.into_iter().partition(|giver| giver.feigns);
            feigned.iter().for_each(|end| self.insulate(end, LooseReason::Feigned));
            givers = real;
        }
        let mut groups: Vec<(End, Vec<End>)> = givers.into_iter().map(|giver| (giver, Vec::new())).collect();
        let mut alone = Vec::new();
        for taker in &takers {
            let may =
                |(giver, taken): &(End, Vec<End>)| (shared || taken.is_empty()) && may_meet(giver, taker);
            let begun = groups.iter().position(|group| !group.1.is_empty() && may(group));
            match begun.or_else(|| groups.iter().position(may)).and_then(|place| groups.get_mut(place)) {
                Some((_, taken)) => taken.push(taker.clone()),
                None => alone.push(taker.clone()),
            }
        }
        self.tell_alone(function, &alone, &groups);
        for (giver, taken) in groups {
            if taken.is_empty() {
                self.tell_unused(function, &giver, &takers);
            } else {
                self.add(function, giver, taken);
            }
        }
    }

    /// The ends in the order in which they are taken. Two leads that come from one way of one plug are the same wire twice:
    /// one of them is used.
    fn ranked(&mut self, mut ends: Vec<End>) -> Vec<End> {
        ends.sort_by_key(rank);
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

    /// Tells the takers that nothing on the bench serves.
    fn tell_alone(&mut self, function: Function, alone: &[End], groups: &[(End, Vec<End>)]) {
        for taker in alone {
            let others = groups.iter().filter(|(giver, _)| !is_itself(giver, taker));
            let wrong: Vec<Mismatch> = others.flat_map(|(giver, _)| mismatches(giver, taker)).collect();
            let refused = !wrong.is_empty();
            self.refuse(wrong);
            let busy = groups.iter().any(|(giver, _)| may_meet(giver, taker));
            if busy {
                self.insulate(taker, LooseReason::OtherPreferred);
            } else if radio_gives(function) {
                self.refuse(self.camera_unfed(taker));
                let camera = function == Function::CameraPower;
                let why = if refused || camera { LooseReason::MustNotMeet } else { LooseReason::NoPartner };
                self.insulate(taker, why);
            } else {
                self.without_giver(function, taker, refused);
            }
        }
    }

    /// Tells a giver that nothing on the bench takes from.
    fn tell_unused(&mut self, function: Function, giver: &End, takers: &[End]) {
        let must_not = !takers.is_empty() && takers.iter().all(|taker| !mismatches(giver, taker).is_empty());
        let is_part = matches!(giver.lead.owner, Owner::Part(_));
        if must_not {
            self.insulate(giver, LooseReason::MustNotMeet);
        } else if is_part && giver.feigns {
            self.insulate(giver, LooseReason::Feigned);
        } else if is_part {
            let why = if takers.is_empty() { LooseReason::NoPartner } else { LooseReason::OtherPreferred };
            self.insulate(giver, why);
        } else if !self.fetch_for_giver(function, giver) {
            self.insulate(giver, self.why_alone(function));
        }
    }

    /// Why a lead of the radio that gives has nobody to give to.
    fn why_alone(&self, function: Function) -> LooseReason {
        let mut speakers = self.bench.audio.speakers.iter();
        let common = negative_of(function).is_some_and(|position| {
            speakers.any(|own| own.position == position && own.returns_by == SpeakerReturn::CommonGround)
        });
        match function {
            Function::PowerAntenna => LooseReason::NotFed,
            _ if common => LooseReason::CommonGround,
            _ => LooseReason::NoPartner,
        }
    }

    /// A reverse trigger is joined only where the radio shows a camera, or asks for it.
    pub(super) fn wants_reverse(&self) -> bool {
        self.bench.radio.asks_for.contains(&RadioAsk::Reverse) || self.camera
    }

    /// Leads that end in a module's own input, one to one.
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

    /// Adds a join: the radio's end first, then what gives, then what takes.
    fn add(&mut self, function: Function, giver: End, takers: Vec<End>) {
        let mut all = vec![giver];
        all.extend(takers);
        all.sort_by_key(|end| !is_radios(end));
        let metered = matches!(function, Function::Battery | Function::Switched | Function::Ground)
            || class_of(function) == Class::Speaker;
        let theirs = all.iter().filter(|end| !is_radios(end));
        let evidence = theirs.map(|end| end.evidence.clone()).reduce(weaker);
        let meter_first = evidence.filter(|evidence| metered && evidence.grade > Grade::Measured);
        let ends: Vec<LeadEnd> = all.into_iter().map(|end| end.lead).collect();
        let (same_colour, load) = (same_colour(&ends), self.load(function, &ends));
        self.wiring.joins.push(Join { function, ends, same_colour, meter_first, load });
    }

    /// The thinnest end against what the radio draws. Leads of converters on the splice carry their own share alone.
    fn load(&self, function: Function, ends: &[LeadEnd]) -> Load {
        let [own, main, ..] = ends else { return Load::NotWeighed };
        if !matches!(function, Function::Battery | Function::Ground) || own.owner != Owner::Radio {
            return Load::NotWeighed;
        }
        let Some(needs) = self.bench.radio.electrics.max_current else { return Load::Unknown };
        let thinnest = own.current_limit.into_iter().chain(main.current_limit).min();
        match thinnest {
            Some(carries) if carries < needs => Load::TooThin { carries, needs },
            // What one end carries says nothing of the other.
            Some(carries) if own.current_limit.is_some() && main.current_limit.is_some() => {
                Load::Fits { carries, needs }
            }
            _ => Load::Unknown,
        }
    }
}

fn may_meet(giver: &End, taker: &End) -> bool {
    !is_itself(giver, taker) && mismatches(giver, taker).is_empty()
}

/// A module never feeds itself.
fn is_itself(giver: &End, taker: &End) -> bool {
    giver.is_made() && giver.lead.owner == taker.lead.owner
}

fn is_radios(end: &End) -> bool {
    matches!(end.lead.owner, Owner::Radio | Owner::Socket(_))
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

/// Whether the radio shows a camera: the factory's, or one that a part adds.
fn shows_camera(parts: &[&Part], adapters: &[End], met_directly: &[Need]) -> bool {
    let keeps = |part: &&Part| part.covers.iter().any(|cover| cover.need == Some(Need::Camera));
    let sends = |end: &End| !end.dead && end.function == Function::CameraVideo;
    met_directly.contains(&Need::Camera) || parts.iter().any(keeps) || adapters.iter().any(sends)
}

const fn is_steering(function: Function) -> bool {
    matches!(function, Function::Steering1 | Function::Steering2 | Function::SteeringGround)
}

/// The speaker whose return a function is.
const fn negative_of(function: Function) -> Option<SpeakerPosition> {
    match function {
        Function::SpeakerFrontLeftMinus => Some(SpeakerPosition::FrontLeft),
        Function::SpeakerFrontRightMinus => Some(SpeakerPosition::FrontRight),
        Function::SpeakerRearLeftMinus => Some(SpeakerPosition::RearLeft),
        Function::SpeakerRearRightMinus => Some(SpeakerPosition::RearRight),
        Function::SpeakerCenterMinus => Some(SpeakerPosition::Center),
        Function::SpeakerSubwooferMinus => Some(SpeakerPosition::Subwoofer),
        _ => None,
    }
}

/// The order in which leads of one function are taken: the real before the feigned, what is preferred, what the car has
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
