//! Selecting the parts: the demands of a job as a problem for the exact choice, and its solution read back.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::Need;
use dashwright_model::record::Part;
use dashwright_model::record::part::{Contained, Occupancy, Resource};
use dashwright_quantity::{Currency, Minutes, Money, PartId};
use dashwright_snapshot::RecordIx;

use crate::answer::Importance;
use crate::choose::{self, Choice, Cost, Item, Problem, Solution, When};
use crate::demand::{Demand, replaces_panel};
use crate::job::JobView;
use crate::plan::{Alternative, Total};

/// The most alternatives that are told: a person compares three lists, not thirty.
pub const MAX_ALTERNATIVES: usize = 3;

/// The parts that can be chosen for some demands, and the problem that they make.
pub(crate) struct Selection<'j, 'a> {
    job: &'j JobView<'a>,
    currency: Option<Currency>,
    /// The parts, in the order of their ids: an item of the problem each.
    parts: Vec<(RecordIx, &'a Part)>,
    /// The needs of the problem, in its order.
    needs: Vec<Need>,
    problem: Problem,
}

/// A solution in terms of the catalogue.
#[derive(Clone, Debug)]
pub(crate) struct Selected {
    pub(crate) parts: Vec<RecordIx>,
    pub(crate) missed: Vec<Need>,
    pub(crate) proven: bool,
}

/// What came of a choice.
pub(crate) enum Best {
    /// This is it.
    Found(Selected, Solution),
    /// There is none.
    None,
    /// The search was broken off before it knew.
    Unsettled,
}

impl Best {
    /// The choice, where there is one.
    pub(crate) fn found(self) -> Option<Selected> {
        match self {
            Self::Found(selected, _) => Some(selected),
            Self::None | Self::Unsettled => None,
        }
    }
}

impl<'j, 'a> Selection<'j, 'a> {
    /// The problem of the demands that count and that `wanted` lets through.
    pub(crate) fn of(
        job: &'j JobView<'a>,
        demands: &[&Demand<'a>],
        currency: Option<Currency>,
    ) -> Selection<'j, 'a> {
        let counted: Vec<&Demand<'a>> = demands.iter().copied().filter(|demand| demand.counts()).collect();
        let parts: Vec<(RecordIx, &Part)> = candidates(job, &counted).into_iter().collect();
        let mut selection =
            Selection { job, currency, parts, needs: Vec::new(), problem: Problem::default() };
        for demand in &counted {
            selection.needs.push(demand.need);
            selection.problem.demands.push(choose::Demand {
                weight: (demand.importance == Importance::Wished).then_some(demand.weight),
                when: if demand.on_panel { When::Activated } else { When::Always },
            });
        }
        let resources = resources(job, &selection.parts);
        selection.problem.capacities = resources.iter().map(|resource| job.capacity(resource)).collect();
        selection.problem.items = selection
            .parts
            .iter()
            .map(|(index, part)| selection.item(*index, part, &counted, &resources))
            .collect();
        selection
    }

    fn item(&self, index: RecordIx, part: &Part, counted: &[&Demand<'a>], resources: &[Resource]) -> Item {
        let numbered = || counted.iter().enumerate();
        let covers = numbered()
            .filter(|(_, demand)| demand.offers.iter().any(|offer| offer.part == index))
            .map(|(number, _)| number);
        let activates = numbered()
            .filter(|(_, demand)| demand.on_panel && replaces_panel(part.kind))
            .map(|(number, _)| number);
        let takes = part.occupies.iter().filter(|occupied| occupied.mode == Occupancy::Takes);
        let takes =
            takes.filter_map(|occupied| resources.iter().position(|resource| *resource == occupied.what));
        Item {
            covers: covers.collect(),
            activates: activates.collect(),
            cost: self.cost(index, part),
            requires: part.requires.iter().map(|group| self.standing_in(group)).collect(),
            conflicts: self.standing_in(&part.conflicts),
            takes: takes.collect(),
        }
    }

    /// The items that are one of some parts, or have one of them in the box.
    fn standing_in(&self, ids: &[PartId]) -> Vec<usize> {
        let stands = |part: &Part| {
            ids.contains(&part.id)
                || part.contains.iter().any(|contained| match contained {
                    Contained::Part { part, .. } => ids.contains(part),
                    Contained::Piece { .. } => false,
                })
        };
        let numbered = self.parts.iter().enumerate();
        numbered.filter(|(_, (_, part))| stands(part)).map(|(number, _)| number).collect()
    }

    fn cost(&self, index: RecordIx, part: &Part) -> Cost {
        let price = price(self.job, index, part, self.currency).map(|price| price.minor_units);
        Cost::new(self.job.request.aim, price, part.bench_time.map(hundredths))
    }

    /// The best choice.
    pub(crate) fn best(&self) -> Best {
        match choose::choose(&self.problem, choose::NODE_LIMIT) {
            Ok(Choice::Proven(solution)) => Best::Found(self.selected(&solution, true), solution),
            Ok(Choice::NotProven { best: Some(solution), .. }) => {
                Best::Found(self.selected(&solution, false), solution)
            }
            Ok(Choice::Infeasible) => Best::None,
            // Broken off before a choice was seen, or too large to be begun: that there is none is not known.
            Ok(Choice::NotProven { best: None, .. }) | Err(_) => Best::Unsettled,
        }
    }

    /// The best choice for all that is wished but one need.
    pub(crate) fn best_without(&self, need: Need) -> Option<Selected> {
        let number = self.needs.iter().position(|own| *own == need)?;
        let mut problem = self.problem.clone();
        // What arises only with an item, and with none, never arises.
        problem.demands.get_mut(number)?.when = When::Activated;
        for item in &mut problem.items {
            item.activates.retain(|own| *own != number);
        }
        match choose::choose(&problem, choose::NODE_LIMIT) {
            Ok(Choice::Proven(solution)) => Some(self.selected(&solution, true)),
            Ok(Choice::NotProven { .. } | Choice::Infeasible) | Err(_) => None,
        }
    }

    /// The next best choices that are no supersets of a better one.
    pub(crate) fn alternatives(&self, best: &Solution) -> Vec<Selected> {
        let (next, proven) = choose::alternatives(&self.problem, best, MAX_ALTERNATIVES, choose::NODE_LIMIT);
        next.iter().map(|solution| self.selected(solution, proven)).collect()
    }

    fn selected(&self, solution: &Solution, proven: bool) -> Selected {
        let parts = solution.items.iter().filter_map(|item| Some(self.parts.get(*item)?.0));
        let missed = solution.missed.iter().filter_map(|number| self.needs.get(*number).copied());
        Selected { parts: parts.collect(), missed: missed.collect(), proven }
    }
}

/// Every part that a demand may be met by, and every one that those need.
fn candidates<'a>(job: &JobView<'a>, demands: &[&Demand<'a>]) -> BTreeMap<RecordIx, &'a Part> {
    let mut found = BTreeMap::new();
    let mut open: Vec<RecordIx> =
        demands.iter().flat_map(|demand| &demand.offers).map(|offer| offer.part).collect();
    while let Some(index) = open.pop() {
        let Some(part) = job.part(index) else { continue };
        if found.insert(index, part).is_some() {
            continue;
        }
        let needed = part.requires.iter().flatten().filter_map(|id| job.find(id));
        let usable = |index: RecordIx, part: &Part| {
            (part.can_be_had() || job.in_hand(index))
                && job.left_out(index, part).is_none()
                && job.part_refusals(part).is_empty()
        };
        open.extend(needed.filter(|(index, part)| usable(*index, part)).map(|(index, _)| index));
    }
    found
}

/// The plugs and sockets that some of the parts take for themselves.
fn resources(job: &JobView<'_>, parts: &[(RecordIx, &Part)]) -> Vec<Resource> {
    let taken = parts.iter().flat_map(|(_, part)| &part.occupies);
    let taken: BTreeSet<&Resource> = taken
        .filter(|occupied| occupied.mode == Occupancy::Takes)
        .map(|occupied| &occupied.what)
        // What there is plenty of limits nothing.
        .filter(|resource| usize::from(job.capacity(resource)) < parts.len())
        .collect();
    taken.into_iter().cloned().collect()
}

/// What a part costs the caller in a currency; nothing where that is not known.
pub(crate) fn price(
    job: &JobView<'_>,
    index: RecordIx,
    part: &Part,
    currency: Option<Currency>,
) -> Option<Money> {
    let currency = currency?;
    if job.in_hand(index) {
        return Some(Money { currency, minor_units: 0 });
    }
    let own = job.request.supply.prices.get(&index).copied();
    own.or(part.price.map(|price| price.amount)).filter(|price| price.currency == currency)
}

/// The currency of a job.
pub(crate) fn currency(job: &JobView<'_>) -> Option<Currency> {
    let of_radio = || job.radio.price.map(|price| price.amount.currency);
    let of_parts = || {
        let mut prices = job.view.snapshot.parts().iter().filter_map(|(_, part)| part.price);
        prices.next().map(|price| price.amount.currency)
    };
    job.request.supply.currency.or_else(of_radio).or_else(of_parts)
}

/// What parts come to.
pub(crate) fn total(job: &JobView<'_>, parts: &[RecordIx], currency: Option<Currency>) -> Total {
    let mut total = Total {
        price: currency.map(|currency| Money { currency, minor_units: 0 }),
        unpriced: 0,
        count: 0,
        minutes: Minutes::ZERO,
        untimed: 0,
    };
    let mut minutes = 0;
    for (index, part) in parts.iter().filter_map(|index| Some((*index, job.part(*index)?))) {
        total.count += 1;
        let sum =
            price(job, index, part, currency).zip(total.price).and_then(|(own, sum)| sum.plus(own).ok());
        match sum {
            Some(sum) => total.price = Some(sum),
            None => total.unpriced += 1,
        }
        match part.bench_time {
            Some(time) => minutes += hundredths(time),
            None => total.untimed += 1,
        }
    }
    total.minutes = from_hundredths(minutes);
    total
}

/// A choice as another list of parts.
pub(crate) fn alternative(job: &JobView<'_>, selected: Selected, currency: Option<Currency>) -> Alternative {
    let total = total(job, &selected.parts, currency);
    Alternative { parts: selected.parts, total, missed: selected.missed }
}

/// Times are added as whole hundredths of a minute, so that the order of adding changes nothing.
fn hundredths(time: Minutes) -> u64 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10,000 minutes")]
    let hundredths = (time.get() * 100.0).round() as u64;
    hundredths
}

/// The sum of times; more than can be written is told as the most that can.
pub(crate) fn from_hundredths(hundredths: u64) -> Minutes {
    #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
    let minutes = hundredths as f64 / 100.0;
    Minutes::new(minutes.min(Minutes::GREATEST)).unwrap_or(Minutes::ZERO)
}
