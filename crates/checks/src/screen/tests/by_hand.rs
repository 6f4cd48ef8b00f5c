//! Free heights, worked out by hand.

use super::*;
use crate::result::Outcome;

fn check(what: &str, report: &ScreenReport, expected: &[(f64, f64)]) {
    let found = free(report);
    let near = |one: f64, other: f64| (one - other).abs() < 5e-7;
    let alike = found.iter().zip(expected).all(|(one, other)| near(one.0, other.0) && near(one.1, other.1));
    assert!(found.len() == expected.len() && alike, "{what}: {found:?} is not {expected:?}");
}

/// The screen reaches 50 mm above and below its centre, and from -100 to 100 mm across.
#[test]
fn what_may_never_be_covered_is_kept_clear() {
    let flat = |sides| [obstacle(sides, 0.0, NEVER)];
    let margin = ScreenRules { cover_margin: mm(5.0), ..bare() };
    let upright = screen(20.0, 0.0);
    // 60 - 50 = 10; above 80 + 50 = 130 it does not come.
    check("above", &ask(&upright, &flat([-50.0, 50.0, 60.0, 80.0]), &bare()), &[(-100.0, 10.0)]);
    check("5 mm", &ask(&upright, &flat([-50.0, 50.0, 60.0, 80.0]), &margin), &[(-100.0, 5.0)]);
    // Past a corner 3 mm beside, 5 mm of distance are 4 mm of height.
    check("a corner", &ask(&upright, &flat([103.0, 120.0, 60.0, 80.0]), &margin), &[(-100.0, 6.0)]);
    check("just beside", &ask(&upright, &flat([105.0, 120.0, 60.0, 80.0]), &margin), &[(-100.0, 100.0)]);
    check("touching beside", &ask(&upright, &flat([100.0, 120.0, 0.0, 80.0]), &bare()), &[(-100.0, 100.0)]);
    // Both around: -60 + 50 = -10 and 60 - 50 = 10.
    let around = [flat([-50.0, 50.0, 60.0, 300.0]), flat([-50.0, 50.0, -300.0, -60.0])].concat();
    check("around", &ask(&upright, &around, &bare()), &[(-10.0, 10.0)]);
    // Just as high as the screen: one height is left, touching both.
    let tight = [flat([-50.0, 50.0, 53.5, 300.0]), flat([-50.0, 50.0, -300.0, -46.5])].concat();
    check("tight", &ask(&upright, &tight, &bare()), &[(3.5, 3.5)]);
    // Tilted by 60° it reaches 25 mm up and 25 mm down, and 10 sin 60° = 8.660254 mm more with its front.
    let leaning = screen(80.0, 60.0);
    check("tilted", &ask(&leaning, &flat([-50.0, 50.0, 60.0, 300.0]), &bare()), &[(-100.0, 26.339746)]);
}

/// Tilted by 30° about its middle, 50 mm out, the back's upper edge is 50 cos 30° = 43.301270 mm up and 25 mm out. Along the back 30 mm
/// out is at v = 40, which is 34.641016 mm up. The front's upper edge is 5 mm higher and 8.660254 mm further out; on the top edge 30 mm
/// out is at 5 / 8.660254 of the thickness, 46.188022 mm up.
#[test]
fn a_tilted_body_is_cut_where_it_comes_as_close_as_an_obstacle_is_proud() {
    let knob = [obstacle([-50.0, 50.0, 60.0, 80.0], 30.0, shade(1.0))];
    let sheet = Screen { thickness: mm(0.0), ..screen(50.0, 30.0) };
    check("a sheet", &ask(&sheet, &knob, &bare()), &[(-100.0, 16.698730), (45.358984, 100.0)]);
    check("a body", &ask(&screen(50.0, 30.0), &knob, &bare()), &[(-100.0, 13.811978), (45.358984, 100.0)]);
    // 25 mm out at its closest: as proud as that is touching, and more is not.
    let at =
        |proud: f64| free(&ask(&sheet, &[obstacle([-50.0, 50.0, 60.0, 80.0], proud, shade(1.0))], &bare()));
    assert_eq!(at(25.0), [(-100.0, 100.0)]);
    assert_eq!(at(25.01).len(), 2);
    // The margin counts in the dash plane.
    let margin = ScreenRules { collision_margin: mm(2.0), ..bare() };
    check("2 mm", &ask(&sheet, &knob, &margin), &[(-100.0, 14.698730), (47.358984, 100.0)]);
}

