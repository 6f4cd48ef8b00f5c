//! Golden questions: what was asked once, with the answer that a person found right. Publishing asks them again.

use dashwright_quantity::{GoldenId, Label, ModelYear, PartId, Prose, RadioId, YearMonth};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::vehicle::DriveSide;
use super::{RecordKind, References};
use crate::check::{Check, FaultKind, Faults};
use crate::evidence::Evidence;
use crate::need::Need;
use crate::question::VehicleQuestion;

/// The most parts lists of one answer: as many as there are plans among the candidates of one question.
pub const MAX_PLANS: usize = 40;
/// The most parts of one list.
pub const MAX_PARTS: usize = 40;
/// The greatest weight of a wish, as in a plan.
pub const MAX_WISH_WEIGHT: u32 = 1_000;

/// A question for a plan, and the answer that a person found right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GoldenQuestion {
    /// The id of the question.
    pub id: GoldenId,
    /// What it is kept for.
    pub title: Label,
    /// The vehicle.
    pub vehicle: AskedVehicle,
    /// The radio.
    pub radio: RadioId,
    /// What is wanted.
    #[serde(default, skip_serializing_if = "AskedOrder::is_plain")]
    pub order: AskedOrder,
    /// The answer that is right.
    pub expected: ExpectedAnswer,
    /// Anything a person should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Prose>,
    /// What the answer rests on.
    pub evidence: Evidence,
}

/// What is said of the vehicle; an identification number is not, because it tells of a person's car.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AskedVehicle {
    /// The model year.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model_year: Option<ModelYear>,
    /// The make, as typed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub make: Option<Label>,
    /// The model, as typed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Label>,
    /// The trim, as typed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trim: Option<Label>,
    /// The month it was built.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub build_month: Option<YearMonth>,
    /// The market.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub market: Option<Label>,
    /// The side the driver sits on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drive_side: Option<DriveSide>,
    /// The body or cab.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub body: Option<Label>,
    /// The drivetrain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drivetrain: Option<Label>,
    /// The code of the factory audio option.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub audio_option: Option<Label>,
    /// Free words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<Label>,
}

/// What is wanted of the plan.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AskedOrder {
    /// What counts.
    #[serde(default, skip_serializing_if = "PlanAim::is_lowest_price")]
    pub aim: PlanAim,
    /// Nothing but the wishes that are named is wished; otherwise everything that the car has now.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub only_named_wishes: bool,
    /// Wishes by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wishes: Vec<AskedWish>,
    /// Losses that are consented to by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consents: Vec<Need>,
}

/// A wish with its weight; 0 says that it is not wished.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AskedWish {
    /// The need.
    pub need: Need,
    /// Its weight.
    pub weight: u32,
}

terms! {
    /// What counts once as many wishes are kept as can be.
    PlanAim ("aim of a plan") {
        /// The lowest price.
        LowestPrice = "LOWEST_PRICE",
        /// The fewest parts.
        FewestParts = "FEWEST_PARTS",
        /// The least time on the bench.
        LeastBenchTime = "LEAST_BENCH_TIME",
    }
}

terms! {
    /// What a plan comes to.
    PlanVerdict ("verdict") {
        /// It fits without any part.
        FitsAsIs = "FITS_AS_IS",
        /// It fits with the parts.
        FitsWithParts = "FITS_WITH_PARTS",
        /// It depends on what is not known of the car.
        Depends = "DEPENDS",
        /// It is proven not to fit.
        CannotFit = "CANNOT_FIT",
        /// Nothing in the catalogue makes it work.
        NoKnownWay = "NO_KNOWN_WAY",
        /// The catalogue does not know enough.
        Unknown = "UNKNOWN",
        /// It would work with parts that the caller excludes.
        NotWithExclusions = "NOT_WITH_EXCLUSIONS",
    }
}

/// The answer that is right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ExpectedAnswer {
    /// The verdict.
    pub verdict: PlanVerdict,
    /// The parts of each plan that the question leaves possible, each list once; their order says nothing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub plans: Vec<Vec<PartId>>,
}

#[expect(clippy::derivable_impls, reason = "the macro that declares terms takes no attribute on a term")]
impl Default for PlanAim {
    fn default() -> Self {
        Self::LowestPrice
    }
}

impl PlanAim {
    fn is_lowest_price(&self) -> bool {
        *self == Self::LowestPrice
    }
}

impl AskedOrder {
    fn is_plain(&self) -> bool {
        *self == Self::default()
    }
}

impl AskedVehicle {
    /// The question as a caller would ask it.
    #[must_use]
    pub fn question(&self) -> VehicleQuestion {
        let it = self.clone();
        VehicleQuestion {
            vin: None,
            model_year: it.model_year,
            make: it.make,
            model: it.model,
            trim: it.trim,
            build_month: it.build_month,
            market: it.market,
            drive_side: it.drive_side,
            body: it.body,
            drivetrain: it.drivetrain,
            audio_option: it.audio_option,
            words: it.words,
        }
    }
}

impl ExpectedAnswer {
    /// The answer with its lists in their one order.
    #[must_use]
    pub fn of(verdict: PlanVerdict, mut plans: Vec<Vec<PartId>>) -> Self {
        plans.iter_mut().for_each(|parts| parts.sort());
        plans.sort();
        plans.dedup();
        Self { verdict, plans }
    }
}

impl Check for GoldenQuestion {
    fn check(&self, faults: &mut Faults) {
        faults.unless(!self.vehicle.question().is_empty(), "vehicle", FaultKind::NothingAsked);
        faults.distinct("order.wishes", self.order.wishes.iter().map(|wish| wish.need));
        for (index, wish) in self.order.wishes.iter().enumerate() {
            let (found, most) = (wish.weight, MAX_WISH_WEIGHT);
            let path = format!("order.wishes.{index}.weight");
            faults.unless(found <= most, path, FaultKind::Beyond { found, most });
        }
        faults.distinct("order.consents", &self.order.consents);
        let plans = &self.expected.plans;
        faults.at_most("expected.plans", plans, MAX_PLANS);
        for (index, parts) in plans.iter().enumerate() {
            let path = format!("expected.plans.{index}");
            faults.at_most(&path, parts, MAX_PARTS);
            faults.distinct(&path, parts);
        }
    }
}

impl GoldenQuestion {
    /// Adds every record that this one names.
    pub fn references(&self, references: &mut References) {
        references.add("radio", RecordKind::Radio, self.radio.as_str());
        for (index, parts) in self.expected.plans.iter().enumerate() {
            for (place, part) in parts.iter().enumerate() {
                let path = format!("expected.plans.{index}.{place}");
                references.add(path, RecordKind::Part, part.as_str());
            }
        }
    }
}
