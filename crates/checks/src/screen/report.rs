//! A report in figures.

use dashwright_quantity::{Degrees, Millimetres, Offset};

use super::choose::Recommended;
use super::proof::{Barrier, BlockingPair};
use super::travel::{Positions, Travel};
use super::{
    Examined, Finding, Heights, SURROUNDINGS, ScreenQuestion, ScreenReport, ScreenRules, Station, TILT_STEP,
};
use crate::result::{CheckKind, CheckResult, Margin, Outcome, Value, spare};

/// The formula.
pub const FORMULA: &str =
    "heights free of every obstacle, for each stand-off and tilt; body turned about its axis";

pub(super) fn report(
    question: &ScreenQuestion<'_>,
    rules: &ScreenRules,
    positions: &Positions,
    examined: &[Examined],
    finding: Finding,
    complete: bool,
) -> ScreenReport {
    let mut result = CheckResult::begin(CheckKind::Screen, FORMULA);
    settings(rules, &mut result);
    inputs(question, &mut result);
    result.outcome = match &finding {
        Finding::NotExamined => {
            result.missing.push(SURROUNDINGS);
            Outcome::NoData
        }
        Finding::Free(recommended) => {
            recommend(recommended, &mut result);
            if recommended.covered.is_empty() { Outcome::Pass } else { Outcome::Advise }
        }
        Finding::BetweenSteps | Finding::Blocked(_) if !complete => {
            result.missing.push(TILT_STEP);
            Outcome::NoData
        }
        Finding::BetweenSteps => Outcome::Fail,
        Finding::Blocked(proof) => {
            result.margin = shortage(&proof.barrier);
            Outcome::Fail
        }
    };
    let stations: Vec<_> = examined.iter().map(station).collect();
    let steps = stations.iter().map(|it| it.steps.len()).sum();
    let free = stations.iter().map(|it| it.free.len()).sum();
    if positions.steps.is_some() {
        result.result("free steps", Value::count(steps));
    }
    result.result("free intervals", Value::count(free));
    ScreenReport { result, stations, finding, complete }
}

fn settings(rules: &ScreenRules, result: &mut CheckResult) {
    let ScreenRules { collision_margin, cover_margin, reach_gap, reach_margin } = *rules;
    result.setting("room beside what stands proud", collision_margin);
    result.setting("room beside what may never be covered", cover_margin);
    result.setting("room for a hand behind the screen", reach_gap);
    result.setting("room beside what has to be reached", reach_margin);
}

fn inputs(question: &ScreenQuestion<'_>, result: &mut CheckResult) {
    let ScreenQuestion { screen, x, y, surroundings } = question;
    result.input("screen width", Some(screen.width));
    result.input("screen height", Some(screen.height));
    result.input("screen thickness", Some(screen.thickness));
    result.input("axis over the lower edge", Some(Millimetres::nearest(screen.pivot())));
    travel(["least height", "greatest height", "step of the height"], &screen.up_down, result);
    travel(["least stand-off", "greatest stand-off", "step of the stand-off"], &screen.stand_off, result);
    travel(["least tilt", "greatest tilt", TILT_STEP], &screen.tilt, result);
    result.input("frame centre to the right", Some(*x));
    result.input("frame centre above", Some(*y));
    if let Some(obstacles) = surroundings {
        result.input(SURROUNDINGS, Some(Value::count(obstacles.len())));
    }
}

fn travel<T: Copy + Into<Value>>(names: [&'static str; 3], travel: &Travel<T>, result: &mut CheckResult) {
    let [least, greatest, step] = names;
    result.input(least, Some(travel.least));
    result.input(greatest, Some(travel.greatest));
    if travel.step.is_some() {
        result.input(step, travel.step);
    }
}

fn recommend(recommended: &Recommended, result: &mut CheckResult) {
    let Recommended { height, stand_off, tilt, front: _, covered_area, covered: _, nearest_proud } =
        recommended;
    result.result("recommended height", *height);
    result.result("recommended stand-off", *stand_off);
    result.result("recommended tilt", *tilt);
    result.result("covered area", *covered_area);
    if let Some(nearest) = nearest_proud {
        result.result("distance to what stands proud", nearest.distance);
    }
}

/// What the pair lacks that lacks least.
fn shortage(barrier: &Barrier) -> Option<Margin> {
    let Barrier::Pairs(pairs) = barrier else { return None };
    let least = |pair: &BlockingPair| spare(pair.leaves.get(), pair.needs.get());
    let most = pairs.iter().map(least).max_by(f64::total_cmp)?;
    Some(Margin::of("room between two obstacles", most, Millimetres::nearest))
}

fn station(examined: &Examined) -> Station {
    let free = examined.free.iter();
    Station {
        stand_off: Millimetres::nearest(examined.stand_off),
        tilt: Degrees::nearest(examined.tilt),
        behind_dash: examined.behind_dash,
        free: free.map(|it| Heights { from: Offset::nearest(it.from), to: Offset::nearest(it.to) }).collect(),
        steps: examined.steps.iter().map(|it| Offset::nearest(*it)).collect(),
    }
}