#[test]
fn the_body_never_goes_behind_the_dash_face() {
    // The upper edge leans back by 100 / 2 × sin 30° = 25 mm.
    check("touching", &ask(&screen(25.0, 30.0), &[], &bare()), &[(-100.0, 100.0)]);
    let behind = ask(&screen(24.9, 30.0), &[], &bare());
    check("behind", &behind, &[]);
    assert!(behind.stations.iter().all(|station| station.behind_dash));
    // Turned the other way the lower edge comes as close.
    check("forward", &ask(&screen(24.9, -30.0), &[], &bare()), &[]);
    // About the lower edge it leans back by 50 mm.
    let low = Screen { pivot_over_lower_edge: Some(mm(0.0)), ..screen(50.0, 30.0) };
    check("about the lower edge", &ask(&low, &[], &bare()), &[(-100.0, 100.0)]);
    let low = Screen { pivot_over_lower_edge: Some(mm(0.0)), ..screen(49.9, 30.0) };
    check("about the lower edge, closer", &ask(&low, &[], &bare()), &[]);
}

/// About its lower edge, which stays 50 mm below, the upper edge comes to -50 + 100 cos 30° = 36.602540 mm.
#[test]
fn the_axis_stays_where_it_is() {
    let low = Screen { pivot_over_lower_edge: Some(mm(0.0)), thickness: mm(0.0), ..screen(60.0, 30.0) };
    let around = [
        obstacle([-50.0, 50.0, 60.0, 300.0], 0.0, NEVER),
        obstacle([-50.0, 50.0, -300.0, -60.0], 0.0, NEVER),
    ];
    check("lower edge", &ask(&low, &around, &bare()), &[(-10.0, 23.397460)]);
}

#[test]
fn a_hand_reaches_what_it_has_to() {
    let check_at = |stand_off: f64, proud: f64, expected: &[(f64, f64)]| {
        let button = [obstacle([-50.0, 50.0, 60.0, 80.0], proud, REACH)];
        let rules = ScreenRules { reach_margin: mm(10.0), ..bare() };
        check("a button", &ask(&screen(stand_off, 0.0), &button, &rules), expected);
    };
    // 60 - 10 - 50.
    check_at(39.9, 0.0, &[(-100.0, 0.0)]);
    check_at(40.0, 0.0, &[(-100.0, 100.0)]);
    check_at(44.9, 5.0, &[(-100.0, 0.0)]);
    check_at(45.0, 5.0, &[(-100.0, 100.0)]);
    // Tilted forward by 30° at 40 mm the upper half is further out, and the lower half, down to -50 cos 30° = -43.301270, is not. Free
    // is what has the axis at the button's lower edge or below, or the lower edge at its upper edge, 30 + 43.301270, or above.
    let forward = Screen { thickness: mm(0.0), ..screen(40.0, -30.0) };
    let button = [obstacle([-50.0, 50.0, 20.0, 30.0], 0.0, REACH)];
    check("the lower half", &ask(&forward, &button, &bare()), &[(-100.0, 20.0), (73.301270, 100.0)]);
}

/// 40 × 20 mm are 800 mm²; a quarter is 200 mm².
#[test]
fn what_may_be_shaded_is_shaded_up_to_its_share() {
    let upright = screen(20.0, 0.0);
    let vent = |left: f64, up_to: f64| [obstacle([left, left + 40.0, 60.0, 80.0], 0.0, shade(up_to))];
    // Over its whole width 5 mm of height: 60 + 5 - 50.
    check("a quarter", &ask(&upright, &vent(0.0, 0.25), &bare()), &[(-100.0, 15.0)]);
    // Over half of its width 10 mm.
    check("half under", &ask(&upright, &vent(80.0, 0.25), &bare()), &[(-100.0, 20.0)]);
    // A quarter of its width under: all of its height.
    check("a quarter under", &ask(&upright, &vent(90.0, 0.25), &bare()), &[(-100.0, 100.0)]);
    check("none", &ask(&upright, &vent(0.0, 0.0), &bare()), &[(-100.0, 10.0)]);
    check("all", &ask(&upright, &vent(0.0, 1.0), &bare()), &[(-100.0, 100.0)]);
    // Higher than the screen, 100 of 400 mm are just a quarter.
    let tall = |up_to: f64| [obstacle([-20.0, 20.0, -200.0, 200.0], 0.0, shade(up_to))];
    check("tall", &ask(&upright, &tall(0.25), &bare()), &[(-100.0, 100.0)]);
    check("tall, less", &ask(&upright, &tall(0.2499), &bare()), &[]);
}

#[test]
fn heights_count_from_the_frame_and_the_screen_is_centred_on_it() {
    let above = [obstacle([105.0, 150.0, 60.0, 300.0], 0.0, NEVER)];
    let upright = screen(20.0, 0.0);
    check("beside", &at(&upright, &above, &bare(), (5.0, 0.0)), &[(-100.0, 100.0)]);
    check("under", &at(&upright, &above, &bare(), (6.0, 0.0)), &[(-100.0, 10.0)]);
    check("higher", &at(&upright, &above, &bare(), (6.0, 30.0)), &[(-100.0, -20.0)]);
}

