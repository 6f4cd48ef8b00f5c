//! Vehicle lines: which cars share one dash and one set of factory audio options.

use std::collections::BTreeMap;
use std::fmt;

use dashwright_quantity::{AudioId, DashId, Label, Prose, TermId, VehicleId, YearMonth, YearSpan};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::vin::VinPattern;

/// The most audio options of one line; more than that is several lines.
pub const MAX_AUDIO_OPTIONS: usize = 16;
/// The most trims that one line names.
pub const MAX_TRIMS: usize = 40;
/// The most option codes of one line.
pub const MAX_OPTION_CODES: usize = 60;
/// The most VIN patterns of one line.
pub const MAX_VIN_PATTERNS: usize = 40;

/// A vehicle line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Vehicle {
    /// The id of the line.
    pub id: VehicleId,
    /// The make, a vocabulary term.
    pub make: TermId,
    /// The model, as the maker writes it.
    pub model: Label,
    /// The model years.
    pub years: YearSpan,
    /// The trims.
    pub trims: Trims,
    /// Built from and to, where a model year was split.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub build: Option<BuildWindow>,
    /// The market; without it every market.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub market: Option<Label>,
    /// The side the driver sits on; without it both.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drive_side: Option<DriveSide>,
    /// The body or cab, where dash or wiring depend on it; without it every one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub body: Option<Label>,
    /// The drivetrain, where dash or wiring depend on it; without it every one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drivetrain: Option<Label>,
    /// The nominal voltage of the supply; unknown without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system_voltage: Option<SystemVoltage>,
    /// The weight class, which decides how the year code of an identification number may be read; unknown without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_class: Option<WeightClass>,
    /// Factory option codes that mean something for the job.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub option_codes: Vec<OptionCode>,
    /// The dash.
    pub dash: DashId,
    /// The factory audio options; at least one.
    pub audio_options: Vec<AudioOption>,
    /// Patterns of vehicle identification numbers that belong to the line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub vin_patterns: Vec<VinPattern>,
    /// How to tell the line by an attribute, for every attribute that may have to be asked.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub how_to_tell: BTreeMap<Attribute, Prose>,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

/// The trims of a line.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Trims {
    /// Every trim.
    #[serde(rename = "ALL")]
    All,
    /// These trims.
    #[serde(rename = "THESE")]
    These(Vec<Label>),
    /// Every trim that no other line of the same make, model and years names.
    #[serde(rename = "ALL_OTHERS")]
    AllOthers,
}

/// Built from and to, both included; an open end where one is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BuildWindow {
    /// The first month.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<YearMonth>,
    /// The last month.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<YearMonth>,
}

terms! {
    /// The side the driver sits on.
    DriveSide ("drive side") {
        /// Left.
        Left = "LEFT",
        /// Right.
        Right = "RIGHT",
    }
}

terms! {
    /// The nominal voltage of the supply.
    SystemVoltage ("system voltage") {
        /// 12 V.
        V12 = "12V",
        /// 24 V.
        V24 = "24V",
    }
}

terms! {
    /// The weight class of a vehicle, as 49 CFR 565.15 divides them for the year code.
    WeightClass ("weight class") {
        /// A passenger car, or a multipurpose vehicle or truck of at most 4,536 kg gross vehicle weight rating.
        Light = "LIGHT",
        /// Anything else.
        Heavy = "HEAVY",
    }
}

terms! {
    /// What may have to be asked of a vehicle.
    Attribute ("attribute of a vehicle") {
        /// The model year.
        ModelYear = "MODEL_YEAR",
        /// The make.
        Make = "MAKE",
        /// The model.
        Model = "MODEL",
        /// The trim.
        Trim = "TRIM",
        /// The month it was built.
        BuildMonth = "BUILD_MONTH",
        /// The market it was sold in.
        Market = "MARKET",
        /// The side the driver sits on.
        DriveSide = "DRIVE_SIDE",
        /// The body or cab.
        Body = "BODY",
        /// The drivetrain.
        Drivetrain = "DRIVETRAIN",
        /// The factory audio option.
        AudioOption = "AUDIO_OPTION",
    }
}

