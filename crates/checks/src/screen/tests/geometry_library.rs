//! Free heights of floating screens against an independent library of geometry, `geo` (GeoRust): it turns the body, and tells distances,
//! overlaps and areas of polygons at sampled heights.
//!
//! Inside a free interval it must find every rule kept, and outside by more than 1e-6 mm it must find one broken. Where a share of an
//! area decides, that is left open as long as the area is closer to its limit than the library's areas are exact.

use super::{mm, offset};
use crate::screen::{Finding, Screen, ScreenQuestion, ScreenReport, ScreenRules, Travel, check_screen};
use crate::surroundings::{Obstacle, Strictness};
use dashwright_quantity::{Degrees, Fraction, Millimetres, Offset};
use geo::{
    Area, BooleanOps, BoundingRect, Coord, Distance, Euclidean, Line, LinesIter, Point, Polygon, Rect,
    Relate, Rotate, coord,
};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

/// So many layouts are generated.
const LAYOUTS: u32 = 2_500;
/// Samples closer to an end are left to the hand-worked tests of touching.
const EDGE: f64 = 1e-6;
/// The library's overlay counts in whole steps of a grid, so that its areas are exact to so many mm².
const AREA_EDGE: f64 = 1e-3;

#[derive(Clone, Debug)]
struct Layout {
    screen: Screen,
    x: f64,
    y: f64,
    obstacles: Vec<Obstacle>,
    rules: ScreenRules,
}

fn obstacles(whole: bool) -> impl Strategy<Value = Obstacle> {
    let place = (-220.0..180.0, -220.0..180.0, 4.0..150.0, 4.0..150.0);
    (place, 0.0..50.0, 0..4_u8, 0.0..=1.0).prop_map(
        move |((left, bottom, width, height), proud, kind, share)| {
            let on = |number: f64| if whole { number.round() } else { number };
            let [left, bottom, width, height] = [left, bottom, width, height].map(on);
            Obstacle {
                left: offset(left),
                right: offset(left + width),
                bottom: offset(bottom),
                top: offset(bottom + height),
                proud: mm(if kind == 3 { 0.0 } else { on(proud) }),
                strictness: match kind {
                    0 => Strictness::NeverCover,
                    1 => Strictness::KeepReachable,
                    _ => Strictness::MayShade { up_to: Fraction::new(share).unwrap() },
                },
            }
        },
    )
}

fn screens(whole: bool) -> impl Strategy<Value = Screen> {
    let size = (80.0..300.0, 50.0..220.0, 0.0..25.0);
    (size, proptest::option::of(0.0..1.0), 0.0..120.0, -70.0..70.0).prop_map(
        move |((width, height, thickness), pivot, stand_off, tilt)| {
            let on = |number: f64| if whole { number.round() } else { number };
            let [stand_off, thickness] = [stand_off, thickness].map(on).map(mm);
            // Upright where everything is whole, so that edges lie on each other.
            let tilt = Degrees::new(if whole { 0.0 } else { tilt }).unwrap();
            Screen {
                width: mm(on(width)),
                height: mm(on(height)),
                thickness,
                pivot_over_lower_edge: pivot.map(|share: f64| mm(on(share * height))),
                up_down: Travel { least: offset(-120.0), greatest: offset(120.0), step: None },
                stand_off: Travel { least: stand_off, greatest: stand_off, step: None },
                tilt: Travel { least: tilt, greatest: tilt, step: None },
            }
        },
    )
}

fn layouts() -> impl Strategy<Value = Layout> {
    let margin = || prop_oneof![Just(0.0), 0.0..15.0];
    (0..5_u8).prop_flat_map(move |kind| {
        let whole = kind == 0;
        (
            screens(whole),
            proptest::collection::vec(obstacles(whole), 1..6),
            (-30.0..30.0, -30.0..30.0),
            (margin(), margin(), margin(), 0.0..50.0),
        )
            .prop_map(move |(screen, obstacles, (x, y), (collision, cover, reach, gap))| {
                let on = |number: f64| if whole { number.round() } else { number };
                let rules = ScreenRules {
                    collision_margin: mm(on(collision)),
                    cover_margin: mm(on(cover)),
                    reach_gap: mm(on(gap)),
                    reach_margin: mm(on(reach)),
                };
                Layout { screen, x: on(x), y: on(y), obstacles, rules }
            })
    })
}

