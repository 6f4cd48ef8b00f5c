//! What never makes more free, and what never makes less.

use proptest::prelude::*;

use super::*;

/// Left, bottom, width, height, proud, kind, share.
type Drawn = (f64, f64, f64, f64, f64, u8, f64);

fn drawn() -> impl Strategy<Value = Drawn> {
    (-200.0..200.0, -200.0..200.0, 5.0..120.0, 5.0..120.0, 0.0..60.0, 0..3_u8, 0.0..=1.0)
}

fn made((left, bottom, width, height, proud, kind, share): Drawn) -> Obstacle {
    let strictness = match kind {
        0 => NEVER,
        1 => REACH,
        _ => shade(share),
    };
    obstacle([left, left + width, bottom, bottom + height], proud, strictness)
}

fn stepped(stand_off: f64, tilt: f64) -> Screen {
    Screen { up_down: heights((-100.0, 100.0, Some(2.5))), ..screen(stand_off, tilt) }
}

fn moved(obstacle: Obstacle, across: f64, up: f64) -> Obstacle {
    let by = |edge: Offset, by: f64| offset(edge.get() + by);
    Obstacle {
        left: by(obstacle.left, across),
        right: by(obstacle.right, across),
        bottom: by(obstacle.bottom, up),
        top: by(obstacle.top, up),
        ..obstacle
    }
}

