//! Aftermarket radios: chassis, screen, leads, sockets and electrics.

use dashwright_quantity::{
    Amperes, Degrees, Gauge, Label, LeadColour, Milliamperes, Millimetres, Offset, Ohms, Prose, RadioId,
    TermId, Volts, Watts,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::part::Price;
use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::function::{Function, Polarity, SignalKind};
use crate::need::Feature;

/// The most leads of one radio.
pub const MAX_LEADS: usize = 80;
/// The most kinds of socket of one radio.
pub const MAX_SOCKETS: usize = 40;
/// The most steps of one movement of a floating screen: a mount has a dozen, and a tilt in tenths of a degree over 20° stays within it.
pub const MAX_SCREEN_STEPS: u32 = 200;
/// The most positions of a floating screen: every one is looked at for every kit of every plan. A mount with steps of 10 mm and 5°
/// has some hundreds.
pub const MAX_SCREEN_POSITIONS: u32 = 2_000;
/// What a range without steps counts as.
const STEPS_OF_A_RANGE: f64 = 20.0;

/// An aftermarket radio.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Radio {
    /// The id of the radio.
    pub id: RadioId,
    /// The brand, a vocabulary term.
    pub brand: TermId,
    /// The model, as its maker writes it.
    pub model: Label,
    /// The chassis.
    pub chassis: Chassis,
    /// The face, where it differs from the chassis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub face: Option<Face>,
    /// A screen that floats before the dash.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub floating_screen: Option<FloatingScreen>,
    /// The free leads.
    pub leads: Vec<RadioLead>,
    /// The steering input.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steering_input: Option<SteeringInput>,
    /// The sockets, all of them: what is not listed the radio has not got. A dataset whose radio lists none is told of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sockets: Vec<Socket>,
    /// Current, power and load.
    #[serde(default)]
    pub electrics: Electrics,
    /// What it asks for before it works in full.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub asks_for: Vec<RadioAsk>,
    /// The list price.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<Price>,
    /// Features that it brings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub brings: Vec<Label>,
    /// Factory features that it can serve on its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub serves: Vec<Feature>,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

terms! {
    /// The class of a chassis. The single height is that of ISO 7736; the others are common practice.
    ChassisClass ("chassis class") {
        /// Single height: front 180 × 50 mm (ISO 7736).
        OneDin = "ONE_DIN",
        /// Double height: 180 × 100 mm.
        TwoDin = "TWO_DIN",
        /// Double height, 200 mm wide.
        TwoDinWide = "TWO_DIN_WIDE",
    }
}

/// The body of a radio, as it goes into the dash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Chassis {
    /// The class.
    pub class: ChassisClass,
    /// Width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<Millimetres>,
    /// Height.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<Millimetres>,
    /// Depth behind the mounting face, plugs not counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth: Option<Millimetres>,
    /// Room that plugs and leads need behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rear_clearance: Option<Millimetres>,
    /// Sold as shallow: no drive for discs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub shallow: bool,
}

/// A face in front of the dash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Face {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
}

/// A range with legal steps, from its least to its greatest value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Travel<T> {
    /// The least value.
    pub least: T,
    /// The greatest value.
    pub greatest: T,
    /// The step; without it the range is continuous.
    // No `default`: serde takes a missing `Option` for none, and schemars would ask for a default of `T`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<T>,
}

/// A screen that floats before the dash. Heights are those of the screen's centre over the opening's centre.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FloatingScreen {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
    /// Thickness.
    pub thickness: Millimetres,
    /// Height of the tilt axis over the screen's lower edge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pivot_over_lower_edge: Option<Millimetres>,
    /// Up and down.
    pub up_down: Travel<Offset>,
    /// Distance of the screen's back from the dash face.
    pub stand_off: Travel<Millimetres>,
    /// Tilt about the screen's horizontal axis, positive when its upper edge leans back.
    pub tilt: Travel<Degrees>,
}

terms! {
    /// Which way power or a signal goes.
    Direction ("direction of a lead") {
        /// The lead gives.
        Source = "SOURCE",
        /// The lead takes.
        Sink = "SINK",
    }
}

/// A free lead of a radio.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RadioLead {
    /// What it does.
    pub function: Function,
    /// Its colour.
    pub colour: LeadColour,
    /// Its conductor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge: Option<Gauge>,
    /// The current that it may carry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_limit: Option<Amperes>,
    /// Its voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<Volts>,
    /// Whether active means supply or ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub polarity: Option<Polarity>,
    /// What travels on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signal: Option<SignalKind>,
    /// Which way.
    pub direction: Direction,
}

terms! {
    /// How a radio listens to steering buttons.
    SteeringInputKind ("kind of steering input") {
        /// It measures a ladder of resistors and learns the buttons.
        Ladder = "LADDER",
        /// It is told by a module over a serial lead.
        Serial = "SERIAL",
    }
}

/// The steering input of a radio.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SteeringInput {
    /// How it listens.
    pub kind: SteeringInputKind,
    /// The resistor to its reference voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pull_up: Option<Ohms>,
    /// The reference voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<Volts>,
    /// The least difference between two buttons that it can learn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learning_threshold: Option<Volts>,
}

