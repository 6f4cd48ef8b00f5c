//! What a scenario expects; a field that is not given says nothing.

use std::collections::BTreeMap;

use serde::Deserialize;

#[derive(Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Expected {
    /// The error's name, when the question is refused.
    pub(super) error: Option<String>,
    pub(super) verdict: Option<String>,
    /// Reasons that the verdict must give: the name, and in a plan words that the reason must mention.
    pub(super) because: Vec<String>,
    /// The attribute of the open question, or `NONE`.
    pub(super) question: Option<String>,
    /// Ids of the vehicle lines that remain; in a cart what each line is worth.
    pub(super) lines: Option<Vec<String>>,
    /// Statements that must be among the settled ones.
    pub(super) settled: Vec<String>,
    /// Statements that must hold for an audio option and not for all, by the option's code.
    pub(super) depends: BTreeMap<String, Vec<String>>,
    /// Texts that no statement may contain.
    pub(super) never: Vec<String>,
    /// The weakest evidence, as `GRADE kind/id`.
    pub(super) weakest: Option<String>,
    // Of plans.
    /// Exactly these parts, in the order of their ids.
    pub(super) parts: Option<Vec<String>>,
    /// The total, in minor units.
    pub(super) price: Option<u64>,
    /// Losses that were consented to and happen.
    pub(super) consented: Option<Vec<String>>,
    /// Millimetres that are left behind the radio.
    pub(super) spare_depth: Option<f64>,
    /// Joins, loose leads, fetched leads, colour traps and refused pairs that must be among the plan's.
    pub(super) joins: Vec<String>,
    pub(super) insulated: Vec<String>,
    pub(super) fetched: Vec<String>,
    pub(super) undecided: Vec<String>,
    pub(super) traps: Vec<String>,
    pub(super) refused: Vec<String>,
    pub(super) settings: Vec<String>,
    pub(super) features: Vec<String>,
    pub(super) needs: Vec<String>,
    /// Checks that must be among the plan's.
    pub(super) checks: Vec<String>,
    /// Steps in this order, each where the plan first has it.
    pub(super) steps: Vec<String>,
    /// Minutes by place.
    pub(super) minutes: BTreeMap<String, f64>,
    /// What kept wishes add to the price.
    pub(super) adds: BTreeMap<String, i64>,
    /// Exactly these other lists, the best first.
    pub(super) alternatives: Option<Vec<Vec<String>>>,
    /// The list for the musts alone, where it is another one.
    pub(super) musts_only: Option<Vec<String>>,
    pub(super) musts_price: Option<u64>,
    /// Parts that differ from a part of the plan in finish and the like.
    pub(super) variants_of: BTreeMap<String, Vec<String>>,
    /// Whether the plan says that a lead feigns the parking brake.
    pub(super) feigns_parking_brake: Option<bool>,
    /// What holds for the candidates with an audio option, by its code.
    pub(super) variants: BTreeMap<String, Expected>,
    // Of carts.
    pub(super) cart: Option<String>,
    /// Exactly these parts complete the cart.
    pub(super) add: Option<Vec<String>>,
    pub(super) add_price: Option<u64>,
    /// The list from scratch that is cheaper.
    pub(super) cheaper: Option<Vec<String>>,
    pub(super) cheaper_price: Option<u64>,
}

impl Expected {
    pub(super) fn says_something(&self) -> bool {
        *self != Self::default()
    }
}
