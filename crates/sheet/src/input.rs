//! What a sheet is made from.

use dashwright_planner::{CasePlan, WeakestEvidence};
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