terms! {
    /// The kinds of socket that a radio has.
    SocketKind ("kind of socket") {
        /// Wired steering remote.
        SteeringRemote = "STEERING_REMOTE",
        /// Serial data for modules.
        SerialData = "SERIAL_DATA",
        /// Camera input.
        CameraInput = "CAMERA_INPUT",
        /// Broadcast antenna.
        Antenna = "ANTENNA",
        /// Digital radio antenna.
        DigitalRadioAntenna = "DIGITAL_RADIO_ANTENNA",
        /// Satellite positioning antenna.
        Gnss = "GNSS",
        /// USB.
        Usb = "USB",
        /// Auxiliary input.
        Aux = "AUX",
        /// Microphone.
        Microphone = "MICROPHONE",
        /// HDMI.
        Hdmi = "HDMI",
        /// Satellite tuner.
        SatelliteTuner = "SATELLITE_TUNER",
        /// Pairs of line outputs.
        LineOutput = "LINE_OUTPUT",
    }
}

/// Sockets of one kind.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Socket {
    /// The kind.
    pub kind: SocketKind,
    /// How many.
    pub count: u8,
    /// The plug family, where it is not the usual one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub family: Option<TermId>,
    /// The voltage of a line output.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<Volts>,
}

/// Current, power and load; what is missing is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Electrics {
    /// Supply voltage; every radio of the catalogue takes 12 V unless it says otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply: Option<Volts>,
    /// Greatest current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_current: Option<Amperes>,
    /// Its own fuse.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse: Option<Amperes>,
    /// RMS power per channel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rms_per_channel: Option<Watts>,
    /// The load that the power is stated for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rms_load: Option<Ohms>,
    /// The least load impedance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min_load: Option<Ohms>,
    /// Whether the outputs are bridged: never on speakers with a common ground.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bridged_outputs: Option<bool>,
    /// Current at rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standby: Option<Milliamperes>,
}

terms! {
    /// What a radio asks for before it works in full.
    RadioAsk ("ask of a radio") {
        /// The parking brake, before some menus open.
        ParkingBrake = "PARKING_BRAKE",
        /// The reverse signal, before the camera's picture is shown.
        Reverse = "REVERSE",
        /// Speed pulses.
        SpeedPulse = "SPEED_PULSE",
    }
}

impl Check for Radio {
    fn check(&self, faults: &mut Faults) {
        faults.some("leads", &self.leads, MAX_LEADS);
        faults.distinct("leads", self.leads.iter().map(|lead| lead.function));
        faults.at_most("sockets", &self.sockets, MAX_SOCKETS);
        faults.distinct("sockets", self.sockets.iter().map(|socket| socket.kind));
        for (index, socket) in self.sockets.iter().enumerate() {
            faults.unless(socket.count > 0, format!("sockets.{index}.count"), FaultKind::Zero);
        }
        faults.distinct("asks_for", &self.asks_for);
        faults.distinct("serves", &self.serves);
        if let Some(screen) = &self.floating_screen {
            screen.check(faults);
        }
    }
}

impl FloatingScreen {
    fn check(&self, faults: &mut Faults) {
        let path = |name: &str| format!("floating_screen.{name}");
        for (name, side) in [("width", self.width), ("height", self.height)] {
            faults.unless(side.get() > 0.0, path(name), FaultKind::Zero);
        }
        let ranges = [
            ("up_down", numbers(&self.up_down, Offset::get)),
            ("stand_off", numbers(&self.stand_off, Millimetres::get)),
            ("tilt", numbers(&self.tilt, Degrees::get)),
        ];
        let mut positions = 1.0;
        for (name, (least, greatest, step)) in ranges {
            faults.unless(least <= greatest, path(name), FaultKind::Backwards);
            faults.unless(step.is_none_or(|step| step > 0.0), path(&format!("{name}.step")), FaultKind::Zero);
            // A range without a step is looked at as a whole, and costs as much as a few steps.
            let steps = match step {
                _ if greatest <= least => 1.0,
                None => STEPS_OF_A_RANGE,
                Some(step) if step > 0.0 => (greatest - least) / step + 1.0,
                Some(_) => 1.0,
            };
            at_most(faults, path(&format!("{name}.step")), steps, MAX_SCREEN_STEPS);
            positions *= steps;
        }
        at_most(faults, "floating_screen".to_owned(), positions, MAX_SCREEN_POSITIONS);
    }
}

fn numbers<T: Copy>(travel: &Travel<T>, number: fn(T) -> f64) -> (f64, f64, Option<f64>) {
    (number(travel.least), number(travel.greatest), travel.step.map(number))
}

fn at_most(faults: &mut Faults, path: String, found: f64, most: u32) {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a conversion saturates; only told"
    )]
    let told = found.floor() as u32;
    faults.unless(found < f64::from(most) + 1.0, path, FaultKind::Beyond { found: told, most });
}

impl Radio {
    /// Adds every record that this one names.
    pub fn references(&self, references: &mut References) {
        references.add("brand", RecordKind::Vocabulary, self.brand.as_str());
        for (index, socket) in self.sockets.iter().enumerate() {
            if let Some(family) = &socket.family {
                references.add(format!("sockets.{index}.family"), RecordKind::Vocabulary, family.as_str());
            }
        }
    }
}
