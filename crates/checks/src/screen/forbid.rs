//! The heights that one obstacle forbids a body.

use dashwright_quantity::Offset;

use super::{ScreenQuestion, ScreenRules};
use crate::result::EXACTNESS;
use crate::surroundings::{Obstacle, Span, Strictness};

/// A rule that forbids heights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ClearRule {
    /// The body would run into what stands proud.
    Collision,
    /// It would cover what may never be covered.
    Cover,
    /// A hand would not reach what it has to.
    Reach,
    /// More would be shaded than may be.
    Shade,
}

/// Heights between two that one obstacle forbids; the ends themselves are not forbidden by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Forbidden {
    /// The place of the obstacle in the list of surroundings.
    pub obstacle: usize,
    /// Why.
    pub rule: ClearRule,
    /// The lower end.
    pub from: Offset,
    /// The upper end.
    pub to: Offset,
}

impl Forbidden {
    pub(super) fn new((obstacle, rule, heights): &(usize, ClearRule, Span)) -> Self {
        let Span { from, to } = heights;
        Self { obstacle: *obstacle, rule: *rule, from: Offset::nearest(*from), to: Offset::nearest(*to) }
    }
}

/// A body as the rules see it, around a height of zero.
pub(super) trait Seen {
    /// How high it reaches, in the front view.
    fn upright(&self) -> Span;

    /// How high its part reaches that is closer to the dash face than a distance; nothing where all of it is as far out or further.
    fn upright_below(&self, z: f64) -> Option<Span>;
}

/// The open intervals of heights that all obstacles forbid.
pub(super) fn all(
    body: &impl Seen,
    question: &ScreenQuestion<'_>,
    obstacles: &[Obstacle],
    rules: &ScreenRules,
) -> Vec<(usize, ClearRule, Span)> {
    let across = Span::around(question.x.get(), question.screen.width.get());
    let zero = question.y.get();
    let each = obstacles.iter().enumerate().flat_map(|(place, obstacle)| {
        let forbidden = forbidden(body, across, obstacle, rules);
        forbidden.map(move |(rule, heights)| (place, rule, heights.moved(-zero)))
    });
    each.collect()
}

/// The open intervals of heights over the opening's centre that an obstacle forbids.
fn forbidden(
    body: &impl Seen,
    across: Span,
    obstacle: &Obstacle,
    rules: &ScreenRules,
) -> impl Iterator<Item = (ClearRule, Span)> {
    let proud = obstacle.proud.get();
    let clear = |part: Span, margin: f64| keep_clear(part, across, obstacle, margin);
    let collides = body.upright_below(proud).and_then(|part| clear(part, rules.collision_margin.get()));
    let own = match obstacle.strictness {
        Strictness::NeverCover => {
            clear(body.upright(), rules.cover_margin.get()).map(|heights| (ClearRule::Cover, heights))
        }
        Strictness::KeepReachable => body
            .upright_below(proud + rules.reach_gap.get())
            .and_then(|part| clear(part, rules.reach_margin.get()))
            .map(|heights| (ClearRule::Reach, heights)),
        Strictness::MayShade { up_to } => {
            shade(body.upright(), across, obstacle, up_to.get()).map(|heights| (ClearRule::Shade, heights))
        }
    };
    collides.map(|heights| (ClearRule::Collision, heights)).into_iter().chain(own)
}

/// The heights at which a part of the body is closer to an obstacle than a margin, in the dash plane.
fn keep_clear(part: Span, across: Span, obstacle: &Obstacle, margin: f64) -> Option<Span> {
    let beside = across.gap(obstacle.across());
    if beside >= margin - EXACTNESS {
        return None;
    }
    let beside = beside.max(0.0);
    let above = (margin * margin - beside * beside).sqrt();
    let upright = obstacle.upright();
    Some(Span { from: upright.from - above - part.to, to: upright.to + above - part.from })
}

/// The heights at which more of an obstacle is covered than a share.
fn shade(part: Span, across: Span, obstacle: &Obstacle, up_to: f64) -> Option<Span> {
    let wide = across.overlap(obstacle.across());
    let upright = obstacle.upright();
    if wide <= EXACTNESS || upright.length() <= EXACTNESS {
        return None;
    }
    let high = up_to * obstacle.area() / wide;
    if part.length().min(upright.length()) <= high + EXACTNESS {
        return None;
    }
    Some(Span { from: upright.from + high - part.to, to: upright.to - high - part.from })
}
