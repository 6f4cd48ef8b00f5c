//! What a sheet is made from.

use dashwright_planner::{CasePlan, WeakestEvidence};
use dashwright_quantity::{Degrees, Fraction, Millimetres, Offset};
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};

/// Everything that a sheet says. What tells one car from all others (its VIN) has no field here: a sheet hangs on a wall.
#[derive(Clone, Copy, Debug)]
pub struct SheetInput<'a> {
    /// The dataset that the plan was made from.
    pub snapshot: &'a Snapshot,
    /// The vehicle lines that the plan is for, each with one audio option.
    pub candidates: &'a [Candidate],
    /// The radio, as a place in the snapshot's table.
    pub radio: RecordIx,
    /// The plan.
    pub plan: &'a CasePlan,
    /// The weakest evidence of the plan and of its vehicle lines.
    pub weakest: Option<&'a WeakestEvidence>,
    /// Of the dataset.
    pub revision: Revision<'a>,
    /// By what the plan is named when it is told how the job went.
    pub fingerprint: &'a str,
    /// What it is printed on.
    pub paper: Paper,
    /// Checks that were computed.
    pub checks: &'a [CheckLine],
    /// Where a floating screen is to stand.
    pub screen: Option<&'a ScreenPlacement>,
}

/// A revision of the dataset.
#[derive(Clone, Copy, Debug)]
pub struct Revision<'a> {
    /// Its number.
    pub number: u64,
    /// The token by which the same question can be asked again.
    pub token: &'a str,
    /// SHA-256 of the dataset, in hexadecimal digits.
    pub content_hash: &'a str,
}

/// What a sheet is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 × 11 inches, 215.9 × 279.4 mm (ANSI/ASME Y14.1, from memory).
    Letter,
}

/// How a computed check ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CheckOutcome {
    /// It holds.
    Pass,
    /// It holds, and something is worth knowing.
    Advise,
    /// It does not hold.
    Fail,
    /// A figure is missing.
    NoData,
}

/// A computed check in words: names and numbers as whoever computed it tells them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckLine {
    /// What is checked.
    pub name: String,
    /// How it ends.
    pub outcome: CheckOutcome,
    /// The formula, by its name or written out.
    pub formula: String,
    /// The figures that went in, with their units.
    pub inputs: String,
    /// How much is to spare or lacking, with its unit; empty where there is none.
    pub margin: String,
    /// Figures that are missing.
    pub missing: Vec<String>,
}

/// The recommended place of a floating screen: its outline on the dash face in millimetres from the opening's centre, x to
/// the right, y up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreenPlacement {
    /// Left edge.
    pub left: Offset,
    /// Right edge.
    pub right: Offset,
    /// Lower edge.
    pub bottom: Offset,
    /// Upper edge.
    pub top: Offset,
    /// Distance of the screen's back from the dash face, where it is part of the recommendation.
    pub stand_off: Option<Millimetres>,
    /// Tilt, positive when the upper edge leans back, where it is part of the recommendation.
    pub tilt: Option<Degrees>,
    /// Surroundings that it covers, by their place in the dash's record, and which share of each.
    pub covered: Vec<(usize, Fraction)>,
    /// Nothing is covered that must stay clear.
    pub free: bool,
}
