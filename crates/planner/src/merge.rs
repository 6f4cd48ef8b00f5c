//! Merging: what all candidates agree on is settled; where they differ stands the question that matters.

use std::collections::BTreeMap;

use dashwright_snapshot::{Candidate, CaseIx, RecordIx, Snapshot};

use crate::answer::{
    CaseFitment, Facets, FeatureFitment, Fitment, MountFitment, NeedFitment, Variant, Verdict,
};
use crate::evidence::weaker;
use crate::fitment::fit_case;
use crate::question;
use crate::reason::Reason;

/// Every candidate of the answer, in its order: each vehicle line with each of its audio options that are possible.
#[must_use]
pub fn one_by_one(candidates: &[Candidate]) -> Vec<Candidate> {
    let pairs = candidates.iter().flat_map(|candidate| {
        candidate.options.iter().map(|option| Candidate { options: vec![*option], ..candidate.clone() })
    });
    pairs.collect()
}

/// Candidates with equal answers.
struct Group {
    fitment: CaseFitment,
    candidates: Vec<u32>,
}

/// The answer to a look-up, for candidates as [`one_by_one`] gives them: variants and choices refer to their places.
///
/// Without candidates nothing is settled and the verdict is [`Verdict::Unknown`].
#[must_use]
pub fn look_up(snapshot: &Snapshot, candidates: &[Candidate]) -> Fitment {
    let groups = groups(snapshot, candidates);
    let settled = settled(&groups);
    let (verdict, verdict_reasons) = verdict(&groups);
    let depends = if groups.len() < 2 {
        Vec::new()
    } else {
        groups.iter().map(|group| variant(group, &settled)).collect()
    };
    let question = question::that_matters(snapshot, candidates, &plans(&groups, candidates.len()));
    let weakest = groups.iter().filter_map(|group| group.fitment.weakest.clone()).reduce(weaker);
    Fitment { verdict, verdict_reasons, settled, depends, question, weakest }
}

fn groups(snapshot: &Snapshot, candidates: &[Candidate]) -> Vec<Group> {
    let mut of_case: BTreeMap<CaseIx, usize> = BTreeMap::new();
    let mut groups: Vec<Group> = Vec::new();
    for (candidate, number) in candidates.iter().zip(0_u32..) {
        let Some(case) = case_of(snapshot, candidate) else { continue };
        let place = of_case.get(&case).copied().or_else(|| {
            let fitment = fit_case(snapshot, case)?;
            let place =
                groups.iter().position(|group| same_answer(&group.fitment, &fitment)).unwrap_or_else(|| {
                    groups.push(Group { fitment, candidates: Vec::new() });
                    groups.len() - 1
                });
            of_case.insert(case, place);
            Some(place)
        });
        if let Some(group) = place.and_then(|place| groups.get_mut(place)) {
            group.candidates.push(number);
        }
    }
    groups
}

fn case_of(snapshot: &Snapshot, candidate: &Candidate) -> Option<CaseIx> {
    let options = snapshot.options_of(snapshot.line(candidate.line)?);
    options.get(usize::from(*candidate.options.first()?)).map(|option| option.case)
}

/// The number of the plan of each candidate: groups that differ in features alone have one plan, and ask nothing.
fn plans(groups: &[Group], candidates: usize) -> Vec<usize> {
    let mut plans = vec![0; candidates];
    let same_plan = |one: &Group, other: &Group| same_plan(&one.fitment, &other.fitment);
    for group in groups {
        let plan = groups.iter().position(|other| same_plan(other, group)).unwrap_or_default();
        for candidate in &group.candidates {
            if let Some(place) = plans.get_mut(*candidate as usize) {
                *place = plan;
            }
        }
    }
    plans
}

fn verdict(groups: &[Group]) -> (Verdict, Vec<Reason>) {
    let Some(first) = groups.first() else { return (Verdict::Unknown, Vec::new()) };
    if groups.iter().any(|group| group.fitment.verdict != first.fitment.verdict) {
        return (Verdict::Depends, Vec::new());
    }
    let mut reasons = Vec::new();
    for group in groups {
        add_new(&mut reasons, &group.fitment.verdict_reasons);
    }
    (first.fitment.verdict, reasons)
}

// What candidates agree on.

fn settled(groups: &[Group]) -> Facets {
    let Some((first, others)) = groups.split_first() else { return Facets::default() };
    let same_dash = others.iter().all(|group| group.fitment.dash == first.fitment.dash);
    Facets {
        dash: same_dash.then_some(first.fitment.dash),
        mounts: agreed(first, others, |fitment| &fitment.mounts),
        needs: agreed(first, others, |fitment| &fitment.needs),
        features: agreed(first, others, |fitment| &fitment.features),
    }
}

