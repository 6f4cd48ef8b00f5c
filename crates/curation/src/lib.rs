//! What editing a dataset means: how two revisions differ, and edits that keep references right. Pure: no I/O, no clock, no async.

mod bulk;
mod diff;
mod findings;
mod golden;
mod holes;
mod preview;

pub use bulk::{
    BulkEdit, BulkError, BulkOutcome, Drafted, MAX_NAMED, Remark, Remarked, SplitAt, Touch, Touched,
};
pub use diff::{FieldDiff, RecordChange, RecordDiff, diff, field_diffs};
pub use findings::{Finding, FindingKind, Severity, errors, findings, new_errors, sort};
pub use golden::{GoldenAnswer, golden_answer, golden_answers, short, short_verdict};
pub use holes::{Hole, MAX_LINES_NAMED, holes};
pub use preview::{
    ChangeGroup, Difference, Example, MAX_EXAMPLES, MAX_PREVIEWED, PlanChange, Preview, Progress, preview,
};
