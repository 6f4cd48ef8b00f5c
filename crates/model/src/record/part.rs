//! Parts: an adapter of any kind, what it covers, for whom, with what leads and settings.

use dashwright_quantity::{
    Amperes, Date, Gauge, Label, LeadColour, Milliamperes, Millimetres, Minutes, Money, Offset, PartId,
    Prose, TermId, Volts,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::radio::{ChassisClass, Direction, SocketKind};
use super::setting::Setting;
use super::vehicle::DriveSide;
use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::function::{Function, Polarity, SignalKind};
use crate::need::Need;
use crate::scope::{RadioCondition, Scope};

/// The most statements of one part.
pub const MAX_COVERS: usize = 200;
/// The most leads of one part.
pub const MAX_LEADS: usize = 80;
/// The most entries of any other list of a part.
pub const MAX_ENTRIES: usize = 60;

/// A part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// The id of the part.
    pub id: PartId,
    /// The brand, a vocabulary term.
    pub brand: TermId,
    /// The part number.
    pub number: Label,
    /// What it is.
    pub title: Label,
    /// The kind.
    pub kind: PartKind,
    /// Whether it can still be had.
    pub life: Life,
    /// What tells it from otherwise equal parts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variant: Option<Variant>,
    /// What a dash kit does to the opening.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kit: Option<KitGeometry>,
    /// The list price.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<Price>,
    /// Time on the bench to assemble or join it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bench_time: Option<Minutes>,
    /// Current at rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standby: Option<Milliamperes>,
    /// Current that its outputs can give together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub output_current: Option<Amperes>,
    /// The oldest firmware that does what the record says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minimum_firmware: Option<Label>,
    /// What it meets, and what it is not for.
    pub covers: Vec<Cover>,
    /// Plugs and sockets that it takes for itself or passes through.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub occupies: Vec<Occupied>,
    /// Its free leads.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leads: Vec<PartLead>,
    /// Pieces in the box.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contains: Vec<Contained>,
    /// What is used up with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consumables: Vec<Consumable>,
    /// Other parts that it needs: one of each group.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub requires: Vec<Vec<PartId>>,
    /// Parts that it can not be used with.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub conflicts: Vec<PartId>,
    /// How it is told what it sits between.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub settings: Vec<Setting>,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

terms! {
    /// The kinds of part.
    PartKind ("kind of part") {
        /// A dash kit.
        DashKit = "DASH_KIT",
        /// A harness adapter.
        HarnessAdapter = "HARNESS_ADAPTER",
        /// A data module.
        DataModule = "DATA_MODULE",
        /// A steering interface.
        SteeringInterface = "STEERING_INTERFACE",
        /// An antenna adapter.
        AntennaAdapter = "ANTENNA_ADAPTER",
        /// Keeps the factory camera.
        CameraRetention = "CAMERA_RETENTION",
        /// Keeps the factory USB or auxiliary socket.
        UsbAuxRetention = "USB_AUX_RETENTION",
        /// Keeps the factory amplifier.
        AmplifierRetention = "AMPLIFIER_RETENTION",
        /// Goes round the factory amplifier.
        AmplifierBypass = "AMPLIFIER_BYPASS",
        /// A bracket.
        Bracket = "BRACKET",
        /// A lead.
        Lead = "LEAD",
        /// A converter between voltages or kinds of signal.
        Converter = "CONVERTER",
        /// A loose item.
        LooseItem = "LOOSE_ITEM",
    }
}

/// Whether a part can still be had.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Life {
    /// It can.
    #[serde(rename = "CURRENT")]
    Current,
    /// Another part has taken its place.
    #[serde(rename = "SUPERSEDED_BY")]
    SupersededBy(PartId),
    /// It can not, and nothing has taken its place.
    #[serde(rename = "DISCONTINUED")]
    Discontinued,
    /// It can; this is a later make of the same number.
    #[serde(rename = "HARDWARE_REVISION")]
    HardwareRevision(Label),
}

