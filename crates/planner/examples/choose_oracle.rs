//! Prints generated problems with our answers as JSON Lines, for a general-purpose solver to check:
//! `cargo run --release -p dashwright-planner --example choose_oracle -- FIRST_SEED COUNT DEMANDS ITEMS`.

use dashwright_planner::Aim;
use dashwright_planner::choose::{Choice, Cost, Demand, Item, NODE_LIMIT, Problem, When, choose};
use serde_json::json;

#[path = "../src/choose/instances.rs"]
mod instances;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<u64> = std::env::args().skip(1).map(|text| text.parse()).collect::<Result<_, _>>()?;
    let [first, count, demands, items] = arguments.as_slice() else {
        return Err("FIRST_SEED COUNT DEMANDS ITEMS".into());
    };
    for seed in *first..first + count {
        let instance = instances::instance(seed, usize::try_from(*demands)?, usize::try_from(*items)?);
        println!("{}", line(seed, &instance)?);
    }
    Ok(())
}

fn line(seed: u64, instance: &instances::Instance) -> Result<serde_json::Value, Box<dyn std::error::Error>> {
    let problem = &instance.problem;
    let (status, found) = match choose(problem, NODE_LIMIT).map_err(|error| format!("{error:?}"))? {
        Choice::Proven(found) => ("proven", Some(found)),
        Choice::NotProven { best, .. } => ("not proven", best),
        Choice::Infeasible => ("infeasible", None),
    };
    let demands = problem
        .demands
        .iter()
        .map(|demand| json!({"weight": demand.weight, "always": demand.when == When::Always}));
    let items = problem.items.iter().zip(&instance.priced).map(|(item, priced)| {
        json!({
            "covers": item.covers, "activates": item.activates, "requires": item.requires,
            "conflicts": item.conflicts, "takes": item.takes, "price": priced.price, "minutes": priced.minutes,
        })
    });
    Ok(json!({
        "seed": seed,
        "aim": format!("{:?}", instance.aim),
        "demands": demands.collect::<Vec<_>>(),
        "items": items.collect::<Vec<_>>(),
        "capacities": problem.capacities,
        "status": status,
        "chosen": found.as_ref().map(|found| &found.items),
        "nodes": found.as_ref().map(|found| found.nodes),
    }))
}
