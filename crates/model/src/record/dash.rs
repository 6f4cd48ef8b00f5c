//! Dashes: what the driver sees, what surrounds the opening, and how it comes apart.

use dashwright_quantity::{DashId, Fraction, Label, Millimetres, Minutes, Offset, Prose};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::need::Feature;

/// The most surroundings of one dash.
pub const MAX_SURROUNDINGS: usize = 60;
/// The most removal steps of one dash.
pub const MAX_REMOVAL_STEPS: usize = 60;
/// The most kinds of fastener in one place.
pub const MAX_FASTENERS: usize = 20;
/// The most restraint plugs that a job passes.
pub const MAX_RESTRAINT_PLUGS: usize = 20;
/// The most tools of one step.
pub const MAX_TOOLS: usize = 12;

/// A dash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dash {
    /// The id of the dash.
    pub id: DashId,
    /// What a person calls it.
    pub title: Label,
    /// What it offers a radio.
    pub opening: Opening,
    /// How the factory unit is held.
    pub held_by: Vec<Holding>,
    /// The fasteners that hold the factory unit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fasteners: Vec<Fastener>,
    /// What is around the opening.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub surroundings: Vec<Surrounding>,
    /// How it comes apart, in order; the last step takes the factory unit out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub removal: Vec<RemovalStep>,
    /// Plugs of the restraint system that are passed on the way.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub restraint_plugs: Vec<RestraintPlug>,
    /// How to recognise it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how_to_tell: Option<Prose>,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

terms! {
    /// The class of an opening. The classes of one height are those of ISO 7736; the others are common practice.
    OpeningClass ("opening class") {
        /// Single height: 182 × 53 mm (ISO 7736).
        OneDin = "ONE_DIN",
        /// Double height.
        TwoDin = "TWO_DIN",
        /// Double height, 200 mm wide.
        TwoDinWide = "TWO_DIN_WIDE",
        /// A height between single and double.
        OneAndAHalfDin = "ONE_AND_A_HALF_DIN",
        /// A shaped panel that only a dash kit turns into one of the others.
        Shaped = "SHAPED",
    }
}

/// What the dash offers a radio. Depth is measured, never derived from the class.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// The class.
    pub class: OpeningClass,
    /// Width of the opening as it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<Millimetres>,
    /// Height of the opening as it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<Millimetres>,
    /// Clear depth behind the dash face, plugs included.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth: Option<Millimetres>,
    /// The largest body that goes in with the panel off: what no dash kit can enlarge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cavity: Option<Cavity>,
}

/// The clear space behind the panel, between what is part of the car's structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cavity {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
}

terms! {
    /// How a unit is held.
    Holding ("way of holding") {
        /// Brackets on its sides, bolted to the dash.
        SideBracket = "SIDE_BRACKET",
        /// A sleeve with bent tabs.
        Sleeve = "SLEEVE",
        /// Screws from the front.
        FrontScrews = "FRONT_SCREWS",
        /// Clips.
        Clips = "CLIPS",
    }
}

terms! {
    /// What drives a fastener.
    Drive ("drive of a fastener") {
        /// Hexagon head, the size across flats in millimetres.
        Hex = "HEX",
        /// Cross recess.
        Cross = "CROSS",
        /// Hexalobular socket (ISO 10664), the size as its number.
        Hexalobular = "HEXALOBULAR",
        /// Slot.
        Slot = "SLOT",
        /// No tool: a push or turn fastener.
        Hand = "HAND",
    }
}

/// Fasteners of one kind in one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fastener {
    /// What drives it.
    pub drive: Drive,
    /// The size: millimetres across flats for a hexagon, the number of a recess or a socket.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<u8>,
    /// How many.
    pub count: u8,
    /// Where.
    pub location: Label,
}

terms! {
    /// What stands beside the opening.
    SurroundingKind ("kind of surrounding") {
        /// An air vent.
        Vent = "VENT",
        /// The hazard button.
        HazardButton = "HAZARD_BUTTON",
        /// Climate controls.
        ClimateControl = "CLIMATE_CONTROL",
        /// A lever; give the whole area that it sweeps.
        Lever = "LEVER",
        /// A display.
        Display = "DISPLAY",
        /// A lamp that must be seen.
        Lamp = "LAMP",
        /// The ignition button or lock.
        Ignition = "IGNITION",
        /// A switch of another kind.
        Switch = "SWITCH",
        /// A compartment or a shelf.
        Compartment = "COMPARTMENT",
    }
}

