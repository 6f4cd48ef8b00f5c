//! Merging: what all candidates agree on is settled; where they differ stands the question that matters.

use std::collections::BTreeMap;

use dashwright_snapshot::{Candidate, CaseIx, RecordIx, Snapshot};

use crate::agree::{add_new, agreed, open, same_list};
use crate::answer::{CaseFitment, Facets, Fitment, Variant, Verdict};
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

pub(crate) fn case_of(snapshot: &Snapshot, candidate: &Candidate) -> Option<CaseIx> {
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
    let (first, others): (_, Vec<_>) = (&first.fitment, others.iter().map(|group| &group.fitment).collect());
    let same_dash = others.iter().all(|other| other.dash == first.dash);
    Facets {
        dash: same_dash.then_some(first.dash),
        mounts: agreed(first, &others, |fitment| &fitment.mounts),
        needs: agreed(first, &others, |fitment| &fitment.needs),
        features: agreed(first, &others, |fitment| &fitment.features),
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

fn same_answer(one: &CaseFitment, other: &CaseFitment) -> bool {
    same_plan(one, other) && same_list(&one.features, &other.features)
}

fn same_plan(one: &CaseFitment, other: &CaseFitment) -> bool {
    one.verdict == other.verdict
        && one.dash == other.dash
        && same_list(&one.mounts, &other.mounts)
        && same_list(&one.needs, &other.needs)
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
