//! Depth: whether the chassis, its plugs and its leads go in behind the dash face.

use dashwright_quantity::Millimetres;

use crate::result::{CheckKind, CheckResult, Margin, Outcome, spare};

/// The formula.
pub const FORMULA: &str = "chassis depth + plug clearance <= cavity depth + set-forward";
/// Depth of the chassis behind its mounting face.
pub const CHASSIS_DEPTH: &str = "chassis depth";
/// Room that plugs need behind it.
pub const PLUG_CLEARANCE: &str = "plug clearance";
/// Clear depth behind the dash face.
pub const CAVITY_DEPTH: &str = "cavity depth";
/// How far a kit sets the radio forward.
pub const SET_FORWARD: &str = "set-forward";

/// What leads need to be bent where nothing is stated, in mm.
const USUAL_BENDING: f64 = 10.0;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DepthRules {
    /// With less to spare the leads have to be laid with care: 10 mm to bend them in. Common practice, no source.
    pub bending: Millimetres,
}

impl DepthRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self { bending: Millimetres::nearest(USUAL_BENDING) }
    }
}

/// A chassis and the room for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DepthQuestion {
    /// Depth of the chassis behind its mounting face, plugs not counted.
    pub chassis_depth: Option<Millimetres>,
    /// Room that plugs and leads need behind it.
    pub plug_clearance: Option<Millimetres>,
    /// Clear depth behind the dash face.
    pub cavity_depth: Option<Millimetres>,
    /// How far the kit sets the radio forward; zero without a kit.
    pub set_forward: Option<Millimetres>,
}

/// Checks the depth. A depth that is just met is enough. A chassis that is too deep even without what is missing fails.
#[must_use]
pub fn check_depth(question: &DepthQuestion, rules: &DepthRules) -> CheckResult {
    let mut result = CheckResult::begin(CheckKind::Depth, FORMULA);
    result.setting("spare to bend leads", rules.bending);
    let chassis = result.input(CHASSIS_DEPTH, question.chassis_depth);
    let plugs = result.input(PLUG_CLEARANCE, question.plug_clearance);
    let cavity = result.input(CAVITY_DEPTH, question.cavity_depth);
    let forward = result.input(SET_FORWARD, question.set_forward);
    let (Some(cavity), Some(forward)) = (cavity, forward) else { return result };
    // What is not known is at least nothing.
    let needed = [chassis, plugs].into_iter().flatten().map(Millimetres::get).sum();
    let spare = spare(cavity.get() + forward.get(), needed);
    if result.missing.is_empty() || spare < 0.0 {
        result.margin = Some(Margin::of("spare depth", spare, Millimetres::nearest));
        result.outcome = outcome(spare, rules);
    }
    result
}

fn outcome(spare: f64, rules: &DepthRules) -> Outcome {
    if spare < 0.0 {
        Outcome::Fail
    } else if self::spare(spare, rules.bending.get()) < 0.0 {
        Outcome::Advise
    } else {
        Outcome::Pass
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn question(known: [Option<f64>; 4]) -> DepthQuestion {
        let [chassis_depth, plug_clearance, cavity_depth, set_forward] =
            known.map(|it| it.map(|millimetres| Millimetres::new(millimetres).unwrap()));
        DepthQuestion { chassis_depth, plug_clearance, cavity_depth, set_forward }
    }

    fn answer(known: [f64; 4]) -> CheckResult {
        check_depth(&question(known.map(Some)), &DepthRules::usual())
    }

    #[test]
    fn depths_are_as_worked_out_by_hand() {
        let check = |known: [f64; 4], spare: f64, outcome: Outcome| {
            let found = answer(known);
            let margin = found.margin.unwrap().signed();
            assert!((margin - spare).abs() < 1e-9, "{known:?}: {margin} is not {spare}");
            assert_eq!(found.outcome, outcome, "{known:?}");
        };
        // 190 + 12 - (165 + 30) = 7 mm too deep.
        check([165.0, 30.0, 190.0, 12.0], 7.0, Outcome::Advise);
        check([165.0, 30.0, 193.0, 12.0], 10.0, Outcome::Pass);
        check([165.0, 30.0, 192.9, 12.0], 9.9, Outcome::Advise);
        // Just met, and just missed.
        check([165.0, 30.0, 183.0, 12.0], 0.0, Outcome::Advise);
        check([165.0, 30.0, 182.99, 12.0], -0.01, Outcome::Fail);
        // 0.1 + 0.2 is more than 0.3 in binary, and no more in millimetres.
        check([0.1, 0.2, 0.3, 0.0], 0.0, Outcome::Advise);
        // Beyond what a length can tell, the end of the range is told.
        check([10_000.0, 10_000.0, 0.0, 0.0], -10_000.0, Outcome::Fail);
    }

    #[test]
    fn what_is_missing_is_named_and_never_hides_a_failure() {
        let check = |known: [Option<f64>; 4], missing: &[&str], outcome: Outcome| {
            let found = check_depth(&question(known), &DepthRules::usual());
            assert_eq!((found.missing.as_slice(), found.outcome), (missing, outcome), "{known:?}");
            assert_eq!(found.margin.is_some(), outcome != Outcome::NoData);
            assert_eq!(found.inputs.len() + missing.len(), 4);
        };
        check([None, Some(30.0), Some(200.0), Some(0.0)], &[CHASSIS_DEPTH], Outcome::NoData);
        check([Some(165.0), None, Some(200.0), Some(0.0)], &[PLUG_CLEARANCE], Outcome::NoData);
        check([Some(165.0), Some(30.0), None, Some(0.0)], &[CAVITY_DEPTH], Outcome::NoData);
        check([Some(165.0), Some(30.0), Some(10.0), None], &[SET_FORWARD], Outcome::NoData);
        check([Some(165.0), None, Some(160.0), Some(4.0)], &[PLUG_CLEARANCE], Outcome::Fail);
    }

    proptest! {
        /// A deeper cavity or a kit that sets further forward never fails where a shallower one passed, nor advises.
        #[test]
        fn more_room_is_never_worse(
            chassis in 0.0..300.0, plugs in 0.0..80.0, cavity in 0.0..400.0, forward in 0.0..60.0, more in 0.0..50.0,
        ) {
            let one = answer([chassis, plugs, cavity, forward]).outcome;
            prop_assert!(answer([chassis, plugs, cavity + more, forward]).outcome <= one);
            prop_assert!(answer([chassis, plugs, cavity, forward + more]).outcome <= one);
        }
    }
}
