//! Level: whether what the radio gives suits the input of the factory amplifier.

use dashwright_quantity::{Decibels, Ohms, Volts, Watts};

use crate::result::{CheckKind, CheckResult, Margin, Outcome, spare};

/// The formula.
pub const FORMULA: &str = "20 log10(output / input sensitivity), output = line voltage or sqrt(power * load)";
/// Voltage of the line output.
pub const LINE_VOLTAGE: &str = "line voltage";
/// Power at the speaker terminals.
pub const POWER: &str = "power per channel";
/// The load that the power is stated for.
pub const LOAD: &str = "load of the stated power";
/// Voltage at the amplifier's input for full output.
pub const SENSITIVITY: &str = "input sensitivity";

/// Half the voltage, in dB: where nothing else is stated.
const HALF: f64 = -6.0;
/// Twice the voltage, in dB: where nothing else is stated.
const TWICE: f64 = 6.0;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LevelRules {
    /// Below it the amplifier stays quiet at full volume: -6 dB, half the voltage. Common practice, no source.
    pub least: Decibels,
    /// Above it a line output overloads the input early: +6 dB, twice the voltage. Common practice, no source.
    pub most_at_line: Decibels,
    /// Above it speaker terminals overload the input early: +6 dB, twice the voltage. Common practice, no source.
    pub most_at_speaker: Decibels,
}

impl LevelRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            least: Decibels::nearest(HALF),
            most_at_line: Decibels::nearest(TWICE),
            most_at_speaker: Decibels::nearest(TWICE),
        }
    }
}

/// Where the signal is taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// A line output.
    Line {
        /// Its voltage, RMS.
        voltage: Option<Volts>,
    },
    /// The speaker terminals.
    Speaker {
        /// RMS power of a channel.
        power: Option<Watts>,
        /// The load that it is stated for.
        load: Option<Ohms>,
    },
}

/// How a level suits an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelKind {
    /// Too little: the amplifier stays quiet.
    Quiet,
    /// It suits.
    Suits,
    /// Too much: the input overloads early.
    Overloads,
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LevelReport {
    /// In figures. An output of nothing is told as the least level that can be.
    pub result: CheckResult,
    /// How it suits; nothing where that could not be computed.
    pub kind: Option<LevelKind>,
}

