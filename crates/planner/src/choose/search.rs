//! Branch and bound: branches on the open need that the fewest items meet, bounds by dual ascent.

use std::collections::BTreeMap;

use super::bits::{self, Items, NO_ITEMS, NO_NEEDS, Needs};
use super::cost::Cost;
use super::{Demand, MAX_DEMANDS, MAX_GROUPS, MAX_ITEMS, Problem, Solution, TooLarge, When};

/// A problem in the form in which it is searched. A group of required items is one more need, which arises with the item.
pub(crate) struct Compiled {
    demands: Vec<Demand>,
    /// What has to be met from the beginning.
    required: Needs,
    items: Vec<Row>,
    /// The items that meet each need.
    meet: Vec<Items>,
    /// What going without a need costs, where one may.
    missed: Vec<Option<Cost>>,
    capacities: Vec<u16>,
}

/// An item.
struct Row {
    covers: Needs,
    /// What arises with it: activated demands and its groups.
    wants: Needs,
    cost: Cost,
    /// What can not be chosen with it.
    excludes: Items,
    takes: Vec<usize>,
}

impl Compiled {
    pub(crate) fn of(problem: &Problem) -> Result<Self, TooLarge> {
        let Problem { demands, items, capacities } = problem;
        let mut groups: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
        for group in items.iter().flat_map(|item| &item.requires) {
            let mut group = group.clone();
            group.sort_unstable();
            group.dedup();
            let next = MAX_DEMANDS + groups.len();
            groups.entry(group).or_insert(next);
        }
        if demands.len() > MAX_DEMANDS {
            return Err(TooLarge::Demands(demands.len()));
        }
        if items.len() > MAX_ITEMS {
            return Err(TooLarge::Items(items.len()));
        }
        if groups.len() > MAX_GROUPS {
            return Err(TooLarge::Groups(groups.len()));
        }
        let mut required = NO_NEEDS;
        for (number, _) in demands.iter().enumerate().filter(|(_, demand)| demand.when == When::Always) {
            bits::insert(&mut required, number);
        }
        let mut compiled = Self {
            demands: demands.clone(),
            required,
            items: items.iter().enumerate().map(|(number, _)| row(problem, &groups, number)).collect(),
            meet: vec![NO_ITEMS; bits::NEEDS],
            missed: demands.iter().map(|demand| demand.weight.map(Cost::of_missed)).collect(),
            capacities: capacities.clone(),
        };
        for (number, row) in compiled.items.iter().enumerate() {
            for need in bits::numbers(&row.covers) {
                if let Some(meet) = compiled.meet.get_mut(need) {
                    bits::insert(meet, number);
                }
            }
        }
        Ok(compiled)
    }

    /// A choice as its caller reads it.
    pub(crate) fn solution(&self, chosen: &Items, nodes: u64) -> Solution {
        let (mut required, mut covered, mut cost) = (self.required, NO_NEEDS, Cost::ZERO);
        for row in bits::numbers(chosen).filter_map(|item| self.items.get(item)) {
            required = bits::or(&required, &row.wants);
            covered = bits::or(&covered, &row.covers);
            cost += row.cost;
        }
        let missed: Vec<usize> = bits::numbers(&bits::without(&required, &covered))
            .filter(|need| *need < self.demands.len())
            .collect();
        for lost in missed.iter().filter_map(|need| *self.missed.get(*need)?) {
            cost += lost;
        }
        Solution { items: bits::numbers(chosen).collect(), missed, cost, nodes }
    }

    fn can_go_without(&self, need: usize) -> Option<Cost> {
        *self.missed.get(need)?
    }

    fn meeting(&self, need: usize, allowed: &Items) -> Items {
        self.meet.get(need).map_or(NO_ITEMS, |meet| bits::and(meet, allowed))
    }
}

