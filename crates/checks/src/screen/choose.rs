//! The position that is recommended: it covers least, then leans least, then is nearest to the opening's centre, then closest to the dash.

use dashwright_quantity::{Degrees, Fraction, Millimetres, Offset, SquareMillimetres};

use super::forbid::Seen;
use super::travel::Positions;
use super::{Examined, ScreenQuestion};
use crate::result::EXACTNESS;
use crate::surroundings::{Obstacle, Span};

/// So much of a millimetre, of its square or of a degree is no difference between positions.
const ALIKE: f64 = 1e-6;

/// How much of one neighbour is covered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Covered {
    /// Its place in the list of surroundings.
    pub obstacle: usize,
    /// The area.
    pub area: SquareMillimetres,
    /// The same as a share of its own area.
    pub share: Fraction,
}

/// What stands proud and is closest to the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NearestProud {
    /// Its place in the list of surroundings.
    pub obstacle: usize,
    /// The distance, in whatever direction.
    pub distance: Millimetres,
}

/// The outline of a screen in the front view, in dash-face coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Front {
    /// Left edge.
    pub left: Offset,
    /// Right edge.
    pub right: Offset,
    /// Lower edge.
    pub bottom: Offset,
    /// Upper edge.
    pub top: Offset,
}

/// A position that is recommended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recommended {
    /// Height of the screen's centre over the zero height.
    pub height: Offset,
    /// The stand-off.
    pub stand_off: Millimetres,
    /// The tilt.
    pub tilt: Degrees,
    /// The screen as it is seen from the front, over the opening's centre.
    pub front: Front,
    /// What is covered together.
    pub covered_area: SquareMillimetres,
    /// What is covered one by one, in the order of the surroundings; what is not covered is left out.
    pub covered: Vec<Covered>,
    /// What stands proud and is closest; nothing where nothing stands proud.
    pub nearest_proud: Option<NearestProud>,
}

/// The recommended one of all legal positions; nothing where there is none.
pub(super) fn choose(
    question: &ScreenQuestion<'_>,
    obstacles: &[Obstacle],
    positions: &Positions,
    examined: &[Examined],
) -> Option<Recommended> {
    let place = Place { question, obstacles };
    let candidates = examined.iter().flat_map(|it| {
        let heights =
            if positions.steps.is_some() { it.steps.clone() } else { place.candidates_of_intervals(it) };
        heights.into_iter().map(move |height| (it, height))
    });
    let best = candidates.min_by_key(|(it, height)| place.rank(it, *height))?;
    Some(place.recommended(best.0, best.1))
}

struct Place<'a> {
    question: &'a ScreenQuestion<'a>,
    obstacles: &'a [Obstacle],
}

impl Place<'_> {
    /// Of a continuous height: where the covered area, which is linear in pieces, changes its slope, the ends, and what is nearest to
    /// the opening's centre. The least area is at one of them.
    fn candidates_of_intervals(&self, examined: &Examined) -> Vec<f64> {
        let zero = self.question.y.get();
        let part = examined.body.upright().moved(zero);
        let mut turns = vec![-zero];
        for obstacle in self.obstacles {
            let Span { from: bottom, to: top } = obstacle.upright();
            turns.extend([bottom - part.to, bottom - part.from, top - part.to, top - part.from]);
        }
        let within = |free: &Span| {
            let (from, to) = (free.from, free.to);
            turns.iter().map(move |height| height.max(from).min(to)).collect::<Vec<_>>()
        };
        let ends = examined.free.iter().flat_map(|free| [free.from, free.to]);
        ends.chain(examined.free.iter().flat_map(within)).collect()
    }

    /// The lesser, the better. What is left beyond the rule makes the answer unique: leaning back before leaning forward, high before
    /// low.
    fn rank(
        &self,
        examined: &Examined,
        height: f64,
    ) -> (SquareMillimetres, Degrees, Millimetres, Millimetres, Degrees, Offset) {
        let covered = self.covered_areas(examined, height).map(|(_, area)| area).sum();
        let over_centre = self.over_centre(height).abs();
        (
            SquareMillimetres::nearest(alike(covered)),
            Degrees::nearest(alike(examined.tilt.abs())),
            Millimetres::nearest(alike(over_centre)),
            Millimetres::nearest(alike(examined.stand_off)),
            Degrees::nearest(-alike(examined.tilt)),
            Offset::nearest(-alike(height)),
        )
    }

    fn covered_areas(&self, examined: &Examined, height: f64) -> impl Iterator<Item = (usize, f64)> {
        let across = self.across();
        let upright = self.upright(examined, height);
        let areas = self.obstacles.iter().enumerate();
        areas.map(move |(place, it)| (place, across.overlap(it.across()) * upright.overlap(it.upright())))
    }

    fn recommended(&self, examined: &Examined, height: f64) -> Recommended {
        let areas: Vec<_> = self.covered_areas(examined, height).filter(|(_, area)| *area > ALIKE).collect();
        let covered = areas.iter().filter_map(|(place, area)| {
            let own = self.obstacles.get(*place)?.area();
            Some(Covered {
                obstacle: *place,
                area: SquareMillimetres::nearest(*area),
                share: Fraction::nearest(area / own),
            })
        });
        let covered_area: f64 = areas.iter().map(|(_, area)| area).sum();
        Recommended {
            height: Offset::nearest(height),
            stand_off: Millimetres::nearest(examined.stand_off),
            tilt: Degrees::nearest(examined.tilt),
            front: self.front(examined, height),
            covered_area: SquareMillimetres::nearest(covered_area),
            covered: covered.collect(),
            nearest_proud: self.nearest_proud(examined, height),
        }
    }

    fn front(&self, examined: &Examined, height: f64) -> Front {
        let (across, upright) = (self.across(), self.upright(examined, height));
        let edge = Offset::nearest;
        Front {
            left: edge(across.from),
            right: edge(across.to),
            bottom: edge(upright.from),
            top: edge(upright.to),
        }
    }

    fn nearest_proud(&self, examined: &Examined, height: f64) -> Option<NearestProud> {
        let over_centre = self.over_centre(height);
        let proud = self.obstacles.iter().enumerate().filter(|(_, it)| it.proud > Millimetres::ZERO);
        let distances = proud.map(|(obstacle, it)| {
            let beside = self.across().gap(it.across()).max(0.0);
            let distance = beside.hypot(examined.body.distance(over_centre, it));
            let distance = if distance <= EXACTNESS { 0.0 } else { distance };
            NearestProud { obstacle, distance: Millimetres::nearest(distance) }
        });
        distances.min_by_key(|it| it.distance)
    }

    fn over_centre(&self, height: f64) -> f64 {
        self.question.y.get() + height
    }

    fn upright(&self, examined: &Examined, height: f64) -> Span {
        examined.body.upright().moved(self.over_centre(height))
    }

    fn across(&self) -> Span {
        Span::around(self.question.x.get(), self.question.screen.width.get())
    }
}

fn alike(number: f64) -> f64 {
    (number / ALIKE).round() * ALIKE
}
