//! Factory audio: what is behind the dash, plug by plug and circuit by circuit.

use std::collections::BTreeMap;

use dashwright_quantity::{Amperes, AudioId, Label, Ohms, Prose, TermId, Volts};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::function::{Function, Polarity, SignalKind};
use crate::need::{Carrier, Feature};

/// The most plugs of one factory radio.
pub const MAX_PLUGS: usize = 16;
/// The most ways of one plug.
pub const MAX_WAYS: usize = 80;
/// The most circuits of one system.
pub const MAX_CIRCUITS: usize = 80;
/// The most speakers of one system.
pub const MAX_SPEAKERS: usize = 32;
/// The most drivers behind one pair of speaker leads.
pub const MAX_DRIVERS: usize = 8;
/// The most antenna plugs.
pub const MAX_ANTENNAS: usize = 8;
/// The most buttons on one wire.
pub const MAX_BUTTONS: usize = 24;

/// A factory audio system.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FactoryAudio {
    /// The id of the system.
    pub id: AudioId,
    /// What a person calls it.
    pub title: Label,
    /// The amplifier, or that there is none.
    pub amplifier: Amplifier,
    /// The plugs at the factory radio.
    pub plugs: Vec<FactoryPlug>,
    /// What is known of each circuit; a function that is not listed is unknown.
    pub circuits: Vec<Circuit>,
    /// The speakers.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub speakers: Vec<Speaker>,
    /// The antenna plugs; unknown when the list is empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub antennas: Vec<AntennaPlug>,
    /// Resistive steering buttons; buses are circuits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steering: Vec<SteeringWire>,
    /// The factory camera.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<Camera>,
    /// Rating of the fuse of the radio circuit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fuse: Option<Amperes>,
    /// What the factory radio is the gateway for: it may have to stay connected, hidden.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gateway_for: Vec<GatewayRole>,
    /// The features and how each is carried; a feature that is not listed is unknown.
    pub features: BTreeMap<Feature, Carrier>,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

terms! {
    /// How a factory amplifier gets its signal.
    AmplifierFeed ("amplifier feed") {
        /// There is no amplifier: the radio drives the speakers.
        None = "NONE",
        /// Speaker level from the radio.
        SpeakerLevel = "SPEAKER_LEVEL",
        /// Line level from the radio.
        LineLevel = "LINE_LEVEL",
        /// A digital bus.
        DigitalBus = "DIGITAL_BUS",
    }
}

terms! {
    /// What turns a factory amplifier on.
    TurnOn ("turn-on of an amplifier") {
        /// 12 V on a lead.
        Lead = "LEAD",
        /// It senses the signal.
        SignalSensing = "SIGNAL_SENSING",
        /// A message on a bus.
        Bus = "BUS",
    }
}

terms! {
    /// Where a sound setting lives.
    SettingPlace ("place of a sound setting") {
        /// Inside the amplifier, fixed.
        InAmplifier = "IN_AMPLIFIER",
        /// Set over the bus by the factory radio.
        SetByBus = "SET_BY_BUS",
    }
}

terms! {
    /// What feeds the subwoofer.
    SubwooferFeed ("subwoofer feed") {
        /// There is no subwoofer.
        None = "NONE",
        /// A channel of its own from the radio.
        OwnChannel = "OWN_CHANNEL",
        /// The amplifier derives it from the other channels.
        Derived = "DERIVED",
    }
}

/// A factory amplifier.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Amplifier {
    /// How it gets its signal; `NONE` says that there is no amplifier.
    pub feed: AmplifierFeed,
    /// Voltage at the input for full output.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub input_sensitivity: Option<Volts>,
    /// Whether the inputs are balanced.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balanced: Option<bool>,
    /// What turns it on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn_on: Option<TurnOn>,
    /// Where the gain is set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gain: Option<SettingPlace>,
    /// Where the crossovers are set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crossovers: Option<SettingPlace>,
    /// Output channels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channels: Option<u8>,
    /// What feeds the subwoofer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subwoofer: Option<SubwooferFeed>,
    /// Where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Label>,
}

/// A plug at the factory radio.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FactoryPlug {
    /// The plug family, a vocabulary term.
    pub family: TermId,
    /// How many ways the family has.
    pub ways_count: u8,
    /// The ways in use.
    pub ways: Vec<Way>,
}

/// One way of a plug and the circuit that it carries in this car, whatever a standard or a print says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Way {
    /// The label of the way: the contact number of ISO 10487, or the family's own.
    pub way: Label,
    /// What it carries.
    pub function: Function,
    /// The colour of the car's wire.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colour: Option<dashwright_quantity::LeadColour>,
}

terms! {
    /// How a function is present in a car.
    Presence ("presence of a circuit") {
        /// On a wire of its own at the factory radio.
        Discrete = "DISCRETE",
        /// On a wire of its own, but not at the factory radio.
        Elsewhere = "ELSEWHERE",
        /// Only as a message on a data bus.
        DataBus = "DATA_BUS",
        /// Not present.
        Absent = "ABSENT",
    }
}

