//! Steering ladder: whether a radio that learns buttons by their voltage tells them apart.
//!
//! The buttons pull a line to ground through a resistance each; the radio pulls it to its reference. With no button pressed the line
//! is at the reference, and every button has to be told from that as well.

use dashwright_quantity::{Fraction, Ohms, Volts};

use crate::result::{CheckKind, CheckResult, Margin, Outcome, spare};

/// The formula.
pub const FORMULA: &str =
    "reference * button / (button + pull-up), closest two apart by the learning threshold";
/// Resistance of one button.
pub const BUTTONS: &str = "button resistance";
/// The reference voltage.
pub const REFERENCE: &str = "reference voltage";
/// The resistor to the reference.
pub const PULL_UP: &str = "pull-up";
/// The least difference that the radio can learn.
pub const THRESHOLD: &str = "learning threshold";

/// The tolerance of buttons where none is stated.
const USUAL_BUTTON_TOLERANCE: f64 = 0.05;
/// The tolerance of a pull-up where none is stated.
const USUAL_PULL_UP_TOLERANCE: f64 = 0.01;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LadderRules {
    /// How far each button may be from its resistance: 5 %, that of the series E24 (IEC 60063).
    pub button_tolerance: Fraction,
    /// How far the pull-up may be from its resistance: 1 %, that of the series E96 (IEC 60063).
    pub pull_up_tolerance: Fraction,
}

impl LadderRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            button_tolerance: Fraction::nearest(USUAL_BUTTON_TOLERANCE),
            pull_up_tolerance: Fraction::nearest(USUAL_PULL_UP_TOLERANCE),
        }
    }
}

/// The buttons of one wire and the input that learns them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LadderQuestion<'a> {
    /// Resistance to the return while each button is pressed; none where they are not known.
    pub buttons: &'a [Ohms],
    /// The reference voltage.
    pub reference: Option<Volts>,
    /// The resistor to it; one of no resistance is taken as not known, as nothing could be told through it.
    pub pull_up: Option<Ohms>,
    /// The least difference that can be learnt.
    pub threshold: Option<Volts>,
}

/// Two levels next to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// The place of the button with the lower voltage.
    pub lower: usize,
    /// The place of the button with the higher voltage; nothing where it is the line with no button pressed.
    pub higher: Option<usize>,
    /// How far they are apart.
    pub apart: Volts,
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LadderReport {
    /// In figures.
    pub result: CheckResult,
    /// The voltage of each button, in their order.
    pub voltages: Vec<Volts>,
    /// The two that are closest with every resistor as it is stated.
    pub closest: Option<Pair>,
    /// The two that may come closest with every resistor within its tolerance; zero apart where they may be mistaken for each other.
    pub closest_at_worst: Option<Pair>,
}

/// Checks a ladder. A difference just at the threshold is enough.
#[must_use]
pub fn check_ladder(question: &LadderQuestion<'_>, rules: &LadderRules) -> LadderReport {
    let mut result = CheckResult::begin(CheckKind::SteeringLadder, FORMULA);
    result.setting("tolerance of the buttons", rules.button_tolerance);
    result.setting("tolerance of the pull-up", rules.pull_up_tolerance);
    for button in question.buttons {
        result.input(BUTTONS, Some(*button));
    }
    if question.buttons.is_empty() {
        result.missing.push(BUTTONS);
    }
    let reference = result.input(REFERENCE, question.reference);
    let pull_up = result.input(PULL_UP, question.pull_up.filter(|it| *it > Ohms::ZERO));
    let threshold = result.input(THRESHOLD, question.threshold);
    let (Some(reference), Some(pull_up)) = (reference, pull_up) else {
        return LadderReport { result, voltages: Vec::new(), closest: None, closest_at_worst: None };
    };
    let ladder = Ladder { reference: reference.get(), pull_up: pull_up.get(), rules };
    let voltages = question.buttons.iter().map(|it| Volts::nearest(ladder.voltage(it.get(), ladder.pull_up)));
    let voltages: Vec<_> = voltages.collect();
    for voltage in &voltages {
        result.result("button voltage", *voltage);
    }
    let closest = closest(question.buttons, |lower, higher| ladder.apart(lower, higher));
    let closest_at_worst = closest_pair_at_worst(question.buttons, &ladder);
    if let (Some(stated), Some(worst), Some(threshold)) = (closest, closest_at_worst, threshold) {
        result.result("closest two apart", stated.apart);
        result.result("closest two apart at worst", worst.apart);
        let spare_stated = spare(stated.apart.get(), threshold.get());
        let spare_worst = spare(worst.apart.get(), threshold.get());
        result.outcome = match (spare_stated < 0.0, spare_worst < 0.0) {
            (true, _) => Outcome::Fail,
            (false, true) => Outcome::Advise,
            (false, false) => Outcome::Pass,
        };
        let margin = if spare_stated < 0.0 { spare_stated } else { spare_worst };
        result.margin = Some(Margin::of("spare difference", margin, Volts::nearest));
    }
    LadderReport { result, voltages, closest, closest_at_worst }
}

