//! The choice against a general-purpose solver: `microlp`, a pure-Rust solver of mixed-integer linear programmes, which
//! knows nothing of branching on needs or of packed costs.
//!
//! The programme is written down anew here: a binary variable for each item and for each wish that is missed. The levels
//! of the objective are solved one after the other, each fixed before the next (lexicographic method).

use microlp::{ComparisonOp, OptimizationDirection, Problem as Programme, Variable};

use super::instances::{Instance, instance};
use super::tests::{proven, reckoned};
use super::{Aim, When};

/// The least sum of each level in turn; nothing where there is no choice.
fn levels_by_programme(instance: &Instance) -> Option<[u64; 6]> {
    let mut fixed: Vec<u64> = Vec::new();
    for level in 0..6 {
        fixed.push(solve(instance, level, &fixed)?);
    }
    fixed.try_into().ok()
}

/// What an item adds to a level of the objective.
fn adds(instance: &Instance, level: usize, item: usize) -> f64 {
    let priced = &instance.priced[item];
    let unpriced = f64::from(u8::from(priced.price.is_none()));
    let untimed = f64::from(u8::from(priced.minutes.is_none()));
    let (price, minutes) = (priced.price.unwrap_or(0) as f64, priced.minutes.unwrap_or(0) as f64);
    let of_aim = match instance.aim {
        Aim::LowestPrice => [unpriced, price, 1.0, untimed, minutes],
        Aim::FewestParts => [1.0, unpriced, price, untimed, minutes],
        Aim::LeastBenchTime => [untimed, minutes, unpriced, price, 1.0],
    };
    if level == 0 { 0.0 } else { of_aim[level - 1] }
}

fn solve(instance: &Instance, level: usize, fixed: &[u64]) -> Option<u64> {
    let problem = &instance.problem;
    let mut programme = Programme::new(OptimizationDirection::Minimize);
    let items: Vec<Variable> =
        (0..problem.items.len()).map(|item| programme.add_binary_var(adds(instance, level, item))).collect();
    let missed: Vec<Option<Variable>> = problem
        .demands
        .iter()
        .map(|demand| {
            demand
                .weight
                .map(|weight| programme.add_binary_var(if level == 0 { f64::from(weight) } else { 0.0 }))
        })
        .collect();
    add_constraints(&mut programme, instance, &items, &missed);
    for (earlier, sum) in fixed.iter().enumerate() {
        let weights = problem.demands.iter().zip(&missed).filter_map(|(demand, variable)| {
            Some(((*variable)?, if earlier == 0 { f64::from(demand.weight?) } else { 0.0 }))
        });
        let terms =
            items.iter().enumerate().map(|(item, variable)| (*variable, adds(instance, earlier, item)));
        let terms: Vec<(Variable, f64)> = terms.chain(weights).collect();
        programme.add_constraint(terms.as_slice(), ComparisonOp::Le, *sum as f64 + 0.25);
    }
    let solution = programme.solve().ok()?;
    Some(solution.objective().round() as u64)
}

fn add_constraints(
    programme: &mut Programme,
    instance: &Instance,
    items: &[Variable],
    missed: &[Option<Variable>],
) {
    let problem = &instance.problem;
    for (number, demand) in problem.demands.iter().enumerate() {
        let covering = problem.items.iter().zip(items).filter(|(item, _)| item.covers.contains(&number));
        let mut terms: Vec<(Variable, f64)> = covering.map(|(_, variable)| (*variable, 1.0)).collect();
        terms.extend(missed[number].map(|variable| (variable, 1.0)));
        if demand.when == When::Always {
            programme.add_constraint(terms.as_slice(), ComparisonOp::Ge, 1.0);
            continue;
        }
        // It arises with each item that activates it.
        for (item, variable) in problem.items.iter().zip(items) {
            if item.activates.contains(&number) && !item.covers.contains(&number) {
                let mut terms = terms.clone();
                terms.push((*variable, -1.0));
                programme.add_constraint(terms.as_slice(), ComparisonOp::Ge, 0.0);
            }
        }
    }
    for (item, variable) in problem.items.iter().zip(items) {
        for group in &item.requires {
            let mut members = group.clone();
            members.sort_unstable();
            members.dedup();
            let mut terms: Vec<(Variable, f64)> =
                members.iter().map(|member| (items[*member], 1.0)).collect();
            terms.push((*variable, -1.0));
            programme.add_constraint(terms.as_slice(), ComparisonOp::Ge, 0.0);
        }
        for other in &item.conflicts {
            programme.add_constraint([(*variable, 1.0), (items[*other], 1.0)], ComparisonOp::Le, 1.0);
        }
    }
    for (resource, capacity) in problem.capacities.iter().enumerate() {
        let terms: Vec<(Variable, f64)> = problem
            .items
            .iter()
            .zip(items)
            .map(|(item, variable)| {
                (*variable, item.takes.iter().filter(|own| **own == resource).count() as f64)
            })
            .collect();
        programme.add_constraint(terms.as_slice(), ComparisonOp::Le, f64::from(*capacity));
    }
}

#[test]
fn a_general_solver_finds_the_same_levels() {
    let (mut feasible, mut infeasible) = (0, 0);
    for seed in 10_000..10_400 {
        let instance = instance(seed, 4 + (seed as usize % 9), 8 + (seed as usize % 21));
        let expected = levels_by_programme(&instance);
        let found = proven(&instance.problem).and_then(|found| reckoned(&instance, &found.items));
        assert_eq!(found, expected, "seed {seed}");
        if expected.is_some() { feasible += 1 } else { infeasible += 1 }
    }
    assert!(feasible > 250 && infeasible > 10, "{feasible} feasible, {infeasible} infeasible");
}
