//! Branch and bound: branches on the open need that the fewest items meet, the likeliest first.

mod bound;
mod compiled;
mod grain;

use super::bits::{self, Items, NO_ITEMS, NO_NEEDS, Needs};
use super::cost::Cost;

use bound::{Bound, Open};
pub(crate) use compiled::Compiled;

/// A place in the tree.
#[derive(Clone)]
struct Node {
    required: Needs,
    covered: Needs,
    /// Wishes that are gone without.
    gone: Needs,
    allowed: Items,
    chosen: Items,
    cost: Cost,
    left: Vec<u16>,
}

/// How to go on from a node.
struct Fork {
    /// The open need that the fewest items meet.
    need: usize,
    /// The items that meet it with what a choice costs more with each, the least first.
    ways: Vec<(Cost, usize)>,
    /// What going without it costs, where that may be.
    without: Option<Cost>,
}

/// A search over the tree.
pub(crate) struct Search<'c> {
    problem: &'c Compiled,
    /// Choices whose supersets do not count.
    better: &'c [Items],
    limit: u64,
    nodes: u64,
    bound: Bound,
    /// The best cost so far; a choice has to cost less.
    best: Option<Cost>,
    found: Option<Items>,
    /// Whether the first choice within the bound is enough.
    first: bool,
}

impl<'c> Search<'c> {
    pub(crate) fn new(problem: &'c Compiled, better: &'c [Items], limit: u64) -> Self {
        Self { problem, better, limit, nodes: 0, bound: Bound::new(), best: None, found: None, first: false }
    }

    pub(crate) const fn is_exhausted(&self) -> bool {
        self.nodes >= self.limit
    }

    pub(crate) const fn nodes(&self) -> u64 {
        self.nodes
    }

    /// A choice of the least cost.
    pub(crate) fn optimum(&mut self) -> Option<Items> {
        let mut root = self.root()?;
        self.visit(&mut root);
        self.found
    }

    /// Of the choices that cost as much as one, that with the least list of items: an item belongs to it if some choice of
    /// this cost has it and every earlier one that does.
    pub(crate) fn least(&mut self, optimum: Items) -> Items {
        let cost = self.problem.solution(&optimum, 0).cost;
        let Some(mut prefix) = self.root() else { return optimum };
        let mut known = optimum;
        // One more than the cost: the search looks for what costs less than its bound.
        self.best = Some(cost + Cost::LEAST);
        self.narrow(&mut prefix);
        for item in 0..self.problem.items.len() {
            if bits::is_empty(&bits::without(&known, &prefix.chosen)) {
                break;
            }
            let Some(mut with) = self.include(&prefix, item) else {
                bits::remove(&mut prefix.allowed, item);
                continue;
            };
            if !bits::has(&known, item) {
                (self.best, self.found, self.first) = (Some(cost + Cost::LEAST), None, true);
                // A search takes from its node what it has tried: the prefix goes on from a node that none has gone over.
                self.visit(&mut with.clone());
                match self.found {
                    Some(found) => known = found,
                    None if self.is_exhausted() => break,
                    None => {
                        bits::remove(&mut prefix.allowed, item);
                        continue;
                    }
                }
            }
            self.best = Some(cost + Cost::LEAST);
            self.narrow(&mut with);
            prefix = with;
        }
        known
    }

    fn root(&self) -> Option<Node> {
        let problem = self.problem;
        let mut allowed = problem.usable;
        // A dominated item never stands in the best choice, but it may in the next best.
        if self.better.is_empty() {
            allowed = bits::without(&allowed, &problem.dominated);
        }
        let root = Node {
            required: problem.required,
            covered: NO_NEEDS,
            gone: NO_NEEDS,
            allowed,
            chosen: NO_ITEMS,
            cost: Cost::ZERO,
            left: problem.capacities.clone(),
        };
        self.cut(root)
    }

