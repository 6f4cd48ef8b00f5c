//! The least that the open needs of a node can cost.
//!
//! Weak duality: each open need takes a share of the cost of every item that meets it. As long as the shares taken of an
//! item never exceed its cost, any choice costs at least the sum of the shares. What is left of an item's cost is what a
//! choice with it costs above that sum, at the least. Shares are whole numbers in the arithmetic of packed costs, so nothing
//! is lost by rounding. They are found by dual ascent from two starts, each improved by three moves; the better sum counts.

use super::super::bits::{self, ITEMS, Items, NEEDS, NO_ITEMS, Needs};
use super::super::cost::Cost;
use super::compiled::Compiled;
use crate::request::MAX_WEIGHT;

/// What is bounded: the open needs, the items that may still be chosen, and the room that is left.
pub(super) struct Open<'n> {
    pub(super) needs: &'n Needs,
    /// Needs that arise no more: they are met, open or gone without.
    pub(super) settled: &'n Needs,
    pub(super) allowed: &'n Items,
    pub(super) left: &'n [u16],
    /// What the node costs so far.
    pub(super) cost: Cost,
    /// What a choice has to cost less than.
    pub(super) best: Option<Cost>,
}

impl Open<'_> {
    /// Whether a choice that costs so much more than the node, at the least, costs too much.
    pub(super) fn is_too_much(&self, problem: &Compiled, more: Cost) -> bool {
        self.best.is_some_and(|best| problem.grain.round_up(self.cost + more) >= best)
    }
}

/// Shares and what they leave.
#[derive(Clone)]
struct Shares {
    left_of: [Cost; ITEMS],
    share: [Cost; NEEDS],
    /// The items of whose cost nothing is left.
    tight: Items,
    sum: Cost,
}

/// The bound, with its memory from node to node.
pub(super) struct Bound {
    now: Box<Shares>,
    before: Box<Shares>,
    other: Box<Shares>,
    even: Box<[Cost; ITEMS]>,
    order: Vec<(u32, usize)>,
}

impl Bound {
    pub(super) fn new() -> Self {
        let shares = Shares {
            left_of: [Cost::ZERO; ITEMS],
            share: [Cost::ZERO; NEEDS],
            tight: NO_ITEMS,
            sum: Cost::ZERO,
        };
        Self {
            now: Box::new(shares.clone()),
            before: Box::new(shares.clone()),
            other: Box::new(shares),
            even: Box::new([Cost::ZERO; ITEMS]),
            order: Vec::new(),
        }
    }

    /// What any choice costs above [`Self::sum`] if it has this item, at the least.
    pub(super) fn extra(&self, problem: &Compiled, open: &Open<'_>, item: usize) -> Option<Cost> {
        let own = self.now.left_of(item);
        let wants = problem.items.get(item).map(|row| bits::without(&row.wants, open.settled))?;
        let mut most = Cost::ZERO;
        for need in bits::numbers(&wants) {
            // Nothing meets it: the item can not be chosen here.
            most = most.max(self.now.room(problem, open, need)?);
        }
        Some(own + most)
    }

    /// What going without a wish costs above the sum.
    pub(super) fn extra_without(&self, problem: &Compiled, need: usize) -> Option<Cost> {
        Some(problem.can_go_without(need)? - self.now.share(need))
    }

    /// The bound; nothing where an open need can not be met.
    pub(super) fn find(&mut self, problem: &Compiled, open: &Open<'_>) -> Option<Cost> {
        self.order_needs(problem, open)?;
        self.start(problem);
        self.improve(problem, open);
        if !open.is_too_much(problem, self.now.sum) {
            self.other.clone_from(&self.now);
            self.start(problem);
            self.share_evenly(problem, open);
            self.improve(problem, open);
            if self.now.sum < self.other.sum {
                std::mem::swap(&mut self.now, &mut self.other);
            }
        }
        Some(self.now.sum)
    }

    /// The needs with the fewest ways first; nothing where one has none.
    fn order_needs(&mut self, problem: &Compiled, open: &Open<'_>) -> Option<()> {
        self.order.clear();
        for need in bits::numbers(open.needs) {
            let ways = bits::count(&problem.meeting(need, open.allowed))
                + u32::from(problem.can_go_without(need).is_some());
            if ways == 0 {
                return None;
            }
            self.order.push((ways, need));
        }
        self.order.sort_unstable();
        Some(())
    }

