//! Figures of calls, by method and code, under the names that the gRPC ecosystem gives them; and log lines of faults.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Instant;

use http::{HeaderMap, Response};
use prometheus::{
    Histogram, HistogramOpts, HistogramVec, IntCounter, IntCounterVec, IntGauge, Opts, Registry,
};
use prost::Message as _;
use prost_types::FileDescriptorSet;
use tokio::sync::OwnedSemaphorePermit;
use tonic::Code;
use tonic::body::Body;
use tracing::Span;

use super::code;
use super::counted::Counted;
use super::request::{RequestId, trace_id};
use crate::auth::{Need, need_of};
use crate::throttle::Throttle;

/// The labels of a method.
const METHOD: [&str; 3] = ["grpc_type", "grpc_service", "grpc_method"];
/// The same, and the code.
const HANDLED: [&str; 4] = ["grpc_type", "grpc_service", "grpc_method", "grpc_code"];
/// What a path of no method is counted as: a stranger can not make the figures grow.
const UNKNOWN: &str = "unknown";

/// Upper bounds of the handling time: from 100 µs, below which a look-up lies, to 10 s, the longest deadline.
const SECONDS: &[f64] =
    &[0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.1, 0.25, 1.0, 2.5, 10.0];

/// The schemas of everything that is served.
const SCHEMAS: [&[u8]; 4] = [
    dashwright_api::DESCRIPTORS,
    tonic_health::pb::FILE_DESCRIPTOR_SET,
    tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
    tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
];

/// The figures of calls.
#[derive(Debug)]
pub(crate) struct CallFigures {
    by_path: HashMap<String, Arc<Method>>,
    unknown: Arc<Method>,
    started: IntCounterVec,
    handled: IntCounterVec,
    seconds: HistogramVec,
    in_flight: IntGauge,
    shed: IntCounter,
    faults: Throttle,
}

/// The figures of one method.
#[derive(Debug)]
struct Method {
    labels: [String; 3],
    only_reads: bool,
    started: IntCounter,
    succeeded: IntCounter,
    seconds: Histogram,
}

impl CallFigures {
    /// Figures of every method that is served, all at zero.
    #[expect(
        clippy::expect_used,
        reason = "names, labels and bounds are constants, and every test makes them all"
    )]
    pub(crate) fn new() -> Self {
        let counters = |name: &str, help: &str, labels: &[&str]| {
            IntCounterVec::new(Opts::new(name, help), labels).expect("a constant name")
        };
        let started = counters("grpc_server_started_total", "Calls that were begun on the server.", &METHOD);
        let handled =
            counters("grpc_server_handled_total", "Calls that were ended on the server, by code.", &HANDLED);
        let seconds = HistogramOpts::new(
            "grpc_server_handling_seconds",
            "Seconds from the head of a call to the end of its answer, streams included.",
        );
        let seconds =
            HistogramVec::new(seconds.buckets(SECONDS.to_vec()), &METHOD).expect("ascending bounds");
        let in_flight = IntGauge::new("dashwright_calls_in_flight", "Calls that are being answered.");
        let shed = IntCounter::new("dashwright_calls_shed_total", "Calls that were refused as one too many.");
        let method = |labels: [String; 3]| Method::new(labels, &started, &handled, &seconds);
        let paths = methods().into_iter().map(|labels| {
            let [_, service, name] = &labels;
            (format!("/{service}/{name}"), method(labels))
        });
        Self {
            by_path: paths.collect(),
            unknown: method([UNKNOWN; 3].map(str::to_owned)),
            started,
            handled,
            seconds,
            in_flight: in_flight.expect("a constant name"),
            shed: shed.expect("a constant name"),
            faults: Throttle::default(),
        }
    }

    /// Counts a call that begins.
    pub(crate) fn begin(
        self: &Arc<Self>,
        path: &str,
        headers: &HeaderMap,
        id: RequestId,
        begin: Instant,
    ) -> Observed {
        let method = Arc::clone(self.by_path.get(path).unwrap_or(&self.unknown));
        method.started.inc();
        self.in_flight.inc();
        let trace = trace_id(headers).map(str::to_owned);
        let (figures, span) = (Arc::clone(self), Span::none());
        Observed { figures, method, id, trace, begin, code: Code::Cancelled, span, place: None }
    }

    /// Counts a call that is refused because too many are in flight.
    pub(crate) fn shed(&self) {
        self.shed.inc();
    }

    /// Puts the figures into a registry.
    pub(super) fn register(&self, registry: &Registry) -> prometheus::Result<()> {
        let Self { by_path: _, unknown: _, started, handled, seconds, in_flight, shed, faults: _ } = self;
        registry.register(Box::new(started.clone()))?;
        registry.register(Box::new(handled.clone()))?;
        registry.register(Box::new(seconds.clone()))?;
        registry.register(Box::new(in_flight.clone()))?;
        registry.register(Box::new(shed.clone()))
    }
}

