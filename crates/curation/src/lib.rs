//! What editing a dataset means: how two revisions differ, and edits that keep references right. Pure: no I/O, no clock, no async.

mod bulk;
mod diff;

pub use bulk::{
    BulkEdit, BulkError, BulkOutcome, Drafted, MAX_NAMED, Remark, Remarked, SplitAt, Touch, Touched,
};
pub use diff::{FieldDiff, RecordChange, RecordDiff, diff, field_diffs};
