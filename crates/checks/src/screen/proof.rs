//! The proof that nothing is free: for every stand-off and tilt the obstacles that together forbid the whole travel, and what that
//! comes down to.

use std::collections::BTreeSet;

use dashwright_quantity::{Degrees, Millimetres, Offset};

use super::forbid::Forbidden;
use super::{Examined, spans};
use crate::result::EXACTNESS;
use crate::surroundings::{Obstacle, Span};

/// Two obstacles that leave too little between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BlockingPair {
    /// The place of the one below.
    pub lower: usize,
    /// The place of the one above.
    pub upper: usize,
    /// From the upper edge of the one below to the lower edge of the one above; negative where they overlap in height.
    pub leaves: Offset,
    /// What the screen would need there, margins included, at the stand-off and tilt that need least.
    pub needs: Offset,
}

/// What keeps every position from being free.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Barrier {
    /// The dash face: the body would reach behind it in every position.
    DashFace,
    /// Each of these obstacles alone.
    Alone(Vec<usize>),
    /// Each of these pairs.
    Pairs(Vec<BlockingPair>),
    /// All of these together; without any of them something would be free.
    Together(Vec<usize>),
}

/// One stand-off with one tilt, and the fewest that forbid every height there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlockedStation {
    /// The stand-off.
    pub stand_off: Millimetres,
    /// The tilt.
    pub tilt: Degrees,
    /// The body would reach behind the dash face; then nothing else is listed.
    pub behind_dash: bool,
    /// From the lowest height up, each beginning below where the one before ends.
    pub by: Vec<Forbidden>,
}

/// That nothing is free at the stand-offs and tilts that were examined.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// What it comes down to, over all stations in which the body is not behind the dash face.
    pub barrier: Barrier,
    /// In so many stations the body would reach behind the dash face.
    pub behind_dash: usize,
    /// Station by station.
    pub stations: Vec<BlockedStation>,
}

/// Proves that nothing is free. Every station has to be without a free height.
pub(super) fn prove(obstacles: &[Obstacle], travel: Span, examined: &[Examined]) -> Proof {
    let before: Vec<_> = examined.iter().filter(|it| !it.behind_dash).collect();
    Proof {
        barrier: barrier(obstacles, travel, &before),
        behind_dash: examined.len() - before.len(),
        stations: examined.iter().map(|it| station(travel, it)).collect(),
    }
}

fn station(travel: Span, examined: &Examined) -> BlockedStation {
    let by = if examined.behind_dash { Vec::new() } else { fewest(travel, examined) };
    BlockedStation {
        stand_off: Millimetres::nearest(examined.stand_off),
        tilt: Degrees::nearest(examined.tilt),
        behind_dash: examined.behind_dash,
        by,
    }
}

/// The fewest forbidden intervals that cover the travel: from the lowest height up always the one that reaches highest.
fn fewest(travel: Span, examined: &Examined) -> Vec<Forbidden> {
    let mut chosen = Vec::new();
    let mut height = travel.from;
    while height <= travel.to + EXACTNESS {
        let reach = examined.forbidden.iter().filter(|(_, _, it)| it.from < height - EXACTNESS);
        let Some(best) = reach.max_by(|(_, _, one), (_, _, other)| one.to.total_cmp(&other.to)) else {
            break;
        };
        if best.2.to <= height + EXACTNESS {
            break;
        }
        height = best.2.to;
        chosen.push(Forbidden::new(best));
    }
    chosen
}

fn barrier(obstacles: &[Obstacle], travel: Span, before: &[&Examined]) -> Barrier {
    let Some(first) = before.first() else { return Barrier::DashFace };
    let block = |set: &[usize]| before.iter().all(|it| blocks(travel, it, set));
    let present: BTreeSet<_> = first.forbidden.iter().map(|(place, _, _)| *place).collect();
    let alone: Vec<_> = present.iter().copied().filter(|place| block(&[*place])).collect();
    if !alone.is_empty() {
        return Barrier::Alone(alone);
    }
    let pairs = present.iter().flat_map(|one| present.range(one + 1..).map(|other| [*one, *other]));
    let pairs = pairs.filter(|pair| block(pair)).filter_map(|pair| blocking_pair(obstacles, before, pair));
    let pairs: Vec<_> = pairs.collect();
    if pairs.is_empty() { Barrier::Together(together(travel, before)) } else { Barrier::Pairs(pairs) }
}

/// Whether some obstacles alone leave nothing free at a station.
fn blocks(travel: Span, examined: &Examined, set: &[usize]) -> bool {
    let forbidden = examined.forbidden.iter().filter(|(place, _, _)| set.contains(place));
    spans::free(travel, forbidden.map(|(_, _, heights)| *heights)).is_empty()
}

/// A set from which none can be left out.
fn together(travel: Span, before: &[&Examined]) -> Vec<usize> {
    let mut set: Vec<usize> = Vec::new();
    for examined in before {
        if !blocks(travel, examined, &set) {
            set.extend(fewest(travel, examined).iter().map(|it| it.obstacle));
        }
    }
    set.sort_unstable();
    set.dedup();
    for place in set.clone() {
        let without: Vec<_> = set.iter().copied().filter(|it| *it != place).collect();
        if before.iter().all(|examined| blocks(travel, examined, &without)) {
            set = without;
        }
    }
    set
}

fn blocking_pair(
    obstacles: &[Obstacle],
    before: &[&Examined],
    [one, other]: [usize; 2],
) -> Option<BlockingPair> {
    let middle = |place: usize| obstacles.get(place).map(|it| it.bottom.get() + it.top.get());
    let (lower, upper) = if middle(one)? <= middle(other)? { (one, other) } else { (other, one) };
    let leaves = obstacles.get(upper)?.bottom.get() - obstacles.get(lower)?.top.get();
    let short = before.iter().filter_map(|it| {
        let of = |wanted: usize| it.forbidden.iter().filter(move |(place, _, _)| *place == wanted);
        let above_lower = of(lower).map(|(_, _, heights)| heights.to).max_by(f64::total_cmp)?;
        let below_upper = of(upper).map(|(_, _, heights)| heights.from).min_by(f64::total_cmp)?;
        Some(above_lower - below_upper)
    });
    let short = short.min_by(f64::total_cmp)?;
    Some(BlockingPair {
        lower,
        upper,
        leaves: Offset::nearest(leaves),
        needs: Offset::nearest(leaves + short),
    })
}
