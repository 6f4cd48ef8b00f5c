//! Reasons: why an answer is what it is, as data; text is made at the edge.

use dashwright_model::record::audio::{AmplifierFeed, AntennaFeed, AntennaRole};
use dashwright_model::record::dash::OpeningClass;
use dashwright_model::record::radio::ChassisClass;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_model::{Carrier, Feature, Function, Need};
use dashwright_quantity::{AudioId, DashId, Label, Millimetres, PartId, Prose};

use crate::answer::Ability;

/// Which side of a body or a hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Width.
    Width,
    /// Height.
    Height,
}

/// Why something is so.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Every radio needs it.
    AlwaysNeeded,
    /// The opening is of the class of the chassis: it goes in without a kit.
    OpeningTakesChassis {
        /// The dash.
        dash: DashId,
        /// The class of the opening.
        opening: OpeningClass,
    },
    /// The opening is smaller than the chassis; only a part that changes the opening can help.
    OpeningSmallerThanChassis {
        /// The dash.
        dash: DashId,
        /// Which side.
        side: Side,
        /// What the chassis measures at least.
        chassis: Millimetres,
        /// What the opening measures.
        opening: Millimetres,
    },
    /// The opening is of another class than the chassis.
    OpeningOfAnotherClass {
        /// The dash.
        dash: DashId,
        /// The class of the opening.
        opening: OpeningClass,
        /// The class of the chassis.
        chassis: ChassisClass,
    },
    /// The space behind the panel is smaller than the chassis: a proof that no part can help.
    CavitySmallerThanChassis {
        /// The dash.
        dash: DashId,
        /// Which side.
        side: Side,
        /// What the chassis measures at least.
        chassis: Millimetres,
        /// What the cavity measures.
        cavity: Millimetres,
    },
    /// No part of the catalogue meets the need here.
    NoPartMeets {
        /// The need.
        need: Need,
    },
    /// A part says that it is not for this.
    PartIsNotFor {
        /// The part.
        part: PartId,
        /// The need; the whole part without one.
        need: Option<Need>,
    },
    /// The catalogue lacks a fact.
    FactMissing {
        /// The record that lacks it, as kind and id.
        record: dashwright_model::RecordKey,
        /// The field.
        field: String,
    },
    /// The circuit is on a wire at the factory radio.
    CircuitAtPlug {
        /// The factory audio.
        audio: AudioId,
        /// The function.
        function: Function,
    },
    /// The circuit is on a wire elsewhere in the car.
    CircuitElsewhere {
        /// The factory audio.
        audio: AudioId,
        /// The function.
        function: Function,
        /// Where.
        found_at: Option<Prose>,
    },
    /// The function is only a message on a data bus.
    CircuitOnBus {
        /// The factory audio.
        audio: AudioId,
        /// The function.
        function: Function,
    },
    /// The car does not have the circuit.
    CircuitAbsent {
        /// The factory audio.
        audio: AudioId,
        /// The function.
        function: Function,
    },
    /// A factory amplifier stands between radio and speakers.
    AmplifierBetween {
        /// The factory audio.
        audio: AudioId,
        /// How it is fed.
        feed: AmplifierFeed,
        /// Where it is.
        location: Option<Label>,
    },
    /// The radio drives the speakers itself.
    NoAmplifier {
        /// The factory audio.
        audio: AudioId,
    },
    /// The car has an antenna of this role.
    AntennaPresent {
        /// The factory audio.
        audio: AudioId,
        /// The role.
        role: AntennaRole,
    },
    /// The antenna is fed.
    AntennaFed {
        /// The factory audio.
        audio: AudioId,
        /// How.
        feed: AntennaFeed,
    },
    /// The tuner is not in the factory radio.
    TunerOutside {
        /// The factory audio.
        audio: AudioId,
    },
    /// The factory installation has the feature.
    FeaturePresent {
        /// The factory audio.
        audio: AudioId,
        /// The feature.
        feature: Feature,
        /// How it is carried.
        carrier: Carrier,
    },
    /// The factory installation does not have the feature.
    FeatureNotPresent {
        /// The factory audio.
        audio: AudioId,
        /// The feature.
        feature: Feature,
    },
    /// The feature is done by the factory radio itself and leaves with it.
    LeavesWithRadio {
        /// The factory audio.
        audio: AudioId,
        /// The feature.
        feature: Feature,
    },
    /// It sits in the panel that a dash kit replaces: the kit has to carry it over.
    OnReplacedPanel {
        /// The dash.
        dash: DashId,
        /// What a person calls it.
        name: Label,
    },
    /// It sits in a part of the dash that stays.
    StaysInDash {
        /// The dash.
        dash: DashId,
        /// The feature.
        feature: Feature,
    },
    /// Some radios ask for it before they work in full.
    SomeRadiosAsk,
    /// It depends on what the radio can do.
    RadioMustHave {
        /// What it must have.
        ability: Ability,
    },
}

impl Reason {
    /// The record that it rests on.
    #[must_use]
    pub fn record(&self) -> Option<RecordKey> {
        let (kind, id) = match self {
            Self::OpeningTakesChassis { dash, .. }
            | Self::OpeningSmallerThanChassis { dash, .. }
            | Self::OpeningOfAnotherClass { dash, .. }
            | Self::CavitySmallerThanChassis { dash, .. }
            | Self::OnReplacedPanel { dash, .. }
            | Self::StaysInDash { dash, .. } => (RecordKind::Dash, dash.as_str()),
            Self::CircuitAtPlug { audio, .. }
            | Self::CircuitElsewhere { audio, .. }
            | Self::CircuitOnBus { audio, .. }
            | Self::CircuitAbsent { audio, .. }
            | Self::AmplifierBetween { audio, .. }
            | Self::NoAmplifier { audio }
            | Self::AntennaPresent { audio, .. }
            | Self::AntennaFed { audio, .. }
            | Self::TunerOutside { audio }
            | Self::FeaturePresent { audio, .. }
            | Self::FeatureNotPresent { audio, .. }
            | Self::LeavesWithRadio { audio, .. } => (RecordKind::FactoryAudio, audio.as_str()),
            Self::PartIsNotFor { part, .. } => (RecordKind::Part, part.as_str()),
            Self::FactMissing { record, .. } => return Some(record.clone()),
            Self::AlwaysNeeded
            | Self::NoPartMeets { .. }
            | Self::SomeRadiosAsk
            | Self::RadioMustHave { .. } => {
                return None;
            }
        };
        Some(RecordKey { kind, id: id.parse().ok()? })
    }
}
