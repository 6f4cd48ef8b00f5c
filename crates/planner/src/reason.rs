//! Reasons: why an answer is what it is, as data; text is made at the edge.

use dashwright_model::record::audio::{AmplifierFeed, AntennaFeed, AntennaRole};
use dashwright_model::record::dash::OpeningClass;
use dashwright_model::record::radio::{ChassisClass, SocketKind};
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_model::{Carrier, Feature, Function, Need};
use dashwright_quantity::{AudioId, DashId, Label, Millimetres, Offset, PartId, Prose, RadioId, TermId};

use crate::answer::Ability;
use crate::wiring::Mismatch;

/// Which side of a body or a hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Width.
    Width,
    /// Height.
    Height,
}

/// What keeps a floating screen from every position that it can take.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ScreenObstruction {
    /// It would reach behind the dash face.
    DashFace,
    /// Each of these alone.
    EachOf(Vec<Label>),
    /// Each of these pairs leaves too little between its two.
    Between(Vec<NarrowPair>),
    /// All of these together.
    Together(Vec<Label>),
    /// It would be free in between the steps of its travel only.
    BetweenSteps,
}

/// Two neighbours that leave a screen too little between them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NarrowPair {
    /// The one below.
    pub lower: Label,
    /// The one above.
    pub upper: Label,
    /// What they leave.
    pub leaves: Offset,
    /// What the screen needs, margins included.
    pub needs: Offset,
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
    /// The radio does it by itself.
    RadioServes {
        /// The radio.
        radio: RadioId,
        /// The feature.
        feature: Feature,
    },
    /// The radio's antenna socket takes the car's plug as it is.
    AntennaPlugFits {
        /// The radio.
        radio: RadioId,
        /// The family of the plug.
        family: TermId,
    },
    /// The radio has no input or output for it.
    RadioLacks {
        /// The radio.
        radio: RadioId,
        /// The need.
        need: Need,
    },
    /// The radio asks for it before it works in full.
    RadioAsks {
        /// The radio.
        radio: RadioId,
        /// The need.
        need: Need,
    },
    /// The caller asks for it; the car does not have it.
    Added {
        /// The need.
        need: Need,
    },
    /// The caller does not wish it.
    NotWished {
        /// The need.
        need: Need,
    },
    /// The caller consented to the loss by name.
    LossConsented {
        /// The need.
        need: Need,
    },
    /// What would have to be joined must not be.
    Unjoinable {
        /// The part whose leads they are; the car's own wires without one.
        part: Option<PartId>,
        /// What does not agree.
        mismatch: Mismatch,
    },
    /// The radio with its plugs is deeper than the room for it.
    TooDeep {
        /// The dash.
        dash: DashId,
        /// The radio.
        radio: RadioId,
        /// The kit, if one sets the radio forward.
        part: Option<PartId>,
        /// What the radio needs: body and plugs.
        needs: Millimetres,
        /// What there is: the opening's depth and what the kit sets forward.
        has: Millimetres,
    },
    /// The body of the radio is larger than the frame of the kit.
    FrameTooSmall {
        /// The kit.
        part: PartId,
        /// Which side.
        side: Side,
        /// What the radio measures.
        chassis: Millimetres,
        /// What the frame measures.
        frame: Millimetres,
    },
    /// The floating screen of the radio finds no place.
    ScreenNotFree {
        /// The dash.
        dash: DashId,
        /// The radio.
        radio: RadioId,
        /// The kit that holds it, if one does.
        part: Option<PartId>,
        /// What stands in its way.
        why: ScreenObstruction,
    },
    /// The face of the radio lies over something that it should not.
    FaceLiesOver {
        /// The dash.
        dash: DashId,
        /// What a person calls it.
        name: Label,
    },
    /// A kit carries something over that must stay clear, and where it then is, is not recorded.
    PlaceNotRecorded {
        /// The dash.
        dash: DashId,
        /// What a person calls it.
        name: Label,
    },
    /// The part is made for the other side of the driver.
    OtherDriveSide {
        /// The part.
        part: PartId,
    },
    /// The radio does not have the socket that the part needs.
    SocketMissing {
        /// The part.
        part: PartId,
        /// The socket.
        socket: SocketKind,
    },
    /// The car does not have the plug that the part needs.
    PlugMissing {
        /// The part.
        part: PartId,
        /// The family.
        family: TermId,
    },
    /// The part is not for this radio.
    NotForRadio {
        /// The part.
        part: PartId,
        /// The need; the whole part without one.
        need: Option<Need>,
    },
    /// The part is left out because the caller says so.
    LeftOut {
        /// The part.
        part: PartId,
        /// Excluded by name; otherwise not in stock.
        by_name: bool,
    },
    /// The part only feigns the parking brake and is named only on request.
    FeignsInterlock {
        /// The part.
        part: PartId,
    },
    /// Parts meet each of the needs, but no choice of them meets all at once.
    NotTogether {
        /// The need that is left over.
        need: Need,
    },
    /// The search was broken off at its limit before the proof was complete.
    NotProven,
    /// The settings of a part contradict each other for this radio and vehicle: an error of the catalogue.
    SettingsContradict {
        /// The part.
        part: PartId,
    },
}

