//! Supply: whether the circuit that feeds the radio carries what it draws, and the direct feed where it does not.
//!
//! A larger fuse never cures an overload: the fuse protects the leads behind it. What cures it is a feed of its own from the battery.

use dashwright_quantity::{Amperes, Celsius, Fraction, Metres, Volts};

use crate::conductor::Series;
use crate::feed::{Feed, FeedQuestion, FeedRules, NoFeed, Return, USUAL_AMBIENT, size_feed};
use crate::result::{CheckKind, CheckResult, Margin, Outcome, spare};

/// The formula.
pub const FORMULA: &str = "greatest current <= least of fuse rating and current limit of the leads";
/// What the radio draws at most.
pub const GREATEST_CURRENT: &str = "greatest current";
/// The fuse of the circuit.
pub const FUSE_RATING: &str = "fuse rating";
/// What the thinnest lead on the way carries.
pub const LEAD_LIMIT: &str = "current limit of the leads";
/// The supply; only asked for when a feed has to be sized.
pub const SUPPLY_VOLTAGE: &str = "supply voltage";

/// The share of a circuit beyond which it is told, where nothing is stated.
const USUAL_SHARE: f64 = 0.8;
/// Metres from the battery to a dash where nothing is stated.
const USUAL_LENGTH: f64 = 4.0;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SupplyRules {
    /// Beyond this share of what the circuit carries it is told how little is left: 80 %, because other loads often share the fuse.
    /// Common practice, no source.
    pub share: Fraction,
    /// The way from the battery to the radio: 4 m, from the engine bay through the bulkhead. Common practice, no source.
    pub length: Metres,
    /// How the current of a direct feed comes back: by wire, as the body's joints are not known.
    pub returns: Return,
    /// The air around the feed: 20 °C, the temperature that resistance is stated for (IEC 60028).
    pub ambient: Celsius,
    /// The sizes that the feed is chosen from.
    pub series: Series,
    /// How the feed is sized.
    pub feed: FeedRules,
}

impl SupplyRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            share: Fraction::nearest(USUAL_SHARE),
            length: Metres::nearest(USUAL_LENGTH),
            returns: Return::Wire,
            ambient: Celsius::nearest(USUAL_AMBIENT),
            series: Series::SquareMillimetres,
            feed: FeedRules::usual(),
        }
    }
}

/// A radio and the circuit that feeds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SupplyQuestion {
    /// What the radio draws at most.
    pub current: Option<Amperes>,
    /// The fuse of the circuit.
    pub fuse: Option<Amperes>,
    /// What the thinnest lead on the way carries.
    pub lead_limit: Option<Amperes>,
    /// What the supply gives.
    pub supply: Option<Volts>,
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SupplyReport {
    /// In figures.
    pub result: CheckResult,
    /// The circuit does not carry the radio. A larger fuse does not cure that.
    pub overloaded: bool,
    /// The feed that does, or why there is none; nothing where none is needed or the supply is not known.
    pub feed: Option<Result<Feed, NoFeed>>,
}

/// Checks the supply. Of fuse and leads the lesser decides. Where only one is known it decides alone, as a circuit's fuse is chosen for its
/// leads, and the other is named as missing.
#[must_use]
pub fn check_supply(question: &SupplyQuestion, rules: &SupplyRules) -> SupplyReport {
    let mut result = CheckResult::begin(CheckKind::Supply, FORMULA);
    result.setting("share of the circuit", rules.share);
    let current = result.input(GREATEST_CURRENT, question.current);
    let limits = [result.input(FUSE_RATING, question.fuse), result.input(LEAD_LIMIT, question.lead_limit)];
    let least = limits.into_iter().flatten().min();
    let (Some(current), Some(limit)) = (current, least) else {
        return SupplyReport { result, overloaded: false, feed: None };
    };
    let left = spare(limit.get(), current.get());
    result.margin = Some(Margin::of("spare current", left, Amperes::nearest));
    if left < 0.0 {
        return overloaded(question, rules, current, result);
    }
    let share = if limit.get() > 0.0 { current.get() / limit.get() } else { 0.0 };
    result.result("share of the circuit", Fraction::nearest(share));
    let ample = spare(rules.share.get(), share) >= 0.0;
    result.outcome = if ample { Outcome::Pass } else { Outcome::Advise };
    SupplyReport { result, overloaded: false, feed: None }
}

