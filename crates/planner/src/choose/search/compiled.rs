//! A problem in the form in which it is searched, without the items that no choice needs.

use std::collections::BTreeMap;

use super::super::bits::{self, Items, NO_ITEMS, NO_NEEDS, Needs};
use super::super::cost::Cost;
use super::super::{Demand, Item, MAX_DEMANDS, MAX_GROUPS, MAX_ITEMS, Problem, ProblemError, Solution, When};
use super::grain::Grain;
use crate::request::MAX_WEIGHT;

/// A problem in the form in which it is searched. A group of required items is one more need, which arises with the item.
pub(crate) struct Compiled {
    demands: Vec<Demand>,
    /// What has to be met from the beginning.
    pub(super) required: Needs,
    pub(super) items: Vec<Row>,
    /// The items that meet each need.
    meet: Vec<Items>,
    /// What going without a need costs, where one may.
    missed: Vec<Option<Cost>>,
    pub(super) capacities: Vec<u16>,
    /// The items that take each resource.
    pub(super) takers: Vec<Items>,
    /// The items that can be chosen at all.
    pub(super) usable: Items,
    /// Of these, the items that another one is as good as in every respect.
    pub(super) dominated: Items,
    /// Which sums of costs there can be.
    pub(super) grain: Grain,
}

/// An item.
pub(super) struct Row {
    pub(super) covers: Needs,
    /// What arises with it and is not met by itself: activated demands and its groups.
    pub(super) wants: Needs,
    pub(super) cost: Cost,
    /// What can not be chosen with it.
    pub(super) excludes: Items,
    /// The resources that it takes, in order.
    pub(super) takes: Vec<usize>,
}

impl Compiled {
    pub(crate) fn of(problem: &Problem) -> Result<Self, ProblemError> {
        let Problem { demands, items, capacities } = problem;
        if demands.len() > MAX_DEMANDS {
            return Err(ProblemError::Demands(demands.len()));
        }
        if items.len() > MAX_ITEMS {
            return Err(ProblemError::Items(items.len()));
        }
        check_names(problem)?;
        let groups = groups(items)?;
        let mut required = NO_NEEDS;
        for (number, _) in demands.iter().enumerate().filter(|(_, demand)| demand.when == When::Always) {
            bits::insert(&mut required, number);
        }
        let mut compiled = Self {
            demands: demands.clone(),
            required,
            items: rows(items, &groups),
            meet: vec![NO_ITEMS; bits::NEEDS],
            missed: demands.iter().map(|demand| demand.weight.map(Cost::of_missed)).collect(),
            capacities: capacities.clone(),
            takers: vec![NO_ITEMS; capacities.len()],
            usable: NO_ITEMS,
            dominated: NO_ITEMS,
            grain: Grain::of(&[]),
        };
        compiled.index();
        compiled.keep_usable();
        compiled.dominated = compiled.dominated();
        let usable = bits::numbers(&compiled.usable).filter_map(|item| Some(compiled.items.get(item)?.cost));
        let costs: Vec<Cost> = usable.chain(compiled.missed.iter().copied().flatten()).collect();
        compiled.grain = Grain::of(&costs);
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

    pub(super) fn can_go_without(&self, need: usize) -> Option<Cost> {
        *self.missed.get(need)?
    }

    pub(super) fn meeting(&self, need: usize, allowed: &Items) -> Items {
        self.meet.get(need).map_or(NO_ITEMS, |meet| bits::and(meet, allowed))
    }

    /// Whether there is room left for what an item takes.
    pub(super) fn has_room(&self, item: usize, left: &[u16]) -> bool {
        self.items.get(item).is_some_and(|row| {
            row.takes.chunk_by(PartialEq::eq).all(|same| {
                let left = same.first().and_then(|resource| left.get(*resource)).copied().unwrap_or(0);
                usize::from(left) >= same.len()
            })
        })
    }

    fn index(&mut self) {
        for (number, row) in self.items.iter().enumerate() {
            for need in bits::numbers(&row.covers) {
                if let Some(meet) = self.meet.get_mut(need) {
                    bits::insert(meet, number);
                }
            }
            for resource in &row.takes {
                if let Some(takers) = self.takers.get_mut(*resource) {
                    bits::insert(takers, number);
                }
            }
        }
    }

    /// Leaves out what there is no room for, and, until nothing changes, what wants something that nothing usable meets.
    fn keep_usable(&mut self) {
        for item in 0..self.items.len() {
            if self.has_room(item, &self.capacities) {
                bits::insert(&mut self.usable, item);
            }
        }
        loop {
            let hopeless: Vec<usize> =
                bits::numbers(&self.usable).filter(|item| self.is_hopeless(*item, &self.usable)).collect();
            if hopeless.is_empty() {
                return;
            }
            for item in hopeless {
                bits::remove(&mut self.usable, item);
            }
        }
    }

    /// Whether an item wants something that none of the allowed items meets and that one can not go without.
    fn is_hopeless(&self, item: usize, allowed: &Items) -> bool {
        self.items.get(item).is_some_and(|row| {
            let allowed = bits::without(allowed, &row.excludes);
            bits::numbers(&row.wants).any(|need| {
                self.can_go_without(need).is_none() && bits::is_empty(&self.meeting(need, &allowed))
            })
        })
    }

    /// The items that the best choice never has, because another one serves in their stead wherever they stand and is
    /// cheaper, or as cheap and earlier.
    fn dominated(&self) -> Items {
        let mut dominated = NO_ITEMS;
        let usable: Vec<usize> = bits::numbers(&self.usable).collect();
        for item in &usable {
            if usable.iter().any(|other| self.serves_instead(*other, *item)) {
                bits::insert(&mut dominated, *item);
            }
        }
        dominated
    }

    /// Whether `other` can stand wherever `item` does, beside whatever stands there. The order by cost and number makes
    /// this a strict order, so that somebody always remains.
    fn serves_instead(&self, other: usize, item: usize) -> bool {
        let (Some(theirs), Some(own)) = (self.items.get(other), self.items.get(item)) else { return false };
        (theirs.cost, other) < (own.cost, item)
            && bits::is_empty(&bits::without(&own.covers, &theirs.covers))
            && bits::is_empty(&bits::without(&bits::without(&theirs.wants, &own.wants), &self.required))
            && {
                let mut more = bits::without(&theirs.excludes, &own.excludes);
                bits::remove(&mut more, item);
                bits::is_empty(&more)
            }
            && is_part_of(&theirs.takes, &own.takes)
    }
}

/// What is named has to be there: a number beyond the demands would be taken for a group.
fn check_names(problem: &Problem) -> Result<(), ProblemError> {
    let Problem { demands, items, capacities } = problem;
    let heavy = demands.iter().filter_map(|demand| demand.weight).find(|weight| *weight > MAX_WEIGHT);
    heavy.map_or(Ok(()), |weight| Err(ProblemError::Weight(weight)))?;
    for Item { covers, activates, cost: _, requires, conflicts, takes } in items {
        known(covers.iter().chain(activates), demands.len()).map_err(ProblemError::UnknownDemand)?;
        known(requires.iter().flatten().chain(conflicts), items.len()).map_err(ProblemError::UnknownItem)?;
        known(takes, capacities.len()).map_err(ProblemError::UnknownResource)?;
    }
    Ok(())
}

/// Whether all numbers are below an end; the first that is not.
fn known<'n>(numbers: impl IntoIterator<Item = &'n usize>, end: usize) -> Result<(), usize> {
    numbers.into_iter().find(|number| **number >= end).map_or(Ok(()), |number| Err(*number))
}

