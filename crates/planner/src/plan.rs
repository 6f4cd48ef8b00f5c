//! A plan, as data: what one car with one radio needs, has joined, set and done.

use dashwright_model::record::radio::ChassisClass;
use dashwright_model::{Carrier, Feature, Need};
use dashwright_quantity::{Currency, Minutes, Money, Prose};
use dashwright_snapshot::{RecordIx, Snapshot};

use crate::answer::{Importance, Met, OpenQuestion, Outcome, Verdict, WeakestEvidence};
use crate::checks::Checks;
use crate::fitment::feigns_interlock;
use crate::reason::Reason;
use crate::settings::SettingAnswer;
use crate::steps::Step;
use crate::wiring::Wiring;

/// A part of the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedPart {
    /// The part, as a place in the snapshot's table.
    pub part: RecordIx,
    /// What it serves, each with the number of the part's statement that says so.
    pub serves: Vec<(Need, u16)>,
    /// Parts of the plan that need it.
    pub required_by: Vec<RecordIx>,
    /// The caller has it already.
    pub in_hand: bool,
    /// What it costs the caller; nothing where no price is known.
    pub price: Option<Money>,
    /// Parts that differ from it in finish and the like only.
    pub variants: Vec<RecordIx>,
}

/// What parts come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Total {
    /// The sum of the known prices; nothing where no price is known in any currency.
    pub price: Option<Money>,
    /// Parts whose price is not known in this currency.
    pub unpriced: u32,
    /// How many parts there are.
    pub count: u32,
    /// The sum of the known times.
    pub minutes: Minutes,
    /// Parts whose time is not known.
    pub untimed: u32,
}

/// A need and how the plan meets it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedNeed {
    /// The need.
    pub need: Need,
    /// How much it matters.
    pub importance: Importance,
    /// How it is met.
    pub met: Met,
    /// The parts of the plan that meet it.
    pub by: Vec<RecordIx>,
    /// What keeping it adds to the price, in minor units of the total's currency.
    pub adds: Option<i64>,
    /// Why it arises, and why it is met or not.
    pub reasons: Vec<Reason>,
}

/// What becomes of a factory feature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedFeature {
    /// The feature.
    pub feature: Feature,
    /// How it is carried; unknown without it.
    pub carrier: Option<Carrier>,
    /// What becomes of it.
    pub outcome: Outcome,
    /// The parts of the plan that keep it.
    pub by: Vec<RecordIx>,
    /// Limits that the customer has to be told.
    pub limits: Vec<Prose>,
    /// Parts that would keep it and are not in the plan.
    pub would_keep: Vec<RecordIx>,
    /// Why.
    pub reasons: Vec<Reason>,
}

/// Another list of parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alternative {
    /// The parts.
    pub parts: Vec<RecordIx>,
    /// What they come to.
    pub total: Total,
    /// Wishes that the plan keeps and this list does not.
    pub missed: Vec<Need>,
}

/// How the chosen radio sits in the dash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedMount {
    /// The class of the chassis.
    pub chassis: ChassisClass,
    /// Without a part, or by these.
    pub by: Vec<RecordIx>,
    /// The depth that is left behind the plugs, in millimetres, where every length is recorded.
    pub spare_depth: Option<dashwright_quantity::Offset>,
    /// Lengths that are missing, and what else is worth knowing.
    pub reasons: Vec<Reason>,
}

/// The settings of a chosen part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartSettings {
    /// The part.
    pub part: RecordIx,
    /// Its settings.
    pub settings: Vec<SettingAnswer>,
}

/// What is done once the parts are there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Work {
    /// How the radio sits.
    pub mount: PlannedMount,
    /// Lead to lead.
    pub wiring: Wiring,
    /// Settings of modules.
    pub settings: Vec<PartSettings>,
    /// Steps, in their order.
    pub steps: Vec<Step>,
    /// What it comes to in numbers.
    pub checks: Checks,
}

/// The parts and the work of a plan that works.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// The parts, in the order of their ids.
    pub parts: Vec<PlannedPart>,
    /// What they come to.
    pub total: Total,
    /// Whether it is proven that nothing is better.
    pub proven: bool,
    /// The next best lists that are no supersets of a better one.
    pub alternatives: Vec<Alternative>,
    /// The best list for what must be met alone; nothing when the plan is that already.
    pub musts_only: Option<Alternative>,
    /// What is done with them; not worked out for lists of many plans.
    pub work: Option<Work>,
}

/// The plan for one case: a dash with a factory audio behind it, and a radio.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CasePlan {
    /// The verdict.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// Losses that the caller consented to and that the plan takes.
    pub consented: Vec<Need>,
    /// The dash, as a place in the snapshot's table.
    pub dash: RecordIx,
    /// Parts and work; nothing where the verdict is that there is no way.
    pub chosen: Option<Chosen>,
    /// Every need.
    pub needs: Vec<PlannedNeed>,
    /// Every feature.
    pub features: Vec<PlannedFeature>,
    /// The currency of its prices, where any is known.
    pub currency: Option<Currency>,
    /// The weakest evidence that it rests on; that of the vehicle lines is not in it.
    pub weakest: Option<WeakestEvidence>,
}

/// Candidates with equal plans.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanGroup {
    /// The candidates, by their number in the answer.
    pub candidates: Vec<u32>,
    /// Their plan.
    pub plan: CasePlan,
}

/// The answer to a plan question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plans {
    /// The strongest statement that is true of all.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// A plan for each group of candidates; one when nothing depends.
    pub groups: Vec<PlanGroup>,
    /// The question that matters, if one does.
    pub question: Option<OpenQuestion>,
    /// The weakest evidence of all.
    pub weakest: Option<WeakestEvidence>,
}

impl CasePlan {
    /// Whether it uses a lead that only feigns the parking brake.
    #[must_use]
    pub fn feigns_interlock(&self, snapshot: &Snapshot) -> bool {
        let parts = self.chosen.iter().flat_map(|chosen| &chosen.parts);
        parts.filter_map(|planned| snapshot.parts().get(planned.part)).any(feigns_interlock)
    }
}
