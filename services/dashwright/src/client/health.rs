//! `health`: whether a server says that it takes calls, for probes. It needs no key and presents none.

use std::time::Duration;

use serde_json::json;
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

use super::connection::Connection;
use crate::args::Health;
use crate::failure::Failure;
use crate::{out, wiring};

/// Asks once, within the deadline.
pub(crate) fn health(arguments: &Health) -> Result<(), Failure> {
    let patience = Duration::from_millis(arguments.deadline_ms.get());
    let status = wiring::block_on(async {
        let late =
            || Failure::Late { server: arguments.client.server.clone(), milliseconds: patience.as_millis() };
        tokio::time::timeout(patience, ask(arguments)).await.map_err(|_| late())?
    })?;
    let name = status_name(status);
    if status != ServingStatus::Serving {
        let server = arguments.client.server.clone();
        return Err(Failure::NotServing { server, service: arguments.service.clone(), status: name });
    }
    out::print(&if arguments.client.json {
        format!("{}\n", json!({ "status": name }))
    } else {
        format!("{name}\n")
    })
}

async fn ask(arguments: &Health) -> Result<ServingStatus, Failure> {
    let connection = Connection::open_without_key(&arguments.client, arguments.tls_name.as_deref()).await?;
    let request = HealthCheckRequest { service: arguments.service.clone() };
    match HealthClient::new(connection.line()).check(request).await {
        // By the protocol of health this is how a server says that it has no such service.
        Err(status) if status.code() == Code::NotFound => Ok(ServingStatus::ServiceUnknown),
        answer => connection.answer(answer).map(|answer| answer.status()),
    }
}

/// As the protocol of health writes it.
fn status_name(status: ServingStatus) -> &'static str {
    match status {
        ServingStatus::Unknown => "UNKNOWN",
        ServingStatus::Serving => "SERVING",
        ServingStatus::NotServing => "NOT_SERVING",
        ServingStatus::ServiceUnknown => "SERVICE_UNKNOWN",
    }
}