#[test]
fn steps_that_touch_are_free() {
    let check = |range: Range, bottom: f64, expected: &[f64]| {
        let stepped = Screen { up_down: heights(range), ..screen(20.0, 0.0) };
        let found = steps(&ask(&stepped, &[obstacle([-50.0, 50.0, bottom, 300.0], 0.0, NEVER)], &bare()));
        let near = found.iter().zip(expected).all(|(one, other)| (one - other).abs() < 1e-9);
        assert!(near && found.len() == expected.len(), "{found:?} is not {expected:?}");
    };
    check((-20.0, 20.0, Some(10.0)), 60.0, &[-20.0, -10.0, 0.0, 10.0]);
    check((-20.0, 20.0, Some(10.0)), 59.999, &[-20.0, -10.0, 0.0]);
    // Three tenths are more than 0.3 in binary, and no more in millimetres.
    check((0.0, 1.0, Some(0.1)), 50.3, &[0.0, 0.1, 0.2, 0.3]);
    check((0.0, 0.3, Some(0.1)), 200.0, &[0.0, 0.1, 0.2, 0.3]);
    // The greatest value is no step where the steps do not meet it.
    check((0.0, 25.0, Some(10.0)), 200.0, &[0.0, 10.0, 20.0]);
    check((7.0, 7.0, None), 200.0, &[7.0]);
}

#[test]
fn a_height_between_the_steps_is_told_and_does_not_count() {
    let stepped = Screen { up_down: heights((-15.0, 15.0, Some(10.0))), ..screen(20.0, 0.0) };
    let around = [
        obstacle([-50.0, 50.0, 52.0, 300.0], 0.0, NEVER),
        obstacle([-50.0, 50.0, -300.0, -52.0], 0.0, NEVER),
    ];
    let found = ask(&stepped, &around, &bare());
    assert_eq!((&found.finding, found.result.outcome), (&Finding::BetweenSteps, Outcome::Fail));
    check("between", &found, &[(-2.0, 2.0)]);
}

#[test]
fn what_can_not_be_examined_is_refused() {
    let check = |screen: Screen, obstacles: &[Obstacle], expected: ScreenRefusal| {
        let question = ScreenQuestion {
            screen: &screen,
            x: Offset::ZERO,
            y: Offset::ZERO,
            surroundings: Some(obstacles),
        };
        assert_eq!(check_screen(&question, &bare()), Err(expected));
    };
    let upright = screen(20.0, 0.0);
    check(Screen { width: mm(0.0), ..upright }, &[], ScreenRefusal::NoSize);
    let backwards = Screen { tilt: tilts((1.0, 0.0, None)), ..upright };
    check(backwards, &[], ScreenRefusal::Backwards { axis: Axis::Tilt });
    for step in [0.0, -1.0] {
        let stuck = Screen { up_down: heights((0.0, 10.0, Some(step))), ..upright };
        check(stuck, &[], ScreenRefusal::NoStep { axis: Axis::UpDown });
    }
    // 500 steps are examined, 501 are not.
    let fine = |greatest| Screen { stand_off: travel((0.0, greatest, Some(1.0)), mm), ..upright };
    assert_eq!(ask(&fine(499.0), &[], &bare()).stations.len(), MAX_STEPS);
    let refusal = ScreenRefusal::TooManySteps { axis: Axis::StandOff, most: MAX_STEPS };
    check(fine(500.0), &[], refusal);
    let many = Screen {
        up_down: heights((0.0, 50.0, Some(1.0))),
        tilt: tilts((-20.0, 20.0, Some(1.0))),
        ..fine(49.0)
    };
    check(many, &[], ScreenRefusal::TooManyPositions { found: 51 * 50 * 41, most: MAX_POSITIONS });
    // A height without steps counts as 20 of them.
    let many = Screen { tilt: tilts((0.0, 10.0, Some(1.0))), ..fine(99.0) };
    check(many, &[], ScreenRefusal::TooManyPositions { found: 20 * 100 * 11, most: MAX_POSITIONS });
    let knob = obstacle([0.0, 1.0, 0.0, 1.0], 0.0, NEVER);
    let refusal = ScreenRefusal::TooManyObstacles { found: MAX_OBSTACLES + 1, most: MAX_OBSTACLES };
    check(upright, &[knob; MAX_OBSTACLES + 1], refusal);
    let backwards = obstacle([0.0, 1.0, 1.0, 0.0], 0.0, NEVER);
    check(upright, &[knob, backwards], ScreenRefusal::ObstacleBackwards { obstacle: 1 });
}

#[test]
fn without_what_is_around_nothing_is_said() {
    let upright = screen(20.0, 0.0);
    let question = ScreenQuestion { screen: &upright, x: Offset::ZERO, y: Offset::ZERO, surroundings: None };
    let found = check_screen(&question, &bare()).unwrap();
    assert_eq!((found.finding, found.result.outcome), (Finding::NotExamined, Outcome::NoData));
    assert_eq!(found.result.missing, [SURROUNDINGS]);
}
