//! The connection to a server, and what a failed call means.

use std::error::Error;
use std::path::Path;
use std::time::Duration;

use dashwright_api::v1::audit_service_client::AuditServiceClient;
use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::feedback_service_client::FeedbackServiceClient;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_api::v1::key_service_client::KeyServiceClient;
use dashwright_api::v1::sheet_service_client::SheetServiceClient;
use dashwright_engine::keys::KeyText;
use dashwright_grpc::LIMITS;
use tonic::metadata::{Ascii, MetadataValue};
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint, Identity};
use tonic::{Request, Response, Status};
use tonic_types::StatusExt as _;

use super::refusal::Refusal;
use crate::args::Client;
use crate::failure::{Failure, KeyOrigin, Obstacle, innermost};
use crate::tls_files::is_shared;

/// How long a server may take to take the connection: it is on this machine or in the same network.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);
/// How much longer than the service's own deadline an answer is waited for, so that its refusal arrives first.
const PATIENCE: Duration = Duration::from_secs(2);
/// How the words begin with which the transport tells of an answer that is none of gRPC: the only thing to know it by.
const NOT_GRPC: &str = "protocol error: ";
/// The variable that may hold a key. A flag would show it in the list of processes.
const KEY_VARIABLE: &str = "DASHWRIGHT_KEY";

/// A connection to a server.
pub(crate) struct Connection {
    server: String,
    line: Line,
}

/// Calls, each with the key.
pub(crate) type Line = InterceptedService<Channel, Bearer>;

/// Presents a key with every call.
#[derive(Clone)]
pub(crate) struct Bearer(Option<MetadataValue<Ascii>>);

impl Interceptor for Bearer {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(value) = &self.0 {
            request.metadata_mut().insert("authorization", value.clone());
        }
        Ok(request)
    }
}

impl Connection {
    /// Connects to a server as the arguments say, and presents the key that they name.
    ///
    /// # Errors
    /// When a file is not what it is to be, or nobody answers there.
    pub(crate) async fn open(client: &Client) -> Result<Self, Failure> {
        let key = key(client)?;
        let encrypts = client.server.starts_with("https://");
        if key.is_some() && !encrypts && !is_this_machine(&client.server) {
            anstream::eprintln!("warning: the key goes to {} unencrypted", client.server);
        }
        let tls = tls(client, encrypts)?;
        Self::connect(&client.server, tls, Bearer(key)).await
    }

    /// Connects to a server as the arguments say, whatever they say of keys. Its certificate may have another name than its
    /// address.
    ///
    /// # Errors
    /// When a file is not what it is to be, or nobody answers there.
    pub(crate) async fn open_without_key(client: &Client, tls_name: Option<&str>) -> Result<Self, Failure> {
        let tls = tls(client, client.server.starts_with("https://"))?;
        let tls = match (tls, tls_name) {
            (Some(tls), Some(name)) => Some(tls.domain_name(name)),
            (None, Some(_)) => return Err(Failure::NotEncrypted { server: client.server.clone() }),
            (tls, None) => tls,
        };
        Self::connect(&client.server, tls, Bearer(None)).await
    }

    /// Connects to a server on this machine that asks for no key.
    ///
    /// # Errors
    /// When nobody answers there.
    pub(crate) async fn open_here(server: &str) -> Result<Self, Failure> {
        Self::connect(server, None, Bearer(None)).await
    }

    async fn connect(server: &str, tls: Option<ClientTlsConfig>, key: Bearer) -> Result<Self, Failure> {
        let unreachable = |error: tonic::transport::Error| Failure::Unreachable {
            server: server.to_owned(),
            obstacle: Obstacle::of(&error),
            source: error.into(),
        };
        let mut endpoint = Endpoint::from_shared(server.to_owned()).map_err(unreachable)?;
        if let Some(tls) = tls {
            endpoint = endpoint.tls_config(tls).map_err(|error| Failure::ClientTls(error.into()))?;
        }
        let endpoint = endpoint.connect_timeout(CONNECT_TIMEOUT).timeout(LIMITS.deadline + PATIENCE);
        let channel = endpoint.connect().await.map_err(unreachable)?;
        Ok(Self { server: server.to_owned(), line: InterceptedService::new(channel, key) })
    }