impl Method {
    fn new(
        labels: [String; 3],
        started: &IntCounterVec,
        handled: &IntCounterVec,
        seconds: &HistogramVec,
    ) -> Arc<Self> {
        let [kind, service, name] = &labels;
        let values = [kind.as_str(), service.as_str(), name.as_str()];
        let handled = |code: Code| {
            let [kind, service, name] = values;
            handled.with_label_values(&[kind, service, name, code::name(code)])
        };
        // Faults are there from the start, so that the first one is seen as an increase.
        for fault in code::CODES.into_iter().filter(|code| code::is_fault(*code)) {
            handled(fault);
        }
        let succeeded = handled(Code::Ok);
        let only_reads = need_of(&format!("/{service}/{name}")).is_some_and(Need::only_reads);
        let (started, seconds) = (started.with_label_values(&values), seconds.with_label_values(&values));
        Arc::new(Self { labels, only_reads, started, succeeded, seconds })
    }
}

/// Type, service and name of every method that is served.
fn methods() -> Vec<[String; 3]> {
    let mut methods = Vec::new();
    for file in
        SCHEMAS.iter().filter_map(|schema| FileDescriptorSet::decode(*schema).ok()).flat_map(|it| it.file)
    {
        for service in &file.service {
            for method in &service.method {
                let kind = match (method.client_streaming(), method.server_streaming()) {
                    (false, false) => "unary",
                    (true, false) => "client_stream",
                    (false, true) => "server_stream",
                    (true, true) => "bidi_stream",
                };
                let service = format!("{}.{}", file.package(), service.name());
                methods.push([kind.to_owned(), service, method.name().to_owned()]);
            }
        }
    }
    methods
}

/// A call that was begun. It counts as ended when this goes: as cancelled by its caller unless a code was told before.
#[derive(Debug)]
pub(crate) struct Observed {
    figures: Arc<CallFigures>,
    method: Arc<Method>,
    id: RequestId,
    trace: Option<String>,
    begin: Instant,
    code: Code,
    span: Span,
    place: Option<OwnedSemaphorePermit>,
}

impl Observed {
    /// The name of the request.
    pub(crate) fn id(&self) -> &RequestId {
        &self.id
    }

    /// Service and method, as the schema names them.
    pub(crate) fn names(&self) -> (&str, &str) {
        let [_, service, method] = &self.method.labels;
        (service, method)
    }

    /// Whether the call changes nothing and is no office work.
    pub(crate) fn only_reads(&self) -> bool {
        self.method.only_reads
    }

    /// The trace that the call belongs to.
    pub(crate) fn trace(&self) -> Option<&str> {
        self.trace.as_deref()
    }

    /// What is logged from now on is logged in this span, which ends with the call.
    pub(crate) fn within(mut self, span: Span) -> Self {
        self.span = span;
        self
    }

    /// Keeps the place of the call among all calls until its end.
    pub(crate) fn keeping(mut self, place: Option<OwnedSemaphorePermit>) -> Self {
        self.place = place;
        self
    }

