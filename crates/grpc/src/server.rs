//! The server: services, reflection, health, limits, and an orderly end.

use std::convert::Infallible;
use std::fmt;

use dashwright_api::replies::fitment_service_server::FitmentServiceServer;
use dashwright_api::v1::audit_service_server::AuditServiceServer;
use dashwright_api::v1::catalogue_service_server::CatalogueServiceServer;
use dashwright_api::v1::curation_service_server::CurationServiceServer;
use dashwright_api::v1::feedback_service_server::FeedbackServiceServer;
use dashwright_api::v1::key_service_server::KeyServiceServer;
use dashwright_api::v1::sheet_service_server::SheetServiceServer;
use http::{Request, Response};
use tokio::net::TcpListener;
use tonic::body::Body;
use tonic::service::Routes;
use tonic::transport::Server;
use tonic_health::server::HealthReporter;
use tower::Layer as _;

use crate::Service;
use crate::auth::{Access, AuthLayer};
use crate::callers::{Allowance, CallersLayer};
use crate::direct::DirectLayer;
use crate::ending::Ending;
use crate::guard::GuardLayer;
use crate::incoming::connections;
use crate::limits::LIMITS;
use crate::observe::connections::Listener;
use crate::observe::{Gauge, Metrics};
use crate::tls::Tls;

/// Why the service could not serve.
#[derive(Debug)]
pub enum ServeError {
    /// Reflection could not be set up.
    Reflection(tonic_reflection::server::Error),
    /// The transport failed.
    Transport(tonic::transport::Error),
}

impl fmt::Display for ServeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Reflection(_) => write!(f, "reflection can not be set up"),
            Self::Transport(_) => write!(f, "the transport failed"),
        }
    }
}

impl std::error::Error for ServeError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Reflection(source) => Some(source),
            Self::Transport(source) => Some(source),
        }
    }
}

/// The services with everything that they share, to be served on any number of listeners.
#[derive(Clone)]
pub struct Serving {
    pub(crate) fitment: DirectLayer,
    pub(crate) routes: Routes,
    pub(crate) guard: GuardLayer,
    pub(crate) auth: AuthLayer,
    pub(crate) callers: CallersLayer,
    pub(crate) health: HealthReporter,
    pub(crate) service: Service,
}

impl Serving {
    /// The services for those who may call, and reflection and health beside them for everybody.
    ///
    /// # Errors
    /// When reflection can not be set up.
    pub async fn new(service: Service, access: Access) -> Result<Self, ServeError> {
        let auth = AuthLayer::new(access, service.auth_figures());
        let callers = CallersLayer::new(Allowance {
            calls_per_second: service.calls_per_second,
            ..Allowance::default()
        });
        let (health, health_server) = tonic_health::server::health_reporter();
        let fitment = FitmentServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let catalogue = CatalogueServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let curation = CurationServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let feedback = FeedbackServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let audit = AuditServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let sheets = SheetServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        let keys = KeyServiceServer::new(service.clone())
            .max_decoding_message_size(LIMITS.request_bytes)
            .max_encoding_message_size(LIMITS.answer_bytes);
        health.set_serving::<FitmentServiceServer<Service>>().await;
        health.set_serving::<CatalogueServiceServer<Service>>().await;
        health.set_serving::<CurationServiceServer<Service>>().await;
        health.set_serving::<FeedbackServiceServer<Service>>().await;
        health.set_serving::<AuditServiceServer<Service>>().await;
        health.set_serving::<KeyServiceServer<Service>>().await;
        health.set_serving::<SheetServiceServer<Service>>().await;
        let reflection = || {
            tonic_reflection::server::Builder::configure()
                .register_encoded_file_descriptor_set(dashwright_api::DESCRIPTORS)
                .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        };
        let mut routes = Routes::builder();
        routes
            .add_service(catalogue)
            .add_service(curation)
            .add_service(feedback)
            .add_service(audit)
            .add_service(keys)
            .add_service(sheets)
            .add_service(Ending::new(health_server, &service))
            .add_service(Ending::new(reflection().build_v1().map_err(ServeError::Reflection)?, &service))
            .add_service(Ending::new(
                reflection().build_v1alpha().map_err(ServeError::Reflection)?,
                &service,
            ));
        let routes = routes.routes().prepare();
        let fitment = DirectLayer::new(fitment);
        Ok(Self { fitment, routes, guard: GuardLayer::new(), auth, callers, health, service })
    }