fn overloaded(
    question: &SupplyQuestion,
    rules: &SupplyRules,
    load: Amperes,
    mut result: CheckResult,
) -> SupplyReport {
    result.setting("length of the feed", rules.length);
    result.setting("temperature of the feed", rules.ambient);
    result.setting("allowed drop", rules.feed.allowed_drop);
    result.setting("fuse factor", rules.feed.fuse_factor);
    result.setting("temperature of the insulation", rules.feed.insulation);
    let supply = result.input(SUPPLY_VOLTAGE, question.supply);
    let feed = supply.map(|supply| {
        size_feed(&FeedQuestion {
            load,
            supply,
            length: rules.length,
            returns: rules.returns,
            ambient: rules.ambient,
            series: rules.series,
            rules: rules.feed,
        })
    });
    // Without the supply voltage no size is told, but that it takes a feed is certain.
    result.outcome = if matches!(feed, Some(Err(_))) { Outcome::Fail } else { Outcome::Advise };
    if let Some(Ok(feed)) = &feed {
        result.result("fuse of the feed", feed.fuse.rating);
        result.result("drop on the feed", feed.laid.drop);
        result.result("current limit of the feed", feed.laid.limit);
    }
    SupplyReport { result, overloaded: true, feed }
}

#[cfg(test)]
mod tests {
    use dashwright_quantity::Gauge;

    use super::*;

    fn question(known: [Option<f64>; 3]) -> SupplyQuestion {
        let [current, fuse, lead_limit] = known.map(|it| it.map(|amperes| Amperes::new(amperes).unwrap()));
        SupplyQuestion { current, fuse, lead_limit, supply: Some(Volts::new(12.0).unwrap()) }
    }

    #[test]
    fn the_lesser_of_fuse_and_leads_decides() {
        let check = |known: [Option<f64>; 3], outcome: Outcome, overloaded: bool, margin: Option<f64>| {
            let found = check_supply(&question(known), &SupplyRules::usual());
            assert_eq!((found.result.outcome, found.overloaded), (outcome, overloaded), "{known:?}");
            assert_eq!(found.result.margin.map(|it| it.signed()), margin, "{known:?}");
            assert_eq!(found.feed.is_some(), overloaded);
        };
        // 80 % of 15 A are 12 A.
        check([Some(12.0), Some(15.0), Some(20.0)], Outcome::Pass, false, Some(3.0));
        check([Some(12.01), Some(15.0), Some(20.0)], Outcome::Advise, false, Some(15.0 - 12.01));
        check([Some(10.0), Some(10.0), None], Outcome::Advise, false, Some(0.0));
        check([Some(10.0), Some(15.0), Some(8.0)], Outcome::Advise, true, Some(-2.0));
        check([Some(10.0), None, Some(7.5)], Outcome::Advise, true, Some(-2.5));
        check([None, Some(15.0), Some(15.0)], Outcome::NoData, false, None);
        check([Some(10.0), None, None], Outcome::NoData, false, None);
        check([Some(0.0), Some(0.0), None], Outcome::Pass, false, Some(0.0));
        // No blade fuse carries 90 A × 1.25.
        check([Some(90.0), Some(30.0), None], Outcome::Fail, true, Some(-60.0));
    }

    /// 15 A over 4 m and back may lose 0.36 V of 12 V: 15 × 8 / (58 × 0.36) = 5.747 mm², and the next size is 6 mm². The fuse carries
    /// 18.75 A.
    #[test]
    fn an_overload_is_cured_by_a_feed_of_its_own() {
        let found = check_supply(&question([Some(15.0), Some(10.0), Some(10.0)]), &SupplyRules::usual());
        let feed = found.feed.unwrap().unwrap();
        assert_eq!((feed.laid.conductor, feed.fuse.rating.get()), (Gauge::MicroArea(6_000), 20.0));
        // 8 A × 1.25 = 10 A takes the fuse of 10 A.
        let found = check_supply(&question([Some(8.0), Some(5.0), None]), &SupplyRules::usual());
        assert_eq!(found.feed.unwrap().unwrap().fuse.rating.get(), 10.0);
        assert_eq!(found.result.missing, [LEAD_LIMIT]);
    }

    #[test]
    fn an_overload_without_a_known_supply_is_still_one() {
        let asked = SupplyQuestion { supply: None, ..question([Some(15.0), Some(10.0), Some(20.0)]) };
        let found = check_supply(&asked, &SupplyRules::usual());
        assert_eq!((found.result.outcome, found.overloaded, found.feed), (Outcome::Advise, true, None));
        assert_eq!(found.result.missing, [SUPPLY_VOLTAGE]);
    }
}
