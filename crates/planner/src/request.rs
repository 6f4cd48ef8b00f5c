//! What a caller asks of a plan: the radio, what has to be kept, what counts, and which parts may be used.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::Need;
use dashwright_quantity::{Currency, Money};
use dashwright_snapshot::RecordIx;

use dashwright_checks::rules::Rules;

/// The weight of a wish that names none.
pub const DEFAULT_WEIGHT: u32 = 1;
/// The greatest weight: three digits tell any two wishes apart, and sums stay small.
pub const MAX_WEIGHT: u32 = 1_000;

/// What counts once as many wishes are kept as can be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Aim {
    /// The lowest price.
    #[default]
    LowestPrice,
    /// The fewest parts.
    FewestParts,
    /// The least time on the bench.
    LeastBenchTime,
}

/// What the caller wants kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    /// Nothing but what is named; otherwise everything that the car has now.
    pub only_named: bool,
    /// Weights by need; 0 says that it is not wished. A need that the car does not have is an addition.
    pub named: BTreeMap<Need, u32>,
}

impl Wishes {
    /// The weight of a need that the car has; 0 where it is not wished.
    #[must_use]
    pub fn weight(&self, need: Need) -> u32 {
        let otherwise = if self.only_named { 0 } else { DEFAULT_WEIGHT };
        self.named.get(&need).copied().unwrap_or(otherwise)
    }
}

/// Which parts may be used, and what they cost the caller.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Supply {
    /// Parts that the caller does not want.
    pub excluded: BTreeSet<RecordIx>,
    /// The parts that can be bought; every one without it.
    pub stock: Option<BTreeSet<RecordIx>>,
    /// Parts in the cart or on the bench: they cost nothing more.
    pub in_hand: BTreeSet<RecordIx>,
    /// The caller's own prices.
    pub prices: BTreeMap<RecordIx, Money>,
    /// The currency that is reckoned in; without it the radio's, and without that the first that a part is priced in.
    pub currency: Option<Currency>,
}

/// What a caller asks of a plan.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Request {
    /// What has to be kept.
    pub wishes: Wishes,
    /// What counts.
    pub aim: Aim,
    /// Which parts may be used.
    pub supply: Supply,
    /// Losses that the caller consents to by name.
    pub consents: BTreeSet<Need>,
    /// Whether the caller asks in so many words for a lead that feigns the parking brake.
    pub feign_parking_brake: bool,
    /// What the checks are held against.
    pub rules: Rules,
}

/// Whether a loss may be consented to: without a mount, supply or ground there is nothing to install.
#[must_use]
pub const fn may_be_lost(need: Need) -> bool {
    !matches!(need, Need::Mount | Need::Power | Need::Ground | Need::Switched)
}