/// What is known of a circuit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Circuit {
    /// What it does.
    pub function: Function,
    /// How it is present.
    pub presence: Presence,
    /// Its voltage when active.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<Volts>,
    /// Whether it goes to the supply or to ground when active.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub polarity: Option<Polarity>,
    /// What travels on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signal: Option<SignalKind>,
    /// The current that it can give.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gives: Option<Amperes>,
    /// The current that it takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub takes: Option<Amperes>,
    /// Where it is, when it is not at the factory radio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found_at: Option<Prose>,
    /// What this circuit rests on, where it differs from the record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
}

terms! {
    /// Where a speaker sits.
    SpeakerPosition ("position of a speaker") {
        /// Front left.
        FrontLeft = "FRONT_LEFT",
        /// Front right.
        FrontRight = "FRONT_RIGHT",
        /// Rear left.
        RearLeft = "REAR_LEFT",
        /// Rear right.
        RearRight = "REAR_RIGHT",
        /// Centre.
        Center = "CENTER",
        /// Subwoofer.
        Subwoofer = "SUBWOOFER",
    }
}

terms! {
    /// How several drivers hang on one pair of leads.
    DriverTopology ("driver topology") {
        /// One behind the other.
        Series = "SERIES",
        /// Side by side.
        Parallel = "PARALLEL",
    }
}

terms! {
    /// The return of a speaker.
    SpeakerReturn ("speaker return") {
        /// A negative lead of its own.
        OwnNegative = "OWN_NEGATIVE",
        /// The car's ground, shared: never on a bridged output.
        CommonGround = "COMMON_GROUND",
    }
}

/// The speakers behind one pair of leads.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Speaker {
    /// Where.
    pub position: SpeakerPosition,
    /// Impedance of each driver.
    pub drivers: Vec<Ohms>,
    /// How several drivers are joined.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub topology: Option<DriverTopology>,
    /// The return.
    #[serde(rename = "return")]
    pub returns_by: SpeakerReturn,
}

terms! {
    /// What an antenna plug is for.
    AntennaRole ("role of an antenna") {
        /// Main broadcast antenna.
        Main = "MAIN",
        /// Second antenna of a diversity pair.
        DiversitySub = "DIVERSITY_SUB",
        /// Digital radio.
        DigitalRadio = "DIGITAL_RADIO",
        /// Satellite positioning.
        Gnss = "GNSS",
        /// Satellite radio.
        Satellite = "SATELLITE",
    }
}

terms! {
    /// How an antenna is fed.
    AntennaFeed ("feed of an antenna") {
        /// It is not.
        None = "NONE",
        /// By a lead of its own.
        ByLead = "BY_LEAD",
        /// Through the coaxial lead.
        ThroughCoax = "THROUGH_COAX",
    }
}

/// An antenna plug.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AntennaPlug {
    /// What it is for.
    pub role: AntennaRole,
    /// The plug family, a vocabulary term.
    pub family: TermId,
    /// The key of a keyed family.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<Label>,
    /// How the antenna is fed; unknown without it, and then never fed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub feed: Option<AntennaFeed>,
    /// The tuner sits outside the factory radio, which then has no antenna plug of its own.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub tuner_outside: bool,
}

terms! {
    /// The return of the steering buttons.
    SteeringReturn ("return of the steering buttons") {
        /// A ground of their own.
        Own = "OWN",
        /// The radio's ground.
        Shared = "SHARED",
    }
}

/// One wire of resistive steering buttons.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SteeringWire {
    /// `STEERING_1` or `STEERING_2`.
    pub wire: Function,
    /// The return.
    #[serde(rename = "return")]
    pub returns_by: SteeringReturn,
    /// Resistance to the return while each button is pressed.
    pub buttons: BTreeMap<Label, Ohms>,
}

terms! {
    /// What a camera sends.
    CameraSignal ("signal of a camera") {
        /// Composite video.
        Composite = "COMPOSITE",
        /// Analogue video in high definition.
        AnalogueHighDefinition = "ANALOGUE_HIGH_DEFINITION",
        /// Digital video.
        Digital = "DIGITAL",
    }
}

/// A factory camera.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Camera {
    /// What it sends.
    pub signal: CameraSignal,
    /// The voltage that feeds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supply: Option<Volts>,
    /// The current that it takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub takes: Option<Amperes>,
}

terms! {
    /// What a factory radio may be the gateway for.
    GatewayRole ("gateway role") {
        /// Climate.
        Climate = "CLIMATE",
        /// Vehicle settings.
        Settings = "SETTINGS",
        /// Emergency call.
        EmergencyCall = "EMERGENCY_CALL",
        /// Immobiliser.
        Immobiliser = "IMMOBILISER",
        /// Diagnostics.
        Diagnostics = "DIAGNOSTICS",
    }
}

