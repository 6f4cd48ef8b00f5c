//! What a call leaves behind for whoever runs the service: figures, a name in the log, a span of its caller's trace.
//!
//! The [`guard`](crate::guard) begins an observed call with each request, and nothing else has to know of it.

pub(crate) mod calls;
pub(crate) mod code;
pub(crate) mod connections;
mod counted;
mod metrics;
pub(crate) mod request;
mod span;

pub use metrics::{Gauge, MEDIA_TYPE, Metrics};
pub(crate) use span::of_call;
