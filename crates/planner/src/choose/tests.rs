//! The choice against brute force on small problems: optimum, tie-break and alternatives.

use super::instances::{Instance, instance};
use super::{
    Choice, Cost, Demand, Item, NODE_LIMIT, Problem, ProblemError, Solution, When, alternatives, choose,
};
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

/// Forty demands, each item meets three of them, and nothing tells the items apart.
fn alike() -> Problem {
    let mut numbers = super::instances::Numbers::new(40);
    let mut item = || {
        let covers = (0..3).map(|_| numbers.below(40) as usize).collect();
        let cost = Cost::new(Aim::LowestPrice, Some(500), Some(500));
        let none = Vec::new;
        Item { covers, activates: none(), cost, requires: Vec::new(), conflicts: none(), takes: none() }
    };
    let items = (0..400).map(|_| item()).collect();
    Problem { demands: vec![Demand { weight: None, when: When::Always }; 40], items, capacities: Vec::new() }
}

#[test]
fn a_search_that_meets_its_limit_says_so_and_tells_a_choice() {
    for limit in [100, 2_000] {
        let problem = alike();
        let Choice::NotProven { best: Some(best), nodes } = choose(&problem, limit).unwrap() else {
            panic!("proven within {limit} nodes, or nothing found: a harder problem is wanted");
        };
        assert!(nodes <= limit);
        assert!(
            (0..40).all(|need| best.items.iter().any(|item| problem.items[*item].covers.contains(&need)))
        );
        let (_, is_proven) = alternatives(&problem, &best, 3, limit);
        assert!(!is_proven);
    }
    let stopped = choose(&alike(), 0).unwrap();
    assert_eq!(stopped, Choice::NotProven { best: None, nodes: 0 });
}

#[test]
fn a_problem_beyond_the_limits_is_refused() {
    let refused = |change: fn(&mut Problem)| {
        let mut problem = instance(3, 5, 8).problem;
        change(&mut problem);
        choose(&problem, NODE_LIMIT).unwrap_err()
    };
    let errors = [
        refused(|problem| problem.demands.resize(65, Demand { weight: None, when: When::Always })),
        refused(|problem| problem.items.resize(513, problem.items[0].clone())),
        refused(|problem| {
            problem.items.resize(30, problem.items[0].clone());
            problem.items[0].requires = (0..193).map(|group| vec![group % 30, 1 + group / 30]).collect();
            problem.items[1].requires =
                (0..193).map(|group| vec![group % 30, group % 29, group % 23]).collect();
        }),
        refused(|problem| problem.demands[0].weight = Some(1_001)),
        refused(|problem| problem.items[0].covers.push(5)),
        refused(|problem| problem.items[0].activates.push(64)),
        refused(|problem| problem.items[0].requires.push(vec![8])),
        refused(|problem| problem.items[0].conflicts.push(8)),
        refused(|problem| problem.items[0].takes.push(999)),
    ];
    let told: Vec<String> = errors.iter().map(ToString::to_string).collect();
    assert_eq!(told[0], "65 demands, at most 64");
    assert_eq!(told[1], "513 items, at most 512");
    assert!(matches!(errors[2], ProblemError::Groups(more) if more > 192), "{}", told[2]);
    assert_eq!(told[3], "a wish of weight 1001, at most 1000");
    assert_eq!(told[4..6], ["no demand has the number 5", "no demand has the number 64"]);
    assert_eq!(told[6..8], ["no item has the number 8"; 2]);
    assert_eq!(told[8], "no resource has the number 999");
}
