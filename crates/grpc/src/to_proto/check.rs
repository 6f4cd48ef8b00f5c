//! Checks of a plan, and where its floating screen may stand.

use dashwright_api::v1;
use dashwright_checks::feed::{Feed, NoFeed};
use dashwright_checks::result::{CheckKind, CheckResult, Figure, Margin, Outcome};
use dashwright_checks::screen::{
    BlockedStation, ClearRule, Covered, Finding, Forbidden, Heights, Recommended, ScreenReport, Station,
};
use dashwright_planner::{PlannedCheck, PlannedScreen};
use dashwright_sheet::words;

use super::feed::{feed, no_feed};
use super::reason::reasons;

/// A check.
pub(crate) fn check(check: &PlannedCheck) -> v1::Check {
    let PlannedCheck { subject, result, reasons: why } = check;
    let CheckResult {
        check: kind,
        outcome: came_out,
        formula,
        inputs,
        results,
        margin,
        settings,
        missing: _,
    } = result;
    v1::Check {
        kind: check_kind(*kind).into(),
        subject: words::subject(*subject),
        outcome: outcome(*came_out).into(),
        formula: (*formula).to_owned(),
        inputs: inputs.iter().map(figure).collect(),
        results: results.iter().map(figure).collect(),
        settings: settings.iter().map(figure).collect(),
        margin: margin.as_ref().map(signed),
        reasons: reasons(why),
        text: words::check(check),
    }
}

const fn check_kind(kind: CheckKind) -> v1::CheckKind {
    match kind {
        CheckKind::Depth => v1::CheckKind::Depth,
        CheckKind::Face => v1::CheckKind::Face,
        CheckKind::Screen => v1::CheckKind::Screen,
        CheckKind::Supply => v1::CheckKind::Supply,
        CheckKind::SpeakerLoad => v1::CheckKind::SpeakerLoad,
        CheckKind::Level => v1::CheckKind::Level,
        CheckKind::Standby => v1::CheckKind::Standby,
        CheckKind::SteeringLadder => v1::CheckKind::SteeringLadder,
    }
}

const fn outcome(outcome: Outcome) -> v1::CheckOutcome {
    match outcome {
        Outcome::Pass => v1::CheckOutcome::Pass,
        Outcome::Advise => v1::CheckOutcome::Advise,
        Outcome::Fail => v1::CheckOutcome::Fail,
        Outcome::NoData => v1::CheckOutcome::NoData,
    }
}

fn figure(figure: &Figure) -> v1::Figure {
    let Figure { name, value } = figure;
    v1::Figure { name: (*name).to_owned(), value: value.number(), unit: value.unit().to_owned() }
}

fn signed(margin: &Margin) -> v1::Figure {
    v1::Figure { value: margin.signed(), ..figure(&margin.amount) }
}

/// Where a screen may stand; nothing where what is around it is not recorded.
pub(crate) fn screen(placed: &PlannedScreen) -> Option<v1::ScreenPlan> {
    let PlannedScreen { x, zero, set_forward, report, neighbours: _ } = placed;
    let ScreenReport { result: _, stations, finding, complete } = report;
    let (recommended, blocked) = match finding {
        Finding::NotExamined => return None,
        Finding::Free(recommended) => (Some(position(placed, recommended)), &[][..]),
        Finding::BetweenSteps => (None, &[][..]),
        Finding::Blocked(proof) => (None, proof.stations.as_slice()),
    };
    Some(v1::ScreenPlan {
        x_mm: x.get(),
        zero_mm: zero.get(),
        set_forward_mm: set_forward.get(),
        recommended,
        stations: stations.iter().map(|one| station(placed, one, blocked)).collect(),
        complete: *complete,
    })
}

fn name(placed: &PlannedScreen, place: usize) -> String {
    placed.neighbours.get(place).map(|neighbour| neighbour.name.to_string()).unwrap_or_default()
}

fn position(placed: &PlannedScreen, position: &Recommended) -> v1::ScreenPosition {
    let Recommended { height, stand_off, tilt, front, covered_area: _, covered, nearest_proud } = position;
    v1::ScreenPosition {
        height_mm: height.get(),
        stand_off_mm: stand_off.get(),
        tilt_degrees: tilt.get(),
        bottom_mm: front.bottom.get(),
        top_mm: front.top.get(),
        left_mm: front.left.get(),
        right_mm: front.right.get(),
        covered: covered.iter().map(|own| one_covered(placed, own)).collect(),
        nearest_proud: nearest_proud.map(|own| name(placed, own.obstacle)).unwrap_or_default(),
        nearest_proud_mm: nearest_proud.map(|own| own.distance.get()),
    }
}

fn one_covered(placed: &PlannedScreen, covered: &Covered) -> v1::CoveredSurrounding {
    const PERCENT: f64 = 100.0;
    let Covered { obstacle, area, share } = covered;
    v1::CoveredSurrounding {
        name: name(placed, *obstacle),
        square_millimetres: area.get(),
        percent: share.get() * PERCENT,
    }
}

fn station(placed: &PlannedScreen, station: &Station, blocked: &[BlockedStation]) -> v1::ScreenStation {
    let Station { stand_off, tilt, behind_dash, free, steps } = station;
    let here = |blocked: &&BlockedStation| (blocked.stand_off, blocked.tilt) == (*stand_off, *tilt);
    let by = blocked.iter().find(here).into_iter().flat_map(|blocked| &blocked.by);
    v1::ScreenStation {
        stand_off_mm: stand_off.get(),
        tilt_degrees: tilt.get(),
        behind_dash: *behind_dash,
        free: free.iter().map(heights).collect(),
        steps_mm: steps.iter().map(|step| step.get()).collect(),
        forbidden: by.map(|own| forbidden(placed, own)).collect(),
    }
}

fn heights(heights: &Heights) -> v1::HeightRange {
    let Heights { from, to } = heights;
    v1::HeightRange { from_mm: from.get(), to_mm: to.get() }
}

fn forbidden(placed: &PlannedScreen, forbidden: &Forbidden) -> v1::ForbiddenHeights {
    let Forbidden { obstacle, rule, from, to } = forbidden;
    let rule = match rule {
        ClearRule::Collision => v1::ClearRule::Collision,
        ClearRule::Cover => v1::ClearRule::Cover,
        ClearRule::Reach => v1::ClearRule::Reach,
        ClearRule::Shade => v1::ClearRule::Shade,
    };
    v1::ForbiddenHeights {
        name: name(placed, *obstacle),
        rule: rule.into(),
        from_mm: from.get(),
        to_mm: to.get(),
    }
}

/// The feed that a radio's supply needs.
pub(crate) fn direct_feed(sized: &Result<Feed, NoFeed>) -> v1::DirectFeed {
    use v1::direct_feed::Outcome;
    v1::DirectFeed {
        outcome: Some(match sized {
            Ok(own) => Outcome::Feed(feed(own)),
            Err(none) => Outcome::None(no_feed(none)),
        }),
        text: words::direct_feed(sized),
    }
}
