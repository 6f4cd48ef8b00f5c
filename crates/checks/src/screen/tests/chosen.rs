//! The position that is recommended, and what is told of it.

use super::*;
use crate::result::Outcome;

/// Height, stand-off and tilt of the recommended position, and the area that it covers.
fn check(what: &str, report: &ScreenReport, [height, stand_off, tilt, area]: [f64; 4]) {
    let found = recommended(report);
    let told = [found.height.get(), found.stand_off.get(), found.tilt.get(), found.covered_area.get()];
    let near =
        told.iter().zip([height, stand_off, tilt, area]).all(|(one, other)| (one - other).abs() < 1e-6);
    assert!(near, "{what}: {told:?}");
    let outcome = if area > 0.0 { Outcome::Advise } else { Outcome::Pass };
    assert_eq!(report.result.outcome, outcome, "{what}");
}

fn movable() -> Screen {
    Screen {
        up_down: heights((-20.0, 20.0, Some(10.0))),
        stand_off: travel((30.0, 50.0, Some(10.0)), mm),
        tilt: tilts((-30.0, 30.0, Some(15.0))),
        ..screen(0.0, 0.0)
    }
}

#[test]
fn what_covers_least_leans_least_and_is_nearest_is_recommended() {
    check("nothing around", &ask(&movable(), &[], &bare()), [0.0, 30.0, 0.0, 0.0]);
    // The opening's centre is 20 mm below the frame's.
    check("a higher frame", &at(&movable(), &[], &bare(), (0.0, 20.0)), [-20.0, 30.0, 0.0, 0.0]);
    // Its upper edge is at 50 mm: 10 mm lower it is clear, and 20 mm lower as well.
    let vent = |bottom: f64| [obstacle([-20.0, 20.0, bottom, bottom + 20.0], 0.0, shade(1.0))];
    check("a vent", &ask(&movable(), &vent(40.0), &bare()), [-10.0, 30.0, 0.0, 0.0]);
    // Not to be cleared upright: 15° reach 50 × cos 15° = 48.296291 up, and forward the front is no higher than the back.
    // 20 mm lower that is 28.296291, which is clear of 29.
    check("a lower vent", &ask(&movable(), &vent(29.0), &bare()), [-20.0, 30.0, -15.0, 0.0]);
    // Upright at one height: 10 × 40 mm.
    let upright =
        Screen { tilt: tilts((0.0, 0.0, None)), up_down: heights((0.0, 20.0, Some(10.0))), ..movable() };
    let shaded = ask(&upright, &vent(40.0), &bare());
    check("shaded", &shaded, [0.0, 30.0, 0.0, 400.0]);
    let [covered] = recommended(&shaded).covered.as_slice() else { panic!("{shaded:?}") };
    assert_eq!((covered.obstacle, covered.area.get(), covered.share.get()), (0, 400.0, 0.5));
    // About its lower edge 10° lean back by 17 mm, too much at 10 mm; forward is free there, and closer comes before leaning back.
    let low = Screen {
        pivot_over_lower_edge: Some(mm(0.0)),
        tilt: tilts((-10.0, 10.0, Some(20.0))),
        stand_off: travel((10.0, 40.0, Some(30.0)), mm),
        ..movable()
    };
    check("about the lower edge", &ask(&low, &[], &bare()), [0.0, 10.0, -10.0, 0.0]);
    // Only 50 mm out is free of a proud knob in every direction.
    let knob = [obstacle([-20.0, 20.0, -200.0, 200.0], 45.0, shade(1.0))];
    let found = ask(&upright, &knob, &bare());
    check("a long knob", &found, [0.0, 50.0, 0.0, 40.0 * 100.0]);
    assert_eq!(steps(&found), [0.0, 10.0, 20.0]);
}

