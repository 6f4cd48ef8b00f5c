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

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that serde asks for")]
fn is_zero(count: &u32) -> bool {
    *count == 0
}
