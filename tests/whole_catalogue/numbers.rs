//! The numbers of every check of every plan, worked out once more from the plain JSON of the records.

use std::collections::BTreeMap;

use dashwright_checks::result::{CheckKind, Outcome};
use dashwright_checks::screen::Finding;
use dashwright_planner::{Checks, PlannedCheck, Subject};
use serde_json::Value;

use super::{Job, check_all, list};

/// Far below anything that is told, and far above what binary fractions lose.
const EXACT: f64 = 1e-6;

fn checks<'a>(job: &'a Job<'_>) -> Option<&'a Checks> {
    Some(&job.plan.chosen.as_ref()?.work.as_ref()?.checks)
}

fn of<'a>(job: &'a Job<'_>, kind: CheckKind) -> impl Iterator<Item = &'a PlannedCheck> {
    checks(job).into_iter().flat_map(|own| &own.checks).filter(move |own| own.result.check == kind)
}

/// That a margin is what it should be, or that there is none.
fn margin(job: &Job<'_>, check: &PlannedCheck, expected: Option<f64>) {
    let found = check.result.margin.as_ref().map(|margin| margin.signed());
    let same = match (found, expected) {
        (Some(found), Some(expected)) => (found - expected).abs() < EXACT,
        (None, None) => true,
        _ => false,
    };
    assert!(same, "{}: {:?} and not {expected:?}: {:?}", job.name, found, check.result);
    if let Some(expected) = expected {
        let fails = check.result.outcome == Outcome::Fail;
        let electric =
            matches!(check.result.check, CheckKind::Supply | CheckKind::Level | CheckKind::Standby);
        assert!(electric || fails == (expected < -EXACT), "{}: {:?}", job.name, check.result);
    }
}

fn kit<'a>(job: &Job<'a>) -> Option<&'a Value> {
    job.parts.iter().find(|part| !part["kit"].is_null()).map(|part| &part["kit"])
}

#[test]
fn depth_is_what_the_records_leave() {
    let told = std::cell::Cell::new(0);
    check_all(|job| {
        for check in of(job, CheckKind::Depth) {
            let (chassis, opening) = (&job.radio["chassis"], &job.dash["opening"]);
            let forward = kit(job).and_then(|kit| kit["set_forward"].as_f64()).unwrap_or_default();
            let spare = || {
                let needed = chassis["depth"].as_f64()? + chassis["rear_clearance"].as_f64()?;
                Some(opening["depth"].as_f64()? + forward - needed)
            };
            margin(job, check, spare());
            told.set(told.get() + 1);
        }
    });
    assert!(told.get() > 500, "{}", told.get());
}

/// A load is the sum of drivers in series, and of their reciprocals in parallel.
#[test]
fn speakers_load_the_radio_as_their_drivers_do() {
    let told = std::cell::Cell::new(0);
    check_all(|job| {
        for check in of(job, CheckKind::SpeakerLoad) {
            let Subject::Speaker(position) = check.subject else { panic!("{check:?}") };
            let speaker = list(job.audio, "speakers").iter().find(|one| one["position"] == position.name());
            let speaker = speaker.unwrap();
            let drivers: Vec<f64> = list(speaker, "drivers").iter().filter_map(Value::as_f64).collect();
            let load = match (drivers.as_slice(), speaker["topology"].as_str()) {
                ([one], _) => Some(*one),
                (many, Some("SERIES")) => Some(many.iter().sum()),
                (many, Some("PARALLEL")) => Some(1.0 / many.iter().map(|one| 1.0 / one).sum::<f64>()),
                _ => None,
            };
            let least = job.radio["electrics"]["min_load"].as_f64();
            margin(job, check, load.zip(least).map(|(load, least)| load - least));
            assert_ne!(check.result.outcome, Outcome::Fail, "{}: joined in spite of it", job.name);
            told.set(told.get() + 1);
        }
    });
    assert!(told.get() > 1_000, "{}", told.get());
}