/// A factory option code and what it means for the job.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OptionCode {
    /// The code as printed on the build sheet.
    pub code: Label,
    /// What it stands for.
    pub meaning: Label,
    /// Where to find it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how_to_tell: Option<Prose>,
}

/// A factory audio option of a line.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AudioOption {
    /// A short code, unique within the line.
    pub code: Label,
    /// What it is.
    pub title: Label,
    /// A sentence that the counter can read out.
    pub how_to_tell: Prose,
    /// What is behind the dash with this option.
    pub audio: AudioId,
    /// What this option rests on, where it differs from the record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
}

impl BuildWindow {
    /// Whether the month lies in the window.
    #[must_use]
    pub fn contains(&self, month: YearMonth) -> bool {
        self.from.is_none_or(|from| from <= month) && self.to.is_none_or(|to| month <= to)
    }

    /// Whether the windows share a month.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        let before = |end: Option<YearMonth>, start: Option<YearMonth>| matches!((end, start), (Some(e), Some(s)) if e < s);
        !before(self.to, other.from) && !before(other.to, self.from)
    }

    /// Whether every month of `inner` lies in this window.
    #[must_use]
    pub fn encloses(&self, inner: &Self) -> bool {
        let from = self.from.is_none_or(|from| inner.from.is_some_and(|inner| from <= inner));
        let to = self.to.is_none_or(|to| inner.to.is_some_and(|inner| inner <= to));
        from && to
    }
}

impl fmt::Display for BuildWindow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.from, self.to) {
            (Some(from), Some(to)) => write!(f, "built {from} to {to}"),
            (Some(from), None) => write!(f, "built from {from}"),
            (None, Some(to)) => write!(f, "built up to {to}"),
            (None, None) => write!(f, "built at any time"),
        }
    }
}

impl fmt::Display for Trims {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::All => f.write_str("all trims"),
            Self::AllOthers => f.write_str("all other trims"),
            Self::These(trims) => {
                for (index, trim) in trims.iter().enumerate() {
                    write!(f, "{}{trim}", if index == 0 { "" } else { ", " })?;
                }
                Ok(())
            }
        }
    }
}

impl Check for Vehicle {
    fn check(&self, faults: &mut Faults) {
        if let Trims::These(trims) = &self.trims {
            faults.some("trims", trims, MAX_TRIMS);
            faults.distinct("trims", trims);
        }
        if let Some(BuildWindow { from, to }) = self.build {
            faults.unless(from.is_some() || to.is_some(), "build", FaultKind::SaysNothing);
            let forwards = !matches!((from, to), (Some(from), Some(to)) if from > to);
            faults.unless(forwards, "build", FaultKind::Backwards);
            let told = self.how_to_tell.contains_key(&Attribute::BuildMonth);
            faults.unless(told, "how_to_tell.BUILD_MONTH", FaultKind::MissingBeside { because: "build" });
        }
        faults.some("audio_options", &self.audio_options, MAX_AUDIO_OPTIONS);
        faults.distinct("audio_options", self.audio_options.iter().map(|option| &option.code));
        faults.at_most("option_codes", &self.option_codes, MAX_OPTION_CODES);
        faults.distinct("option_codes", self.option_codes.iter().map(|option| &option.code));
        faults.at_most("vin_patterns", &self.vin_patterns, MAX_VIN_PATTERNS);
    }
}

impl Vehicle {
    pub(crate) fn references(&self, references: &mut References) {
        references.add("make", RecordKind::Vocabulary, self.make.as_str());
        references.add("dash", RecordKind::Dash, self.dash.as_str());
        for (index, option) in self.audio_options.iter().enumerate() {
            let path = format!("audio_options.{index}.audio");
            references.add(path, RecordKind::FactoryAudio, option.audio.as_str());
        }
    }
}
