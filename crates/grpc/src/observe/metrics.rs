//! Everything that is measured, in one registry, and its text for whoever scrapes it.

use std::time::{SystemTime, UNIX_EPOCH};

use dashwright_engine::{Engine, Figures, Writes};
use dashwright_model::record::RecordKind;
use prometheus::{IntGaugeVec, Opts, PullingGauge, Registry, TextEncoder};

use super::calls::CallFigures;
use super::connections::ConnectionFigures;
use crate::auth::AuthFigures;

/// The media type of the text: the exposition format of Prometheus, version 0.0.4.
pub const MEDIA_TYPE: &str = prometheus::TEXT_FORMAT;

/// What the build says of itself; what it does not say is unknown.
const COMMIT: Option<&str> = option_env!("DASHWRIGHT_COMMIT");

/// A figure that the machine knows and the service does not.
pub struct Gauge {
    /// Its name, with the unit at its end.
    pub name: &'static str,
    /// What it tells.
    pub help: &'static str,
    /// Its value now.
    pub value: Box<dyn Fn() -> f64 + Send + Sync>,
}

/// Everything that is measured.
pub struct Metrics {
    registry: Registry,
    records: IntGaugeVec,
    engine: Engine,
}

impl Metrics {
    /// The figures of a service, with those of the machine beside them.
    pub(crate) fn new(
        engine: &Engine,
        calls: &CallFigures,
        connections: &ConnectionFigures,
        auth: &AuthFigures,
        machine: Vec<Gauge>,
    ) -> prometheus::Result<Self> {
        let registry = Registry::new();
        build_info(&registry)?;
        calls.register(&registry)?;
        connections.register(&registry)?;
        auth.register(&registry)?;
        let Figures { appends, publishes, as_of } = engine.figures().clone();
        for histogram in [appends, publishes, as_of] {
            registry.register(Box::new(histogram))?;
        }
        let records = Opts::new("dashwright_dataset_records", "Records of the latest revision, by kind.");
        let records = IntGaugeVec::new(records, &["kind"])?;
        registry.register(Box::new(records.clone()))?;
        for Gauge { name, help, value } in machine.into_iter().chain(of_dataset(engine)) {
            registry.register(Box::new(PullingGauge::new(name, help, value)?))?;
        }
        process(&registry)?;
        Ok(Self { registry, records, engine: engine.clone() })
    }

    /// All of it as text, of [`MEDIA_TYPE`].
    ///
    /// # Errors
    /// When a family has no samples, which none of ours is.
    pub fn text(&self) -> prometheus::Result<String> {
        let view = self.engine.view();
        for kind in RecordKind::ALL {
            let count = i64::try_from(view.snapshot().count(*kind)).unwrap_or(i64::MAX);
            self.records.with_label_values(&[kind.name()]).set(count);
        }
        TextEncoder::new().encode_to_string(&self.registry.gather())
    }
}

/// One series that is always 1 and whose labels say what runs.
fn build_info(registry: &Registry) -> prometheus::Result<()> {
    let help = "Always 1; the labels say which build runs.";
    let info = IntGaugeVec::new(Opts::new("dashwright_build_info", help), &["version", "commit"])?;
    info.with_label_values(&[env!("CARGO_PKG_VERSION"), COMMIT.unwrap_or("unknown")]).set(1);
    registry.register(Box::new(info))
}

/// CPU time, memory, descriptors and start of the process, where the system tells them.
fn process(registry: &Registry) -> prometheus::Result<()> {
    #[cfg(target_os = "linux")]
    registry.register(Box::new(prometheus::process_collector::ProcessCollector::for_self()))?;
    let _ = registry;
    Ok(())
}

/// What the engine tells of its dataset at the moment of a scrape.
fn of_dataset(engine: &Engine) -> [Gauge; 5] {
    let of = |name, help, value: fn(&Engine) -> f64| {
        let engine = engine.clone();
        Gauge { name, help, value: Box::new(move || value(&engine)) }
    };
    [
        of("dashwright_dataset_revision", "Number of the latest revision.", |engine| {
            engine.view().revision() as f64
        }),
        of(
            "dashwright_dataset_published_timestamp_seconds",
            "When it was published, since 1970; 0 for nothing.",
            |engine| seconds_since_1970(engine.view().published_at()),
        ),
        of("dashwright_log_entries", "Entries of the log.", |engine| engine.log_entries() as f64),
        of(
            "dashwright_writes_taken",
            "1 while changes are taken, 0 after a failure has stopped them.",
            |engine| f64::from(u8::from(engine.writes() == Writes::Taken)),
        ),
        of("dashwright_keys_live", "Keys that let somebody in.", |engine| {
            let (ring, now) = (engine.keys().borrow().clone(), SystemTime::now());
            ring.keys().filter(|key| ring.is_live(&key.id, now)).count() as f64
        }),
    ]
}

fn seconds_since_1970(time: &str) -> f64 {
    let since = humantime::parse_rfc3339(time).ok().and_then(|time| time.duration_since(UNIX_EPOCH).ok());
    since.map_or(0.0, |since| since.as_secs_f64())
}
