//! Standby: how long the battery lasts while the car stands.

use dashwright_quantity::{AmpereHours, Days, Fraction, Milliamperes};

use crate::result::{CheckKind, CheckResult, Margin, Outcome, spare};

/// The formula.
pub const FORMULA: &str = "battery capacity * share / sum of standby currents >= days at rest";
/// What one unit draws at rest.
pub const STANDBY: &str = "standby current";

/// The capacity of a battery in Ah where none is stated.
const USUAL_BATTERY: f64 = 50.0;
/// The share that may be drawn where none is stated.
const USUAL_SHARE: f64 = 0.3;
/// The days at rest where none are stated.
const USUAL_DAYS: f64 = 14.0;
const HOURS_OF_A_DAY: f64 = 24.0;
const MILLIAMPERES_OF_AN_AMPERE: f64 = 1_000.0;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StandbyRules {
    /// The battery where the car's is not known: 50 Ah, that of a small car. Common practice, no source.
    pub battery: AmpereHours,
    /// The share of it that may be gone: 30 %, so that an aged battery still cranks in the cold. Common practice, no source.
    pub share: Fraction,
    /// How long a car should stand: 14 days, a holiday. Common practice, no source.
    pub days: Days,
}

impl StandbyRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            battery: AmpereHours::nearest(USUAL_BATTERY),
            share: Fraction::nearest(USUAL_SHARE),
            days: Days::nearest(USUAL_DAYS),
        }
    }
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandbyReport {
    /// In figures.
    pub result: CheckResult,
    /// How long it takes until the share is gone; the most that can be told where nothing is drawn, nothing where a current is missing.
    pub days: Option<Days>,
    /// The places of the draws that are not known.
    pub unknown: Vec<usize>,
}

/// Checks what all units draw together at rest. Just the days asked for are enough. What is not known draws at least nothing, so that
/// too much is told in spite of it.
#[must_use]
pub fn check_standby(
    draws: &[Option<Milliamperes>],
    battery: Option<AmpereHours>,
    rules: &StandbyRules,
) -> StandbyReport {
    let mut result = CheckResult::begin(CheckKind::Standby, FORMULA);
    for draw in draws.iter().flatten() {
        result.input(STANDBY, Some(*draw));
    }
    let unknown: Vec<_> =
        draws.iter().enumerate().filter(|(_, draw)| draw.is_none()).map(|(place, _)| place).collect();
    if !unknown.is_empty() {
        result.missing.push(STANDBY);
    }
    if let Some(battery) = battery {
        result.input("battery capacity", Some(battery));
    } else {
        result.setting("battery capacity", rules.battery);
    }
    result.setting("share that may be gone", rules.share);
    result.setting("days at rest", rules.days);
    let sum: f64 = draws.iter().flatten().map(|draw| draw.get()).sum();
    result.result("sum of standby currents", Milliamperes::nearest(sum));
    let charge = battery.unwrap_or(rules.battery).get() * rules.share.get() * MILLIAMPERES_OF_AN_AMPERE;
    let days = if sum > 0.0 { charge / (sum * HOURS_OF_A_DAY) } else { Days::GREATEST };
    let left = spare(days, rules.days.get());
    let known = unknown.is_empty();
    if known || left < 0.0 {
        result.margin = Some(Margin::of("spare days", left, Days::nearest));
        result.outcome = if left < 0.0 { Outcome::Advise } else { Outcome::Pass };
    }
    let days = known.then(|| Days::nearest(days));
    if let Some(days) = days {
        result.result("days until the share is gone", days);
    }
    StandbyReport { result, days, unknown }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draws(draws: &[Option<f64>]) -> Vec<Option<Milliamperes>> {
        draws.iter().map(|it| it.map(|milliamperes| Milliamperes::new(milliamperes).unwrap())).collect()
    }

    #[test]
    fn days_are_as_worked_out_by_hand() {
        let check = |drawn: &[f64], battery: Option<f64>, days: f64, outcome: Outcome| {
            let drawn: Vec<_> = drawn.iter().copied().map(Some).collect();
            let battery = battery.map(|it| AmpereHours::new(it).unwrap());
            let found = check_standby(&draws(&drawn), battery, &StandbyRules::usual());
            let told = found.days.unwrap().get();
            assert!((told - days).abs() < 1e-9 * days, "{drawn:?}: {told} is not {days}");
            assert_eq!(found.result.outcome, outcome, "{drawn:?}");
        };
        // 30 % of 50 Ah are 15,000 mAh; 10 mA take 240 mAh a day.
        check(&[4.0, 6.0], None, 62.5, Outcome::Pass);
        check(&[25.0, 25.0], None, 12.5, Outcome::Advise);
        // 30 % of 56 Ah are 16,800 mAh; 50 mA take 1,200 mAh a day: 14 days, just enough.
        check(&[50.0], Some(56.0), 14.0, Outcome::Pass);
        check(&[50.01], Some(56.0), 16_800.0 / 1_200.24, Outcome::Advise);
        check(&[], None, 100_000.0, Outcome::Pass);
        check(&[0.0], None, 100_000.0, Outcome::Pass);
    }

    #[test]
    fn a_draw_that_is_not_known_is_named_and_never_hides_too_much() {
        let check = |drawn: &[Option<f64>], outcome: Outcome, unknown: &[usize]| {
            let found = check_standby(&draws(drawn), None, &StandbyRules::usual());
            assert_eq!((found.result.outcome, found.unknown.as_slice()), (outcome, unknown));
            assert_eq!((found.days, found.result.missing.as_slice()), (None, [STANDBY].as_slice()));
        };
        check(&[Some(5.0), None, Some(1.0), None], Outcome::NoData, &[1, 3]);
        check(&[None, Some(50.0)], Outcome::Advise, &[0]);
    }

    #[test]
    fn an_empty_battery_lasts_no_time() {
        let found = check_standby(&draws(&[Some(1.0)]), Some(AmpereHours::ZERO), &StandbyRules::usual());
        assert_eq!((found.days, found.result.outcome), (Some(Days::ZERO), Outcome::Advise));
    }
}
