//! Proofs that nothing is free.

use super::*;
use crate::result::Outcome;

const WIDE: [f64; 2] = [-300.0, 300.0];

/// From left to right past the screen, between two heights.
fn bar(bottom: f64, top: f64) -> Obstacle {
    let [left, right] = WIDE;
    obstacle([left, right, bottom, top], 0.0, NEVER)
}

fn barrier(screen: &Screen, obstacles: &[Obstacle], rules: &ScreenRules) -> Barrier {
    let found = ask(screen, obstacles, rules);
    assert_eq!(found.result.outcome, Outcome::Fail);
    proof(&found).barrier.clone()
}

/// 63 - (-50) = 113 mm are left, and the screen is 128 mm high.
#[test]
fn two_that_leave_too_little_between_them_are_told() {
    let high = Screen { height: mm(128.0), ..screen(20.0, 0.0) };
    let around = [bar(63.0, 300.0), bar(-300.0, -50.0), bar(280.0, 290.0)];
    let pair = |needs: f64| {
        Barrier::Pairs(vec![BlockingPair { lower: 1, upper: 0, leaves: offset(113.0), needs: offset(needs) }])
    };
    assert_eq!(barrier(&high, &around, &bare()), pair(128.0));
    // 3 mm to each.
    assert_eq!(barrier(&high, &around, &ScreenRules { cover_margin: mm(3.0), ..bare() }), pair(134.0));
    let found = ask(&high, &around, &bare());
    assert_eq!(found.result.margin.unwrap().signed(), -15.0);
    // Below 13 mm the lower one forbids, -50 + 64; above -1 the upper one, 63 - 64.
    let by: Vec<_> = proof(&found).stations.iter().flat_map(|station| &station.by).collect();
    let told: Vec<_> = by.iter().map(|it| (it.obstacle, it.rule, it.from.get(), it.to.get())).collect();
    assert_eq!(told, [(1, ClearRule::Cover, -364.0, 14.0), (0, ClearRule::Cover, -1.0, 364.0)]);
    // Of two tilts the one that needs less is told: 128 × cos 10° = 126.055392.
    let two = Screen { thickness: mm(0.0), tilt: tilts((0.0, 10.0, Some(10.0))), ..high };
    let Barrier::Pairs(pairs) = barrier(&two, &around, &bare()) else { panic!("no pair") };
    assert!((pairs[0].needs.get() - 126.055_392).abs() < 1e-6, "{pairs:?}");
    // Leaning needs less: 128 × cos 30° = 110.85 and no thickness. That takes 128 / 2 × sin 30° = 32 mm of stand-off.
    let leaning = Screen { thickness: mm(0.0), tilt: tilts((0.0, 30.0, Some(30.0))), ..high };
    assert_eq!(proof(&ask(&leaning, &around, &bare())).behind_dash, 1);
    let leaning = Screen { stand_off: travel((32.0, 32.0, None), mm), ..leaning };
    assert_eq!(recommended(&ask(&leaning, &around, &bare())).tilt.get(), 30.0);
}

#[test]
fn one_that_is_in_the_way_alone_is_told_alone() {
    let short = Screen { up_down: heights((-20.0, 20.0, None)), ..screen(20.0, 0.0) };
    // From -60 to 60, and from -58 to 58; the third alone forbids nothing below 10.
    let around = [bar(60.0, 80.0), bar(-10.0, 10.0), bar(-8.0, 8.0)];
    assert_eq!(barrier(&short, &around, &bare()), Barrier::Alone(vec![1, 2]));
}

/// A screen of 20 mm: the first forbids from -130 to -30, the second from -45 to 45, the third from 30 to 130; the fourth, from -50 to
/// -40, is not needed.
#[test]
fn three_that_only_do_it_together_are_told_together() {
    let low = Screen { height: mm(20.0), ..screen(20.0, 0.0) };
    let around = [bar(-120.0, -40.0), bar(-35.0, 35.0), bar(40.0, 120.0), bar(-60.0, -50.0)];
    assert_eq!(barrier(&low, &around, &bare()), Barrier::Together(vec![0, 1, 2]));
}

/// Close to the dash three more, which stand 10 mm proud, do it as well and reach higher. Further out they do nothing, so that the others
/// are needed, and those are enough close to the dash too.
#[test]
fn none_that_can_be_left_out_is_told() {
    let low = Screen { height: mm(20.0), stand_off: travel((5.0, 20.0, Some(15.0)), mm), ..screen(0.0, 0.0) };
    let knob = |bottom, top| Obstacle { proud: mm(10.0), strictness: shade(1.0), ..bar(bottom, top) };
    let around = [
        knob(-120.0, -38.0),
        knob(-36.0, 36.0),
        knob(38.0, 121.0),
        bar(-120.0, -40.0),
        bar(-35.0, 35.0),
        bar(40.0, 120.0),
    ];
    let found = ask(&low, &around, &bare());
    let by =
        |station: usize| proof(&found).stations[station].by.iter().map(|it| it.obstacle).collect::<Vec<_>>();
    assert_eq!((by(0), by(1)), (vec![0, 1, 2], vec![3, 4, 5]));
    assert_eq!(proof(&found).barrier, Barrier::Together(vec![3, 4, 5]));
}

