//! What the process tells of itself while it serves: the log on standard error, and traces to a collector where one is named.

use std::io;
use std::time::Duration;

use opentelemetry::trace::TracerProvider as _;
use opentelemetry::{KeyValue, global};
use opentelemetry_otlp::{SpanExporter, WithExportConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::propagation::TraceContextPropagator;
use opentelemetry_sdk::trace::{Sampler, SdkTracerProvider};
use tracing::{Level, Subscriber};
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer, fmt};

use crate::args::LogFormat;
use crate::failure::Failure;

/// How long a collector may take for what it is sent: longer than any in reach, shorter than the drain.
const COLLECTOR_PATIENCE: Duration = Duration::from_secs(5);

/// What traces are made of: the spans of calls and what is logged in them.
const TRACED: &str = "dashwright";

/// Where traces go.
#[derive(Clone, Debug)]
pub(crate) struct Collector {
    /// Its address, which speaks OTLP over gRPC.
    pub(crate) endpoint: String,
    /// Which part of the calls is traced that no caller traces already.
    pub(crate) sample_ratio: f64,
}

/// What was set up, and is to be told that the process ends.
#[derive(Default)]
pub(crate) struct Telemetry(Option<SdkTracerProvider>);

impl Telemetry {
    /// Begins to tell; a filter says how much is logged. Needs a runtime where a collector is named.
    ///
    /// # Errors
    /// When the collector's address is none.
    pub(crate) fn begin(
        format: LogFormat,
        filter: &str,
        collector: Option<&Collector>,
    ) -> Result<Self, Failure> {
        let provider = collector.map(provider).transpose()?;
        let traces = provider.as_ref().map(|provider| {
            let traced = Targets::new().with_target(TRACED, Level::DEBUG);
            tracing_opentelemetry::layer().with_tracer(provider.tracer("dashwright")).with_filter(traced)
        });
        // It fails only where a log is set up already.
        let _ = tracing_subscriber::registry().with(traces).with(log(format, filter)).try_init();
        Ok(Self(provider))
    }

    /// Sends what was not sent yet, and ends.
    pub(crate) async fn end(self) {
        let Some(provider) = self.0 else { return };
        // It waits for the collector, so that a thread of the runtime would be lost to the others.
        let ended =
            tokio::task::spawn_blocking(move || provider.shutdown_with_timeout(COLLECTOR_PATIENCE)).await;
        if let Ok(Err(error)) = ended {
            tracing::warn!(%error, "the last traces did not reach the collector");
        }
    }
}

fn provider(collector: &Collector) -> Result<SdkTracerProvider, Failure> {
    let Collector { endpoint, sample_ratio } = collector;
    let exporter = SpanExporter::builder()
        .with_tonic()
        .with_endpoint(endpoint)
        .with_timeout(COLLECTOR_PATIENCE)
        .build()
        .map_err(|source| Failure::Collector { endpoint: endpoint.clone(), source })?;
    global::set_text_map_propagator(TraceContextPropagator::new());
    let version = KeyValue::new("service.version", env!("CARGO_PKG_VERSION"));
    // What a caller traces is traced here too, so that no trace has holes.
    let sampler = Sampler::ParentBased(Box::new(Sampler::TraceIdRatioBased(*sample_ratio)));
    Ok(SdkTracerProvider::builder()
        .with_batch_exporter(exporter)
        .with_sampler(sampler)
        .with_resource(Resource::builder().with_service_name("dashwright").with_attribute(version).build())
        .build())
}

/// The log on standard error.
fn log<S: Subscriber + for<'a> LookupSpan<'a>>(format: LogFormat, filter: &str) -> impl Layer<S> {
    let log = fmt::layer().with_writer(io::stderr);
    match format {
        LogFormat::Text => {
            let colours = anstream::AutoStream::choice(&io::stderr()) != anstream::ColorChoice::Never;
            log.with_ansi(colours).boxed()
        }
        LogFormat::Json => log.json().flatten_event(true).boxed(),
    }
    .with_filter(EnvFilter::new(filter))
}