/// How strictly something must stay clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Clearance {
    /// May never be covered.
    #[serde(rename = "NEVER_COVER")]
    NeverCover,
    /// A hand has to reach it.
    #[serde(rename = "KEEP_REACHABLE")]
    KeepReachable,
    /// May be covered up to a share of its area.
    #[serde(rename = "MAY_SHADE")]
    MayShade {
        /// The share that may be covered.
        up_to: Fraction,
    },
}

/// A rectangle on the dash face, seen from the front; origin at the opening's centre, x to the right, y up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Surrounding {
    /// What a person calls it; unique within the dash.
    pub name: Label,
    /// What it is.
    pub kind: SurroundingKind,
    /// Left edge.
    pub left: Offset,
    /// Right edge.
    pub right: Offset,
    /// Lower edge.
    pub bottom: Offset,
    /// Upper edge.
    pub top: Offset,
    /// How far it stands out of the dash face.
    pub proud: Millimetres,
    /// How strictly it must stay clear.
    pub clearance: Clearance,
    /// Part of the panel that a dash kit replaces: the kit has to carry it over.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub on_replaced_panel: bool,
    /// The feature that is lost with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub feature: Option<Feature>,
}

/// One step of taking the dash apart.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RemovalStep {
    /// What comes off or is undone.
    pub what: Label,
    /// How it is held.
    pub held_by: Vec<Holding>,
    /// Tools.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tools: Vec<Label>,
    /// Fasteners.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fasteners: Vec<Fastener>,
    /// Working time.
    pub minutes: Minutes,
    /// What to beware of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<Prose>,
}

/// A plug of the restraint system that is passed on the way; never probed, never cut.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RestraintPlug {
    /// Where it is.
    pub location: Label,
    /// How to recognise it.
    pub how_to_tell: Prose,
    /// Whether the way to the radio needs it unplugged.
    pub must_be_unplugged: bool,
}

impl Check for Dash {
    fn check(&self, faults: &mut Faults) {
        self.opening.check(faults);
        faults.some("held_by", &self.held_by, Holding::ALL.len());
        faults.distinct("held_by", &self.held_by);
        check_fasteners("fasteners", &self.fasteners, faults);
        faults.at_most("surroundings", &self.surroundings, MAX_SURROUNDINGS);
        faults.distinct("surroundings", self.surroundings.iter().map(|surrounding| &surrounding.name));
        for (index, surrounding) in self.surroundings.iter().enumerate() {
            let path = format!("surroundings.{index}");
            faults.unless(
                surrounding.left < surrounding.right,
                format!("{path}.right"),
                FaultKind::Backwards,
            );
            faults.unless(surrounding.bottom < surrounding.top, format!("{path}.top"), FaultKind::Backwards);
        }
        faults.at_most("removal", &self.removal, MAX_REMOVAL_STEPS);
        for (index, step) in self.removal.iter().enumerate() {
            check_fasteners(&format!("removal.{index}.fasteners"), &step.fasteners, faults);
            faults.at_most(&format!("removal.{index}.tools"), &step.tools, MAX_TOOLS);
        }
        faults.at_most("restraint_plugs", &self.restraint_plugs, MAX_RESTRAINT_PLUGS);
    }
}

impl Opening {
    fn check(&self, faults: &mut Faults) {
        let sides = [("width", self.width), ("height", self.height), ("depth", self.depth)];
        for (name, side) in sides {
            let positive = side.is_none_or(|side| side.get() > 0.0);
            faults.unless(positive, format!("opening.{name}"), FaultKind::Zero);
        }
        if let Some(cavity) = self.cavity {
            let encloses =
                |inner: Option<Millimetres>, outer: Millimetres| inner.is_none_or(|inner| inner <= outer);
            faults.unless(encloses(self.width, cavity.width), "opening.cavity.width", FaultKind::Backwards);
            faults.unless(
                encloses(self.height, cavity.height),
                "opening.cavity.height",
                FaultKind::Backwards,
            );
        }
    }
}

fn check_fasteners(path: &str, fasteners: &[Fastener], faults: &mut Faults) {
    faults.at_most(path, fasteners, MAX_FASTENERS);
    for (index, fastener) in fasteners.iter().enumerate() {
        faults.unless(fastener.count > 0, format!("{path}.{index}.count"), FaultKind::Zero);
        let sized = fastener.drive != Drive::Hex || fastener.size.is_some();
        faults.unless(sized, format!("{path}.{index}.size"), FaultKind::MissingBeside { because: "drive" });
    }
}