/// What the library finds at one height.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Found {
    Kept,
    /// A share is met to the exactness of the library's areas.
    Close,
    Broken,
}

impl Layout {
    fn ask(&self) -> ScreenReport {
        let question = ScreenQuestion {
            screen: &self.screen,
            x: offset(self.x),
            y: offset(self.y),
            surroundings: Some(&self.obstacles),
        };
        check_screen(&question, &self.rules).unwrap()
    }

    /// The body seen from the side: up along the library's x, out of the dash along its y.
    fn side(&self, height: f64) -> Polygon {
        let Screen { height: high, thickness, pivot_over_lower_edge, stand_off, tilt, .. } = &self.screen;
        let pivot = pivot_over_lower_edge.map_or(high.get() / 2.0, Millimetres::get);
        let lower = self.y + height - high.get() / 2.0;
        let back = stand_off.least.get();
        let upright = Rect::new((lower, back), (lower + high.get(), back + thickness.get())).to_polygon();
        // The library turns counter-clockwise, and the upper edge leans back clockwise.
        upright.rotate_around_point(-tilt.least.get(), Point::new(lower + pivot, back))
    }

    fn across(&self) -> (f64, f64) {
        let half = self.screen.width.get() / 2.0;
        (self.x - half, self.x + half)
    }

    /// The front view of what lies between two heights.
    fn front(&self, (bottom, top): (f64, f64)) -> Polygon {
        let (left, right) = self.across();
        Rect::new((left, bottom), (right, top)).to_polygon()
    }

    fn found(&self, height: f64) -> Found {
        let side = self.side(height);
        if side.bounding_rect().unwrap().min().y < -1e-9 {
            return Found::Broken;
        }
        let all = self.obstacles.iter().map(|obstacle| self.found_at(&side, obstacle));
        all.fold(Found::Kept, |worst, found| match (worst, found) {
            (Found::Broken, _) | (_, Found::Broken) => Found::Broken,
            (Found::Close, _) | (_, Found::Close) => Found::Close,
            _ => Found::Kept,
        })
    }

    fn found_at(&self, side: &Polygon, obstacle: &Obstacle) -> Found {
        let rules = &self.rules;
        let proud = obstacle.proud.get();
        let too_close = |below: f64, margin: Millimetres| {
            cut(side, below).is_some_and(|part| closer(&self.front(part), &front_of(obstacle), margin.get()))
        };
        let whole = cut(side, f64::INFINITY).unwrap();
        let broken = too_close(proud, rules.collision_margin)
            || match obstacle.strictness {
                Strictness::NeverCover => too_close(f64::INFINITY, rules.cover_margin),
                Strictness::KeepReachable => too_close(proud + rules.reach_gap.get(), rules.reach_margin),
                Strictness::MayShade { .. } => false,
            };
        let Strictness::MayShade { up_to } = obstacle.strictness else {
            return if broken { Found::Broken } else { Found::Kept };
        };
        let own = front_of(obstacle);
        let beyond = self.front(whole).intersection(&own).unsigned_area() - up_to.get() * own.unsigned_area();
        match beyond {
            _ if broken => Found::Broken,
            beyond if beyond > AREA_EDGE => Found::Broken,
            beyond if beyond > -AREA_EDGE => Found::Close,
            _ => Found::Kept,
        }
    }
}

fn front_of(obstacle: &Obstacle) -> Polygon {
    let at = |x: Offset, y: Offset| coord! { x: x.get(), y: y.get() };
    Rect::new(at(obstacle.left, obstacle.bottom), at(obstacle.right, obstacle.top)).to_polygon()
}

/// From where to where reaches what is closer to the dash than a distance; nothing where nothing is.
fn cut(side: &Polygon, below: f64) -> Option<(f64, f64)> {
    let mut reached: Vec<f64> = Vec::new();
    for edge in side.lines_iter() {
        let inside = |end: &Coord| end.y < below - 1e-9;
        let ends = [edge.start, edge.end];
        reached.extend(ends.iter().filter(|end| inside(end)).map(|end| end.x));
        if inside(&edge.start) != inside(&edge.end) {
            let level = Line::new((-1e4, below), (1e4, below));
            if let Some(meet) = geo::line_intersection::line_intersection(edge, level) {
                let meet = match meet {
                    geo::LineIntersection::SinglePoint { intersection, .. } => intersection,
                    geo::LineIntersection::Collinear { intersection } => intersection.start,
                };
                reached.push(meet.x);
            }
        }
    }
    let least = reached.iter().copied().reduce(f64::min)?;
    Some((least, reached.iter().copied().reduce(f64::max)?))
}

