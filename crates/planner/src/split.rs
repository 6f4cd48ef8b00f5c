//! Splitting plans for the reader: what is settled for every candidate, and what each group has beside it.

use dashwright_checks::feed::{Feed, NoFeed};
use dashwright_quantity::Minutes;
use dashwright_snapshot::RecordIx;

use crate::agree::{agreed, open};
use crate::answer::Verdict;
use crate::checks::{PlannedCheck, PlannedScreen};
use crate::plan::{
    Alternative, CasePlan, Chosen, PartSettings, PlannedFeature, PlannedMount, PlannedNeed, PlannedPart,
    Plans, Total,
};
use crate::reason::Reason;
use crate::steps::{Place, Step, minutes_at};
use crate::wiring::{ColourTrap, Fetch, Join, Loose, Mismatch, Socketed};

/// Pieces of plans that belong together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlanPieces {
    /// The dash that shows the opening.
    pub dash: Option<RecordIx>,
    /// How the radio sits.
    pub mount: Option<PlannedMount>,
    /// The parts.
    pub parts: Vec<PlannedPart>,
    /// What all parts of the plan come to; nothing in the settled pieces when it depends.
    pub total: Option<Total>,
    /// Whether it is proven that nothing is better.
    pub proven: Option<bool>,
    /// Needs.
    pub needs: Vec<PlannedNeed>,
    /// Features.
    pub features: Vec<PlannedFeature>,
    /// Joins.
    pub joins: Vec<Join>,
    /// Leads that are insulated.
    pub insulated: Vec<Loose>,
    /// Leads that are fetched elsewhere.
    pub fetched: Vec<Fetch>,
    /// Leads that need a decision.
    pub undecided: Vec<Loose>,
    /// Plugs and sockets.
    pub sockets: Vec<Socketed>,
    /// Colour traps.
    pub traps: Vec<ColourTrap>,
    /// Pairs that must not be joined.
    pub refused: Vec<Mismatch>,
    /// Settings.
    pub settings: Vec<PartSettings>,
    /// Steps; all of them, or none where they depend.
    pub steps: Vec<Step>,
    /// Time at the bench.
    pub bench_time: Option<Minutes>,
    /// Time in the vehicle.
    pub vehicle_time: Option<Minutes>,
    /// The next best lists.
    pub alternatives: Vec<Alternative>,
    /// The best list for what must be met alone.
    pub musts_only: Option<Alternative>,
    /// Checks that compute.
    pub checks: Vec<PlannedCheck>,
    /// Where the floating screen may stand.
    pub screen: Option<PlannedScreen>,
    /// The direct feed that the supply needs, or why there is none.
    pub feed: Option<Result<Feed, NoFeed>>,
}

/// What is true of some candidates only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanVariant {
    /// The candidates, by their number in the answer.
    pub candidates: Vec<u32>,
    /// Their verdict.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// What is true of them and not of all.
    pub pieces: PlanPieces,
}

/// What is settled, and a variant for each group of candidates where something depends.
#[must_use]
pub fn split(plans: &Plans) -> (PlanPieces, Vec<PlanVariant>) {
    let whole: Vec<PlanPieces> = plans.groups.iter().map(|group| pieces(&group.plan)).collect();
    let Some((first, others)) = whole.split_first() else { return (PlanPieces::default(), Vec::new()) };
    if others.is_empty() {
        return (first.clone(), Vec::new());
    }
    let settled = settled(first, &others.iter().collect::<Vec<_>>());
    let variants = plans.groups.iter().zip(&whole).map(|(group, own)| PlanVariant {
        candidates: group.candidates.clone(),
        verdict: group.plan.verdict,
        verdict_reasons: group.plan.verdict_reasons.clone(),
        pieces: beside(own, &settled),
    });
    let variants = variants.collect();
    (settled, variants)
}

fn pieces(plan: &CasePlan) -> PlanPieces {
    let bare = PlanPieces {
        dash: Some(plan.dash),
        needs: plan.needs.clone(),
        features: plan.features.clone(),
        ..PlanPieces::default()
    };
    let Some(chosen) = &plan.chosen else { return bare };
    let Chosen { parts, total, proven, alternatives, musts_only, work } = chosen.clone();
    let chosen =
        PlanPieces { parts, total: Some(total), proven: Some(proven), alternatives, musts_only, ..bare };
    let Some(work) = work else { return chosen };
    PlanPieces {
        mount: Some(work.mount),
        joins: work.wiring.joins,
        insulated: work.wiring.insulated,
        fetched: work.wiring.fetched,
        undecided: work.wiring.undecided,
        sockets: work.wiring.sockets,
        traps: work.wiring.traps,
        refused: work.wiring.refused,
        settings: work.settings,
        bench_time: Some(minutes_at(&work.steps, Place::Bench)),
        vehicle_time: Some(minutes_at(&work.steps, Place::Vehicle)),
        steps: work.steps,
        checks: work.checks.checks,
        screen: work.checks.screen,
        feed: work.checks.feed,
        ..chosen
    }
}

/// Both sides of a split, a field at a time: lists by their statements, single values as they are.
macro_rules! fields {
    (lists: $($list:ident),+; whole: $($whole:ident),+;) => {
        fn settled(first: &PlanPieces, others: &[&PlanPieces]) -> PlanPieces {
            PlanPieces {
                $($list: agreed(first, others, |pieces| pieces.$list.as_slice()),)+
                $($whole: if others.iter().all(|other| other.$whole == first.$whole) {
                    first.$whole.clone()
                } else {
                    Default::default()
                },)+
            }
        }

        fn beside(own: &PlanPieces, settled: &PlanPieces) -> PlanPieces {
            PlanPieces {
                $($list: open(&own.$list, &settled.$list),)+
                $($whole: if own.$whole == settled.$whole { Default::default() } else { own.$whole.clone() },)+
            }
        }
    };
}

fields! {
    lists: parts, needs, features, joins, insulated, fetched, undecided, sockets, traps, refused, settings, checks;
    whole: dash, mount, total, proven, steps, bench_time, vehicle_time, alternatives, musts_only, screen, feed;
}