/// Checks a level. One just at a threshold suits. An input for no voltage at all is taken as not known.
#[must_use]
pub fn check_level(output: Output, sensitivity: Option<Volts>, rules: &LevelRules) -> LevelReport {
    let mut result = CheckResult::begin(CheckKind::Level, FORMULA);
    let (volts, most) = match output {
        Output::Line { voltage } => (result.input(LINE_VOLTAGE, voltage), rules.most_at_line),
        Output::Speaker { power, load } => {
            let (power, load) = (result.input(POWER, power), result.input(LOAD, load));
            let volts = power.zip(load).map(|(power, load)| (power.get() * load.get()).sqrt());
            (volts.map(Volts::nearest), rules.most_at_speaker)
        }
    };
    result.setting("least level", rules.least);
    result.setting("greatest level", most);
    let sensitivity = result.input(SENSITIVITY, sensitivity.filter(|it| *it > Volts::ZERO));
    let (Some(output), Some(input)) = (volts, sensitivity) else { return LevelReport { result, kind: None } };
    // Of nothing the logarithm is endless, and the nearest that can be told is the least.
    let level = Decibels::nearest(20.0 * (output.get() / input.get()).log10());
    result.result("output voltage", output);
    result.result("level", level);
    let above = spare(level.get(), rules.least.get());
    let below = spare(most.get(), level.get());
    result.margin = Some(Margin::of("distance to the nearer threshold", above.min(below), Decibels::nearest));
    let kind = if above < 0.0 {
        LevelKind::Quiet
    } else if below < 0.0 {
        LevelKind::Overloads
    } else {
        LevelKind::Suits
    };
    result.outcome = if kind == LevelKind::Suits { Outcome::Pass } else { Outcome::Advise };
    LevelReport { result, kind: Some(kind) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::result::Figure;

    fn volts(volts: f64) -> Option<Volts> {
        Some(Volts::new(volts).unwrap())
    }

    fn line(voltage: f64) -> Output {
        Output::Line { voltage: volts(voltage) }
    }

    fn speaker(power: f64, load: f64) -> Output {
        Output::Speaker { power: Some(Watts::new(power).unwrap()), load: Some(Ohms::new(load).unwrap()) }
    }

    /// Levels by the table of decibels in any handbook: 0 dB is 1, 6.0206 dB is 2, 20 dB is 10 times the voltage.
    #[test]
    fn levels_are_those_of_the_handbook() {
        let check = |output: Output, sensitivity: f64, level: f64, kind: LevelKind| {
            let found = check_level(output, volts(sensitivity), &LevelRules::usual());
            let told = found.result.results.iter().find(|it| it.name == "level").unwrap().value;
            assert!((told.number() - level).abs() < 5e-5, "{output:?}: {told:?} is not {level}");
            assert_eq!(found.kind, Some(kind), "{output:?}");
            // To the nearer of -6 and 6 dB.
            let margin = found.result.margin.unwrap().signed();
            assert!((margin - (6.0 - level.abs())).abs() < 5e-5, "{output:?}: {margin}");
            let outcome = if kind == LevelKind::Suits { Outcome::Pass } else { Outcome::Advise };
            assert_eq!(found.result.outcome, outcome);
        };
        check(line(2.0), 2.0, 0.0, LevelKind::Suits);
        check(line(4.0), 2.0, 6.0206, LevelKind::Overloads);
        check(line(1.0), 2.0, -6.0206, LevelKind::Quiet);
        check(line(0.2), 2.0, -20.0, LevelKind::Quiet);
        // 16 W into 4 Ω are 8 V; 22 W are 9.3808 V, and 10 log10(88 / 81) = 10 × (1.94448 - 1.90849) = 0.3600.
        check(speaker(16.0, 4.0), 8.0, 0.0, LevelKind::Suits);
        check(speaker(16.0, 4.0), 0.8, 20.0, LevelKind::Overloads);
        check(speaker(22.0, 4.0), 9.0, 0.3600, LevelKind::Suits);
        check(line(0.0), 2.0, -300.0, LevelKind::Quiet);
        check(speaker(0.0, 4.0), 2.0, -300.0, LevelKind::Quiet);
    }

    #[test]
    fn a_level_just_at_a_threshold_suits() {
        let rules = LevelRules { most_at_line: Decibels::new(20.0).unwrap(), ..LevelRules::usual() };
        assert_eq!(check_level(line(20.0), volts(2.0), &rules).kind, Some(LevelKind::Suits));
        assert_eq!(check_level(line(20.01), volts(2.0), &rules).kind, Some(LevelKind::Overloads));
        // Speaker terminals keep their own.
        assert_eq!(check_level(speaker(100.0, 4.0), volts(2.0), &rules).kind, Some(LevelKind::Overloads));
    }

    #[test]
    fn what_is_missing_is_named() {
        let check = |output: Output, sensitivity: Option<Volts>, missing: &[&str]| {
            let found = check_level(output, sensitivity, &LevelRules::usual());
            assert_eq!((found.result.missing.as_slice(), found.kind), (missing, None));
            assert_eq!(found.result.outcome, Outcome::NoData);
        };
        check(Output::Line { voltage: None }, volts(1.0), &[LINE_VOLTAGE]);
        check(Output::Speaker { power: None, load: None }, None, &[POWER, LOAD, SENSITIVITY]);
        check(line(2.0), volts(0.0), &[SENSITIVITY]);
        let known = check_level(line(2.0), volts(1.0), &LevelRules::usual()).result.inputs;
        assert_eq!(known.first(), Some(&Figure::new(LINE_VOLTAGE, Volts::new(2.0).unwrap())));
    }
}
