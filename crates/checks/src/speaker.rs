//! Speaker load: the impedance that one channel of the radio drives.

use dashwright_quantity::Ohms;

use crate::result::{CheckKind, CheckResult, Margin, Outcome, Value, spare};

/// The formula.
pub const FORMULA: &str = "sum of drivers in series, or 1 / sum of 1 / driver in parallel >= least load";
/// The drivers on the channel.
pub const DRIVERS: &str = "drivers";
/// How several drivers are joined.
pub const TOPOLOGY: &str = "topology of the drivers";
/// The least load that the radio drives.
pub const LEAST_LOAD: &str = "least load";

/// How several drivers hang on one pair of leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topology {
    /// One behind the other.
    Series,
    /// Side by side.
    Parallel,
}

/// One channel and what hangs on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SpeakerQuestion<'a> {
    /// Nominal impedance of each driver; none where they are not known.
    pub drivers: &'a [Ohms],
    /// How several are joined.
    pub topology: Option<Topology>,
    /// The least load that the radio drives.
    pub least_load: Option<Ohms>,
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpeakerReport {
    /// In figures.
    pub result: CheckResult,
    /// The load of the channel.
    pub load: Option<Ohms>,
}

/// Checks the load of a channel. One that is just met passes. A driver of no impedance is a short circuit beside others.
#[must_use]
pub fn check_speaker(question: &SpeakerQuestion<'_>) -> SpeakerReport {
    let mut result = CheckResult::begin(CheckKind::SpeakerLoad, FORMULA);
    for driver in question.drivers {
        result.input("driver", Some(*driver));
    }
    let load = load(question, &mut result);
    let least = result.input(LEAST_LOAD, question.least_load);
    if let Some(load) = load {
        result.result("load", load);
    }
    if let (Some(load), Some(least)) = (load, least) {
        let spare = spare(load.get(), least.get());
        result.margin = Some(Margin::of("spare impedance", spare, Ohms::nearest));
        result.outcome = if spare < 0.0 { Outcome::Fail } else { Outcome::Pass };
    }
    SpeakerReport { result, load }
}

fn load(question: &SpeakerQuestion<'_>, result: &mut CheckResult) -> Option<Ohms> {
    result.result("number of drivers", Value::count(question.drivers.len()));
    let ohms = || question.drivers.iter().map(|driver| driver.get());
    match (question.drivers, question.topology) {
        ([], _) => {
            result.missing.push(DRIVERS);
            None
        }
        ([driver], _) => Some(*driver),
        (_, None) => {
            result.missing.push(TOPOLOGY);
            None
        }
        (_, Some(Topology::Series)) => Some(Ohms::nearest(ohms().sum())),
        // One of nothing makes the sum endless, and the load nothing.
        (_, Some(Topology::Parallel)) => Some(Ohms::nearest(1.0 / ohms().map(f64::recip).sum::<f64>())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(drivers: &[f64], topology: Option<Topology>, least: f64, load: Option<f64>, outcome: Outcome) {
        let ohms: Vec<_> = drivers.iter().map(|it| Ohms::new(*it).unwrap()).collect();
        let asked = SpeakerQuestion { drivers: &ohms, topology, least_load: Some(Ohms::new(least).unwrap()) };
        let found = check_speaker(&asked);
        assert_eq!(found.result.outcome, outcome, "{drivers:?}");
        assert_eq!(found.load.is_some(), load.is_some(), "{drivers:?}");
        let (told, expected) = (found.load.map_or(0.0, Ohms::get), load.unwrap_or(0.0));
        assert!((told - expected).abs() < 1e-9, "{drivers:?}: {told} is not {expected}");
    }

    /// The rules of resistors in series and in parallel, as in any textbook of circuits.
    #[test]
    fn loads_are_those_of_the_textbook() {
        use Topology::{Parallel, Series};
        check(&[4.0], None, 4.0, Some(4.0), Outcome::Pass);
        check(&[2.0], None, 4.0, Some(2.0), Outcome::Fail);
        check(&[4.0, 4.0], Some(Parallel), 4.0, Some(2.0), Outcome::Fail);
        check(&[8.0, 8.0], Some(Parallel), 4.0, Some(4.0), Outcome::Pass);
        check(&[2.0, 2.0], Some(Series), 4.0, Some(4.0), Outcome::Pass);
        // 4 and 12: 48 / 16 = 3.
        check(&[4.0, 12.0], Some(Parallel), 3.0, Some(3.0), Outcome::Pass);
        // Three of 12 make 4, also in binary.
        check(&[12.0, 12.0, 12.0], Some(Parallel), 4.0, Some(4.0), Outcome::Pass);
        // 1/10 + 1/15 = 1/6.
        check(&[10.0, 15.0], Some(Parallel), 6.0, Some(6.0), Outcome::Pass);
        check(&[0.0, 4.0], Some(Parallel), 2.0, Some(0.0), Outcome::Fail);
        check(&[0.0], None, 2.0, Some(0.0), Outcome::Fail);
        check(&[0.0, 4.0], Some(Series), 4.0, Some(4.0), Outcome::Pass);
        check(&[10_000_000.0, 10_000_000.0], Some(Series), 4.0, Some(10_000_000.0), Outcome::Pass);
    }

    #[test]
    fn what_is_missing_is_named() {
        check(&[4.0, 4.0], None, 4.0, None, Outcome::NoData);
        check(&[], None, 4.0, None, Outcome::NoData);
        let four = [Ohms::new(4.0).unwrap(); 2];
        let missing = |drivers: &[Ohms], least_load: Option<Ohms>| {
            check_speaker(&SpeakerQuestion { drivers, topology: None, least_load }).result.missing
        };
        assert_eq!(missing(&four, None), [TOPOLOGY, LEAST_LOAD]);
        assert_eq!(missing(&[], Some(Ohms::ZERO)), [DRIVERS]);
    }
}