    /// The answer, whose end is the end of the call.
    pub(crate) fn answered(mut self, response: Response<Body>) -> Response<Body> {
        match code::of(response.headers()) {
            Some(code) => {
                self.ended_with(code);
                response
            }
            None => response.map(|body| Body::new(Counted::new(body, self))),
        }
    }

    /// Tells the code that the call ended with.
    pub(super) fn ended_with(&mut self, code: Code) {
        self.code = code;
    }
}

impl Drop for Observed {
    fn drop(&mut self) {
        let Self { figures, method, id, trace, begin, code, span, place: _ } = self;
        let elapsed = begin.elapsed();
        figures.in_flight.dec();
        method.seconds.observe(elapsed.as_secs_f64());
        if *code == Code::Ok {
            method.succeeded.inc();
        } else {
            let [kind, service, name] = &method.labels;
            figures.handled.with_label_values(&[kind, service, name, code::name(*code)]).inc();
        }
        let [_, service, name] = &method.labels;
        span.record("rpc.grpc.status_code", i32::from(*code));
        let _inside = span.enter();
        let (code_name, trace_id) = (code::name(*code), trace.as_deref());
        if code::is_fault(*code)
            && let Some(left_out) = figures.faults.line(Instant::now())
        {
            tracing::error!(request_id = %id, trace_id, service, method = name, code = code_name, left_out, "a call failed");
        }
        let microseconds = u64::try_from(elapsed.as_micros()).unwrap_or(u64::MAX);
        tracing::debug!(request_id = %id, trace_id, service, method = name, code = code_name, microseconds, "a call ended");
    }
}

#[cfg(test)]
mod tests {
    use tonic::Status;

    use super::*;

    const PATH: &str = "/dashwright.v1.FitmentService/LookUpFitment";

    fn begin(figures: &Arc<CallFigures>, path: &str) -> Observed {
        let id = RequestId::Given("a-name".to_owned());
        figures.begin(path, &HeaderMap::new(), id, Instant::now())
    }

    fn handled(figures: &CallFigures, service: &str, method: &str, code: &str) -> u64 {
        let kind = if service == UNKNOWN { UNKNOWN } else { "unary" };
        figures.handled.with_label_values(&[kind, service, method, code]).get()
    }

    #[test]
    fn a_call_is_counted_when_it_begins_and_when_it_ends() {
        let (figures, service) = (Arc::new(CallFigures::new()), "dashwright.v1.FitmentService");
        let observed = begin(&figures, PATH);
        assert_eq!(figures.by_path[PATH].started.get(), 1);
        assert_eq!(figures.in_flight.get(), 1);
        let response = Status::not_found("").into_http();
        drop(observed.answered(response));
        assert_eq!(handled(&figures, service, "LookUpFitment", "NotFound"), 1);
        // Nobody answered.
        drop(begin(&figures, PATH));
        assert_eq!(handled(&figures, service, "LookUpFitment", "Canceled"), 1);
        assert_eq!((figures.in_flight.get(), figures.by_path[PATH].seconds.get_sample_count()), (0, 2));
    }

    #[test]
    fn paths_of_no_method_are_counted_as_one() {
        let figures = Arc::new(CallFigures::new());
        for path in ["/", "/a/b", "/dashwright.v1.FitmentService/Nothing"] {
            drop(begin(&figures, path).answered(Status::unimplemented("").into_http()));
        }
        assert_eq!(handled(&figures, UNKNOWN, UNKNOWN, "Unimplemented"), 3);
    }

    #[test]
    fn every_method_has_its_type() {
        let figures = CallFigures::new();
        let kind = |path: &str| figures.by_path[path].labels[0].as_str();
        assert_eq!(kind(PATH), "unary");
        assert_eq!(kind("/dashwright.v1.FitmentService/CheckCarts"), "bidi_stream");
        assert_eq!(kind("/dashwright.v1.CurationService/ExportRecords"), "server_stream");
        assert_eq!(kind("/grpc.health.v1.Health/Watch"), "server_stream");
    }
}