/// 20 log10 of two voltages, and the voltage of a power in a load is the root of their product.
#[test]
fn levels_are_in_decibels() {
    let told = std::cell::Cell::new(0);
    check_all(|job| {
        for check in of(job, CheckKind::Level) {
            let (amplifier, electrics) = (&job.audio["amplifier"], &job.radio["electrics"]);
            let line = || {
                let line = list(job.radio, "sockets").iter().find(|one| one["kind"] == "LINE_OUTPUT")?;
                line["voltage"].as_f64()
            };
            let speaker = || {
                let power = electrics["rms_per_channel"].as_f64()? * electrics["rms_load"].as_f64()?;
                Some(power.sqrt())
            };
            let volts = if amplifier["feed"] == "LINE_LEVEL" { line() } else { speaker() };
            let level = volts.zip(amplifier["input_sensitivity"].as_f64());
            let level = level.map(|(volts, input)| 20.0 * (volts / input).log10());
            // 6 dB either way are allowed.
            margin(job, check, level.map(|level| (level + 6.0).min(6.0 - level)));
            told.set(told.get() + 1);
        }
    });
    assert!(told.get() > 30, "{}", told.get());
}

/// 30 % of 50 Ah are 15,000 mAh.
#[test]
fn the_battery_lasts_as_long_as_the_sum_of_what_draws() {
    let told = std::cell::Cell::new(0);
    check_all(|job| {
        for check in of(job, CheckKind::Standby) {
            let electronic = ["DATA_MODULE", "STEERING_INTERFACE", "AMPLIFIER_RETENTION", "CONVERTER"];
            let drawing = job.parts.iter().filter(|part| {
                !part["standby"].is_null() || electronic.contains(&part["kind"].as_str().unwrap())
            });
            let draws: Vec<Option<f64>> = std::iter::once(job.radio["electrics"]["standby"].as_f64())
                .chain(drawing.map(|part| part["standby"].as_f64()))
                .collect();
            let known = draws.iter().all(Option::is_some);
            let sum: f64 = draws.iter().flatten().sum();
            if known && sum > 0.0 {
                margin(job, check, Some(15_000.0 / (sum * 24.0) - 14.0));
                let lasts = 15_000.0 / (sum * 24.0) >= 14.0;
                assert_eq!(check.result.outcome == Outcome::Pass, lasts, "{}", job.name);
                told.set(told.get() + 1);
            }
        }
    });
    assert!(told.get() > 300, "{}", told.get());
}

/// At the recommended position the screen covers what the rectangles say, upright screens worked out here.
#[test]
fn an_upright_screen_covers_what_its_outline_covers() {
    let told = std::cell::Cell::new(0);
    check_all(|job| {
        let Some(screen) = checks(job).and_then(|checks| checks.screen.as_ref()) else { return };
        let Finding::Free(best) = &screen.report.finding else { return };
        if best.tilt.get() != 0.0 {
            return;
        }
        let record = &job.radio["floating_screen"];
        let (width, height) = (record["width"].as_f64().unwrap(), record["height"].as_f64().unwrap());
        let frame = kit(job).map(|kit| &kit["frame"]);
        let at = |axis: &str| frame.and_then(|frame| frame[axis].as_f64()).unwrap_or_default();
        let (x, y) = (at("x"), at("y") + best.height.get());
        let mut expected: BTreeMap<&str, f64> = BTreeMap::new();
        let kit_replaces = job.parts.iter().any(|part| part["kind"] == "DASH_KIT");
        for own in list(job.dash, "surroundings") {
            let edge = |name: &str| own[name].as_f64().unwrap();
            let across = (x + width / 2.0).min(edge("right")) - (x - width / 2.0).max(edge("left"));
            let upright = (y + height / 2.0).min(edge("top")) - (y - height / 2.0).max(edge("bottom"));
            let gone = kit_replaces && own["on_replaced_panel"] == true;
            if across > 0.0 && upright > 0.0 && !gone {
                expected.insert(own["name"].as_str().unwrap(), across * upright);
                assert_ne!(own["clearance"], "NEVER_COVER", "{}", job.name);
                if let Some(up_to) = own["clearance"]["MAY_SHADE"]["up_to"].as_f64() {
                    let area = (edge("right") - edge("left")) * (edge("top") - edge("bottom"));
                    assert!(across * upright <= up_to * area + EXACT, "{}", job.name);
                }
            }
        }
        let found: BTreeMap<&str, f64> = best
            .covered
            .iter()
            .map(|own| (screen.neighbours[own.obstacle].name.as_str(), own.area.get()))
            .collect();
        assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>(), "{}", job.name);
        for (name, area) in &expected {
            assert!((found[name] - area).abs() < EXACT, "{}: {name}", job.name);
        }
        told.set(told.get() + 1);
    });
    assert!(told.get() > 20, "{}", told.get());
}