impl Check for FactoryAudio {
    fn check(&self, faults: &mut Faults) {
        self.amplifier.check(faults);
        faults.some("plugs", &self.plugs, MAX_PLUGS);
        for (index, plug) in self.plugs.iter().enumerate() {
            plug.check(&format!("plugs.{index}"), faults);
        }
        faults.at_most("circuits", &self.circuits, MAX_CIRCUITS);
        faults.distinct("circuits", self.circuits.iter().map(|circuit| circuit.function));
        for (index, circuit) in self.circuits.iter().enumerate() {
            let told = circuit.presence != Presence::Elsewhere || circuit.found_at.is_some();
            let missing = FaultKind::MissingBeside { because: "presence" };
            faults.unless(told, format!("circuits.{index}.found_at"), missing);
        }
        faults.at_most("speakers", &self.speakers, MAX_SPEAKERS);
        faults.distinct("speakers", self.speakers.iter().map(|speaker| speaker.position));
        for (index, speaker) in self.speakers.iter().enumerate() {
            speaker.check(&format!("speakers.{index}"), faults);
        }
        faults.at_most("antennas", &self.antennas, MAX_ANTENNAS);
        faults.distinct("antennas", self.antennas.iter().map(|antenna| antenna.role));
        faults.distinct("steering", self.steering.iter().map(|wire| wire.wire));
        for (index, wire) in self.steering.iter().enumerate() {
            wire.check(&format!("steering.{index}"), faults);
        }
        faults.distinct("gateway_for", &self.gateway_for);
    }
}

impl Amplifier {
    fn check(&self, faults: &mut Faults) {
        let bare = Self {
            feed: AmplifierFeed::None,
            input_sensitivity: None,
            balanced: None,
            turn_on: None,
            gain: None,
            crossovers: None,
            channels: None,
            subwoofer: self.subwoofer,
            location: None,
        };
        let consistent = self.feed != AmplifierFeed::None || *self == bare;
        faults.unless(consistent, "amplifier", FaultKind::OutOfPlaceBeside { because: "feed" });
    }
}

impl FactoryPlug {
    fn check(&self, path: &str, faults: &mut Faults) {
        faults.some(&format!("{path}.ways"), &self.ways, MAX_WAYS);
        faults.distinct(&format!("{path}.ways"), self.ways.iter().map(|way| &way.way));
        let (found, most) = (u32::try_from(self.ways.len()).unwrap_or(u32::MAX), u32::from(self.ways_count));
        faults.unless(found <= most, format!("{path}.ways"), FaultKind::Beyond { found, most });
    }
}

impl Speaker {
    fn check(&self, path: &str, faults: &mut Faults) {
        faults.some(&format!("{path}.drivers"), &self.drivers, MAX_DRIVERS);
        for (index, driver) in self.drivers.iter().enumerate() {
            faults.unless(driver.get() > 0.0, format!("{path}.drivers.{index}"), FaultKind::Zero);
        }
        let joined = self.drivers.len() < 2 || self.topology.is_some();
        faults.unless(joined, format!("{path}.topology"), FaultKind::MissingBeside { because: "drivers" });
    }
}

impl SteeringWire {
    fn check(&self, path: &str, faults: &mut Faults) {
        let named = matches!(self.wire, Function::Steering1 | Function::Steering2);
        faults.unless(named, format!("{path}.wire"), FaultKind::OutOfPlaceBeside { because: "steering" });
        faults.unless(!self.buttons.is_empty(), format!("{path}.buttons"), FaultKind::EmptyList);
        let many = FaultKind::TooMany { count: self.buttons.len(), most: MAX_BUTTONS };
        faults.unless(self.buttons.len() <= MAX_BUTTONS, format!("{path}.buttons"), many);
    }
}

impl FactoryAudio {
    /// What is known of a function's circuit.
    #[must_use]
    pub fn circuit(&self, function: Function) -> Option<&Circuit> {
        self.circuits.iter().find(|circuit| circuit.function == function)
    }

    /// The families of all plugs, antenna plugs included.
    pub fn plug_families(&self) -> impl Iterator<Item = &TermId> {
        self.plugs.iter().map(|plug| &plug.family).chain(self.antennas.iter().map(|antenna| &antenna.family))
    }

    /// Adds every record that this one names.
    pub fn references(&self, references: &mut References) {
        for (index, plug) in self.plugs.iter().enumerate() {
            references.add(format!("plugs.{index}.family"), RecordKind::Vocabulary, plug.family.as_str());
        }
        for (index, antenna) in self.antennas.iter().enumerate() {
            references.add(
                format!("antennas.{index}.family"),
                RecordKind::Vocabulary,
                antenna.family.as_str(),
            );
        }
    }
}
