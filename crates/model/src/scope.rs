//! Scopes and conditions: for which vehicles, plugs or radios a statement of a part holds.

use dashwright_quantity::{AudioId, DashId, Label, RadioId, TermId, YearSpan};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::check::{FaultKind, Faults};
use crate::record::dash::OpeningClass;
use crate::record::radio::{ChassisClass, SocketKind};
use crate::record::vehicle::{BuildWindow, DriveSide};

/// The most alternatives of one scope; a part for more vehicles than that is described by plug or dash.
pub const MAX_SCOPE_ITEMS: usize = 200;

/// For what a statement holds. Universal is said in so many words: there is no default.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Scope {
    /// For every vehicle.
    #[serde(rename = "ANY")]
    Any,
    /// For whatever at least one of the items describes.
    #[serde(rename = "ANY_OF")]
    AnyOf(Vec<ScopeItem>),
}

/// One alternative of a scope: every condition that it names must hold.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ScopeItem {
    /// The vehicle line is one of these.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub vehicles: Vec<VehicleScope>,
    /// The dash is one of these.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub dashes: Vec<DashId>,
    /// The factory audio is one of these.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub audios: Vec<AudioId>,
    /// The factory audio has a plug, or an antenna plug, of one of these families.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub plug_families: Vec<TermId>,
    /// The opening is of one of these classes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub openings: Vec<OpeningClass>,
}

/// Vehicle lines by their attributes; what is not named does not matter.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct VehicleScope {
    /// The make.
    pub make: TermId,
    /// The model; without it every model of the make.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Label>,
    /// Model years; a line matches when all of its years lie in the span, and is to be split otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub years: Option<YearSpan>,
    /// Trims by name; a line matches when each of its trims is among them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub trims: Vec<Label>,
    /// Build window; a line matches when its own window lies inside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub build: Option<BuildWindow>,
    /// The market.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub market: Option<Label>,
    /// The side the driver sits on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drive_side: Option<DriveSide>,
}

/// Radios that a statement holds for: every condition that it names must hold.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RadioCondition {
    /// The chassis is of one of these classes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub chassis: Vec<ChassisClass>,
    /// The brand is one of these.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub brands: Vec<TermId>,
    /// The radio is one of these.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub radios: Vec<RadioId>,
    /// The radio has every one of these sockets.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sockets: Vec<SocketKind>,
    /// The radio has a floating screen, or has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub floating_screen: Option<bool>,
}

impl Scope {
    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        let Self::AnyOf(items) = self else { return };
        faults.some(path, items, MAX_SCOPE_ITEMS);
        for (index, item) in items.iter().enumerate() {
            let path = format!("{path}.{index}");
            faults.unless(*item != ScopeItem::default(), &path, FaultKind::SaysNothing);
            for (inner, vehicle) in item.vehicles.iter().enumerate() {
                let says_what = vehicle.model.is_some() || vehicle.trims.is_empty();
                faults.unless(
                    says_what,
                    format!("{path}.vehicles.{inner}.model"),
                    FaultKind::MissingBeside { because: "trims" },
                );
            }
        }
    }

    /// The alternatives; none for a universal scope.
    #[must_use]
    pub fn items(&self) -> &[ScopeItem] {
        match self {
            Self::Any => &[],
            Self::AnyOf(items) => items,
        }
    }
}

impl RadioCondition {
    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        faults.unless(*self != Self::default(), path, FaultKind::SaysNothing);
    }
}
