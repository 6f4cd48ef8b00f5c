//! Generated problems: shaped like a catalogue's, with traps that a greedy choice walks into, ties, chains and cycles of
//! requirements, contention and conflicts. A seed gives the same problem for ever.

use super::{Aim, Cost, Demand, Item, Problem, When};

/// An item with what its cost was made of, so that a checker can reckon for itself.
#[derive(Clone, Debug)]
pub(super) struct Priced {
    /// Price in minor units, if known.
    pub(super) price: Option<u64>,
    /// Hundredths of a minute, if known.
    pub(super) minutes: Option<u64>,
}

/// A generated problem.
#[derive(Clone, Debug)]
pub(super) struct Instance {
    /// The problem.
    pub(super) problem: Problem,
    /// What each item's cost was made of.
    pub(super) priced: Vec<Priced>,
    /// The aim.
    pub(super) aim: Aim,
}

/// Numbers from a seed: xorshift (Marsaglia, "Xorshift RNGs", 2003), which is all that a generator of tests needs.
pub(super) struct Numbers(u64);

impl Numbers {
    #[must_use]
    pub(super) const fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// A number below another.
    pub(super) fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % end.max(1)
    }

    fn index(&mut self, end: usize) -> usize {
        usize::try_from(self.below(end as u64)).unwrap_or(0)
    }

    fn chance(&mut self, of_hundred: u64) -> bool {
        self.below(100) < of_hundred
    }
}

/// The problem of a seed, with so many demands and items.
#[must_use]
pub(super) fn instance(seed: u64, demands: usize, items: usize) -> Instance {
    let mut numbers = Numbers::new(seed);
    let aim = match numbers.index(3) {
        0 => Aim::LowestPrice,
        1 => Aim::FewestParts,
        _ => Aim::LeastBenchTime,
    };
    let resources = 2 + numbers.index(4);
    let demands: Vec<Demand> = (0..demands).map(|_| demand(&mut numbers)).collect();
    // In some catalogues many lists come to the same: then the order of ids has to decide.
    let prices = if numbers.chance(40) { vec![500, 1_000] } else { Vec::new() };
    let mut priced = Vec::new();
    let built: Vec<Item> = (0..items)
        .map(|number| {
            let one = price(&mut numbers, &prices);
            let item = item(
                &mut numbers,
                number,
                (demands.len(), items, resources),
                Cost::new(aim, one.price, one.minutes),
            );
            priced.push(one);
            item
        })
        .collect();
    let capacities = (0..resources).map(|_| u16::try_from(numbers.below(3)).unwrap_or(0)).collect();
    Instance { problem: Problem { demands, items: built, capacities }, priced, aim }
}

fn demand(numbers: &mut Numbers) -> Demand {
    let weight = numbers.chance(60).then(|| u32::try_from(1 + numbers.below(4)).unwrap_or(1));
    let when = if numbers.chance(12) { When::Activated } else { When::Always };
    Demand { weight, when }
}

fn price(numbers: &mut Numbers, prices: &[u64]) -> Priced {
    let price = match numbers.below(100) {
        // In hand.
        0..10 => Some(0),
        10..14 => None,
        _ if prices.is_empty() => Some(300 + numbers.below(12_000)),
        _ => prices.get(numbers.index(prices.len())).copied(),
    };
    let minutes = match prices.is_empty() {
        true if numbers.chance(92) => [200, 500, 1_200, 1_500].get(numbers.index(4)).copied(),
        true => None,
        false => Some(500),
    };
    Priced { price, minutes }
}

fn item(
    numbers: &mut Numbers,
    number: usize,
    (demands, items, resources): (usize, usize, usize),
    cost: Cost,
) -> Item {
    // Most parts meet one or a few needs; a bundle meets a run of them.
    let few = if numbers.chance(15) { 4 + numbers.index(5) } else { 1 + numbers.index(3) };
    let start = numbers.index(demands);
    let near = numbers.chance(60);
    let covers = (0..few).map(|step| if near { (start + step) % demands } else { numbers.index(demands) });
    let mut covers: Vec<usize> = covers.collect();
    covers.sort_unstable();
    covers.dedup();
    Item {
        covers,
        activates: if numbers.chance(12) { vec![numbers.index(demands)] } else { Vec::new() },
        cost,
        requires: requires(numbers, number, items),
        conflicts: if numbers.chance(10) { others(numbers, number, items, 2) } else { Vec::new() },
        takes: match numbers.below(100) {
            0..35 => vec![numbers.index(resources)],
            // Two resources, now and then the same one twice.
            35..45 => vec![numbers.index(resources), numbers.index(resources)],
            _ => Vec::new(),
        },
    }
}

fn requires(numbers: &mut Numbers, number: usize, items: usize) -> Vec<Vec<usize>> {
    match numbers.below(100) {
        0..11 => vec![others(numbers, number, items, 3)],
        11..14 => vec![others(numbers, number, items, 3), others(numbers, number, items, 2)],
        // A chain, which the last item closes to a ring; and pairs that require each other.
        14..17 => vec![vec![(number + 1) % items]],
        17..20 if number ^ 1 < items => vec![vec![number ^ 1]],
        _ => Vec::new(),
    }
}

fn others(numbers: &mut Numbers, number: usize, items: usize, most: usize) -> Vec<usize> {
    let count = 1 + numbers.index(most);
    (0..count).map(|_| numbers.index(items)).filter(|other| *other != number).collect()
}