/// Every step that is free in one report is free in the other.
fn within(less: &ScreenReport, more: &ScreenReport) -> bool {
    let pairs = less.stations.iter().zip(&more.stations);
    pairs.into_iter().all(|(one, other)| one.steps.iter().all(|step| other.steps.contains(step)))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn an_obstacle_less_never_takes_a_position(
        obstacles in proptest::collection::vec(drawn(), 1..6), stand_off in 0.0..90.0, tilt in -40.0..40.0,
    ) {
        let obstacles: Vec<_> = obstacles.into_iter().map(made).collect();
        let all = ask(&stepped(stand_off, tilt), &obstacles, &ScreenRules::usual());
        let less = ask(&stepped(stand_off, tilt), &obstacles[1..], &ScreenRules::usual());
        prop_assert!(within(&all, &less));
    }

    /// To the side away from the screen's middle; or up, of one that is higher than the screen ever comes.
    #[test]
    fn an_obstacle_further_away_never_takes_a_position(
        one in drawn(), stand_off in 0.0..90.0, tilt in -40.0..40.0, by in 0.0..50.0, up in any::<bool>(),
    ) {
        let mut near = made(one);
        if up {
            near.top = offset(near.bottom.get() + 450.0);
        }
        let middle = near.left.get() + near.right.get();
        let far = if up { moved(near, 0.0, by) } else { moved(near, by.copysign(middle), 0.0) };
        let near = ask(&stepped(stand_off, tilt), &[near], &ScreenRules::usual());
        let far = ask(&stepped(stand_off, tilt), &[far], &ScreenRules::usual());
        prop_assert!(within(&near, &far));
    }

    #[test]
    fn a_larger_margin_never_adds_a_position(
        obstacles in proptest::collection::vec(drawn(), 0..6), stand_off in 0.0..90.0, tilt in -40.0..40.0,
        margins in [0.0..20.0, 0.0..20.0, 0.0..60.0, 0.0..20.0], more in [0.0..20.0, 0.0..20.0, 0.0..20.0, 0.0..20.0],
    ) {
        let rules = |[collision, cover, gap, reach]: [f64; 4]| ScreenRules {
            collision_margin: mm(collision),
            cover_margin: mm(cover),
            reach_gap: mm(gap),
            reach_margin: mm(reach),
        };
        let obstacles: Vec<_> = obstacles.into_iter().map(made).collect();
        let few = ask(&stepped(stand_off, tilt), &obstacles, &rules(margins));
        for (which, by) in more.into_iter().enumerate() {
            let mut larger = margins;
            larger[which] += by;
            prop_assert!(within(&ask(&stepped(stand_off, tilt), &obstacles, &rules(larger)), &few));
        }
    }

    /// Which is why both ends of a stand-off without steps are enough.
    #[test]
    fn a_screen_further_out_is_never_less_free(
        obstacles in proptest::collection::vec(drawn(), 0..6), stand_off in 0.0..90.0, out in 0.0..60.0, tilt in -40.0..40.0,
    ) {
        let obstacles: Vec<_> = obstacles.into_iter().map(made).collect();
        let near = ask(&stepped(stand_off, tilt), &obstacles, &ScreenRules::usual());
        let far = ask(&stepped(stand_off + out, tilt), &obstacles, &ScreenRules::usual());
        prop_assert!(within(&near, &far));
    }

    /// What is proven is so: the barrier alone leaves nothing free, and the recommended position is one that is free and covers no more
    /// than any other.
    #[test]
    fn what_is_found_holds(
        obstacles in proptest::collection::vec(drawn(), 0..12), stand_off in 0.0..90.0, tilt in -40.0..40.0,
        continuous in any::<bool>(),
    ) {
        let obstacles: Vec<_> = obstacles.into_iter().map(made).collect();
        let step = if continuous { None } else { Some(2.5) };
        let short = Screen { up_down: heights((-40.0, 40.0, step)), ..screen(stand_off, tilt) };
        let found = ask(&short, &obstacles, &ScreenRules::usual());
        match &found.finding {
            Finding::Free(recommended) => {
                let height = recommended.height.get();
                prop_assert!(free(&found).iter().any(|(from, to)| from - 1e-9 <= height && height <= to + 1e-9));
                // At any other height that is free no less is covered.
                for other in free(&found).iter().flat_map(|(from, to)| (0..=20).map(move |k| from + (to - from) * f64::from(k) / 20.0)) {
                    let at = heights((other, other, None));
                    let there = ask(&Screen { up_down: at, ..short }, &obstacles, &ScreenRules::usual());
                    if continuous && let Finding::Free(there) = &there.finding {
                        prop_assert!(there.covered_area.get() >= recommended.covered_area.get() - 1e-5);
                    }
                }
            }
            Finding::BetweenSteps => prop_assert!(!continuous),
            Finding::NotExamined => prop_assert!(false),
            Finding::Blocked(proof) => {
                let set: Vec<Vec<usize>> = match &proof.barrier {
                    Barrier::DashFace => vec![],
                    Barrier::Alone(alone) => alone.iter().map(|it| vec![*it]).collect(),
                    Barrier::Pairs(pairs) => pairs.iter().map(|it| vec![it.lower, it.upper]).collect(),
                    Barrier::Together(together) => vec![together.clone()],
                };
                for members in set {
                    let alone: Vec<_> = members.iter().map(|it| obstacles[*it]).collect();
                    prop_assert!(free(&ask(&short, &alone, &ScreenRules::usual())).is_empty());
                    for left_out in 0..alone.len() {
                        let mut fewer = alone.clone();
                        fewer.remove(left_out);
                        prop_assert!(!free(&ask(&short, &fewer, &ScreenRules::usual())).is_empty());
                    }
                }
            }
        }
    }

    /// What is said of a range of tilts without steps is so at every tilt that is tried.
    #[test]
    fn what_is_never_free_is_free_at_no_tilt(
        obstacles in proptest::collection::vec(drawn(), 4..12), stand_off in 0.0..90.0, least in -80.0..40.0, range in 1.0..60.0,
        shares in proptest::collection::vec(0.0..=1.0, 20), continuous in any::<bool>(),
    ) {
        let obstacles: Vec<_> = obstacles.into_iter().map(made).collect();
        let step = if continuous { None } else { Some(5.0) };
        let short = Screen { up_down: heights((-20.0, 20.0, step)), ..screen(stand_off, 0.0) };
        let leaning = Screen { tilt: tilts((least, least + range, None)), ..short };
        let found = ask(&leaning, &obstacles, &ScreenRules::usual());
        let tried = shares.iter().map(|share| {
            let tilt = least + share * range;
            ask(&Screen { tilt: tilts((tilt, tilt, None)), ..short }, &obstacles, &ScreenRules::usual())
        });
        match &found.finding {
            Finding::Free(recommended) => {
                let tilt = tilts((recommended.tilt.get(), recommended.tilt.get(), None));
                let there = ask(&Screen { tilt, ..short }, &obstacles, &ScreenRules::usual());
                prop_assert_eq!(super::recommended(&there).height, recommended.height);
            }
            _ if found.complete => {
                prop_assert!(tried.into_iter().all(|there| !matches!(there.finding, Finding::Free(_))));
            }
            _ => {}
        }
    }
}
