//! Which sums of costs there can be: a bound between two of them counts as the higher one.
//!
//! A level of a sum is a whole number of steps, the greatest common divisor of what is added there, and the levels below
//! one never come to more than all items together. A bound beyond that is as good as the next step of the level above.

use super::super::cost::{BOUNDARIES, Cost};

/// A level of the sums.
struct Level {
    /// Its lowest bit.
    shift: u32,
    /// Where the next one begins.
    end: u32,
    /// What all its values are multiples of.
    step: i128,
    /// What all values come to.
    most: i128,
    /// What all values of the levels below come to.
    most_below: i128,
}

/// The levels, the lowest first.
pub(super) struct Grain(Vec<Level>);

impl Grain {
    /// The grain of what these costs sum to, each taken once at the most.
    pub(super) fn of(costs: &[Cost]) -> Self {
        let below = |shift: u32| costs.iter().map(|cost| cost.bits() & ((1 << shift) - 1)).sum::<i128>();
        // A boundary is one of this problem's if no sum is carried over it.
        let shifts: Vec<u32> = BOUNDARIES.into_iter().filter(|shift| below(*shift) < 1 << shift).collect();
        let ends = shifts.iter().skip(1).copied().chain([Cost::WIDTH]);
        let levels = shifts.iter().zip(ends).map(|(shift, end)| {
            let mask = (1 << (end - shift)) - 1;
            let values = || costs.iter().map(|cost| (cost.bits() >> shift) & mask);
            let step = values().fold(0, greatest_common_divisor).max(1);
            Level { shift: *shift, end, step, most: values().sum(), most_below: below(*shift) }
        });
        Self(levels.collect())
    }

    /// No less than the bound, and no more than any sum that is no less than it.
    pub(super) fn round_up(&self, bound: Cost) -> Cost {
        let mut bits = bound.bits();
        if bits >> Cost::WIDTH != 0 {
            return bound;
        }
        for level in &self.0 {
            let below = bits & ((1 << level.shift) - 1);
            let value = (bits >> level.shift) & level.mask();
            let reached = if below > level.most_below { value + 1 } else { value };
            let whole = (reached + level.step - 1) / level.step * level.step;
            if whole > level.most {
                // The level never comes to that: one more of the level above, and nothing here.
                bits = ((bits >> level.end) + 1) << level.end;
            } else if whole != value {
                bits = ((bits >> level.shift) - value + whole) << level.shift;
            }
        }
        Cost::of_bits(bits)
    }
}

impl Level {
    const fn mask(&self) -> i128 {
        (1 << (self.end - self.shift)) - 1
    }
}

fn greatest_common_divisor(one: i128, other: i128) -> i128 {
    if other == 0 { one } else { greatest_common_divisor(other, one % other) }
}

#[cfg(test)]
mod tests {
    use super::super::super::cost::Cost;
    use super::super::super::instances::Numbers;
    use super::Grain;
    use crate::request::Aim;

    /// The least sum of some of the costs that is no less than a bound, by trying all.
    fn least_sum(costs: &[Cost], bound: Cost) -> Option<Cost> {
        let sums = (0_u32..1 << costs.len()).map(|mask| {
            let chosen = costs.iter().enumerate().filter(|(place, _)| mask & (1 << place) != 0);
            chosen.fold(Cost::ZERO, |sum, (_, cost)| sum + *cost)
        });
        sums.filter(|sum| *sum >= bound).min()
    }

    fn costs(numbers: &mut Numbers) -> Vec<Cost> {
        let aim = [Aim::LowestPrice, Aim::FewestParts, Aim::LeastBenchTime][numbers.below(3) as usize];
        // Coarse steps, and values so great that a level is nearly full.
        let prices = [None, Some(500), Some(1_500), Some((1 << 40) - 500), Some(3 << 38)];
        let minutes = [None, Some(200), Some(700), Some(1 << 19), Some((1 << 20) - 700)];
        let items = 2 + numbers.below(5);
        if numbers.below(3) == 0 {
            // Bare numbers, so that boundaries of levels lie anywhere.
            return (0..items)
                .map(|_| {
                    let (low, high) = (numbers.below(120) as u32, numbers.below(120) as u32);
                    Cost::of_bits((1 << low) + i128::from(numbers.below(4)) * 500 + (1 << high))
                })
                .collect();
        }
        let mut costs: Vec<Cost> = (0..items)
            .map(|_| {
                let (price, time) = (numbers.below(5) as usize, numbers.below(5) as usize);
                Cost::new(aim, prices[price], minutes[time])
            })
            .collect();
        costs.extend((0..numbers.below(3)).map(|_| Cost::of_missed(300 * (1 + numbers.below(3) as u32))));
        costs
    }

    /// A fraction of a sum of some, as bounds are, which lands in the middle of levels; or beside a sum at some bit.
    fn bound(numbers: &mut Numbers, costs: &[Cost]) -> Cost {
        let some = costs.iter().filter(|_| numbers.below(2) == 0);
        let sum = some.fold(Cost::ZERO, |sum, cost| sum + *cost).bits();
        let parts = i128::from(1 + numbers.below(7));
        let beside = 1_i128 << numbers.below(115);
        Cost::of_bits(match numbers.below(3) {
            0 => sum / parts,
            1 => sum + beside,
            _ => (sum - beside).max(0),
        })
    }

    #[test]
    fn no_sum_lies_between_a_bound_and_what_it_is_rounded_to() {
        let mut raised = 0;
        for seed in 0..20_000 {
            let mut numbers = Numbers::new(seed);
            let costs = costs(&mut numbers);
            let grain = Grain::of(&costs);
            let bound = bound(&mut numbers, &costs);
            let rounded = grain.round_up(bound);
            assert!(rounded >= bound, "seed {seed}: {bound:?} is rounded down to {rounded:?}");
            if let Some(least) = least_sum(&costs, bound) {
                assert!(rounded <= least, "seed {seed}: {bound:?} becomes {rounded:?}, beyond {least:?}");
            }
            raised += usize::from(rounded > bound);
        }
        assert!(raised > 5_000, "only {raised} bounds were rounded at all");
    }

    #[test]
    fn a_step_beyond_what_a_level_holds_is_carried_whole() {
        // A level of ten bits in steps of 500: the next step after 1,001 does not fit in it.
        let costs = [Cost::of_bits((1 << 10) + 500), Cost::of_bits(1 << 10), Cost::of_bits(500)];
        let rounded = Grain::of(&costs).round_up(Cost::of_bits(1_001));
        assert_eq!(rounded, Cost::of_bits(1 << 10));
    }
}
