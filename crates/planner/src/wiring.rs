//! Wiring: lead to lead by function, voltage, polarity and kind of signal; never by colour alone.
//!
//! What a lead does that comes from a way of a factory plug is what this car has at that way, whatever is printed on it.
//! What is not joined is said: insulated, fetched elsewhere, or to be decided by a person. Rules that protect people and
//! cars are in `compat.rs` (what may meet) and `refuse.rs` (what a part can serve, and what is joined to nothing); the joining
//! itself is in `join.rs`, what is taken from the car's own wires in `fetch.rs`.

mod compat;
mod ends;
mod fetch;
mod join;
mod refuse;
#[cfg(test)]
mod tests;
mod traps;

use dashwright_model::record::audio::{FactoryAudio, SpeakerPosition};
use dashwright_model::record::radio::SocketKind;
use dashwright_model::record::vehicle::SystemVoltage;
use dashwright_model::record::{Radio, RecordKey};
use dashwright_model::{Function, Polarity, SignalKind};
use dashwright_quantity::{Amperes, Gauge, Label, LeadColour, Ohms, PartId, Prose, TermId, Volts};

use crate::answer::WeakestEvidence;

pub use join::wire;
pub(crate) use refuse::{direct_refusals, functions_of, refusals};

/// A car and a radio on one bench.
#[derive(Clone, Copy, Debug)]
pub struct Bench<'a> {
    /// What the car has.
    pub audio: &'a FactoryAudio,
    /// The nominal voltage of the car's supply; unknown without it.
    pub system_voltage: Option<SystemVoltage>,
    /// The radio.
    pub radio: &'a Radio,
}

/// Whose lead it is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Owner {
    /// The radio's.
    Radio,
    /// A socket of the radio.
    Socket(SocketKind),
    /// A part's.
    Part(PartId),
    /// The input of a module whose record does not list its leads: its sheet says which.
    ModuleInput(PartId),
    /// The car's own wire.
    Car,
}

/// A way of a factory plug.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlugWay {
    /// The family of the plug.
    pub family: TermId,
    /// The label of the way.
    pub way: Label,
}

/// One end of a join.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeadEnd {
    /// Whose.
    pub owner: Owner,
    /// What is printed on it, or recorded of it.
    pub printed: Function,
    /// Its colour.
    pub colour: Option<LeadColour>,
    /// Its conductor.
    pub gauge: Option<Gauge>,
    /// The current that it may carry.
    pub current_limit: Option<Amperes>,
    /// The way that it comes from.
    pub way: Option<PlugWay>,
}

/// Whether a supply or a ground carries what the radio draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    /// Not a supply or a ground.
    NotWeighed,
    /// The thinnest end carries it.
    Fits {
        /// What the thinnest end carries.
        carries: Amperes,
        /// What the radio draws.
        needs: Amperes,
    },
    /// The thinnest end carries less.
    TooThin {
        /// What the thinnest end carries.
        carries: Amperes,
        /// What the radio draws.
        needs: Amperes,
    },
    /// A figure is not recorded.
    Unknown,
}

/// Leads that are joined.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Join {
    /// What the join does, as this car has it.
    pub function: Function,
    /// The ends, the radio's first; more than two share a splice.
    pub ends: Vec<LeadEnd>,
    /// Whether every end has a colour and all are the same.
    pub same_colour: bool,
    /// Evidence too weak to join a supply or a speaker without metering it first.
    pub meter_first: Option<WeakestEvidence>,
    /// Whether it carries its current.
    pub load: Load,
}

impl Join {
    /// Whether two joins are the same work: the records that they rest on may differ.
    #[must_use]
    pub fn same_join(&self, other: &Self) -> bool {
        let of = |join: &Self| (join.function, join.same_colour, join.meter_first.is_some(), join.load);
        of(self) == of(other) && self.ends == other.ends
    }
}

/// Why a lead has no partner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LooseReason {
    /// The other side does not have it.
    NoPartner,
    /// Another lead of the same function is used.
    OtherPreferred,
    /// This car has nothing at the way that it comes from.
    DeadWay,
    /// The car's antenna is not fed this way, or how it is fed is not recorded.
    NotFed,
    /// Nothing here needs it.
    NothingNeedsIt,
    /// The car's speakers return by its ground.
    CommonGround,
    /// It must not meet what the other side has.
    MustNotMeet,
    /// It only feigns a circuit that is at hand.
    Feigned,
    /// The radio needs it and neither side has it.
    NotOffered,
}

/// A lead without a partner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loose {
    /// The lead.
    pub lead: LeadEnd,
    /// What it does, as this car has it.
    pub function: Function,
    /// Why.
    pub why: LooseReason,
}

