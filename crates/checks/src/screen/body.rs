//! The body of a screen seen from the side: a rectangle that is turned about the tilt axis.

use super::Screen;
use super::forbid::Seen;
use crate::result::EXACTNESS;
use crate::surroundings::{Obstacle, Span};

/// A point seen from the side.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    /// Up, from the height of the screen's centre at tilt 0.
    y: f64,
    /// Out of the dash.
    z: f64,
}

/// The body for one stand-off and one tilt, around a height of zero.
#[derive(Clone, Copy, Debug)]
pub(super) struct Body {
    /// In order around it.
    corners: [Point; 4],
}

impl Body {
    pub(super) fn new(screen: &Screen, stand_off: f64, tilt: f64) -> Self {
        let height = screen.height.get();
        let pivot = screen.pivot();
        let axis = pivot - height / 2.0;
        let (sin, cos) = tilt.to_radians().sin_cos();
        let (low, high) = (-pivot, height - pivot);
        let (back, front) = (0.0, screen.thickness.get());
        let corners = [(low, back), (high, back), (high, front), (low, front)];
        let corners =
            corners.map(|(v, w)| Point { y: axis + v * cos + w * sin, z: stand_off - v * sin + w * cos });
        Self { corners }
    }

    pub(super) fn is_behind_dash(&self) -> bool {
        self.least_z() < -EXACTNESS
    }

    /// Its distance from an obstacle seen from the side, at a height; zero where they overlap or touch.
    pub(super) fn distance(&self, height: f64, obstacle: &Obstacle) -> f64 {
        let Span { from: bottom, to: top } = obstacle.upright().moved(-height);
        let proud = obstacle.proud.get();
        let other = [(bottom, 0.0), (top, 0.0), (top, proud), (bottom, proud)].map(|(y, z)| Point { y, z });
        let other = Self { corners: other };
        if self.holds(&other) || other.holds(self) {
            return 0.0;
        }
        let pairs = self.edges().flat_map(|one| other.edges().map(move |other| between_edges(one, other)));
        pairs.fold(f64::INFINITY, f64::min)
    }

    /// Whether it holds a corner of another.
    fn holds(&self, other: &Self) -> bool {
        let inside = |point: &Point| {
            let on = |sign: f64| self.edges().all(|edge| sign * side(edge, *point) >= 0.0);
            on(1.0) || on(-1.0)
        };
        // A flat body holds nothing, and every point in line with it would be on no side of any edge.
        area(&self.corners) > EXACTNESS && other.corners.iter().any(inside)
    }

    fn least_z(&self) -> f64 {
        hull(self.corners.iter().map(|corner| corner.z)).from
    }

    fn edges(&self) -> impl Iterator<Item = (Point, Point)> {
        let [one, two, three, four] = self.corners;
        [(one, two), (two, three), (three, four), (four, one)].into_iter()
    }
}

impl Seen for Body {
    fn upright(&self) -> Span {
        hull(self.corners.iter().map(|corner| corner.y))
    }

    fn upright_below(&self, z: f64) -> Option<Span> {
        if self.least_z() >= z - EXACTNESS {
            return None;
        }
        let corners = self.corners.iter().filter(|corner| corner.z <= z).map(|corner| corner.y);
        let cuts = self.edges().filter(|(one, other)| (one.z < z) != (other.z < z));
        let cuts = cuts.map(|(one, other)| one.y + (other.y - one.y) * ((z - one.z) / (other.z - one.z)));
        Some(hull(corners.chain(cuts)))
    }
}

fn hull(numbers: impl Iterator<Item = f64>) -> Span {
    let none = Span { from: f64::INFINITY, to: f64::NEG_INFINITY };
    numbers.fold(none, |hull, it| Span { from: hull.from.min(it), to: hull.to.max(it) })
}

/// Positive on one side of the line through an edge, negative on the other.
fn side((one, other): (Point, Point), point: Point) -> f64 {
    (other.y - one.y) * (point.z - one.z) - (other.z - one.z) * (point.y - one.y)
}

fn area([one, two, _, four]: &[Point; 4]) -> f64 {
    side((*one, *two), *four).abs()
}

fn between_edges(one: (Point, Point), other: (Point, Point)) -> f64 {
    let crosses =
        side(one, other.0) * side(one, other.1) < 0.0 && side(other, one.0) * side(other, one.1) < 0.0;
    if crosses {
        return 0.0;
    }
    let ends = [to_edge(other, one.0), to_edge(other, one.1), to_edge(one, other.0), to_edge(one, other.1)];
    ends.into_iter().fold(f64::INFINITY, f64::min)
}

fn to_edge((from, to): (Point, Point), point: Point) -> f64 {
    let (y, z) = (to.y - from.y, to.z - from.z);
    let length = y * y + z * z;
    let along = (point.y - from.y) * y + (point.z - from.z) * z;
    let share = if length > 0.0 { (along / length).clamp(0.0, 1.0) } else { 0.0 };
    (point.y - from.y - share * y).hypot(point.z - from.z - share * z)
}
