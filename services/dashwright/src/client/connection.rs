//! The connection to a server, and what a failed call means.

use std::error::Error;
use std::time::Duration;

use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_grpc::LIMITS;
use tonic::transport::{Channel, Endpoint};
use tonic::{Response, Status};
use tonic_types::StatusExt as _;

use super::refusal::Refusal;
use crate::failure::Failure;

/// How long a server may take to take the connection: it is on this machine or in the same network.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);
/// How much longer than the service's own deadline an answer is waited for, so that its refusal arrives first.
const PATIENCE: Duration = Duration::from_secs(2);

/// A connection to a server.
pub(crate) struct Connection {
    server: String,
    channel: Channel,
}

impl Connection {
    /// Connects to a server.
    ///
    /// # Errors
    /// When nobody answers there.
    pub(crate) async fn open(server: &str) -> Result<Self, Failure> {
        let unreachable = |error: tonic::transport::Error| Failure::Unreachable {
            server: server.to_owned(),
            source: error.into(),
        };
        let endpoint = Endpoint::from_shared(server.to_owned()).map_err(unreachable)?;
        let endpoint = endpoint.connect_timeout(CONNECT_TIMEOUT).timeout(LIMITS.deadline + PATIENCE);
        let channel = endpoint.connect().await.map_err(unreachable)?;
        Ok(Self { server: server.to_owned(), channel })
    }

    /// The calls about vehicles.
    pub(crate) fn fitment(&self) -> FitmentServiceClient<Channel> {
        FitmentServiceClient::new(self.channel.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls about records.
    pub(crate) fn catalogue(&self) -> CatalogueServiceClient<Channel> {
        CatalogueServiceClient::new(self.channel.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The answer to a call, or why there is none.
    ///
    /// # Errors
    /// When the service refused it, or the server went away.
    pub(crate) fn answer<T>(&self, result: Result<Response<T>, Status>) -> Result<T, Failure> {
        result.map(Response::into_inner).map_err(|status| self.failure(&status))
    }

    /// The next item of a stream, or why there is none.
    ///
    /// # Errors
    /// When the service ended the stream, or the server went away.
    pub(crate) fn item<T>(&self, result: Result<T, Status>) -> Result<T, Failure> {
        result.map_err(|status| self.failure(&status))
    }

    fn failure(&self, status: &Status) -> Failure {
        let by_service = status.get_details_error_info().is_some();
        match status.source().filter(|source| source.is::<tonic::transport::Error>()) {
            Some(source) if !by_service => {
                // The status around it says the same in the words of its fields.
                Failure::Unreachable { server: self.server.clone(), source: innermost(source).into() }
            }
            _ => Failure::Refused(Box::new(Refusal::of(status))),
        }
    }
}

/// What lies at the bottom of an error.
fn innermost(mut error: &(dyn Error + 'static)) -> String {
    while let Some(source) = error.source() {
        error = source;
    }
    error.to_string()
}
