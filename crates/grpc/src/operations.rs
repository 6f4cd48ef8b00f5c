//! What whoever runs the service asks over plain HTTP, on a listener of its own: metrics, and whether it lives and is ready.
//!
//! It tells nothing of the catalogue and takes no changes, and it asks for no key: it belongs on an address that only the
//! machine, or the network of whoever watches it, can reach.

use std::io;
use std::sync::{Arc, OnceLock};

use axum::Router;
use axum::extract::{Path, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderName, StatusCode};
use axum::routing::get;
use dashwright_engine::Writes;
use tokio::net::TcpListener;

use crate::observe::{Gauge, MEDIA_TYPE, Metrics};
use crate::{Service, Serving};

/// The media type of everything else.
const TEXT: &str = "text/plain; charset=utf-8";

/// What is answered, from before the dataset is open until the process ends. Clones share it.
#[derive(Clone, Default)]
pub struct Operations {
    served: Arc<OnceLock<Served>>,
}

/// What is known once the service serves.
struct Served {
    service: Service,
    metrics: Metrics,
}

/// One thing that is to hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// Its name in paths.
    pub name: &'static str,
    /// Whether the service takes no calls without it.
    pub is_needed: bool,
    /// Why it does not hold.
    pub fault: Option<&'static str>,
}

/// An answer in plain text.
type Answer = (StatusCode, [(HeaderName, &'static str); 2], String);

impl Operations {
    /// Tells of a service from now on, with figures of the machine beside its own. Only the first one counts.
    ///
    /// # Errors
    /// When two figures have one name.
    pub fn tell_of(&self, serving: &Serving, machine: Vec<Gauge>) -> Result<(), MetricsError> {
        let metrics = serving.metrics(machine).map_err(MetricsError)?;
        let _ = self.served.set(Served { service: serving.service().clone(), metrics });
        Ok(())
    }

    /// Answers on a listener; ends with an error or never.
    ///
    /// # Errors
    /// When the listener fails.
    pub async fn serve(self, listener: TcpListener) -> io::Result<()> {
        let paths = Router::new()
            .route("/metrics", get(metrics))
            .route("/livez", get(async || text(StatusCode::OK, "alive\n".to_owned())))
            .route("/readyz", get(readiness))
            .route("/readyz/{check}", get(one_check))
            .fallback(async || {
                text(
                    StatusCode::NOT_FOUND,
                    "there are /metrics, /livez, /readyz and /readyz/CHECK\n".to_owned(),
                )
            });
        axum::serve(listener, paths.with_state(self)).await
    }

    /// Everything that is to hold, in the order in which it comes to hold.
    #[must_use]
    pub fn checks(&self) -> [Check; 3] {
        let served = self.served.get();
        let started = served.is_none().then_some("the dataset is being opened");
        let going_down = served.is_some_and(|served| served.service.is_going_down());
        let draining = going_down.then_some("the service is going down");
        let writes = served.and_then(|served| match served.service.engine().writes() {
            Writes::Taken => None,
            Writes::StoppedByLog => {
                Some("a write to the log failed, and changes wait for a restart; reads go on")
            }
            Writes::StoppedByStore => Some("the store failed, and changes wait for a restart; reads go on"),
            Writes::StoppedByCheckpoints => {
                Some("a checkpoint was not kept, and changes wait for a restart; reads go on")
            }
        });
        [
            Check { name: "started", is_needed: true, fault: started },
            Check { name: "staying", is_needed: true, fault: draining },
            // A restart would cost the readers, and might not mend it: a person decides.
            Check { name: "writes", is_needed: false, fault: writes },
        ]
    }
}

/// Why there are no metrics.
#[derive(Debug)]
pub struct MetricsError(prometheus::Error);

impl std::fmt::Display for MetricsError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("the metrics can not be set up")
    }
}

impl std::error::Error for MetricsError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.0)
    }
}

async fn metrics(State(operations): State<Operations>) -> Answer {
    let Some(served) = operations.served.get() else {
        return text(StatusCode::SERVICE_UNAVAILABLE, "the dataset is being opened\n".to_owned());
    };
    match served.metrics.text() {
        Ok(metrics) => answer(StatusCode::OK, MEDIA_TYPE, metrics),
        Err(error) => {
            text(StatusCode::INTERNAL_SERVER_ERROR, format!("the metrics can not be written: {error}\n"))
        }
    }
}

async fn readiness(State(operations): State<Operations>) -> Answer {
    let checks = operations.checks();
    let is_ready = checks.iter().all(|check| check.fault.is_none() || !check.is_needed);
    text(status(is_ready), checks.iter().map(Check::line).collect())
}

async fn one_check(State(operations): State<Operations>, Path(name): Path<String>) -> Answer {
    match operations.checks().iter().find(|check| check.name == name) {
        Some(check) => text(status(check.fault.is_none()), check.line()),
        None => text(StatusCode::NOT_FOUND, "there are the checks started, staying and writes\n".to_owned()),
    }
}

impl Check {
    /// It as a line of text.
    fn line(&self) -> String {
        let Self { name, is_needed, fault } = self;
        match fault {
            None => format!("{name} ok\n"),
            Some(fault) if *is_needed => format!("{name} failed: {fault}\n"),
            Some(fault) => format!("{name} failed, ready all the same: {fault}\n"),
        }
    }
}

fn status(holds: bool) -> StatusCode {
    if holds { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE }
}

fn text(status: StatusCode, text: String) -> Answer {
    answer(status, TEXT, text)
}

/// What is told is true now, and not for whoever asks a cache.
fn answer(status: StatusCode, media_type: &'static str, text: String) -> Answer {
    (status, [(CONTENT_TYPE, media_type), (CACHE_CONTROL, "no-store")], text)
}