/// What tells a part from otherwise equal ones.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Variant {
    /// The finish.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub finish: Option<Label>,
    /// The side the driver sits on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive_side: Option<DriveSide>,
    /// Made for dashes with or without climate controls in the panel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub climate_controls: Option<bool>,
}

/// What a dash kit does to the opening.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KitGeometry {
    /// The chassis classes that it takes.
    pub takes: Vec<ChassisClass>,
    /// How far it sets the radio forward.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_forward: Option<Millimetres>,
    /// The frame that the chassis goes through.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame: Option<Frame>,
    /// A storage pocket that comes with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pocket: Option<Frame>,
}

/// A rectangular hole or pocket of a kit, its centre in dash-face coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Frame {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
    /// Centre, to the right of the opening's.
    pub x: Offset,
    /// Centre, above the opening's.
    pub y: Offset,
}

/// A list price and the day it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Price {
    /// The amount.
    pub amount: Money,
    /// The day.
    pub date: Date,
}

/// A statement of what a part meets, or is not for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cover {
    /// Whether it meets, or is not for.
    pub says: CoverSense,
    /// The need; only a `NOT_FOR` may leave it out, and then excludes the whole part.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub need: Option<Need>,
    /// For what it holds.
    pub scope: Scope,
    /// With which radios; without it with every one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radio: Option<RadioCondition>,
    /// A limit that the customer has to be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<Prose>,
    /// What this statement rests on, where it differs from the record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
}

terms! {
    /// The sense of a statement.
    CoverSense ("sense of a statement") {
        /// The part meets the need.
        Meets = "MEETS",
        /// The part is not for this, whatever else says so.
        NotFor = "NOT_FOR",
    }
}

/// A plug or a socket that a part uses.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Occupied {
    /// Which.
    pub what: Resource,
    /// Whether another part can still use it.
    pub mode: Occupancy,
}

/// Something that serves one part at a time.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub enum Resource {
    /// The factory plug of a family.
    #[serde(rename = "FACTORY_PLUG")]
    FactoryPlug(TermId),
    /// A socket of the radio.
    #[serde(rename = "RADIO_SOCKET")]
    RadioSocket(SocketKind),
}

terms! {
    /// How a part uses a plug or a socket.
    Occupancy ("way of occupying") {
        /// For itself.
        Takes = "TAKES",
        /// It offers the same again.
        PassesThrough = "PASSES_THROUGH",
    }
}

/// Where the free end of an adapter comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum LeadOrigin {
    /// A way of a factory plug: the car's circuit at that way is what the lead does.
    #[serde(rename = "WAY")]
    Way {
        /// The plug family.
        family: TermId,
        /// The label of the way.
        way: Label,
    },
    /// Made by the module.
    #[serde(rename = "MADE_BY_MODULE")]
    MadeByModule,
}

terms! {
    /// Which lead to use where two offer the same function.
    Preference ("preference of a lead") {
        /// This one.
        Preferred = "PREFERRED",
        /// The other one, if there is one.
        Fallback = "FALLBACK",
    }
}

/// A free end of an adapter.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartLead {
    /// What the part's print says that it does.
    pub function: Function,
    /// Its colour.
    pub colour: LeadColour,
    /// Its conductor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge: Option<Gauge>,
    /// The current that it may carry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_limit: Option<Amperes>,
    /// Which way.
    pub direction: Direction,
    /// Its voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<Volts>,
    /// Whether active means supply or ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub polarity: Option<Polarity>,
    /// What travels on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signal: Option<SignalKind>,
    /// Where it comes from.
    pub from: LeadOrigin,
    /// Which to use where two offer the same function.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preference: Option<Preference>,
    /// Feigns a circuit instead of carrying it: used only when a caller asks for exactly that.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub defeats_interlock: bool,
}