/// Whether two are closer than a margin; with a margin of zero, whether their insides meet.
fn closer(one: &Polygon, other: &Polygon, margin: f64) -> bool {
    if margin > 0.0 {
        Euclidean.distance(one, other) < margin - 1e-9
    } else {
        one.relate(other).matches("T********").unwrap()
    }
}

/// Heights and whether they are told to be free; those at an end are left out.
fn samples(free: &[(f64, f64)]) -> Vec<(f64, bool)> {
    let near =
        |(from, to): &(f64, f64)| [from - 2e-6, from + 2e-6, to - 2e-6, to + 2e-6, from - 1e-2, to + 1e-2];
    let ends = free.iter().flat_map(near);
    let heights = ends.chain((0..=24).map(|step| -120.0 + 10.0 * f64::from(step) + 1e-3));
    let inside = |height: f64| free.iter().any(|(from, to)| from + EDGE < height && height < to - EDGE);
    let outside = |height: f64| free.iter().all(|(from, to)| height < from - EDGE || height > to + EDGE);
    let within = heights.filter(|height| (-120.0..=120.0).contains(height));
    within
        .filter(|height| inside(*height) != outside(*height))
        .map(|height| (height, inside(height)))
        .collect()
}

/// What the recommended position covers and how close it comes, as the library tells it.
fn check_recommended(layout: &Layout, report: &ScreenReport) {
    let Finding::Free(recommended) = &report.finding else { return };
    let side = layout.side(recommended.height.get());
    let front = layout.front(cut(&side, f64::INFINITY).unwrap());
    let covered = layout.obstacles.iter().map(|it| front.intersection(&front_of(it)).unsigned_area());
    let covered: f64 = covered.sum();
    let told = recommended.covered_area.get();
    assert!((covered - told).abs() < AREA_EDGE * 5.0, "{told} mm² is not {covered}: {layout:?}");
    let (left, right) = layout.across();
    let distances = layout.obstacles.iter().filter(|it| it.proud.get() > 0.0).map(|it| {
        let beside = Euclidean.distance(
            &Line::new((left, 0.0), (right, 0.0)),
            &Line::new((it.left.get(), 0.0), (it.right.get(), 0.0)),
        );
        let seen = Rect::new((it.bottom.get(), 0.0), (it.top.get(), it.proud.get())).to_polygon();
        beside.hypot(Euclidean.distance(&side, &seen))
    });
    let nearest = distances.reduce(f64::min);
    let told = recommended.nearest_proud.map(|it| it.distance.get());
    assert_eq!(told.is_some(), nearest.is_some());
    let (told, nearest) = (told.unwrap_or(0.0), nearest.unwrap_or(0.0));
    assert!((told - nearest).abs() < 1e-6, "{told} mm is not {nearest}: {layout:?}");
}

#[test]
fn free_heights_are_those_that_the_library_finds_free() {
    let mut runner =
        TestRunner::new(Config { cases: LAYOUTS, failure_persistence: None, ..Config::default() });
    let counts = std::cell::RefCell::new([0_u32; 5]);
    let result = runner.run(&layouts(), |layout| {
        let report = layout.ask();
        let free: Vec<_> = report.stations.iter().flat_map(|it| &it.free).collect();
        let free: Vec<_> = free.iter().map(|it| (it.from.get(), it.to.get())).collect();
        let mut counts = counts.borrow_mut();
        for (height, told) in samples(&free) {
            match layout.found(height) {
                Found::Close => counts[0] += 1,
                found => {
                    prop_assert!((found == Found::Kept) == told, "{height}: {found:?}, free: {free:?}");
                    counts[if told { 1 } else { 2 }] += 1;
                }
            }
        }
        counts[3] += u32::from(free.len() > 1);
        counts[4] += u32::from(free.is_empty());
        check_recommended(&layout, &report);
        Ok(())
    });
    let [close, kept, broken, split, blocked] = counts.into_inner();
    result.unwrap_or_else(|error| panic!("{error}"));
    // The layouts are of every sort, and nearly every sample is decided.
    assert!(kept > 10_000 && broken > 10_000 && close < (kept + broken) / 20, "{close} {kept} {broken}");
    assert!(split > LAYOUTS / 20 && blocked > LAYOUTS / 50, "{split} {blocked}");
}
