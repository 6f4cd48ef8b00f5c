//! The plans of both datasets, each made once.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::{Feature, Need};
use dashwright_planner::{CasePlan, Met, Outcome, Request, Total, Verdict, plan_case_parts};
use dashwright_quantity::PartId;
use dashwright_snapshot::{CaseIx, Snapshot};

use super::touched::Pair;

/// What of a plan is compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Outline {
    pub(super) verdict: Verdict,
    pub(super) parts: BTreeSet<PartId>,
    pub(super) total: Option<Total>,
    /// What becomes of the features: 2 kept, 1 kept with a limit; others are not in it.
    pub(super) kept: BTreeMap<Feature, u8>,
    /// The needs that are met.
    pub(super) met: BTreeSet<Need>,
}

/// Makes the plans.
pub(super) struct Outlines<'s> {
    before: &'s Snapshot,
    after: &'s Snapshot,
    request: Request,
}

impl<'s> Outlines<'s> {
    pub(super) fn new(before: &'s Snapshot, after: &'s Snapshot) -> Self {
        Self { before, after, request: Request::default() }
    }

    /// The plan of a pair of cases with a radio, before and after.
    pub(super) fn of(&self, pair: &Pair, radio: &str) -> (Option<Outline>, Option<Outline>) {
        (self.one(self.before, pair.before, radio), self.one(self.after, pair.after, radio))
    }

    fn one(&self, snapshot: &Snapshot, case: Option<CaseIx>, radio: &str) -> Option<Outline> {
        let (radio, _) = snapshot.radios().find(radio)?;
        let plan = plan_case_parts(snapshot, case?, radio, &self.request)?;
        Some(Outline::of(snapshot, &plan))
    }
}

impl Outline {
    fn of(snapshot: &Snapshot, plan: &CasePlan) -> Self {
        let chosen = plan.chosen.as_ref();
        let parts = chosen.iter().flat_map(|chosen| &chosen.parts);
        let kept = plan.features.iter().filter_map(|it| match it.outcome {
            Outcome::Kept => Some((it.feature, 2)),
            Outcome::KeptWithLimit => Some((it.feature, 1)),
            Outcome::Lost | Outcome::NotPresent | Outcome::Unknown => None,
        });
        let met = plan.needs.iter().filter(|it| matches!(it.met, Met::Directly | Met::ByPart));
        Self {
            verdict: plan.verdict,
            parts: parts.filter_map(|it| Some(snapshot.parts().get(it.part)?.id.clone())).collect(),
            total: chosen.map(|chosen| chosen.total),
            kept: kept.collect(),
            met: met.map(|it| it.need).collect(),
        }
    }

    /// The features that the other keeps less well, or not at all.
    pub(super) fn worse_in(&self, other: &Self) -> Vec<Feature> {
        let worse =
            |(feature, outcome): (&Feature, &u8)| other.kept.get(feature).copied().unwrap_or(0) < *outcome;
        self.kept.iter().filter(|it| worse(*it)).map(|(feature, _)| *feature).collect()
    }

    /// The needs that the other does not meet.
    pub(super) fn unmet_in(&self, other: &Self) -> Vec<Need> {
        self.met.difference(&other.met).copied().collect()
    }

    pub(super) fn fits(&self) -> bool {
        matches!(self.verdict, Verdict::FitsAsIs | Verdict::FitsWithParts)
    }

    /// What the other costs more; none where the two can not be compared.
    pub(super) fn dearer_by(&self, other: &Self) -> Option<i64> {
        let (one, other) = (self.total?, other.total?);
        let comparable = one.unpriced == other.unpriced;
        match (one.price, other.price) {
            (None, None) if comparable => Some(0),
            (Some(one), Some(other)) if comparable && one.currency == other.currency => {
                i64::try_from(i128::from(other.minor_units) - i128::from(one.minor_units)).ok()
            }
            _ => None,
        }
    }
}