/// Something in the box of a part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Contained {
    /// A loose piece.
    #[serde(rename = "PIECE")]
    Piece {
        /// What it is.
        name: Label,
        /// How many.
        count: u8,
        /// With which radios it is used; without it with every one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        used_with: Option<RadioCondition>,
        /// Why it is used or left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        when: Option<Prose>,
    },
    /// Another part.
    #[serde(rename = "PART")]
    Part {
        /// Which.
        part: PartId,
        /// How many.
        count: u8,
    },
}

/// Something that is used up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Consumable {
    /// What.
    pub what: Label,
    /// How many pieces.
    pub count: u16,
}

impl Check for Part {
    fn check(&self, faults: &mut Faults) {
        faults.at_most("covers", &self.covers, MAX_COVERS);
        for (index, cover) in self.covers.iter().enumerate() {
            cover.check(&format!("covers.{index}"), faults);
        }
        if let Some(variant) = &self.variant {
            faults.unless(*variant != Variant::default(), "variant", FaultKind::SaysNothing);
        }
        self.check_kit(faults);
        self.check_leads(faults);
        self.check_boxes(faults);
        faults.at_most("settings", &self.settings, MAX_ENTRIES);
        faults.distinct("settings", self.settings.iter().map(Setting::name));
        for (index, setting) in self.settings.iter().enumerate() {
            setting.check(&format!("settings.{index}"), faults);
        }
        let superseded_by_itself =
            matches!(&self.life, Life::SupersededBy(successor) if *successor == self.id);
        faults.unless(!superseded_by_itself, "life", FaultKind::SelfReference);
    }
}

impl Part {
    fn check_kit(&self, faults: &mut Faults) {
        if let Some(kit) = &self.kit {
            faults.some("kit.takes", &kit.takes, ChassisClass::ALL.len());
            faults.distinct("kit.takes", &kit.takes);
        }
        let is_kit = self.kind == PartKind::DashKit;
        let geometry = self.kit.is_some();
        faults.unless(!is_kit || geometry, "kit", FaultKind::MissingBeside { because: "kind" });
        let may = matches!(self.kind, PartKind::DashKit | PartKind::Bracket);
        faults.unless(!geometry || may, "kit", FaultKind::OutOfPlaceBeside { because: "kind" });
    }

    fn check_leads(&self, faults: &mut Faults) {
        faults.at_most("leads", &self.leads, MAX_LEADS);
        let preferred = |lead: &&PartLead| lead.preference == Some(Preference::Preferred);
        let mut seen = std::collections::BTreeSet::new();
        for lead in self.leads.iter().filter(preferred) {
            if !seen.insert(lead.function) {
                faults.add("leads", FaultKind::TwoPreferred { key: lead.function.to_string() });
            }
        }
        faults.at_most("occupies", &self.occupies, MAX_ENTRIES);
    }

    fn check_boxes(&self, faults: &mut Faults) {
        faults.at_most("contains", &self.contains, MAX_ENTRIES);
        for (index, contained) in self.contains.iter().enumerate() {
            let path = format!("contains.{index}");
            match contained {
                Contained::Piece { count, used_with, .. } => {
                    faults.unless(*count > 0, format!("{path}.count"), FaultKind::Zero);
                    if let Some(condition) = used_with {
                        condition.check(&format!("{path}.used_with"), faults);
                    }
                }
                Contained::Part { part, count } => {
                    faults.unless(*count > 0, format!("{path}.count"), FaultKind::Zero);
                    faults.unless(*part != self.id, format!("{path}.part"), FaultKind::SelfReference);
                }
            }
        }
        faults.at_most("consumables", &self.consumables, MAX_ENTRIES);
        faults.at_most("requires", &self.requires, MAX_ENTRIES);
        for (index, group) in self.requires.iter().enumerate() {
            let path = format!("requires.{index}");
            faults.some(&path, group, MAX_ENTRIES);
            faults.unless(!group.contains(&self.id), path, FaultKind::SelfReference);
        }
        faults.at_most("conflicts", &self.conflicts, MAX_ENTRIES);
        faults.unless(!self.conflicts.contains(&self.id), "conflicts", FaultKind::SelfReference);
    }