    /// What is measured of it, with figures of the machine beside.
    pub(crate) fn metrics(&self, machine: Vec<Gauge>) -> prometheus::Result<Metrics> {
        let auth = self.service.auth_figures();
        Metrics::new(
            self.service.engine(),
            self.guard.figures(),
            self.service.connection_figures(),
            &auth,
            machine,
        )
    }

    /// The service itself.
    pub(crate) fn service(&self) -> &Service {
        &self.service
    }

    /// The services without a connection before them, as one that has them in its own process asks: guarded and only for those
    /// who may call, as over a connection, but for the limits of connections and of callers. Whoever asks says in the extensions of the
    /// request which [`Peer`](crate::Peer) it is.
    #[must_use]
    pub fn without_connection(
        &self,
    ) -> impl tower::Service<Request<Body>, Response = Response<Body>, Error = Infallible, Future: Send>
    + Clone
    + use<> {
        self.guard.layer(self.auth.layer(self.fitment.layer(self.routes.clone())))
    }

    /// Says that the service is going down, so that balancers send no more calls.
    pub async fn going_down(&self) {
        self.health.set_not_serving::<FitmentServiceServer<Service>>().await;
        self.health.set_not_serving::<CatalogueServiceServer<Service>>().await;
        self.health.set_not_serving::<CurationServiceServer<Service>>().await;
        self.health.set_not_serving::<FeedbackServiceServer<Service>>().await;
        self.health.set_not_serving::<AuditServiceServer<Service>>().await;
        self.health.set_not_serving::<KeyServiceServer<Service>>().await;
        self.health.set_not_serving::<SheetServiceServer<Service>>().await;
        self.health.set_service_status("", tonic_health::ServingStatus::NotServing).await;
        self.service.go_down();
    }
}

/// Serves on a listener until `end` comes, then finishes the calls in flight.
///
/// # Errors
/// When the transport fails.
pub async fn serve(
    serving: Serving,
    listener: TcpListener,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    run(serving, listener, None, end).await
}

/// As [`serve`], and every connection is encrypted.
///
/// # Errors
/// When the transport fails.
pub async fn serve_encrypted(
    serving: Serving,
    listener: TcpListener,
    tls: Tls,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    run(serving, listener, Some(tls), end).await
}

async fn run(
    serving: Serving,
    listener: TcpListener,
    tls: Option<Tls>,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let Serving { fitment, routes, guard, auth, callers, health: _, service } = serving;
    limited()
        .layer(guard)
        .layer(auth)
        .layer(callers)
        .layer(fitment)
        .add_routes(routes)
        .serve_with_incoming_shutdown(
            connections(listener, tls, service.connection_figures().of(Listener::Calls), service.end()),
            end,
        )
        .await
        .map_err(ServeError::Transport)
}

/// A server with the limits of connections that HTTP/2 leaves to us.
pub(crate) fn limited() -> Server {
    Server::builder()
        .http2_max_local_error_reset_streams(Some(LIMITS.error_resets))
        .http2_max_pending_accept_reset_streams(Some(LIMITS.pending_resets))
        .initial_stream_window_size(LIMITS.call_window_bytes)
        .initial_connection_window_size(LIMITS.window_bytes)
        .max_concurrent_streams(Some(LIMITS.streams_per_connection))
        .http2_max_header_list_size(Some(LIMITS.header_bytes))
        .http2_keepalive_interval(Some(LIMITS.keepalive))
        .http2_keepalive_timeout(Some(LIMITS.keepalive_timeout))
        // Without a grace: with one the connection ends without being told to go away first.
        .max_connection_age(LIMITS.connection_age)
}