/// The facets of the first group that every other group has too, with the reasons of all.
fn agreed<T: Facet>(first: &Group, others: &[Group], list: impl Fn(&CaseFitment) -> &Vec<T>) -> Vec<T> {
    let twins = |own: &T| {
        others.iter().map(|group| list(&group.fitment).iter().find(|their| their.same(own))).collect()
    };
    let agreed = list(&first.fitment).iter().filter_map(|own| {
        let twins: Option<Vec<&T>> = twins(own);
        let mut own = own.clone();
        for twin in twins? {
            let more = twin.reasons().clone();
            add_new(own.reasons_mut(), &more);
        }
        Some(own)
    });
    agreed.collect()
}

fn add_new(reasons: &mut Vec<Reason>, more: &[Reason]) {
    for reason in more {
        if !reasons.contains(reason) {
            reasons.push(reason.clone());
        }
    }
}

/// What is true of a group and not settled.
fn variant(group: &Group, settled: &Facets) -> Variant {
    let CaseFitment { verdict, verdict_reasons, dash, mounts, needs, features, weakest: _ } = &group.fitment;
    let facets = Facets {
        dash: if settled.dash.is_some() { None } else { Some(*dash) },
        mounts: open(mounts, &settled.mounts),
        needs: open(needs, &settled.needs),
        features: open(features, &settled.features),
    };
    let (candidates, verdict_reasons) = (group.candidates.clone(), verdict_reasons.clone());
    Variant { candidates, verdict: *verdict, verdict_reasons, facets }
}

/// The facets that are not among the settled ones.
fn open<T: Facet>(own: &[T], settled: &[T]) -> Vec<T> {
    own.iter().filter(|own| !settled.iter().any(|settled| settled.same(own))).cloned().collect()
}

/// One statement of an answer. Two are the same when they say the same; their reasons name the records that each
/// candidate rests on, and may differ.
trait Facet: Clone {
    fn same(&self, other: &Self) -> bool;
    fn reasons(&self) -> &Vec<Reason>;
    fn reasons_mut(&mut self) -> &mut Vec<Reason>;
}

impl Facet for MountFitment {
    fn same(&self, other: &Self) -> bool {
        (self.chassis, self.verdict, &self.parts) == (other.chassis, other.verdict, &other.parts)
    }

    fn reasons(&self) -> &Vec<Reason> {
        &self.reasons
    }

    fn reasons_mut(&mut self) -> &mut Vec<Reason> {
        &mut self.reasons
    }
}

impl Facet for NeedFitment {
    fn same(&self, other: &Self) -> bool {
        let of = |need: &Self| (need.need, need.importance, need.met);
        of(self) == of(other) && self.parts == other.parts
    }

    fn reasons(&self) -> &Vec<Reason> {
        &self.reasons
    }

    fn reasons_mut(&mut self) -> &mut Vec<Reason> {
        &mut self.reasons
    }
}

impl Facet for FeatureFitment {
    fn same(&self, other: &Self) -> bool {
        let of = |feature: &Self| (feature.feature, feature.carrier, feature.outcome);
        of(self) == of(other) && self.kept_by == other.kept_by
    }

    fn reasons(&self) -> &Vec<Reason> {
        &self.reasons
    }

    fn reasons_mut(&mut self) -> &mut Vec<Reason> {
        &mut self.reasons
    }
}

fn same_answer(one: &CaseFitment, other: &CaseFitment) -> bool {
    same_plan(one, other) && same_list(&one.features, &other.features)
}

fn same_plan(one: &CaseFitment, other: &CaseFitment) -> bool {
    one.verdict == other.verdict
        && one.dash == other.dash
        && same_list(&one.mounts, &other.mounts)
        && same_list(&one.needs, &other.needs)
}

fn same_list<T: Facet>(one: &[T], other: &[T]) -> bool {
    one.len() == other.len() && one.iter().zip(other).all(|(one, other)| one.same(other))
}

/// The dashes that an answer names, in the order of their first appearance.
#[must_use]
pub fn dashes_of(fitment: &Fitment) -> Vec<RecordIx> {
    let all = fitment
        .settled
        .dash
        .into_iter()
        .chain(fitment.depends.iter().filter_map(|variant| variant.facets.dash));
    let mut dashes = Vec::new();
    for dash in all {
        if !dashes.contains(&dash) {
            dashes.push(dash);
        }
    }
    dashes
}
