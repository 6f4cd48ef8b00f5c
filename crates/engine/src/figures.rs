//! What is measured of the work that keeps a dataset: for whoever watches the service, and for no answer.

use prometheus::{Histogram, HistogramOpts};

/// Upper bounds in seconds of what a disk takes for one synchronisation: a fast one some 0.1 ms, a busy network volume a second.
const SYNC_SECONDS: &[f64] = &[0.0001, 0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0];
/// Upper bounds in seconds of what compiling a dataset takes: a shop's some 10 ms, a million lines half a minute.
const COMPILE_SECONDS: &[f64] = &[0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0];

/// What was measured since the start. Clones count together.
#[derive(Clone, Debug)]
pub struct Figures {
    /// Seconds of each append to the log, the synchronisation with the disk included.
    pub appends: Histogram,
    /// Seconds of each publish, from the draft to the answer.
    pub publishes: Histogram,
    /// Seconds of each earlier revision that was compiled again for a question as of it.
    pub as_of: Histogram,
}

impl Default for Figures {
    fn default() -> Self {
        Self {
            appends: histogram(
                "dashwright_log_append_seconds",
                "Seconds of each append to the log, with its fsync.",
                SYNC_SECONDS,
            ),
            publishes: histogram(
                "dashwright_publish_seconds",
                "Seconds of each publish that was made, from the draft to the answer.",
                COMPILE_SECONDS,
            ),
            as_of: histogram(
                "dashwright_as_of_compile_seconds",
                "Seconds of each earlier revision that was compiled again for a question as of it.",
                COMPILE_SECONDS,
            ),
        }
    }
}

#[expect(
    clippy::expect_used,
    reason = "names and bounds are the constants of this file, and a test makes them all"
)]
fn histogram(name: &str, help: &str, bounds: &[f64]) -> Histogram {
    let options = HistogramOpts::new(name, help).buckets(bounds.to_vec());
    Histogram::with_opts(options).expect("a constant name and ascending bounds")
}
