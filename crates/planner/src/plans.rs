//! Plans for everything that a question leaves possible: one a case, equal ones together, and the question that matters.

use std::collections::BTreeMap;

use dashwright_snapshot::{Candidate, CaseIx, RecordIx, Snapshot};

use crate::agree::{add_new, same_list};
use crate::answer::Verdict;
use crate::case_plan::{Detail, plan_case_in};
use crate::checks::Checks;
use crate::evidence::weaker;
use crate::merge::case_of;
use crate::plan::{CasePlan, Chosen, PlanGroup, Plans, Work};
use crate::question;
use crate::reason::Reason;
use crate::request::Request;

/// The plans for candidates as [`crate::one_by_one`] gives them: groups and choices refer to their places.
///
/// Without candidates, or for a radio that the snapshot does not have, there is no group and the verdict is
/// [`Verdict::Unknown`].
#[must_use]
pub fn plan(snapshot: &Snapshot, candidates: &[Candidate], radio: RecordIx, request: &Request) -> Plans {
    plan_in(snapshot, candidates, radio, request, Detail::Whole)
}

/// The plans for candidates, in as much detail as asked.
pub(crate) fn plan_in(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    radio: RecordIx,
    request: &Request,
    detail: Detail,
) -> Plans {
    let groups = groups(snapshot, candidates, |case| plan_case_in(snapshot, case, radio, request, detail));
    let (verdict, verdict_reasons) = verdict(&groups);
    let question = question::that_matters(snapshot, candidates, &plan_numbers(&groups, candidates.len()));
    let weakest = groups.iter().filter_map(|group| group.plan.weakest.clone()).reduce(weaker);
    Plans { verdict, verdict_reasons, groups, question, weakest }
}

fn groups(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    plan_case: impl Fn(CaseIx) -> Option<CasePlan>,
) -> Vec<PlanGroup> {
    let mut of_case: BTreeMap<CaseIx, usize> = BTreeMap::new();
    let mut groups: Vec<PlanGroup> = Vec::new();
    for (candidate, number) in candidates.iter().zip(0_u32..) {
        let Some(case) = case_of(snapshot, candidate) else { continue };
        let place = of_case.get(&case).copied().or_else(|| {
            let plan = plan_case(case)?;
            let same = |group: &PlanGroup| {
                same_plan(&group.plan, &plan)
                    && same_features(&group.plan, &plan)
                    && same_checks(&group.plan, &plan)
            };
            let place = groups.iter().position(same).unwrap_or_else(|| {
                groups.push(PlanGroup { candidates: Vec::new(), plan });
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

fn verdict(groups: &[PlanGroup]) -> (Verdict, Vec<Reason>) {
    let Some(first) = groups.first() else { return (Verdict::Unknown, Vec::new()) };
    if groups.iter().any(|group| group.plan.verdict != first.plan.verdict) {
        return (Verdict::Depends, Vec::new());
    }
    let mut reasons = Vec::new();
    for group in groups {
        add_new(&mut reasons, &group.plan.verdict_reasons);
    }
    (first.plan.verdict, reasons)
}

/// The number of the plan of each candidate: groups that differ in features or numbers alone have one plan, and ask nothing.
fn plan_numbers(groups: &[PlanGroup], candidates: usize) -> Vec<usize> {
    let mut numbers = vec![0; candidates];
    for group in groups {
        let number = groups.iter().position(|other| same_plan(&other.plan, &group.plan)).unwrap_or_default();
        for candidate in &group.candidates {
            if let Some(place) = numbers.get_mut(*candidate as usize) {
                *place = number;
            }
        }
    }
    numbers
}

/// Whether two plans have the same verdict, parts, joins, settings and steps.
#[must_use]
pub fn same_plan(one: &CasePlan, other: &CasePlan) -> bool {
    one.verdict == other.verdict
        && one.consented == other.consented
        && match (&one.chosen, &other.chosen) {
            (Some(one), Some(other)) => same_choice(one, other),
            (None, None) => one.verdict_reasons.len() == other.verdict_reasons.len(),
            _ => false,
        }
}

fn same_choice(one: &Chosen, other: &Chosen) -> bool {
    let parts =
        |chosen: &Chosen| -> Vec<RecordIx> { chosen.parts.iter().map(|planned| planned.part).collect() };
    let work = match (&one.work, &other.work) {
        (Some(one), Some(other)) => same_work(one, other),
        (one, other) => one.is_none() == other.is_none(),
    };
    work && parts(one) == parts(other)
}

fn same_work(one: &Work, other: &Work) -> bool {
    // Numbers alone make no other plan.
    let Work { mount, wiring, settings, steps, checks: _ } = one;
    wiring.same_joins(&other.wiring)
        && (settings, steps) == (&other.settings, &other.steps)
        && (&mount.by, mount.spare_depth) == (&other.mount.by, other.mount.spare_depth)
}

fn same_checks(one: &CasePlan, other: &CasePlan) -> bool {
    checks_of(one) == checks_of(other)
}

fn checks_of(plan: &CasePlan) -> Option<&Checks> {
    Some(&plan.chosen.as_ref()?.work.as_ref()?.checks)
}

fn same_features(one: &CasePlan, other: &CasePlan) -> bool {
    same_list(&one.features, &other.features) && same_list(&one.needs, &other.needs)
}