#[test]
fn a_screen_that_reaches_behind_the_dash_face_is_told_so() {
    let leaning = Screen { tilt: tilts((30.0, 40.0, Some(10.0))), ..screen(10.0, 0.0) };
    let found = ask(&leaning, &[bar(0.0, 10.0)], &bare());
    assert_eq!((&proof(&found).barrier, proof(&found).behind_dash), (&Barrier::DashFace, 2));
    // Upright it does not, and there one obstacle does it alone.
    let leaning = Screen {
        tilt: tilts((0.0, 40.0, Some(20.0))),
        up_down: heights((-20.0, 20.0, None)),
        ..screen(10.0, 0.0)
    };
    let found = ask(&leaning, &[bar(0.0, 10.0)], &bare());
    assert_eq!((&proof(&found).barrier, proof(&found).behind_dash), (&Barrier::Alone(vec![0]), 2));
}

/// Lying nearly flat a screen of 128 mm is 128 cos 80° + 10 sin 80° = 32.07 mm high in the front view at both ends, and 10 mm at 90°. 64 mm
/// out its upper edge touches the dash face then.
#[test]
fn a_tilt_between_the_ends_is_found() {
    let check = |range: Range, leaves: f64, outcome: Outcome, complete: bool| {
        let flat = Screen {
            height: mm(128.0),
            stand_off: travel((60.0, 64.0, None), mm),
            tilt: tilts(range),
            ..screen(0.0, 0.0)
        };
        let around = [bar(0.0, 300.0), bar(-300.0, -leaves)];
        let found = ask(&flat, &around, &bare());
        assert_eq!((found.result.outcome, found.complete), (outcome, complete), "{range:?} {leaves}");
        found
    };
    let found = check((80.0, 100.0, None), 20.0, Outcome::Pass, false);
    assert_eq!((recommended(&found).tilt.get(), recommended(&found).stand_off.get()), (90.0, 64.0));
    // Only at 90° itself, where it touches both.
    let found = check((80.0, 101.0, None), 10.0, Outcome::Pass, false);
    assert!((recommended(&found).tilt.get() - 90.0).abs() < 1e-6);
    let found = check((80.0, 101.0, None), 9.9, Outcome::Fail, true);
    assert!(matches!(proof(&found).barrier, Barrier::Pairs(_)));
    // With steps all are examined.
    check((80.0, 101.0, Some(3.0)), 10.0, Outcome::Fail, true);
}

/// Upright from 70 to 85 mm are free, 20 + 50 and 135 - 50, and leaning by 10° a little more: never the step of 0 or that of 100 mm.
#[test]
fn tilts_between_the_ends_are_searched_for_steps() {
    let range = heights((0.0, 100.0, Some(100.0)));
    let stepped = Screen { up_down: range, tilt: tilts((-10.0, 10.0, None)), ..screen(60.0, 0.0) };
    let found = ask(&stepped, &[bar(-60.0, 20.0), bar(135.0, 160.0)], &bare());
    assert_eq!((&found.finding, found.complete), (&Finding::BetweenSteps, true));
    assert_eq!((found.result.outcome, found.result.missing.as_slice()), (Outcome::Fail, [].as_slice()));
    assert!(free(&found).contains(&(70.0, 85.0)));
}

#[test]
fn what_is_not_decided_within_the_limit_is_no_failure() {
    let flat = Screen { tilt: tilts((-10.0, 10.0, None)), ..screen(60.0, 0.0) };
    let around = [bar(47.0, 300.0), bar(-300.0, -47.0)];
    let question =
        ScreenQuestion { screen: &flat, x: Offset::ZERO, y: Offset::ZERO, surroundings: Some(&around) };
    let positions = travel::positions(&flat).unwrap();
    let open = positions.open_tilts.unwrap();
    let search = |most| between::search(&question, &around, &bare(), &positions, open, most);
    // At 10° it is still 98.5 mm high, and the whole range at once does not show it.
    assert!(matches!(search(1), between::Between::Open));
    assert!(matches!(search(between::MAX_RANGES), between::Between::Never));
    let examined = Vec::new();
    let undecided = report::report(&question, &bare(), &positions, &examined, Finding::BetweenSteps, false);
    assert_eq!((undecided.result.outcome, undecided.result.missing), (Outcome::NoData, vec![TILT_STEP]));
}
