//! The choice against brute force on small problems: optimum, tie-break and alternatives.

use super::instances::{Instance, instance};
use super::{Choice, Cost, NODE_LIMIT, Problem, Solution, When, alternatives, choose};
use crate::request::{Aim, MAX_WEIGHT};

/// The levels of a choice's cost as plain numbers, wishes first, reckoned without [`Cost`]; nothing for what is no choice.
pub(super) fn reckoned(instance: &Instance, chosen: &[usize]) -> Option<[u64; 6]> {
    let Instance { problem, priced, aim } = instance;
    let items = || chosen.iter().map(|item| &problem.items[*item]);
    for item in items() {
        if item.requires.iter().any(|group| !group.iter().any(|member| chosen.contains(member))) {
            return None;
        }
        if item.conflicts.iter().any(|other| chosen.contains(other)) {
            return None;
        }
    }
    for (resource, capacity) in problem.capacities.iter().enumerate() {
        let taken = items().flat_map(|item| &item.takes).filter(|own| **own == resource).count();
        if taken > usize::from(*capacity) {
            return None;
        }
    }
    let mut missed = 0;
    for (number, demand) in problem.demands.iter().enumerate() {
        let arises = demand.when == When::Always || items().any(|item| item.activates.contains(&number));
        if arises && !items().any(|item| item.covers.contains(&number)) {
            missed += u64::from(demand.weight?);
        }
    }
    let sum = |part: &dyn Fn(usize) -> u64| chosen.iter().map(|item| part(*item)).sum::<u64>();
    let (unpriced, untimed) = (
        sum(&|item| priced[item].price.is_none().into()),
        sum(&|item| priced[item].minutes.is_none().into()),
    );
    let (price, minutes) =
        (sum(&|item| priced[item].price.unwrap_or(0)), sum(&|item| priced[item].minutes.unwrap_or(0)));
    let count = chosen.len() as u64;
    Some(match aim {
        Aim::LowestPrice => [missed, unpriced, price, count, untimed, minutes],
        Aim::FewestParts => [missed, count, unpriced, price, untimed, minutes],
        Aim::LeastBenchTime => [missed, untimed, minutes, unpriced, price, count],
    })
}

/// Every choice, best first.
fn all_choices(instance: &Instance) -> Vec<([u64; 6], Vec<usize>)> {
    let count = instance.problem.items.len();
    let subsets = (0_u32..1 << count).map(|mask| (0..count).filter(|item| mask & (1 << item) != 0).collect());
    let mut all: Vec<([u64; 6], Vec<usize>)> =
        subsets.filter_map(|chosen: Vec<usize>| Some((reckoned(instance, &chosen)?, chosen))).collect();
    all.sort();
    all
}

pub(super) fn proven(problem: &Problem) -> Option<Solution> {
    match choose(problem, NODE_LIMIT).unwrap() {
        Choice::Proven(solution) => Some(solution),
        Choice::Infeasible => None,
        Choice::NotProven { nodes, .. } => panic!("not proven after {nodes} nodes"),
    }
}

#[test]
fn small_problems_have_the_optimum_and_the_list_that_brute_force_finds() {
    let (mut feasible, mut ties, mut told) = (0, 0, 0);
    for seed in 0..600 {
        let instance = instance(seed, 3 + (seed as usize % 5), 4 + (seed as usize % 8));
        let all = all_choices(&instance);
        let found = proven(&instance.problem);
        let Some((levels, list)) = all.first() else {
            assert_eq!(found, None, "seed {seed}: a choice where there is none");
            continue;
        };
        let found = found.unwrap_or_else(|| panic!("seed {seed}: no choice, brute force finds {list:?}"));
        assert_eq!((&found.items, reckoned(&instance, &found.items)), (list, Some(*levels)), "seed {seed}");
        feasible += 1;
        ties += usize::from(all.get(1).is_some_and(|(other, _)| other == levels));
        told += check_alternatives(seed, &instance, &found, &all);
    }
    assert!(
        feasible > 300 && ties > 20 && told > 200,
        "{feasible} feasible, {ties} ties, {told} alternatives"
    );
}

/// The next best that are no supersets of a better one, in order; how many there were.
fn check_alternatives(
    seed: u64,
    instance: &Instance,
    best: &Solution,
    all: &[([u64; 6], Vec<usize>)],
) -> usize {
    let (found, is_proven) = alternatives(&instance.problem, best, 3, NODE_LIMIT);
    assert!(is_proven, "seed {seed}");
    let mut better: Vec<&Vec<usize>> = vec![&best.items];
    let superset = |chosen: &[usize], of: &[usize]| of.iter().all(|item| chosen.contains(item));
    for (_, chosen) in all {
        if better.len() <= 3 && !better.iter().any(|of| superset(chosen, of)) {
            better.push(chosen);
        }
    }
    let found: Vec<&Vec<usize>> = found.iter().map(|solution| &solution.items).collect();
    assert_eq!(found, better[1..], "seed {seed}");
    found.len()
}

#[test]
fn a_cost_compares_as_its_levels_do() {
    let values = [None, Some(0), Some(1), Some(77), Some((1 << 40) - 1)];
    for aim in [Aim::LowestPrice, Aim::FewestParts, Aim::LeastBenchTime] {
        for (price, minutes) in values.iter().flat_map(|one| values.iter().map(move |other| (*one, *other))) {
            let cost = Cost::new(aim, price, minutes);
            assert!(cost > Cost::ZERO, "an item that costs nothing: {price:?} {minutes:?}");
            // 512 items of any cost weigh less than one wish, and 64 wishes of the greatest weight fit.
            let (mut items, mut wishes) = (Cost::ZERO, Cost::ZERO);
            (0..super::MAX_ITEMS).for_each(|_| items += cost);
            (0..super::MAX_DEMANDS).for_each(|_| wishes += Cost::of_missed(MAX_WEIGHT));
            assert!(items < Cost::of_missed(1) && wishes > items);
        }
    }
    let cheap = Cost::new(Aim::LowestPrice, Some(1), Some(1_000));
    assert!(cheap < Cost::new(Aim::LowestPrice, Some(2), Some(1)));
    assert!(
        Cost::new(Aim::LeastBenchTime, Some(1), Some(1_000))
            > Cost::new(Aim::LeastBenchTime, Some(9), Some(1))
    );
    // Two cheap parts against a dear one.
    assert!(cheap + cheap < Cost::new(Aim::LowestPrice, Some(3), Some(1)));
    let fewest = |price| Cost::new(Aim::FewestParts, Some(price), Some(1));
    assert!(fewest(1) + fewest(1) > fewest(1_000_000));
}

#[test]
fn larger_problems_are_proven_within_the_limit() {
    let mut most = 0;
    for seed in 0..40 {
        let instance = instance(seed, 24, 200);
        if let Some(found) = proven(&instance.problem) {
            most = most.max(found.nodes);
        }
    }
    assert!(most < NODE_LIMIT / 2, "{most} nodes");
}
