//! Feeds: worked out by hand, at the edges, and that more never makes less necessary.

use proptest::prelude::*;

use super::*;

fn question(load: f64, length: f64, returns: Return, series: Series) -> FeedQuestion {
    FeedQuestion {
        load: Amperes::new(load).unwrap(),
        supply: Volts::new(12.0).unwrap(),
        length: Metres::new(length).unwrap(),
        returns,
        ambient: Celsius::new(20.0).unwrap(),
        series,
        rules: FeedRules::usual(),
    }
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 5e-4, "{found} is not {expected}");
}

/// By hand: 15 A over 8 m may lose 0.36 V, so that 24 mΩ are allowed: 8 / (58 × 0.024) = 5.747 mm².
#[test]
fn a_feed_is_as_worked_out_by_hand() {
    let metric = size_feed(&question(15.0, 4.0, Return::Wire, Series::SquareMillimetres)).unwrap();
    assert_eq!(metric.laid.conductor, Gauge::MicroArea(6_000));
    near(metric.laid.drop.get(), 15.0 * 8.0 / (58.0 * 6.0));
    near(metric.laid.drop_share.get(), 0.0287);
    // 15 × 1.25 = 18.75 A.
    assert_eq!((metric.fuse.rating.get(), metric.fuse.colour), (20.0, "yellow"));
    let thinner = metric.thinner.unwrap();
    assert_eq!(thinner.laid.conductor, Gauge::MicroArea(5_000));
    assert_eq!(thinner.lacks, [Lack::Drop { allowed: Volts::new(0.36).unwrap() }]);

    // 10 AWG has 5.261 mm² and 8 AWG 8.366 mm².
    let gauge = size_feed(&question(15.0, 4.0, Return::Wire, Series::Awg)).unwrap();
    assert_eq!(gauge.laid.conductor, Gauge::Awg(8));
    near(gauge.laid.drop.get(), 0.2473);
    assert_eq!(gauge.thinner.unwrap().laid.conductor, Gauge::Awg(10));

    // Back through the body half of it is enough: 2.874 mm².
    let chassis = size_feed(&question(15.0, 4.0, Return::Chassis, Series::SquareMillimetres)).unwrap();
    assert_eq!(chassis.laid.conductor, Gauge::MicroArea(3_000));
}

#[test]
fn on_a_short_way_the_fuse_decides() {
    // 0.5 m of 0.5 mm² lose 0.17 V of 10 A, but carry less than the fuse of 15 A.
    let feed = size_feed(&question(10.0, 0.5, Return::Chassis, Series::SquareMillimetres)).unwrap();
    assert_eq!((feed.laid.conductor, feed.fuse.rating.get()), (Gauge::MicroArea(750), 15.0));
    assert_eq!(feed.thinner.unwrap().lacks, [Lack::Current { fuse: feed.fuse.rating }]);
}

/// 3 % of 12 V are 0.36 V, which 12 A lose on 0.36 / 12 × 58 = 1.74 m of 1 mm².
#[test]
fn a_drop_that_is_just_met_is_allowed_and_one_just_missed_is_not() {
    let just = question(12.0, 1.74, Return::Chassis, Series::SquareMillimetres);
    let at = |length: f64| {
        let laid =
            lay(&FeedQuestion { length: Metres::new(length).unwrap(), ..just }, Gauge::MicroArea(1_000));
        lacks(&just, &laid, fuse_for(Amperes::new(1.0).unwrap()).unwrap()).is_empty()
    };
    assert!(at(1.74) && !at(1.7401));
}

#[test]
fn what_nothing_will_do_for_is_told() {
    for (load, length) in [(0.0, 1.0), (1.0, 0.0)] {
        let none = size_feed(&question(load, length, Return::Wire, Series::Awg)).unwrap_err();
        assert_eq!(none, NoFeed::Nothing);
    }
    let large = size_feed(&question(90.0, 1.0, Return::Wire, Series::Awg)).unwrap_err();
    assert_eq!(large, NoFeed::NoFuse { needed: Amperes::new(112.5).unwrap() });
    let NoFeed::NoConductor { thickest } =
        size_feed(&question(60.0, 100.0, Return::Wire, Series::Awg)).unwrap_err()
    else {
        panic!()
    };
    assert_eq!(thickest.laid.conductor, Gauge::Awg(0));
    assert!(matches!(thickest.lacks.as_slice(), [Lack::Drop { .. }]));
    let hot = FeedQuestion {
        ambient: Celsius::new(70.0).unwrap(),
        ..question(1.0, 0.1, Return::Wire, Series::Awg)
    };
    assert!(matches!(size_feed(&hot), Err(NoFeed::NoConductor { .. })));
}

fn area_of(question: &FeedQuestion) -> f64 {
    size_feed(question).map_or(f64::INFINITY, |feed| crate::conductor::area(feed.laid.conductor))
}

proptest! {
    /// More current, a longer way, hotter air, the way back in wire: never a thinner conductor.
    #[test]
    fn more_is_never_thinner(
        load in 0.1..80.0, more_load in 0.0..20.0, length in 0.1..20.0, longer in 0.0..20.0,
        ambient in -20.0..60.0, hotter in 0.0..9.0, metric in any::<bool>(),
    ) {
        let series = if metric { Series::SquareMillimetres } else { Series::Awg };
        let one = FeedQuestion {
            ambient: Celsius::new(ambient).unwrap(),
            ..question(load, length, Return::Chassis, series)
        };
        let others = [
            FeedQuestion { load: Amperes::new(load + more_load).unwrap(), ..one },
            FeedQuestion { length: Metres::new(length + longer).unwrap(), ..one },
            FeedQuestion { ambient: Celsius::new(ambient + hotter).unwrap(), ..one },
            FeedQuestion { returns: Return::Wire, ..one },
        ];
        for other in others {
            prop_assert!(area_of(&other) >= area_of(&one), "{one:?} {other:?}");
        }
    }

    /// Whatever is chosen holds, and the next thinner one does not.
    #[test]
    fn what_is_chosen_holds(load in 0.1..80.0, length in 0.1..30.0, metric in any::<bool>()) {
        let series = if metric { Series::SquareMillimetres } else { Series::Awg };
        let asked = question(load, length, Return::Wire, series);
        if let Ok(feed) = size_feed(&asked) {
            prop_assert!(feed.laid.drop_share.get() <= 0.03 + 1e-9);
            prop_assert!(feed.fuse.rating <= feed.laid.limit && feed.fuse.rating.get() >= load * 1.25 - 1e-9);
            prop_assert!(feed.thinner.is_none_or(|thinner| !thinner.lacks.is_empty()));
        }
    }
}