    /// The node with an item chosen; nothing where that can not be.
    fn include(&self, node: &Node, item: usize) -> Option<Node> {
        let row = self.problem.items.get(item).filter(|_| bits::has(&node.allowed, item))?;
        let mut next = node.clone();
        next.required = bits::or(&node.required, &row.wants);
        next.covered = bits::or(&node.covered, &row.covers);
        next.allowed = bits::without(&node.allowed, &row.excludes);
        bits::remove(&mut next.allowed, item);
        bits::insert(&mut next.chosen, item);
        next.cost += row.cost;
        for resource in &row.takes {
            let left = next.left.get_mut(*resource)?;
            *left = left.checked_sub(1)?;
        }
        for resource in &row.takes {
            self.drop_without_room(&mut next, *resource);
        }
        self.cut(next)
    }

    fn drop_without_room(&self, node: &mut Node, resource: usize) {
        let Some(takers) = self.problem.takers.get(resource) else { return };
        for item in bits::numbers(&bits::and(takers, &node.allowed)) {
            if !self.problem.has_room(item, &node.left) {
                bits::remove(&mut node.allowed, item);
            }
        }
    }

    /// Keeps a node from becoming a superset of a better choice.
    fn cut(&self, mut node: Node) -> Option<Node> {
        for better in self.better {
            let rest = bits::without(better, &node.chosen);
            match bits::count(&rest) {
                0 => return None,
                1 => node.allowed = bits::without(&node.allowed, &rest),
                _ => {}
            }
        }
        Some(node)
    }

    fn visit(&mut self, node: &mut Node) {
        if self.is_exhausted() || (self.first && self.found.is_some()) {
            return;
        }
        self.nodes += 1;
        if bits::is_empty(&node.open()) {
            if self.best.is_none_or(|best| node.cost < best) {
                (self.best, self.found) = (Some(node.cost), Some(node.chosen));
            }
            return;
        }
        if let Some(fork) = self.narrow(node) {
            self.branch(node, fork);
        }
    }

    /// Bounds a node and forbids what can not stand in a choice that counts; nothing where no choice of this node counts.
    fn narrow(&mut self, node: &mut Node) -> Option<Fork> {
        let (problem, needs) = (self.problem, node.open());
        let settled = bits::or(&bits::or(&node.required, &node.covered), &node.gone);
        let allowed = node.allowed;
        let (cost, best) = (node.cost, self.best);
        let open = Open { needs: &needs, settled: &settled, allowed: &allowed, left: &node.left, cost, best };
        let sum = self.bound.find(problem, &open)?;
        let is_too_much = |extra: Cost| open.is_too_much(problem, sum + extra);
        if is_too_much(Cost::ZERO) {
            return None;
        }
        for item in bits::numbers(&allowed) {
            if self.bound.extra(problem, &open, item).is_none_or(is_too_much) {
                bits::remove(&mut node.allowed, item);
            }
        }
        let without =
            |need: usize| self.bound.extra_without(problem, need).is_some_and(|extra| !is_too_much(extra));
        let need = bits::numbers(&needs).min_by_key(|need| {
            bits::count(&problem.meeting(*need, &node.allowed)) + u32::from(without(*need))
        })?;
        let meeting = bits::numbers(&problem.meeting(need, &node.allowed));
        let mut ways: Vec<(Cost, usize)> =
            meeting.filter_map(|item| Some((self.bound.extra(problem, &open, item)?, item))).collect();
        ways.sort_unstable();
        let without = problem.can_go_without(need).filter(|_| without(need));
        Some(Fork { need, ways, without })
    }

    /// Settles a need by each way in turn, each time without those before; and at last goes without.
    fn branch(&mut self, node: &mut Node, Fork { need, ways, without }: Fork) {
        for (_, item) in ways {
            if let Some(mut next) = self.include(node, item) {
                self.visit(&mut next);
            }
            bits::remove(&mut node.allowed, item);
        }
        if let Some(missed) = without {
            bits::insert(&mut node.gone, need);
            node.cost += missed;
            self.visit(node);
        }
    }
}

impl Node {
    fn open(&self) -> Needs {
        bits::without(&bits::without(&self.required, &self.covered), &self.gone)
    }
}