    /// The line itself, for calls that are not of this service alone.
    pub(crate) fn line(&self) -> Line {
        self.line.clone()
    }

    /// The calls about vehicles.
    pub(crate) fn fitment(&self) -> FitmentServiceClient<Line> {
        FitmentServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls about records.
    pub(crate) fn catalogue(&self) -> CatalogueServiceClient<Line> {
        CatalogueServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls that change the catalogue.
    pub(crate) fn curation(&self) -> CurationServiceClient<Line> {
        CurationServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls about the outcomes of jobs.
    pub(crate) fn feedback(&self) -> FeedbackServiceClient<Line> {
        FeedbackServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls that put plans on paper.
    pub(crate) fn sheets(&self) -> SheetServiceClient<Line> {
        SheetServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls about the trail.
    pub(crate) fn audit(&self) -> AuditServiceClient<Line> {
        AuditServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
    }

    /// The calls of the operator.
    pub(crate) fn keys(&self) -> KeyServiceClient<Line> {
        KeyServiceClient::new(self.line.clone()).max_decoding_message_size(LIMITS.answer_bytes)
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
                let obstacle = Obstacle::of(source);
                Failure::Unreachable {
                    server: self.server.clone(),
                    obstacle,
                    source: innermost(source).to_string().into(),
                }
            }
            _ if !by_service && status.message().starts_with(NOT_GRPC) => Failure::Unreachable {
                server: self.server.clone(),
                obstacle: Obstacle::OtherSpeech,
                source: status.message().into(),
            },
            _ => Failure::Refused(Box::new(Refusal::of(status))),
        }
    }
}

/// The key to present, from its file or else from the environment. What is mistyped is told here: the service would only
/// see one more guess.
fn key(client: &Client) -> Result<Option<MetadataValue<Ascii>>, Failure> {
    let (text, origin) = match &client.key_file {
        Some(path) => {
            warn_if_shared(path);
            (text_of(path)?, KeyOrigin::File(path.clone()))
        }
        None => match std::env::var_os(KEY_VARIABLE).filter(|value| !value.is_empty()) {
            Some(value) => (value.to_string_lossy().into_owned(), KeyOrigin::Variable(KEY_VARIABLE)),
            None => return Ok(None),
        },
    };
    let key: KeyText = text.trim().parse().map_err(|source| Failure::Key { origin, source })?;
    // A key is letters, digits and underlines, which may all stand in a header.
    let mut value = format!("Bearer {}", key.reveal()).parse::<MetadataValue<Ascii>>().ok();
    if let Some(value) = &mut value {
        value.set_sensitive(true);
    }
    Ok(value)
}

fn tls(client: &Client, encrypts: bool) -> Result<Option<ClientTlsConfig>, Failure> {
    let Client { ca, client_cert, client_key, server, .. } = client;
    if !encrypts {
        let named = ca.is_some() || client_cert.is_some();
        return if named { Err(Failure::NotEncrypted { server: server.clone() }) } else { Ok(None) };
    }
    let mut tls = match ca {
        Some(path) => ClientTlsConfig::new().ca_certificate(Certificate::from_pem(text_of(path)?)),
        None => ClientTlsConfig::new().with_native_roots(),
    };
    if let (Some(certificate), Some(key)) = (client_cert, client_key) {
        warn_if_shared(key);
        tls = tls.identity(Identity::from_pem(text_of(certificate)?, text_of(key)?));
    }
    Ok(Some(tls))
}

fn text_of(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|source| Failure::File { file: path.to_owned(), source })
}

fn warn_if_shared(path: &Path) {
    if is_shared(path) {
        anstream::eprintln!(
            "warning: other users of this machine can read `{}`: chmod 600 it",
            path.display()
        );
    }
}

/// Whether a server's address says that it is on this machine.
fn is_this_machine(server: &str) -> bool {
    let Ok(uri) = server.parse::<tonic::transport::Uri>() else { return false };
    let host = uri.host().unwrap_or_default().trim_matches(['[', ']']);
    host == "localhost" || host.parse::<std::net::IpAddr>().is_ok_and(|host| host.is_loopback())
}
