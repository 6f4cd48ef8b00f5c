//! What has to be true of every choice, whatever the problem.

use proptest::prelude::*;

use super::instances::{Instance, instance};
use super::tests::proven;
use super::{Aim, Cost, Demand, Item, Problem, Solution, When};

fn generated() -> impl Strategy<Value = Instance> {
    (any::<u32>(), 3_usize..14, 6_usize..50)
        .prop_map(|(seed, demands, items)| instance(seed.into(), demands, items))
}

fn bare(cost: Cost) -> Item {
    Item {
        covers: Vec::new(),
        activates: Vec::new(),
        cost,
        requires: Vec::new(),
        conflicts: Vec::new(),
        takes: Vec::new(),
    }
}

/// The problem without an item: nothing covers by it, and the groups that name it lose it.
fn without(problem: &Problem, gone: usize) -> Problem {
    let mut problem = problem.clone();
    // What can never be chosen is as good as absent: it takes a resource of which there is none.
    let resource = problem.capacities.len();
    problem.capacities.push(0);
    problem.items[gone].takes.push(resource);
    problem
}

/// The problem in which these items have to be chosen: each is the only one that meets a demand of its own.
fn with_all(problem: &Problem, items: &[usize]) -> Problem {
    let mut problem = problem.clone();
    for item in items {
        problem.items[*item].covers.push(problem.demands.len());
        problem.demands.push(Demand { weight: None, when: When::Always });
    }
    problem
}

/// The problem with its items in another order.
fn reordered(problem: &Problem, seed: u64) -> Problem {
    let mut order: Vec<usize> = (0..problem.items.len()).collect();
    let mut numbers = super::instances::Numbers::new(seed);
    for place in (1..order.len()).rev() {
        order.swap(place, numbers.below(place as u64 + 1) as usize);
    }
    let mut place = vec![0; order.len()];
    for (new, old) in order.iter().enumerate() {
        place[*old] = new;
    }
    let moved = |list: &[usize]| list.iter().map(|old| place[*old]).collect::<Vec<_>>();
    let items = order.iter().map(|old| {
        let item = &problem.items[*old];
        Item {
            requires: item.requires.iter().map(|group| moved(group)).collect(),
            conflicts: moved(&item.conflicts),
            ..item.clone()
        }
    });
    Problem { items: items.collect(), ..problem.clone() }
}

fn same(one: &Option<Solution>, other: &Option<Solution>) -> bool {
    let of = |found: &Option<Solution>| found.as_ref().map(|found| (found.items.clone(), found.cost));
    of(one) == of(other)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn adding_a_useless_part_changes_nothing(instance in generated()) {
        let best = proven(&instance.problem);
        let mut more = instance.problem.clone();
        more.items.push(bare(Cost::new(Aim::LowestPrice, Some(0), Some(0))));
        prop_assert!(same(&proven(&more), &best));
    }

    #[test]
    fn removing_a_chosen_part_never_makes_it_cheaper(instance in generated()) {
        if let Some(best) = proven(&instance.problem) {
            for item in &best.items {
                if let Some(other) = proven(&without(&instance.problem, *item)) {
                    prop_assert!(other.cost >= best.cost);
                    prop_assert!(!other.items.contains(item));
                }
            }
        }
    }

    #[test]
    fn removing_a_part_that_is_not_chosen_changes_nothing(instance in generated(), which in any::<prop::sample::Index>()) {
        let best = proven(&instance.problem);
        let item = which.index(instance.problem.items.len());
        if best.as_ref().is_none_or(|best| !best.items.contains(&item)) {
            prop_assert!(same(&proven(&without(&instance.problem, item)), &best));
        }
    }

    /// Of the choices that cost the same the one with the least list: whatever begins as it does and goes on with an earlier item
    /// costs more.
    #[test]
    fn no_earlier_list_is_as_good(instance in generated()) {
        if let Some(best) = proven(&instance.problem) {
            for (place, item) in best.items.iter().enumerate() {
                let begin = &best.items[..place];
                for earlier in (0..*item).filter(|earlier| !begin.contains(earlier)) {
                    let other = proven(&with_all(&instance.problem, &[begin, &[earlier]].concat()));
                    prop_assert!(other.is_none_or(|other| other.cost > best.cost), "{earlier} in place of {item}");
                }
            }
        }
    }

    #[test]
    fn the_order_of_records_never_changes_the_cost(instance in generated(), seed in any::<u64>()) {
        let (best, moved) = (proven(&instance.problem), proven(&reordered(&instance.problem, seed)));
        prop_assert_eq!(best.map(|best| best.cost), moved.map(|moved| moved.cost));
    }
}