fn row(problem: &Problem, groups: &BTreeMap<Vec<usize>, usize>, number: usize) -> Row {
    let mut row =
        Row { covers: NO_NEEDS, wants: NO_NEEDS, cost: Cost::ZERO, excludes: NO_ITEMS, takes: Vec::new() };
    let Some(item) = problem.items.get(number) else { return row };
    row.cost = item.cost;
    row.takes.clone_from(&item.takes);
    for need in &item.covers {
        bits::insert(&mut row.covers, *need);
    }
    for need in &item.activates {
        bits::insert(&mut row.wants, *need);
    }
    for (members, need) in groups {
        if members.contains(&number) {
            bits::insert(&mut row.covers, *need);
        }
        let wants = |group: &Vec<usize>| {
            let mut group = group.clone();
            group.sort_unstable();
            group.dedup();
            group == *members
        };
        if item.requires.iter().any(wants) {
            bits::insert(&mut row.wants, *need);
        }
    }
    for (other, theirs) in problem.items.iter().enumerate().filter(|(other, _)| *other != number) {
        if item.conflicts.contains(&other) || theirs.conflicts.contains(&number) {
            bits::insert(&mut row.excludes, other);
        }
    }
    row
}

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

/// A search over the tree.
pub(crate) struct Search<'c> {
    problem: &'c Compiled,
    /// Choices whose supersets do not count.
    better: &'c [Items],
    limit: u64,
    nodes: u64,
    /// What is left of each item's cost while a bound is made.
    residual: Vec<Cost>,
    /// The best cost so far; a choice has to cost less.
    best: Option<Cost>,
    found: Option<Items>,
    /// Whether the first choice within the bound is enough.
    first: bool,
}

impl<'c> Search<'c> {
    pub(crate) fn new(problem: &'c Compiled, better: &'c [Items], limit: u64) -> Self {
        let residual = vec![Cost::ZERO; problem.items.len()];
        Self { problem, better, limit, nodes: 0, residual, best: None, found: None, first: false }
    }

    pub(crate) const fn is_exhausted(&self) -> bool {
        self.nodes >= self.limit
    }

    pub(crate) const fn nodes(&self) -> u64 {
        self.nodes
    }

    /// A choice of the least cost.
    pub(crate) fn optimum(&mut self) -> Option<Items> {
        let root = self.root()?;
        self.visit(&root);
        self.found
    }

    /// Of the choices that cost as much as one, that with the least list of items: an item belongs to it if some choice of
    /// this cost has it and every earlier one that does.
    pub(crate) fn least(&mut self, optimum: Items) -> Items {
        let cost = self.problem.solution(&optimum, 0).cost;
        let Some(mut prefix) = self.root() else { return optimum };
        let mut known = optimum;
        for item in 0..self.problem.items.len() {
            if bits::is_empty(&bits::without(&known, &prefix.chosen)) {
                break;
            }
            let Some(with) = self.include(&prefix, item) else {
                bits::remove(&mut prefix.allowed, item);
                continue;
            };
            if !bits::has(&known, item) {
                // One more than the cost: the search looks for what costs less than its bound.
                (self.best, self.found, self.first) = (Some(cost + Cost::LEAST), None, true);
                self.visit(&with);
                match self.found {
                    Some(found) => known = found,
                    None if self.is_exhausted() => break,
                    None => {
                        bits::remove(&mut prefix.allowed, item);
                        continue;
                    }
                }
            }
            prefix = with;
        }
        known
    }