    fn start(&mut self, problem: &Compiled) {
        let now = &mut *self.now;
        now.tight = NO_ITEMS;
        now.sum = Cost::ZERO;
        now.share = [Cost::ZERO; NEEDS];
        for (left, row) in now.left_of.iter_mut().zip(&problem.items) {
            *left = row.cost;
        }
    }

    /// No need takes more of an item than its even share among the open needs that the item meets. Where many items cost
    /// the same, needs that take all they can leave nothing to the others, and this is the better start.
    fn share_evenly(&mut self, problem: &Compiled, open: &Open<'_>) {
        for item in bits::numbers(open.allowed) {
            let Some(row) = problem.items.get(item) else { continue };
            let meets = bits::count(&bits::and(&row.covers, open.needs));
            if let Some(even) = self.even.get_mut(item) {
                *even = row.cost.divided_by(meets.max(1));
            }
        }
        for (_, need) in &self.order {
            let meeting = problem.meeting(*need, open.allowed);
            let even = bits::numbers(&meeting).filter_map(|item| self.even.get(item).copied());
            if let Some(share) = even.chain(problem.can_go_without(*need)).min() {
                self.now.take(problem, open, *need, share);
            }
        }
    }

    /// Each need takes all that is left; then the moves.
    fn improve(&mut self, problem: &Compiled, open: &Open<'_>) {
        for (_, need) in &self.order {
            self.now.ascend(problem, open, *need);
        }
        // Once round: measured, a second round saves fewer nodes than it costs time.
        if !open.is_too_much(problem, self.now.sum) {
            self.lend(problem, open);
            self.ration(problem, open);
            self.exchange(problem, open);
        }
    }

    /// An item brings needs with it. What is left of the items that meet such a need may be added to its own cost.
    fn lend(&mut self, problem: &Compiled, open: &Open<'_>) {
        for (_, need) in &self.order {
            let blocking = self.now.blocking(problem, open, *need);
            if bits::is_empty(&blocking) || self.now.is_given_up(problem, *need) {
                continue;
            }
            if bits::numbers(&blocking).all(|item| self.now.lend_to(problem, open, item)) {
                self.now.ascend(problem, open, *need);
            }
        }
    }

    /// Where more needs than there is room wait for the items that take a resource, the resource has a price: it is added
    /// to the cost of each of these items, and what the room that is left is worth is taken from the sum.
    fn ration(&mut self, problem: &Compiled, open: &Open<'_>) {
        for (takers, left) in problem.takers.iter().zip(open.left) {
            let takers = bits::and(takers, open.allowed);
            let room = usize::from(*left);
            let mut waiting: Vec<(Cost, usize)> = Vec::new();
            for (_, need) in &self.order {
                let blocking = self.now.blocking(problem, open, *need);
                let elsewhere = bits::without(&blocking, &takers);
                if bits::is_empty(&blocking) || !bits::is_empty(&elsewhere) {
                    continue;
                }
                let others = bits::without(&problem.meeting(*need, open.allowed), &takers);
                let gain = self.now.least_of(&others, self.now.slack(problem, *need));
                // Without any other way the need is worth whatever is enough.
                let gain = gain.or(open.best.map(|best| best - open.cost - self.now.sum));
                waiting.extend(gain.filter(|gain| *gain > Cost::ZERO).map(|gain| (gain, *need)));
            }
            if waiting.len() <= room {
                continue;
            }
            waiting.sort_unstable_by(|one, other| other.cmp(one));
            let Some((price, _)) = waiting.get(room).copied() else { continue };
            // No more than the greatest wish weighs, so that what all the room is worth can be written.
            let price = price.min(Cost::of_missed(MAX_WEIGHT));
            self.before.clone_from(&self.now);
            self.now.put_price(&takers, price, room);
            for (_, need) in &waiting {
                self.now.ascend(problem, open, *need);
            }
            // What nobody needed of the price is given back.
            if let Some(unused) = self.now.least_of(&takers, None) {
                self.now.put_price(&takers, Cost::ZERO - unused, room);
            }
            if self.now.sum <= self.before.sum {
                std::mem::swap(&mut self.now, &mut self.before);
            }
        }
    }

