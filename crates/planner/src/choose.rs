//! The exact choice: the best set of items that meets every demand, proven, unique and deterministic.
//!
//! The problem is a set cover with extras: demands that arise only with some items, items that need others (any of a
//! group), exclude others, or take a share of something limited; a wish may be gone without at its weight. The objective is
//! lexicographic: weight of the wishes missed, then the cost levels, then the ascending list of the chosen items.
//!
//! It is solved by depth-first branch and bound (`search.rs`). Costs are packed into one integer, most significant level
//! first ([`Cost`]); sums of packed costs compare as the levels do and differences keep the order, so the bound by dual
//! ascent is exact in this arithmetic. What cannot stand in a choice as good as the best is forbidden at every node.
//!
//! The worst case is exponential, as set cover is: the search is bounded by [`NODE_LIMIT`], and a search that meets it says
//! so ([`Choice::NotProven`]) instead of going on. Problems shaped like a catalogue's are far from it (benches/choose.rs:
//! 40 demands and 400 items take some hundred nodes). Those that meet it have nothing to tell items apart: 400 items of one
//! price and one time that meet three or five of 40 demands at random, or as many wishes of one weight as compete for
//! hardly enough room.

mod bits;
mod cost;
#[cfg(test)]
mod instances;
#[cfg(test)]
mod linear;
#[cfg(test)]
mod properties;
mod search;
#[cfg(test)]
mod tests;

pub use cost::{Cost, MAX_PRICE};

use std::fmt;

#[cfg(test)]
use crate::request::Aim;
use crate::request::MAX_WEIGHT;

use search::{Compiled, Search};

/// The most demands of a problem.
pub const MAX_DEMANDS: usize = 64;
/// The most items of a problem: what applies to one car with one radio, with a margin.
pub const MAX_ITEMS: usize = bits::ITEMS;
/// The most different groups of required items.
pub const MAX_GROUPS: usize = bits::NEEDS - MAX_DEMANDS;
/// Nodes that a choice may visit: at some 15 µs a node a third of a second, where the largest of the measured problems (40
/// demands, 400 items) took 1,600 nodes.
pub const NODE_LIMIT: u64 = 20_000;

/// When a demand arises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// In any case.
    Always,
    /// Only with an item that activates it.
    Activated,
}

/// Something to be met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Demand {
    /// What going without it weighs; nothing for what must be met.
    pub weight: Option<u32>,
    /// When it arises.
    pub when: When,
}

/// Something that can be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// The demands that it meets.
    pub covers: Vec<usize>,
    /// The demands that arise with it.
    pub activates: Vec<usize>,
    /// What it costs; never nothing, because it counts.
    pub cost: Cost,
    /// Groups of items: one of each has to be chosen with it.
    pub requires: Vec<Vec<usize>>,
    /// Items that can not be chosen with it.
    pub conflicts: Vec<usize>,
    /// Resources that it takes one of.
    pub takes: Vec<usize>,
}

/// A problem.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Problem {
    /// What has to be met.
    pub demands: Vec<Demand>,
    /// What can be chosen; where costs are equal the earlier is better.
    pub items: Vec<Item>,
    /// How many of each resource there are.
    pub capacities: Vec<u16>,
}

/// What is wrong with a problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProblemError {
    /// More demands than [`MAX_DEMANDS`].
    Demands(usize),
    /// More items than [`MAX_ITEMS`].
    Items(usize),
    /// More groups than [`MAX_GROUPS`].
    Groups(usize),
    /// A wish that weighs more than [`MAX_WEIGHT`].
    Weight(u32),
    /// An item that meets or activates a demand that the problem does not have.
    UnknownDemand(usize),
    /// An item that requires or excludes an item that the problem does not have.
    UnknownItem(usize),
    /// An item that takes a resource that the problem does not have.
    UnknownResource(usize),
}

impl fmt::Display for ProblemError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Demands(found) => write!(f, "{found} demands, at most {MAX_DEMANDS}"),
            Self::Items(found) => write!(f, "{found} items, at most {MAX_ITEMS}"),
            Self::Groups(found) => write!(f, "{found} groups of required items, at most {MAX_GROUPS}"),
            Self::Weight(found) => write!(f, "a wish of weight {found}, at most {MAX_WEIGHT}"),
            Self::UnknownDemand(number) => write!(f, "no demand has the number {number}"),
            Self::UnknownItem(number) => write!(f, "no item has the number {number}"),
            Self::UnknownResource(number) => write!(f, "no resource has the number {number}"),
        }
    }
}

impl std::error::Error for ProblemError {}

/// A choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Solution {
    /// The chosen items, in order.
    pub items: Vec<usize>,
    /// The wishes that arise and are not met, in order.
    pub missed: Vec<usize>,
    /// What it costs, the weight of the missed wishes first.
    pub cost: Cost,
    /// Nodes that were visited.
    pub nodes: u64,
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Choice {
    /// The best choice.
    Proven(Solution),
    /// The limit was met before the proof was complete.
    NotProven {
        /// The best that was seen.
        best: Option<Solution>,
        /// Nodes that were visited.
        nodes: u64,
    },
    /// There is no choice.
    Infeasible,
}

/// The best choice within a number of nodes.
///
/// # Errors
/// When the problem is larger than the limits, or names what it does not have.
pub fn choose(problem: &Problem, limit: u64) -> Result<Choice, ProblemError> {
    let compiled = Compiled::of(problem)?;
    Ok(best_of(&compiled, &[], limit))
}

/// The next best choices that are no supersets of a better one, and whether that is proven. The limit is for all of them.
pub fn alternatives(problem: &Problem, best: &Solution, most: usize, limit: u64) -> (Vec<Solution>, bool) {
    let Ok(compiled) = Compiled::of(problem) else { return (Vec::new(), false) };
    let mut better = vec![bits::of(&best.items)];
    let (mut found, mut nodes) = (Vec::new(), 0);
    while found.len() < most && better.iter().all(|items| !bits::is_empty(items)) {
        match best_of(&compiled, &better, limit.saturating_sub(nodes)) {
            Choice::Proven(solution) => {
                nodes += solution.nodes;
                better.push(bits::of(&solution.items));
                found.push(solution);
            }
            Choice::NotProven { .. } => return (found, false),
            Choice::Infeasible => break,
        }
    }
    (found, true)
}

fn best_of(compiled: &Compiled, better: &[bits::Items], limit: u64) -> Choice {
    let mut search = Search::new(compiled, better, limit);
    let Some(found) = search.optimum() else {
        return if search.is_exhausted() {
            Choice::NotProven { best: None, nodes: search.nodes() }
        } else {
            Choice::Infeasible
        };
    };
    // The least list of ids among the choices of that cost.
    let chosen = if search.is_exhausted() { found } else { search.least(found) };
    let (exhausted, nodes) = (search.is_exhausted(), search.nodes());
    let solution = compiled.solution(&chosen, nodes);
    if exhausted { Choice::NotProven { best: Some(solution), nodes } } else { Choice::Proven(solution) }
}
