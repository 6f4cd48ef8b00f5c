//! What editing a dataset means: how two revisions differ. Pure: no I/O, no clock, no async.

mod diff;

pub use diff::{FieldDiff, RecordChange, RecordDiff, diff, field_diffs};
