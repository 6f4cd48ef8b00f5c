//! What the exact choice costs, with node counts: `cargo bench -p dashwright-planner --bench choose`.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use dashwright_planner::Aim;
use dashwright_planner::choose::{Choice, Cost, Demand, Item, NODE_LIMIT, Problem, When, choose};

#[expect(dead_code, reason = "only the problems are needed here, not what their costs are made of")]
#[path = "../src/choose/instances.rs"]
mod instances;

/// Demands and items: a usual car, a large one, and the largest that is promised.
const SIZES: [(usize, usize); 3] = [(14, 60), (24, 200), (40, 400)];
/// Problems of each size.
const PROBLEMS: u64 = 40;

fn benches(criterion: &mut Criterion) {
    for (demands, items) in SIZES {
        let problems: Vec<Problem> =
            (0..PROBLEMS).map(|seed| instances::instance(seed, demands, items).problem).collect();
        let mut nodes: Vec<u64> = problems.iter().map(nodes).collect();
        nodes.sort_unstable();
        let of = |share: usize| nodes.get(nodes.len() * share / 100).copied().unwrap_or(0);
        println!(
            "{demands} demands, {items} items: nodes median {}, 90 % {}, most {:?} of at most {NODE_LIMIT}",
            of(50),
            of(90),
            nodes.last()
        );
        let mut turn = problems.iter().cycle();
        criterion.bench_function(&format!("choose {demands}/{items}"), |bencher| {
            bencher.iter(|| turn.next().map(|problem| choose(black_box(problem), NODE_LIMIT)));
        });
    }
}

fn nodes(problem: &Problem) -> u64 {
    match choose(problem, NODE_LIMIT) {
        Ok(Choice::Proven(found)) => found.nodes,
        Ok(Choice::NotProven { nodes, .. }) => nodes,
        Ok(Choice::Infeasible) | Err(_) => 0,
    }
}

criterion_group!(choices, benches);
criterion_main!(choices);
