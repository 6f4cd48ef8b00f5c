//! Evidence: how well a record, or one statement of it, is known.

use dashwright_quantity::{Date, Prose};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

terms! {
    /// How a fact came to be known, strongest first: a smaller grade is a stronger one.
    Grade ("grade of evidence") {
        /// Done on a bench or in a car, by the shop itself.
        BenchVerified = "BENCH_VERIFIED",
        /// Measured with an instrument.
        Measured = "MEASURED",
        /// Read in a document of the maker.
        MakerDocument = "MAKER_DOCUMENT",
        /// Told by somebody who did it.
        Reported = "REPORTED",
        /// Taken over from something similar.
        Assumed = "ASSUMED",
    }
}

/// What a record, or a statement of it, rests on.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Evidence {
    /// How it came to be known.
    pub grade: Grade,
    /// Where it was read, measured or heard.
    pub source: Prose,
    /// When.
    pub date: Date,
    /// Jobs that confirmed it.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub confirmed_jobs: u32,
    /// Jobs that contradicted it.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub contradicted_jobs: u32,
}

/// What a job that was done says of a record, once a curator has accepted it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JobSays {
    /// The record held.
    Confirms,
    /// The record was wrong.
    Contradicts,
}

/// The grade of what is known by nothing better than jobs that confirmed it: somebody who did it told so. A job shows that the
/// whole worked; it measures and reads nothing, so that no number of jobs lifts a record above this.
const GRADE_BY_JOBS: Grade = Grade::Reported;
/// The grade of what jobs contradict at least as often as they confirm it: whatever it was taken from, it is a guess.
const GRADE_IN_DOUBT: Grade = Grade::Assumed;

impl Evidence {
    /// The evidence once one more job counts. Grades move by this alone, or by a curator's own edit of the record:
    ///
    /// - a job that contradicts takes the grade down to [`Grade::Assumed`], unless more jobs confirm the record still;
    /// - a job that confirms lifts [`Grade::Assumed`] to [`Grade::Reported`] once more jobs confirm the record than contradict it.
    ///
    /// Common practice, no source: one bad job among many good ones is looked into and unsettles nothing by itself.
    #[must_use]
    pub fn after_job(&self, says: JobSays) -> Self {
        let mut after = self.clone();
        let count = match says {
            JobSays::Confirms => &mut after.confirmed_jobs,
            JobSays::Contradicts => &mut after.contradicted_jobs,
        };
        *count = count.saturating_add(1);
        let borne_out = after.confirmed_jobs > after.contradicted_jobs;
        match says {
            JobSays::Confirms if borne_out => after.grade = after.grade.min(GRADE_BY_JOBS),
            JobSays::Contradicts if !borne_out => after.grade = GRADE_IN_DOUBT,
            JobSays::Confirms | JobSays::Contradicts => {}
        }
        after
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that serde asks for")]
fn is_zero(count: &u32) -> bool {
    *count == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn evidence(grade: Grade, confirmed_jobs: u32, contradicted_jobs: u32) -> Evidence {
        let (source, date) = (Prose::new("a test").unwrap(), "2026-01-01".parse().unwrap());
        Evidence { grade, source, date, confirmed_jobs, contradicted_jobs }
    }

    /// Grades and counts before and after, written down by hand from the rule.
    #[test]
    fn counts_move_by_one_and_grades_by_what_jobs_say_on_the_whole() {
        use Grade::{Assumed, BenchVerified, MakerDocument, Measured, Reported};
        use JobSays::{Confirms, Contradicts};
        for (before, says, after) in [
            ((Assumed, 0, 0), Confirms, (Reported, 1, 0)),
            ((Assumed, 0, 1), Confirms, (Assumed, 1, 1)),
            ((Assumed, 1, 1), Confirms, (Reported, 2, 1)),
            ((Reported, 7, 0), Confirms, (Reported, 8, 0)),
            ((Measured, 0, 0), Confirms, (Measured, 1, 0)),
            ((Measured, 0, 4), Confirms, (Measured, 1, 4)),
            ((BenchVerified, 5, 0), Contradicts, (BenchVerified, 5, 1)),
            ((BenchVerified, 5, 4), Contradicts, (Assumed, 5, 5)),
            ((MakerDocument, 0, 0), Contradicts, (Assumed, 0, 1)),
            ((Reported, 2, 1), Contradicts, (Assumed, 2, 2)),
            ((Reported, u32::MAX, 0), Confirms, (Reported, u32::MAX, 0)),
        ] {
            let (grade, confirmed, contradicted) = before;
            let found = evidence(grade, confirmed, contradicted).after_job(says);
            let (grade, confirmed, contradicted) = after;
            assert_eq!(found, evidence(grade, confirmed, contradicted), "{before:?} {says:?}");
        }
    }
}