/// The screen's upper edge is 50 mm above its height and its lower edge as much below: below -10 the upper vent is clear, above 15 the
/// lower one, and in between both are covered.
#[test]
fn without_steps_the_least_is_found_between_the_ends() {
    let continuous = Screen { up_down: heights((-30.0, 30.0, None)), ..screen(30.0, 0.0) };
    let around = |upper: f64, lower: f64| {
        [
            obstacle([0.0, upper, 40.0, 60.0], 0.0, shade(1.0)),
            obstacle([0.0, lower, -60.0, -35.0], 0.0, shade(1.0)),
        ]
    };
    // Upper edge at 40: height -10, where the lower one is covered by -35 + 60 = 25 mm × 10.
    check("a wide upper", &ask(&continuous, &around(40.0, 10.0), &bare()), [-10.0, 30.0, 0.0, 250.0]);
    // Lower edge at -35: height 15, where the upper one is covered by 20 mm of its 20 × 10.
    check("a wide lower", &ask(&continuous, &around(10.0, 40.0), &bare()), [15.0, 30.0, 0.0, 200.0]);
    check("a higher frame", &at(&continuous, &[], &bare(), (0.0, 20.0)), [-20.0, 30.0, 0.0, 0.0]);
    // As large as each other: whichever is covered whole, and -10 is nearer to the centre than 15.
    let alike = [
        obstacle([0.0, 40.0, 40.0, 60.0], 0.0, shade(1.0)),
        obstacle([0.0, 40.0, -55.0, -35.0], 0.0, shade(1.0)),
    ];
    check("as large", &ask(&continuous, &alike, &bare()), [-10.0, 30.0, 0.0, 800.0]);
}

#[test]
fn the_distance_to_what_stands_proud_counts_in_every_direction() {
    let check = |tilt: f64, thickness: f64, sides: [f64; 4], proud: f64, expected: f64| {
        let still =
            Screen { up_down: heights((0.0, 0.0, None)), thickness: mm(thickness), ..screen(40.0, tilt) };
        let found = ask(&still, &[obstacle(sides, proud, shade(1.0))], &bare());
        let nearest = recommended(&found).nearest_proud.unwrap();
        assert!((nearest.distance.get() - expected).abs() < 1e-6, "{nearest:?} is not {expected}");
    };
    // Behind it.
    check(0.0, 10.0, [-5.0, 5.0, -5.0, 5.0], 25.0, 15.0);
    // 3 mm beside and 4 mm less proud; 30 mm beside and as proud.
    check(0.0, 10.0, [103.0, 110.0, -5.0, 5.0], 36.0, 5.0);
    check(0.0, 10.0, [130.0, 140.0, -5.0, 5.0], 45.0, 30.0);
    // 3 mm beside, 4 mm above and 12 mm less proud make 13 mm.
    check(0.0, 10.0, [103.0, 110.0, 54.0, 60.0], 28.0, 13.0);
    // Touching.
    check(0.0, 10.0, [-5.0, 5.0, 50.0, 60.0], 45.0, 0.0);
    // Leaning back by 30° the back is a line at z = 40 - y tan 30°: from its foot 10 mm up, 20 mm out, (40 - 5.773503 - 20) cos 30°.
    check(30.0, 10.0, [-5.0, 5.0, 0.0, 10.0], 20.0, 12.320508);
    // A sheet is as far.
    check(30.0, 0.0, [-5.0, 5.0, 0.0, 10.0], 20.0, 12.320508);
    assert_eq!(recommended(&ask(&screen(40.0, 0.0), &[], &bare())).nearest_proud, None);
}

#[test]
fn a_tilt_without_steps_is_examined_at_its_ends_and_at_zero() {
    let check = |range: Range, expected: &[f64], complete: bool| {
        let found = ask(&Screen { tilt: tilts(range), ..screen(60.0, 0.0) }, &[], &bare());
        let tilts: Vec<_> = found.stations.iter().map(|station| station.tilt.get()).collect();
        assert_eq!((tilts.as_slice(), found.complete), (expected, complete), "{range:?}");
    };
    check((-10.0, 20.0, None), &[-10.0, 0.0, 20.0], false);
    check((0.0, 20.0, None), &[0.0, 20.0], false);
    check((5.0, 20.0, None), &[5.0, 20.0], false);
    check((5.0, 5.0, None), &[5.0], true);
    check((-10.0, 20.0, Some(10.0)), &[-10.0, 0.0, 10.0, 20.0], true);
}