/// A lead whose circuit is taken from elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fetch {
    /// The lead.
    pub lead: LeadEnd,
    /// What it does.
    pub function: Function,
    /// Where the circuit is; at the factory plug without it.
    pub found_at: Option<Prose>,
    /// The way of the factory plug, where it is taken there.
    pub way: Option<PlugWay>,
}

/// A part in a plug or a socket.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Socketed {
    /// The part.
    pub part: PartId,
    /// The factory plug.
    pub plug: Option<TermId>,
    /// The radio's socket.
    pub socket: Option<SocketKind>,
    /// It offers the same again.
    pub passes_through: bool,
}

/// A colour or a print that would mislead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColourTrap {
    /// The print of a lead differs from what this car has at its way.
    Print {
        /// The lead.
        lead: LeadEnd,
        /// What it does here.
        really: Function,
    },
    /// Two leads have one colour and do different things.
    SameColour {
        /// The radio's.
        radio: LeadEnd,
        /// The adapter's.
        adapter: LeadEnd,
        /// What the adapter's does here.
        really: Function,
    },
}

/// The records that two ends come from: what gives, and what takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sides {
    /// The record of what gives.
    pub source: RecordKey,
    /// The record of what takes.
    pub sink: RecordKey,
}

/// What does not agree between two ends that would meet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Mismatch {
    /// Different voltages.
    Voltage {
        /// The function.
        function: Function,
        /// What gives.
        source: Volts,
        /// What takes.
        sink: Volts,
        /// The records.
        sides: Sides,
    },
    /// One goes to the supply, the other to ground.
    Polarity {
        /// The function.
        function: Function,
        /// What gives.
        source: Polarity,
        /// What takes.
        sink: Polarity,
        /// The records.
        sides: Sides,
    },
    /// Different kinds of signal.
    Signal {
        /// The function.
        function: Function,
        /// What gives.
        source: SignalKind,
        /// What takes.
        sink: SignalKind,
        /// The records.
        sides: Sides,
    },
    /// Speakers with a common ground on bridged outputs.
    CommonGroundOnBridged {
        /// The records: the radio gives, the car takes.
        sides: Sides,
    },
    /// Speakers that load the radio more than it may drive.
    SpeakerLoad {
        /// Where they are.
        position: SpeakerPosition,
        /// What they come to.
        load: Ohms,
        /// The least that the radio drives.
        least: Ohms,
        /// The records: the radio gives, the car takes.
        sides: Sides,
    },
    /// Buttons that the radio's input can not tell apart.
    ButtonsTooClose {
        /// On which wire.
        wire: Function,
        /// How far the closest two are apart.
        apart: Volts,
        /// What the input tells apart.
        threshold: Volts,
        /// The records: the car gives, the radio takes.
        sides: Sides,
    },
    /// A ladder of resistors onto an input that does not measure one.
    SteeringKind {
        /// The records.
        sides: Sides,
    },
    /// A digital or high-definition camera onto an input for composite video.
    CameraSignal {
        /// The records.
        sides: Sides,
    },
    /// The car's antenna is fed in another way than the lead would feed it.
    AntennaFeed {
        /// The record of the antenna.
        record: RecordKey,
    },
    /// The camera needs a supply of its own voltage and nothing here gives it.
    CameraSupply {
        /// What it needs.
        needs: Volts,
        /// The record of the camera.
        record: RecordKey,
    },
    /// The radio has no lead or socket for it.
    NoRadioLead {
        /// The function.
        function: Function,
        /// The radio.
        record: RecordKey,
    },
    /// A fact that decides is not recorded.
    FactMissing {
        /// The record that lacks it.
        record: RecordKey,
        /// The field.
        field: String,
    },
}

/// Every lead of the radio and of the chosen parts, each once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wiring {
    /// Leads that are joined, in the order of functions.
    pub joins: Vec<Join>,
    /// Leads that are insulated one by one.
    pub insulated: Vec<Loose>,
    /// Leads whose circuit is taken from elsewhere.
    pub fetched: Vec<Fetch>,
    /// Leads that the radio needs and neither side offers.
    pub undecided: Vec<Loose>,
    /// What plugs into what.
    pub sockets: Vec<Socketed>,
    /// Colours and prints that would mislead.
    pub traps: Vec<ColourTrap>,
    /// Pairs of one function that must not be joined.
    pub refused: Vec<Mismatch>,
}

impl Wiring {
    /// Whether two wirings are the same work.
    #[must_use]
    pub fn same_joins(&self, other: &Self) -> bool {
        let Self { joins, insulated, fetched, undecided, sockets, traps: _, refused: _ } = self;
        joins.len() == other.joins.len()
            && joins.iter().zip(&other.joins).all(|(one, other)| one.same_join(other))
            && (insulated, fetched, undecided) == (&other.insulated, &other.fetched, &other.undecided)
            && *sockets == other.sockets
    }
}
