//! The tilts between those that are examined one by one: whether one of them is free, or that none is.
//!
//! A range of tilts is taken as a whole: a point of the body that moves along an arc stays above its lowest and below its highest place, so
//! that some heights are forbidden whatever the tilt. Where that leaves something, the range is halved.

use super::forbid::Seen;
use super::travel::Positions;
use super::{Examined, Screen, ScreenQuestion, ScreenRules, forbid, spans};
use crate::result::EXACTNESS;
use crate::surroundings::{Obstacle, Span};

/// The most ranges of tilts that are looked at: a range of 100° goes down to hundredths of a degree where it is close.
pub(super) const MAX_RANGES: usize = 2_000;

/// So many points are followed along each edge of the body.
const POINTS_OF_AN_EDGE: u8 = 8;

/// What is known of the tilts in between.
pub(super) enum Between {
    /// Something is free at one of them.
    Free(Examined),
    /// Nothing that can be taken is free at any of them.
    Never,
    /// Neither was found within the limit.
    Open,
}

/// Searches a range of tilts at the greatest stand-off: a screen closer to the dash is never more free.
pub(super) fn search(
    question: &ScreenQuestion<'_>,
    obstacles: &[Obstacle],
    rules: &ScreenRules,
    positions: &Positions,
    tilts: Span,
    most_ranges: usize,
) -> Between {
    let stand_off = positions.greatest_stand_off();
    let mut ranges = vec![tilts];
    for _ in 0..most_ranges {
        let Some(range) = ranges.pop() else { return Between::Never };
        let core = Core::new(question.screen, stand_off, range);
        if core.is_behind_dash() {
            continue;
        }
        let forbidden = forbid::all(&core, question, obstacles, rules);
        let free = spans::free(positions.heights, forbidden.iter().map(|(_, _, heights)| *heights));
        if !positions.can_be_taken(&free) {
            continue;
        }
        let middle = f64::midpoint(range.from, range.to);
        let examined = Examined::new(question, obstacles, rules, positions, stand_off, middle);
        if positions.can_be_taken(&examined.free) {
            return Between::Free(examined);
        }
        ranges.extend([Span { from: middle, to: range.to }, Span { from: range.from, to: middle }]);
    }
    Between::Open
}

/// What is certain of a point of the body over a range of tilts.
struct Track {
    lowest_y: f64,
    highest_y: f64,
    furthest_z: f64,
}

/// What is certain of the body over a range of tilts.
struct Core {
    tracks: Vec<Track>,
}

impl Core {
    fn new(screen: &Screen, stand_off: f64, tilts: Span) -> Self {
        let tilts = Span { from: tilts.from.to_radians(), to: tilts.to.to_radians() };
        let (height, thickness) = (screen.height.get(), screen.thickness.get());
        let pivot = screen.pivot();
        let axis = pivot - height / 2.0;
        let shares = || (0..=POINTS_OF_AN_EDGE).map(|point| f64::from(point) / f64::from(POINTS_OF_AN_EDGE));
        let along = shares().flat_map(|share| [(share, 0.0), (share, 1.0)]);
        let out = shares().flat_map(|share| [(0.0, share), (1.0, share)]);
        let track = |(along, out): (f64, f64)| {
            let (v, w) = (along * height - pivot, out * thickness);
            Track {
                lowest_y: axis - highest(-v, -w, tilts),
                highest_y: axis + highest(v, w, tilts),
                furthest_z: stand_off + highest(w, -v, tilts),
            }
        };
        Self { tracks: along.chain(out).map(track).collect() }
    }

    /// Whether it is behind the dash face at every tilt.
    fn is_behind_dash(&self) -> bool {
        self.tracks.iter().any(|track| track.furthest_z < -EXACTNESS)
    }
}

impl Seen for Core {
    fn upright(&self) -> Span {
        self.upright_below(f64::INFINITY).unwrap_or(Span { from: 0.0, to: 0.0 })
    }

    /// At every tilt some of the part is at least as high as the upper end, and some as low as the lower one. The ends may be the wrong
    /// way round.
    fn upright_below(&self, z: f64) -> Option<Span> {
        let below = || self.tracks.iter().filter(|track| track.furthest_z < z - EXACTNESS);
        let to = below().map(|track| track.lowest_y).reduce(f64::max)?;
        let from = below().map(|track| track.highest_y).reduce(f64::min)?;
        Some(Span { from, to })
    }
}

/// The greatest value of a cos x + b sin x over a range.
fn highest(a: f64, b: f64, range: Span) -> f64 {
    let at = |x: f64| a * x.cos() + b * x.sin();
    let turn = std::f64::consts::TAU;
    let crest = b.atan2(a);
    let next_crest = crest + turn * ((range.from - crest) / turn).ceil();
    if next_crest <= range.to { a.hypot(b) } else { at(range.from).max(at(range.to)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_greatest_value_is_that_of_the_sampled_curve() {
        for (a, b, from, to) in [
            (1.0, 0.0, -0.5, 0.5),
            (1.0, 0.0, 0.2, 0.5),
            (-3.0, 4.0, 1.0, 3.0),
            (-3.0, 4.0, -3.0, -1.0),
            (0.0, 0.0, 0.0, 1.0),
            (2.0, -1.0, -3.1, 3.1),
            (-1.0, -1e-1, -3.0, 3.0),
        ] {
            let samples = (0..=10_000).map(|k| from + (to - from) * f64::from(k) / 1e4);
            let sampled = samples.map(|x: f64| a * x.cos() + b * x.sin()).fold(f64::NEG_INFINITY, f64::max);
            let found = highest(a, b, Span { from, to });
            assert!(found >= sampled - 1e-12 && found <= sampled + 1e-6, "{a} {b}: {found} is not {sampled}");
        }
    }
}