    fn root(&self) -> Option<Node> {
        let mut allowed = NO_ITEMS;
        for (number, row) in self.problem.items.iter().enumerate() {
            let room = |resource: &usize| {
                let wanted = row.takes.iter().filter(|own| *own == resource).count();
                usize::from(self.problem.capacities.get(*resource).copied().unwrap_or(0)) >= wanted
            };
            if row.takes.iter().all(room) {
                bits::insert(&mut allowed, number);
            }
        }
        let root = Node {
            required: self.problem.required,
            covered: NO_NEEDS,
            gone: NO_NEEDS,
            allowed,
            chosen: NO_ITEMS,
            cost: Cost::ZERO,
            left: self.problem.capacities.clone(),
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
        if !row.takes.is_empty() {
            self.drop_without_room(&mut next);
        }
        self.cut(next)
    }

    fn drop_without_room(&self, node: &mut Node) {
        for item in bits::numbers(&node.allowed) {
            let Some(row) = self.problem.items.get(item) else { continue };
            let room = |resource: &usize| {
                let wanted = row.takes.iter().filter(|own| *own == resource).count();
                usize::from(node.left.get(*resource).copied().unwrap_or(0)) >= wanted
            };
            if !row.takes.iter().all(room) {
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

    fn visit(&mut self, node: &Node) {
        if self.is_exhausted() || (self.first && self.found.is_some()) {
            return;
        }
        self.nodes += 1;
        let open = bits::without(&bits::without(&node.required, &node.covered), &node.gone);
        if bits::is_empty(&open) {
            if self.best.is_none_or(|best| node.cost < best) {
                (self.best, self.found) = (Some(node.cost), Some(node.chosen));
            }
            return;
        }
        let Some((bound, need)) = self.bound(node, &open) else { return };
        if self.best.is_some_and(|best| node.cost + bound >= best) {
            return;
        }
        self.branch(node, need);
    }

    /// The least that the open needs can cost, and the one that the fewest items meet; nothing where one can not be met.
    ///
    /// Dual ascent: each need in turn takes the least that is left of the cost of an item which meets it, and takes it from
    /// every such item. What the needs took of an item never exceeds its cost, so any choice costs at least their sum.
    fn bound(&mut self, node: &Node, open: &Needs) -> Option<(Cost, usize)> {
        let problem = self.problem;
        for (residual, row) in self.residual.iter_mut().zip(&problem.items) {
            *residual = row.cost;
        }
        let mut needs: Vec<(u32, usize)> = bits::numbers(open)
            .map(|need| {
                let ways = bits::count(&problem.meeting(need, &node.allowed));
                (ways + u32::from(problem.can_go_without(need).is_some()), need)
            })
            .collect();
        needs.sort_unstable();
        let (fewest, first) = *needs.first()?;
        if fewest == 0 {
            return None;
        }
        let mut sum = Cost::ZERO;
        for (_, need) in needs {
            let meeting = problem.meeting(need, &node.allowed);
            let least = bits::numbers(&meeting).filter_map(|item| self.residual.get(item)).min().copied();
            let share = match (least, problem.can_go_without(need)) {
                (Some(least), Some(missed)) => least.min(missed),
                (Some(cost), None) | (None, Some(cost)) => cost,
                (None, None) => return None,
            };
            sum += share;
            for item in bits::numbers(&meeting) {
                if let Some(residual) = self.residual.get_mut(item) {
                    *residual -= share;
                }
            }
        }
        Some((sum, first))
    }

    /// Meets a need by each item that does, the cheapest first, each time without those before; and at last goes without.
    fn branch(&mut self, node: &Node, need: usize) {
        let problem = self.problem;
        let meeting = problem.meeting(need, &node.allowed);
        let cost = |item: usize| problem.items.get(item).map_or(Cost::ZERO, |row| row.cost);
        let mut ways: Vec<(Cost, usize)> = bits::numbers(&meeting).map(|item| (cost(item), item)).collect();
        ways.sort_unstable();
        let mut rest = node.clone();
        for (_, item) in ways {
            if let Some(next) = self.include(&rest, item) {
                self.visit(&next);
            }
            bits::remove(&mut rest.allowed, item);
        }
        if let Some(missed) = problem.can_go_without(need) {
            bits::insert(&mut rest.gone, need);
            rest.cost += missed;
            self.visit(&rest);
        }
    }
}