struct Ladder<'a> {
    reference: f64,
    /// More than nothing.
    pull_up: f64,
    rules: &'a LadderRules,
}

impl Ladder<'_> {
    fn voltage(&self, button: f64, pull_up: f64) -> f64 {
        self.reference * button / (button + pull_up)
    }

    /// How far two buttons are apart as stated; without the higher one, from the reference.
    fn apart(&self, lower: f64, higher: Option<f64>) -> f64 {
        self.between(lower, higher, self.pull_up)
    }

    /// The same with every resistor where it brings the two closest.
    ///
    /// The difference p (h - l) / ((l + p) (h + p)) rises with the pull-up p up to sqrt(l h) and falls beyond, so that it is least
    /// at one of the ends.
    fn apart_at_worst(&self, lower: f64, higher: Option<f64>) -> f64 {
        let tolerance = self.rules.button_tolerance.get();
        let lower = lower * (1.0 + tolerance);
        let higher = higher.map(|it| it * (1.0 - tolerance));
        let tolerance = self.rules.pull_up_tolerance.get();
        let ends = [self.pull_up * (1.0 - tolerance), self.pull_up * (1.0 + tolerance)];
        let apart = ends.map(|pull_up| self.between(lower, higher, pull_up));
        apart.into_iter().fold(f64::INFINITY, f64::min).max(0.0)
    }

    fn between(&self, lower: f64, higher: Option<f64>, pull_up: f64) -> f64 {
        // A tolerance of the whole may leave no pull-up at all: then everything is at the reference.
        if pull_up <= 0.0 {
            return 0.0;
        }
        higher.map_or(self.reference, |it| self.voltage(it, pull_up)) - self.voltage(lower, pull_up)
    }
}

fn closest_pair_at_worst(buttons: &[Ohms], ladder: &Ladder<'_>) -> Option<Pair> {
    closest(buttons, |lower, higher| ladder.apart_at_worst(lower, higher))
}

