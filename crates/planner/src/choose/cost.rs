//! Costs: lexicographic levels packed into one integer.

use std::ops::{Add, AddAssign, Sub, SubAssign};

use crate::request::{Aim, MAX_WEIGHT};

/// The largest price of an item in minor units: ten thousand million dollars.
pub const MAX_PRICE: u64 = (1 << 40) - 1;
/// The longest time of an item, in hundredths of a minute: what a record may say.
const MAX_MINUTES_HUNDREDTHS: u64 = (1 << 20) - 1;

/// Bits of each level: what 512 items (9 bits) of the greatest value sum to, and one to spare.
const COUNT_BITS: u32 = 10;
const PRICE_BITS: u32 = 50;
const MINUTES_BITS: u32 = 30;
/// Where levels begin, whichever comes first: the sums of the widths above in the order of each aim.
pub(super) const BOUNDARIES: [u32; 10] = [0, 10, 30, 40, 50, 60, 70, 90, 100, ITEM_BITS];
/// All levels of an item together; the weight of missed wishes stands above them.
const ITEM_BITS: u32 = 3 * COUNT_BITS + PRICE_BITS + MINUTES_BITS;

/// A cost, or a sum or difference of costs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cost(i128);

impl Cost {
    /// Nothing.
    pub const ZERO: Self = Self(0);
    /// The least difference between two costs.
    pub const LEAST: Self = Self(1);

    /// The cost of one item. What is not known counts before what is: no price is not a price of nothing.
    pub fn new(aim: Aim, price: Option<u64>, minutes_hundredths: Option<u64>) -> Self {
        let unpriced = (u64::from(price.is_none_or(|price| price > MAX_PRICE)), COUNT_BITS);
        let price = (price.filter(|price| *price <= MAX_PRICE).unwrap_or(0), PRICE_BITS);
        let untimed = (u64::from(minutes_hundredths.is_none()), COUNT_BITS);
        let minutes = (minutes_hundredths.unwrap_or(0).min(MAX_MINUTES_HUNDREDTHS), MINUTES_BITS);
        let count = (1, COUNT_BITS);
        Self::packed(match aim {
            Aim::LowestPrice => [unpriced, price, count, untimed, minutes],
            Aim::FewestParts => [count, unpriced, price, untimed, minutes],
            Aim::LeastBenchTime => [untimed, minutes, unpriced, price, count],
        })
    }

    /// Bits of the greatest cost: all levels, and above them the weights of 64 wishes of at most 1,000.
    pub(super) const WIDTH: u32 = ITEM_BITS + 16;

    pub(super) const fn bits(self) -> i128 {
        self.0
    }

    pub(super) const fn of_bits(bits: i128) -> Self {
        Self(bits)
    }

    /// A part of a cost that so many parts do not exceed.
    pub(super) fn divided_by(self, parts: u32) -> Self {
        Self(self.0.div_euclid(i128::from(parts.max(1))))
    }

    fn packed(levels: [(u64, u32); 5]) -> Self {
        Self(levels.into_iter().fold(0, |sum, (value, bits)| (sum << bits) | i128::from(value)))
    }

    /// What going without a wish costs: more than any items, whatever they cost.
    pub fn of_missed(weight: u32) -> Self {
        Self(i128::from(weight.min(MAX_WEIGHT)) << ITEM_BITS)
    }
}

// What can be chosen sums to far less than there is room for. A bound may go beyond, where nothing can be chosen: it stays
// at the greatest number, which is still no more than it should be.
impl Add for Cost {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Cost {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sub for Cost {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl SubAssign for Cost {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}