    /// A need gives its share back where at least two others wait for it, and takes what they leave.
    fn exchange(&mut self, problem: &Compiled, open: &Open<'_>) {
        for place in 0..self.order.len() {
            let Some((_, need)) = self.order.get(place).copied() else { continue };
            if self.now.share(need) == Cost::ZERO {
                continue;
            }
            let meeting = problem.meeting(need, open.allowed);
            let waits = |shares: &Shares, other: usize| {
                let blocking = shares.blocking(problem, open, other);
                !bits::is_empty(&blocking)
                    && bits::is_empty(&bits::without(&blocking, &meeting))
                    && !shares.is_given_up(problem, other)
            };
            let waiting = self.order.iter().filter(|(_, other)| *other != need && waits(&self.now, *other));
            if waiting.take(2).count() < 2 {
                continue;
            }
            self.before.clone_from(&self.now);
            self.now.take(problem, open, need, Cost::ZERO - self.before.share(need));
            for (_, other) in self.order.iter().filter(|(_, other)| *other != need) {
                self.now.ascend(problem, open, *other);
            }
            self.now.ascend(problem, open, need);
            if self.now.sum <= self.before.sum {
                std::mem::swap(&mut self.now, &mut self.before);
            }
        }
    }
}

impl Shares {
    fn left_of(&self, item: usize) -> Cost {
        self.left_of.get(item).copied().unwrap_or(Cost::ZERO)
    }

    fn share(&self, need: usize) -> Cost {
        self.share.get(need).copied().unwrap_or(Cost::ZERO)
    }

    /// How much more a need may take before going without it is as cheap.
    fn slack(&self, problem: &Compiled, need: usize) -> Option<Cost> {
        Some(problem.can_go_without(need)? - self.share(need))
    }

    fn is_given_up(&self, problem: &Compiled, need: usize) -> bool {
        self.slack(problem, need) == Some(Cost::ZERO)
    }

    /// The items that keep a need from taking more.
    fn blocking(&self, problem: &Compiled, open: &Open<'_>, need: usize) -> Items {
        bits::and(&problem.meeting(need, open.allowed), &self.tight)
    }

    /// The least that is left of some items, or a limit.
    fn least_of(&self, items: &Items, limit: Option<Cost>) -> Option<Cost> {
        bits::numbers(items).map(|item| self.left_of(item)).chain(limit).min()
    }

    /// How much more a need may take; nothing where nothing meets it.
    fn room(&self, problem: &Compiled, open: &Open<'_>, need: usize) -> Option<Cost> {
        self.least_of(&problem.meeting(need, open.allowed), self.slack(problem, need))
    }

    fn ascend(&mut self, problem: &Compiled, open: &Open<'_>, need: usize) {
        if !bits::is_empty(&self.blocking(problem, open, need)) {
            return;
        }
        if let Some(room) = self.room(problem, open, need).filter(|room| *room > Cost::ZERO) {
            self.take(problem, open, need, room);
        }
    }

    fn take(&mut self, problem: &Compiled, open: &Open<'_>, need: usize, amount: Cost) {
        self.sum += amount;
        self.charge(problem, open, need, amount);
    }

    fn charge(&mut self, problem: &Compiled, open: &Open<'_>, need: usize, amount: Cost) {
        if let Some(share) = self.share.get_mut(need) {
            *share += amount;
        }
        for item in bits::numbers(&problem.meeting(need, open.allowed)) {
            self.add(item, Cost::ZERO - amount);
        }
    }

    fn add(&mut self, item: usize, amount: Cost) {
        if let Some(left) = self.left_of.get_mut(item) {
            *left += amount;
            if *left == Cost::ZERO {
                bits::insert(&mut self.tight, item);
            } else {
                bits::remove(&mut self.tight, item);
            }
        }
    }

    fn put_price(&mut self, takers: &Items, price: Cost, room: usize) {
        for item in bits::numbers(takers) {
            self.add(item, price);
        }
        for _ in 0..room {
            self.sum -= price;
        }
    }

    /// Adds to an item's cost what is left of the items that it would bring; whether that was anything.
    fn lend_to(&mut self, problem: &Compiled, open: &Open<'_>, item: usize) -> bool {
        let Some(row) = problem.items.get(item) else { return false };
        let mut lent = false;
        for need in bits::numbers(&bits::without(&row.wants, open.settled)) {
            if let Some(room) = self.room(problem, open, need).filter(|room| *room > Cost::ZERO) {
                self.charge(problem, open, need, room);
                self.add(item, room);
                lent = true;
            }
        }
        lent
    }
}