/// The closest two of the levels. Voltage rises with resistance, and tolerance is a share of it, so that the closest two are
/// neighbours in resistance.
fn closest(buttons: &[Ohms], apart: impl Fn(f64, Option<f64>) -> f64) -> Option<Pair> {
    let mut order: Vec<_> = buttons.iter().enumerate().collect();
    order.sort_by_key(|(place, ohms)| (**ohms, *place));
    let higher = order.iter().skip(1).map(Some).chain([None]);
    let pairs = order.iter().zip(higher).map(|((lower, ohms), higher)| Pair {
        lower: *lower,
        higher: higher.map(|(place, _)| *place),
        apart: Volts::nearest(apart(ohms.get(), higher.map(|(_, ohms)| ohms.get()))),
    });
    pairs.min_by_key(|pair| pair.apart)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn answer(buttons: &[f64], reference: f64, pull_up: f64, threshold: f64) -> LadderReport {
        let buttons: Vec<_> = buttons.iter().map(|it| Ohms::new(*it).unwrap()).collect();
        let asked = LadderQuestion {
            buttons: &buttons,
            reference: Some(Volts::new(reference).unwrap()),
            pull_up: Some(Ohms::new(pull_up).unwrap()),
            threshold: Some(Volts::new(threshold).unwrap()),
        };
        check_ladder(&asked, &LadderRules::usual())
    }

    fn near(found: Volts, expected: f64) {
        assert!((found.get() - expected).abs() < 5e-5, "{found} is not {expected}");
    }

    /// By hand, 5 V through 1 kΩ: 0 Ω gives 0 V, 1 kΩ 2.5 V, 4 kΩ 4 V, no button 5 V. As stated the closest are 4 kΩ and none, 1 V
    /// apart. At worst 4 kΩ are 4.2 kΩ beside 0.99 kΩ: 5 × 0.99 / 5.19 = 0.95376 V below the reference.
    #[test]
    fn voltages_are_as_worked_out_by_hand() {
        let found = answer(&[4_000.0, 0.0, 1_000.0], 5.0, 1_000.0, 0.5);
        assert_eq!(found.voltages.iter().map(|it| it.get()).collect::<Vec<_>>(), [4.0, 0.0, 2.5]);
        let (stated, worst) = (found.closest.unwrap(), found.closest_at_worst.unwrap());
        assert_eq!((stated.lower, stated.higher, stated.apart.get()), (0, None, 1.0));
        assert_eq!((worst.lower, worst.higher), (0, None));
        near(worst.apart, 0.95376);
        assert_eq!(found.result.outcome, Outcome::Pass);
    }

    /// By hand, 5 V through 1 kΩ: 1 kΩ gives 2.5 V and 1.5 kΩ 3 V. At worst 1.05 kΩ and 1.425 kΩ. Through 0.99 kΩ they give
    /// 5.25 / 2.04 = 2.57353 V and 7.125 / 2.415 = 2.95031 V, 0.37678 V apart; through 1.01 kΩ 5.25 / 2.06 = 2.54854 V and
    /// 7.125 / 2.435 = 2.92608 V, 0.37754 V apart.
    #[test]
    fn the_threshold_decides() {
        let check = |threshold: f64, outcome: Outcome, margin: f64| {
            let found = answer(&[1_000.0, 1_500.0], 5.0, 1_000.0, threshold);
            assert_eq!(found.result.outcome, outcome, "{threshold} V");
            let told = found.result.margin.unwrap().signed();
            assert!((told - margin).abs() < 5e-5, "{threshold} V: {told} is not {margin}");
            near(found.closest.unwrap().apart, 0.5);
            near(found.closest_at_worst.unwrap().apart, 0.37678);
        };
        check(0.37, Outcome::Pass, 0.00678);
        check(0.38, Outcome::Advise, -0.00322);
        check(0.5, Outcome::Advise, -0.12322);
        check(0.5001, Outcome::Fail, -0.0001);
    }

    /// IEC 60063 (values from memory): a series is made so that the tolerances of neighbours just about meet. Neighbours of E12 are
    /// told apart at the 5 % of E24; of E24 1.0 and 1.1 are not.
    #[test]
    fn neighbours_of_a_series_are_told_apart_when_the_series_says_so() {
        const E12: [f64; 12] = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2];
        let coarse = answer(&E12.map(|it| it * 1_000.0), 5.0, 2_200.0, 0.0);
        assert!(coarse.closest_at_worst.unwrap().apart > Volts::ZERO);
        let fine = answer(&[1_000.0, 1_100.0, 2_700.0], 5.0, 2_200.0, 0.02);
        let worst = fine.closest_at_worst.unwrap();
        assert_eq!((worst.lower, worst.higher, worst.apart), (0, Some(1), Volts::ZERO));
        assert_eq!(fine.result.outcome, Outcome::Advise);
    }

    #[test]
    fn two_buttons_alike_are_never_told_apart() {
        let found = answer(&[1_000.0, 300.0, 1_000.0], 5.0, 1_000.0, 0.01);
        let pair = found.closest.unwrap();
        assert_eq!((pair.lower, pair.higher, pair.apart), (0, Some(2), Volts::ZERO));
        assert_eq!(found.result.outcome, Outcome::Fail);
    }

    #[test]
    fn what_is_missing_is_named() {
        let ohms = [Ohms::new(1_000.0).unwrap()];
        let volts = Some(Volts::new(5.0).unwrap());
        let known =
            LadderQuestion { buttons: &ohms, reference: volts, pull_up: Some(ohms[0]), threshold: volts };
        let check = |asked: LadderQuestion<'_>, missing: &[&str]| {
            let found = check_ladder(&asked, &LadderRules::usual()).result;
            assert_eq!((found.missing.as_slice(), found.outcome), (missing, Outcome::NoData));
        };
        check(LadderQuestion { buttons: &[], ..known }, &[BUTTONS]);
        check(LadderQuestion { reference: None, threshold: None, ..known }, &[REFERENCE, THRESHOLD]);
        check(LadderQuestion { pull_up: Some(Ohms::ZERO), ..known }, &[PULL_UP]);
        let unlearnt = check_ladder(&LadderQuestion { threshold: None, ..known }, &LadderRules::usual());
        assert_eq!((unlearnt.result.missing, unlearnt.voltages.len()), (vec![THRESHOLD], 1));
    }

    proptest! {
        /// No choice of resistors within their tolerances comes closer than what is told as the worst.
        #[test]
        fn the_worst_is_never_undercut(
            buttons in proptest::collection::vec(10.0..20_000.0, 1..6), pull_up in 100.0..10_000.0,
            shares in proptest::collection::vec(-1.0..=1.0_f64, 6),
        ) {
            let worst = answer(&buttons, 5.0, pull_up, 0.1).closest_at_worst.unwrap().apart.get();
            let off = |ohms: f64, share: Option<&f64>, tolerance: f64| ohms * (1.0 + tolerance * share.unwrap());
            let through = off(pull_up, shares.last(), 0.01);
            let mut levels: Vec<f64> = buttons.iter().zip(&shares)
                .map(|(ohms, share)| off(*ohms, Some(share), 0.05))
                .map(|ohms| 5.0 * ohms / (ohms + through))
                .chain([5.0])
                .collect();
            levels.sort_by(f64::total_cmp);
            let closest = levels.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
            prop_assert!(closest >= worst - 1e-9, "{closest} < {worst}");
        }
    }
}
