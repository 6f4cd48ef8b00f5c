//! A direct feed: the conductor from the battery to a load and back, and the fuse at its source.
//!
//! The fuse carries the load with a margin, and the conductor carries the fuse: otherwise the conductor would burn before the fuse
//! does. A bigger fuse never cures an overload.

use dashwright_quantity::{Amperes, Celsius, Factor, Fraction, Gauge, Metres, Ohms, OutOfRange, Volts};

use crate::conductor::{Series, TABLE_INSULATION, current_limit, resistance_per_metre};
use crate::fuse::{Fuse, fuse_for};
use crate::result::EXACTNESS;

/// How the current comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Return {
    /// Through a second conductor of the same size beside the first.
    Wire,
    /// Through the body, whose resistance is not counted: its joints have to be clean.
    Chassis,
}

/// The share that may be lost where none is stated.
const USUAL_DROP: f64 = 0.03;
/// How much more than the load a fuse carries where nothing is stated.
const USUAL_FUSE_FACTOR: f64 = 1.25;
/// The air around a conductor where nothing is stated, in °C.
pub const USUAL_AMBIENT: f64 = 20.0;
/// The least and the greatest factor of a fuse: below the load it would blow, and far above it protects nothing.
const FUSE_FACTORS: std::ops::RangeInclusive<f64> = 1.0..=3.0;

/// How many times the load a fuse carries.
///
/// # Errors
/// Below 1 and above 3.
pub fn fuse_factor(found: f64) -> Result<Factor, OutOfRange> {
    let (least, greatest) = FUSE_FACTORS.into_inner();
    let refused = OutOfRange { found, least, greatest, unit: Factor::UNIT };
    if FUSE_FACTORS.contains(&found) { Factor::new(found) } else { Err(refused) }
}

/// The rules of sizing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FeedRules {
    /// The share of the supply that may be lost on the way; just so much is allowed. Common practice, no source.
    pub allowed_drop: Fraction,
    /// The fuse carries so many times the load. Common practice, no source.
    pub fuse_factor: Factor,
    /// What the insulation takes for good: that of PVC by DIN VDE 0298-4.
    pub insulation: Celsius,
}

impl FeedRules {
    /// The rules that are taken where none are stated: 3 % may be lost, the fuse carries 1.25 times the load, the insulation is PVC.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            allowed_drop: Fraction::nearest(USUAL_DROP),
            fuse_factor: Factor::nearest(USUAL_FUSE_FACTOR),
            insulation: Celsius::nearest(TABLE_INSULATION),
        }
    }
}

/// A load to be fed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FeedQuestion {
    /// What it draws at most.
    pub load: Amperes,
    /// What the supply gives.
    pub supply: Volts,
    /// One way.
    pub length: Metres,
    /// The way back.
    pub returns: Return,
    /// The air around the conductor; the conductor is taken to be as warm.
    pub ambient: Celsius,
    /// The sizes to choose from.
    pub series: Series,
    /// The rules.
    pub rules: FeedRules,
}

/// A conductor in its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Laid {
    /// Its size.
    pub conductor: Gauge,
    /// Resistance of the whole way.
    pub resistance: Ohms,
    /// What is lost on it.
    pub drop: Volts,
    /// The same as a share of the supply.
    pub drop_share: Fraction,
    /// What it carries for good.
    pub limit: Amperes,
}

/// What a conductor lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lack {
    /// More is lost on it than is allowed.
    Drop {
        /// What is allowed.
        allowed: Volts,
    },
    /// It carries less than the fuse.
    Current {
        /// What the fuse carries.
        fuse: Amperes,
    },
}

/// A conductor that will not do, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rejected {
    /// The conductor.
    pub laid: Laid,
    /// What it lacks; never empty.
    pub lacks: Vec<Lack>,
}

/// A feed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feed {
    /// The thinnest conductor that will do.
    pub laid: Laid,
    /// The fuse at the source.
    pub fuse: Fuse,
    /// The next thinner one; nothing where there is none.
    pub thinner: Option<Rejected>,
}

/// Why there is no feed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoFeed {
    /// There is no load, no supply or no way.
    Nothing,
    /// No fuse carries so much.
    NoFuse {
        /// What it would have to carry.
        needed: Amperes,
    },
    /// The thickest conductor will not do.
    NoConductor {
        /// The thickest, and what it lacks.
        thickest: Rejected,
    },
}

/// Sizes a feed.
///
/// # Errors
/// When nothing will do.
pub fn size_feed(question: &FeedQuestion) -> Result<Feed, NoFeed> {
    let FeedQuestion { load, supply, length, series, rules, .. } = question;
    if load.get() <= 0.0 || supply.get() <= 0.0 || length.get() <= 0.0 {
        return Err(NoFeed::Nothing);
    }
    let needed =
        Amperes::new(load.get() * rules.fuse_factor.get()).map_err(|_| NoFeed::NoFuse { needed: *load })?;
    let fuse = fuse_for(needed).ok_or(NoFeed::NoFuse { needed })?;
    let mut thinner = None;
    for conductor in series.sizes() {
        let laid = lay(question, conductor);
        let lacks = lacks(question, &laid, fuse);
        if lacks.is_empty() {
            return Ok(Feed { laid, fuse, thinner });
        }
        thinner = Some(Rejected { laid, lacks });
    }
    Err(thinner.map_or(NoFeed::Nothing, |thickest| NoFeed::NoConductor { thickest }))
}

/// What becomes of a conductor that is laid.
#[must_use]
pub fn lay(question: &FeedQuestion, conductor: Gauge) -> Laid {
    let FeedQuestion { load, supply, length, returns, ambient, rules, .. } = question;
    let ways = match returns {
        Return::Wire => 2.0,
        Return::Chassis => 1.0,
    };
    let ohms = resistance_per_metre(conductor, *ambient) * length.get() * ways;
    // More than the supply gives is never lost.
    let drop = (load.get() * ohms).min(supply.get());
    Laid {
        conductor,
        resistance: Ohms::new(ohms).unwrap_or(Ohms::ZERO),
        drop: Volts::new(drop).unwrap_or(*supply),
        drop_share: Fraction::new(drop / supply.get()).unwrap_or(Fraction::ZERO),
        limit: current_limit(conductor, *ambient, rules.insulation),
    }
}

fn lacks(question: &FeedQuestion, laid: &Laid, fuse: Fuse) -> Vec<Lack> {
    let mut lacks = Vec::new();
    let allowed = question.supply.get() * question.rules.allowed_drop.get();
    // A drop that just meets the limit is allowed, however it comes out in binary.
    if laid.drop.get() > allowed * (1.0 + EXACTNESS) {
        lacks.push(Lack::Drop { allowed: Volts::new(allowed).unwrap_or(question.supply) });
    }
    if laid.limit < fuse.rating {
        lacks.push(Lack::Current { fuse: fuse.rating });
    }
    lacks
}

#[cfg(test)]
#[path = "feed_tests.rs"]
mod tests;
