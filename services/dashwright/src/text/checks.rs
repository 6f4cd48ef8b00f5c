//! The checks of a plan, where its floating screen may stand, and the direct feed that it needs.

use dashwright_api::v1;

use super::frame::LABEL;
use super::page::{Page, bad, good, warning};
use super::plan::Place;
use super::terms::{Plain, number};

/// Those that a person has to know of before the work begins.
pub(super) fn in_brief(page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let minded =
        |check: &&v1::Check| matches!(check.outcome(), v1::CheckOutcome::Advise | v1::CheckOutcome::Fail);
    let minded: Vec<&v1::Check> = pieces.checks.iter().filter(minded).collect();
    if minded.is_empty() && pieces.direct_feed.is_none() {
        return;
    }
    place.heading(page, "Numbers to look at");
    minded.into_iter().for_each(|check| outcome(page, check));
    screen_in_brief(page, pieces);
    direct_feed(page, pieces);
}

/// All of them with their figures.
pub(super) fn checks(page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.checks.is_empty() && pieces.screen.is_none() && pieces.direct_feed.is_none() {
        return;
    }
    place.heading(page, "Checks");
    for check in &pieces.checks {
        outcome(page, check);
        let v1::Check { formula, inputs, results, settings, .. } = check;
        page.labelled(4, "formula", LABEL, formula);
        for (label, figures) in [("with", inputs), ("gives", results), ("rules", settings)] {
            if !figures.is_empty() {
                let figures: Vec<String> = figures.iter().map(figure).collect();
                page.labelled(4, label, LABEL, &figures.join(", "));
            }
        }
    }
    screen(page, pieces);
    direct_feed(page, pieces);
}

fn outcome(page: &mut Page, check: &v1::Check) {
    let text = check.text.as_str();
    page.line(
        2,
        &match check.outcome() {
            v1::CheckOutcome::Pass => good(text),
            v1::CheckOutcome::Fail => bad(text),
            v1::CheckOutcome::Advise | v1::CheckOutcome::NoData | v1::CheckOutcome::Unspecified => {
                warning(text)
            }
        },
    );
}

fn figure(figure: &v1::Figure) -> String {
    let v1::Figure { name, value, unit } = figure;
    let value = format!("{:.3}", Plain(*value));
    if unit.is_empty() { format!("{name} {value}") } else { format!("{name} {value} {unit}") }
}

fn screen_in_brief(page: &mut Page, pieces: &v1::PlanPieces) {
    let recommended = pieces.screen.as_ref().and_then(|screen| screen.recommended.as_ref());
    if let Some(recommended) = recommended {
        page.labelled(2, "screen", LABEL, &position(recommended));
    }
}

/// Where the screen may stand: every stand-off and tilt with its free heights.
fn screen(page: &mut Page, pieces: &v1::PlanPieces) {
    let Some(screen) = &pieces.screen else { return };
    screen_in_brief(page, pieces);
    let rows = screen.stations.iter().map(|station| {
        let v1::ScreenStation { stand_off_mm, tilt_degrees, behind_dash, free, steps_mm, forbidden } =
            station;
        let steps: Vec<String> = steps_mm.iter().map(|step| number(*step)).collect();
        let range = |range: &v1::HeightRange| format!("{} to {}", number(range.from_mm), number(range.to_mm));
        let free: Vec<String> = free.iter().map(range).collect();
        let by: Vec<&str> = forbidden.iter().map(|own| own.name.as_str()).collect();
        let free = match (behind_dash, free.is_empty()) {
            (true, _) => "behind the dash face".to_owned(),
            (false, true) if by.is_empty() => "none".to_owned(),
            (false, true) => format!("none: {}", by.join(", ")),
            (false, false) => free.join(", "),
        };
        vec![number(*stand_off_mm), number(*tilt_degrees), free, steps.join(" ")]
    });
    page.table(&["stand-off, mm", "tilt, °", "free heights, mm", "steps"], rows.collect());
}

fn position(position: &v1::ScreenPosition) -> String {
    let v1::ScreenPosition {
        height_mm,
        stand_off_mm,
        tilt_degrees,
        covered,
        nearest_proud,
        nearest_proud_mm,
        ..
    } = position;
    let mut text = format!(
        "best {} mm over its zero, {} mm before the dash, tilted {}°",
        number(*height_mm),
        number(*stand_off_mm),
        number(*tilt_degrees)
    );
    for v1::CoveredSurrounding { name, square_millimetres, percent } in covered {
        text.push_str(&format!(
            "; covers {} % of {name} ({} mm²)",
            number(*percent),
            number(*square_millimetres)
        ));
    }
    if let Some(distance) = nearest_proud_mm {
        text.push_str(&format!("; {} mm from {nearest_proud}", number(*distance)));
    }
    text
}

fn direct_feed(page: &mut Page, pieces: &v1::PlanPieces) {
    if let Some(feed) = &pieces.direct_feed {
        page.labelled(2, "direct feed", LABEL, &warning(&feed.text));
    }
}