/// The different groups of required items with their needs.
fn groups(items: &[Item]) -> Result<BTreeMap<Vec<usize>, usize>, ProblemError> {
    let mut groups = BTreeMap::new();
    for group in items.iter().flat_map(|item| &item.requires) {
        let next = MAX_DEMANDS + groups.len();
        groups.entry(members(group)).or_insert(next);
    }
    if groups.len() > MAX_GROUPS { Err(ProblemError::Groups(groups.len())) } else { Ok(groups) }
}

/// A group in order, so that equal ones are one need.
fn members(group: &[usize]) -> Vec<usize> {
    let mut members = group.to_vec();
    members.sort_unstable();
    members.dedup();
    members
}

fn rows(items: &[Item], groups: &BTreeMap<Vec<usize>, usize>) -> Vec<Row> {
    let mut rows: Vec<Row> = items.iter().map(row).collect();
    for (own, group) in
        items.iter().enumerate().flat_map(|(own, item)| item.requires.iter().map(move |it| (own, it)))
    {
        if let (Some(row), Some(need)) = (rows.get_mut(own), groups.get(&members(group))) {
            bits::insert(&mut row.wants, *need);
        }
    }
    for (members, need) in groups {
        for member in members {
            if let Some(row) = rows.get_mut(*member) {
                bits::insert(&mut row.covers, *need);
            }
        }
    }
    for (own, other) in
        items.iter().enumerate().flat_map(|(own, item)| item.conflicts.iter().map(move |it| (own, *it)))
    {
        for (one, excluded) in [(own, other), (other, own)] {
            if let Some(row) = rows.get_mut(one).filter(|_| one != excluded) {
                bits::insert(&mut row.excludes, excluded);
            }
        }
    }
    for row in &mut rows {
        row.wants = bits::without(&row.wants, &row.covers);
    }
    rows
}

fn row(item: &Item) -> Row {
    let mut row = Row {
        covers: NO_NEEDS,
        wants: NO_NEEDS,
        cost: item.cost,
        excludes: NO_ITEMS,
        takes: item.takes.clone(),
    };
    row.takes.sort_unstable();
    for need in &item.covers {
        bits::insert(&mut row.covers, *need);
    }
    for need in &item.activates {
        bits::insert(&mut row.wants, *need);
    }
    row
}

/// Whether every number of a sorted list is in another one, as often as there.
fn is_part_of(part: &[usize], whole: &[usize]) -> bool {
    let mut rest = whole.iter();
    part.iter().all(|number| rest.any(|other| other == number))
}