    /// Whether a customer can still buy it.
    #[must_use]
    pub const fn can_be_had(&self) -> bool {
        matches!(self.life, Life::Current | Life::HardwareRevision(_))
    }

    /// Adds every record that this one names.
    pub fn references(&self, references: &mut References) {
        references.add("brand", RecordKind::Vocabulary, self.brand.as_str());
        if let Life::SupersededBy(successor) = &self.life {
            references.add("life", RecordKind::Part, successor.as_str());
        }
        for (index, cover) in self.covers.iter().enumerate() {
            scope_references(&format!("covers.{index}.scope"), &cover.scope, references);
            if let Some(condition) = &cover.radio {
                radio_references(&format!("covers.{index}.radio"), condition, references);
            }
        }
        for (index, occupied) in self.occupies.iter().enumerate() {
            if let Resource::FactoryPlug(family) = &occupied.what {
                references.add(format!("occupies.{index}.what"), RecordKind::Vocabulary, family.as_str());
            }
        }
        for (index, lead) in self.leads.iter().enumerate() {
            if let LeadOrigin::Way { family, .. } = &lead.from {
                references.add(format!("leads.{index}.from"), RecordKind::Vocabulary, family.as_str());
            }
        }
        self.box_references(references);
        for (index, setting) in self.settings.iter().enumerate() {
            setting.references(&format!("settings.{index}"), references);
        }
    }

    fn box_references(&self, references: &mut References) {
        for (index, contained) in self.contains.iter().enumerate() {
            match contained {
                Contained::Part { part, .. } => {
                    references.add(format!("contains.{index}.part"), RecordKind::Part, part.as_str());
                }
                Contained::Piece { used_with: Some(condition), .. } => {
                    radio_references(&format!("contains.{index}.used_with"), condition, references);
                }
                Contained::Piece { .. } => {}
            }
        }
        for (index, group) in self.requires.iter().enumerate() {
            for part in group {
                references.add(format!("requires.{index}"), RecordKind::Part, part.as_str());
            }
        }
        for (index, part) in self.conflicts.iter().enumerate() {
            references.add(format!("conflicts.{index}"), RecordKind::Part, part.as_str());
        }
    }
}

impl Cover {
    fn check(&self, path: &str, faults: &mut Faults) {
        let needs = self.says == CoverSense::NotFor || self.need.is_some();
        faults.unless(needs, format!("{path}.need"), FaultKind::MissingBeside { because: "says" });
        self.scope.check(&format!("{path}.scope"), faults);
        if let Some(condition) = &self.radio {
            condition.check(&format!("{path}.radio"), faults);
        }
    }
}

pub(crate) fn scope_references(path: &str, scope: &Scope, references: &mut References) {
    for (index, item) in scope.items().iter().enumerate() {
        let path = format!("{path}.{index}");
        for vehicle in &item.vehicles {
            references.add(format!("{path}.vehicles"), RecordKind::Vocabulary, vehicle.make.as_str());
        }
        for dash in &item.dashes {
            references.add(format!("{path}.dashes"), RecordKind::Dash, dash.as_str());
        }
        for audio in &item.audios {
            references.add(format!("{path}.audios"), RecordKind::FactoryAudio, audio.as_str());
        }
        for family in &item.plug_families {
            references.add(format!("{path}.plug_families"), RecordKind::Vocabulary, family.as_str());
        }
    }
}

pub(crate) fn radio_references(path: &str, condition: &RadioCondition, references: &mut References) {
    for brand in &condition.brands {
        references.add(format!("{path}.brands"), RecordKind::Vocabulary, brand.as_str());
    }
    for radio in &condition.radios {
        references.add(format!("{path}.radios"), RecordKind::Radio, radio.as_str());
    }
}