impl Reason {
    /// Whether it says that a fact is missing, and nothing more.
    #[must_use]
    pub const fn lacks_fact(&self) -> bool {
        matches!(
            self,
            Self::FactMissing { .. } | Self::Unjoinable { mismatch: Mismatch::FactMissing { .. }, .. }
        )
    }

    /// The record that it rests on.
    #[must_use]
    pub fn record(&self) -> Option<RecordKey> {
        let (kind, id) = match self {
            Self::OpeningTakesChassis { dash, .. }
            | Self::OpeningSmallerThanChassis { dash, .. }
            | Self::OpeningOfAnotherClass { dash, .. }
            | Self::CavitySmallerThanChassis { dash, .. }
            | Self::OnReplacedPanel { dash, .. }
            | Self::FaceLiesOver { dash, .. }
            | Self::PlaceNotRecorded { dash, .. }
            | Self::ScreenNotFree { dash, part: None, .. }
            | Self::StaysInDash { dash, .. } => (RecordKind::Dash, dash.as_term()),
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
            | Self::LeavesWithRadio { audio, .. } => (RecordKind::FactoryAudio, audio.as_term()),
            Self::PartIsNotFor { part, .. }
            | Self::TooDeep { part: Some(part), .. }
            | Self::ScreenNotFree { part: Some(part), .. }
            | Self::FrameTooSmall { part, .. }
            | Self::OtherDriveSide { part }
            | Self::SocketMissing { part, .. }
            | Self::PlugMissing { part, .. }
            | Self::NotForRadio { part, .. }
            | Self::LeftOut { part, .. }
            | Self::FeignsInterlock { part }
            | Self::SettingsContradict { part }
            | Self::Unjoinable { part: Some(part), .. } => (RecordKind::Part, part.as_term()),
            Self::TooDeep { part: None, dash, .. } => (RecordKind::Dash, dash.as_term()),
            Self::RadioServes { radio, .. }
            | Self::AntennaPlugFits { radio, .. }
            | Self::RadioLacks { radio, .. }
            | Self::RadioAsks { radio, .. } => (RecordKind::Radio, radio.as_term()),
            Self::FactMissing { record, .. } => return Some(record.clone()),
            Self::AlwaysNeeded
            | Self::NoPartMeets { .. }
            | Self::SomeRadiosAsk
            | Self::RadioMustHave { .. }
            | Self::Added { .. }
            | Self::NotWished { .. }
            | Self::LossConsented { .. }
            | Self::Unjoinable { part: None, .. }
            | Self::NotTogether { .. }
            | Self::NotProven => return None,
        };
        Some(RecordKey { kind, id })
    }
}
