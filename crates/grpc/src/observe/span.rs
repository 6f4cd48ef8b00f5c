//! The span of a call: what it logs on the way names it, and a collector of traces sees it as a part of its caller's.

use http::HeaderMap;
use opentelemetry::propagation::Extractor;
use tracing::{Level, Span};
use tracing_opentelemetry::OpenTelemetrySpanExt as _;

use super::calls::Observed;

/// The span of a call. One that only reads has it at the level DEBUG: nothing is logged on its way, and at the usual level a
/// look-up would pay for it with a tenth of its time.
pub(crate) fn of_call(observed: &Observed, headers: &HeaderMap) -> Span {
    let (service, method) = observed.names();
    // Alike but for the level, which has to stand in the source.
    macro_rules! call {
        ($level:expr) => {
            tracing::span!(
                $level,
                "call",
                otel.kind = "server",
                otel.name = tracing::field::Empty,
                rpc.system = "grpc",
                rpc.service = service,
                rpc.method = method,
                rpc.grpc.status_code = tracing::field::Empty,
                request_id = %observed.id(),
                trace_id = observed.trace(),
            )
        };
    }
    let span = if observed.only_reads() { call!(Level::DEBUG) } else { call!(Level::INFO) };
    if !span.is_disabled() {
        span.record("otel.name", format_args!("{service}/{method}"));
        let parent = opentelemetry::global::get_text_map_propagator(|propagator| {
            propagator.extract(&Headers(headers))
        });
        // It fails where nobody collects traces.
        let _ = span.set_parent(parent);
    }
    span
}

/// Headers as a propagator reads them.
struct Headers<'a>(&'a HeaderMap);

impl Extractor for Headers<'_> {
    fn get(&self, name: &str) -> Option<&str> {
        self.0.get(name)?.to_str().ok()
    }

    fn keys(&self) -> Vec<&str> {
        self.0.keys().map(http::HeaderName::as_str).collect()
    }
}
