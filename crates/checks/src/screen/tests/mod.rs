//! Screens: intervals, recommendations and proofs worked out by hand, at the edges, and what never makes more free.

mod by_hand;
mod chosen;
mod geometry_library;
mod never_more;
mod proven;

use dashwright_quantity::Fraction;

use super::*;
use crate::surroundings::Strictness;

/// A range and its step.
type Range = (f64, f64, Option<f64>);

fn mm(length: f64) -> Millimetres {
    Millimetres::new(length).unwrap()
}

fn offset(coordinate: f64) -> Offset {
    Offset::new(coordinate).unwrap()
}

fn travel<T>((least, greatest, step): Range, new: fn(f64) -> T) -> Travel<T> {
    Travel { least: new(least), greatest: new(greatest), step: step.map(new) }
}

/// A screen of 200 × 100 × 10 mm that goes 100 mm up and down, continuously, at one stand-off and one tilt.
fn screen(stand_off: f64, tilt: f64) -> Screen {
    let degrees = |degrees| Degrees::new(degrees).unwrap();
    Screen {
        width: mm(200.0),
        height: mm(100.0),
        thickness: mm(10.0),
        pivot_over_lower_edge: None,
        up_down: travel((-100.0, 100.0, None), offset),
        stand_off: travel((stand_off, stand_off, None), mm),
        tilt: travel((tilt, tilt, None), degrees),
    }
}

fn heights(range: Range) -> Travel<Offset> {
    travel(range, offset)
}

fn tilts(range: Range) -> Travel<Degrees> {
    travel(range, |degrees| Degrees::new(degrees).unwrap())
}

const NEVER: Strictness = Strictness::NeverCover;
const REACH: Strictness = Strictness::KeepReachable;

fn shade(up_to: f64) -> Strictness {
    Strictness::MayShade { up_to: Fraction::new(up_to).unwrap() }
}

/// Left, right, bottom, top.
fn obstacle([left, right, bottom, top]: [f64; 4], proud: f64, strictness: Strictness) -> Obstacle {
    let [left, right, bottom, top] = [left, right, bottom, top].map(offset);
    Obstacle { left, right, bottom, top, proud: mm(proud), strictness }
}

/// No margin at all, and 40 mm for a hand.
fn bare() -> ScreenRules {
    ScreenRules {
        collision_margin: Millimetres::ZERO,
        cover_margin: Millimetres::ZERO,
        reach_gap: mm(40.0),
        reach_margin: Millimetres::ZERO,
    }
}

fn at(screen: &Screen, obstacles: &[Obstacle], rules: &ScreenRules, (x, y): (f64, f64)) -> ScreenReport {
    let question = ScreenQuestion { screen, x: offset(x), y: offset(y), surroundings: Some(obstacles) };
    check_screen(&question, rules).unwrap()
}

fn ask(screen: &Screen, obstacles: &[Obstacle], rules: &ScreenRules) -> ScreenReport {
    at(screen, obstacles, rules, (0.0, 0.0))
}

fn free(report: &ScreenReport) -> Vec<(f64, f64)> {
    let free = report.stations.iter().flat_map(|station| &station.free);
    free.map(|heights| (heights.from.get(), heights.to.get())).collect()
}

fn steps(report: &ScreenReport) -> Vec<f64> {
    report.stations.iter().flat_map(|station| &station.steps).map(|height| height.get()).collect()
}

fn recommended(report: &ScreenReport) -> &Recommended {
    let Finding::Free(recommended) = &report.finding else { panic!("{:?}", report.finding) };
    recommended
}

fn proof(report: &ScreenReport) -> &Proof {
    let Finding::Blocked(proof) = &report.finding else { panic!("{:?}", report.finding) };
    proof
}
