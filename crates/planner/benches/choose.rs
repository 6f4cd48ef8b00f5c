//! What the exact choice costs, with node counts: `cargo bench -p dashwright-planner --bench choose`.

use std::hint::black_box;
use std::time::Instant;

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
    let (problem, start) = (worst(), Instant::now());
    let nodes_of_worst = nodes(&problem);
    println!("worst known, 40 demands, 400 items: {nodes_of_worst} nodes in {:?}", start.elapsed());
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

/// The worst that is known: nothing tells the items apart, and each meets three demands at random. It ends at the limit.
fn worst() -> Problem {
    let mut numbers = instances::Numbers::new(40);
    let cost = Cost::new(Aim::LowestPrice, Some(500), Some(500));
    let mut item = || Item {
        covers: (0..3).filter_map(|_| usize::try_from(numbers.below(40)).ok()).collect(),
        activates: Vec::new(),
        cost,
        requires: Vec::new(),
        conflicts: Vec::new(),
        takes: Vec::new(),
    };
    let items = (0..400).map(|_| item()).collect();
    Problem { demands: vec![Demand { weight: None, when: When::Always }; 40], items, capacities: Vec::new() }
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
