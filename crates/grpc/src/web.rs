//! gRPC-Web: the same services on a listener of their own, for pages in browsers, which speak no gRPC over HTTP/2.
//!
//! A browser says from which page a call comes, and lets a page read answers only where they allow its origin. Both are
//! asked for here: a call of a page that is not on the list is refused before anything else, so that a page of a stranger
//! can not use that somebody who looks at it reaches this service.

use std::time::Duration;

use http::header::{AUTHORIZATION, CONTENT_TYPE, ORIGIN};
use http::{HeaderName, HeaderValue, Method, Request, Response, StatusCode};
use tokio::net::TcpListener;
use tonic::Status;
use tonic::body::Body;
use tonic_web::GrpcWebLayer;
use tower_http::cors::CorsLayer;
use tower_http::validate_request::ValidateRequestHeaderLayer;

use crate::guard::GRPC_TIMEOUT;
use crate::incoming::connections;
use crate::observe::connections::Listener;
use crate::observe::request::{REQUEST_ID, TRACEPARENT};
use crate::server::{ServeError, Serving, limited};
use crate::tls::Tls;

/// How long a browser may remember what it was allowed: shorter than anybody waits for a list of origins to take hold.
const ALLOWED_FOR: Duration = Duration::from_secs(10 * 60);

/// What a page may send beside its call.
const SENT: [HeaderName; 7] = [
    CONTENT_TYPE,
    AUTHORIZATION,
    GRPC_TIMEOUT,
    TRACEPARENT,
    HeaderName::from_static("x-grpc-web"),
    REQUEST_ID,
    HeaderName::from_static("x-user-agent"),
];

/// What a page may read beside the answer: how the call ended, where that stands in the head.
const READ: [HeaderName; 3] = [Status::GRPC_STATUS, Status::GRPC_MESSAGE, Status::GRPC_STATUS_DETAILS];

/// Serves pages of these origins, as `https://shop.example`, until `end` comes; then finishes the calls in flight.
///
/// # Errors
/// When the transport fails.
pub async fn serve_web(
    serving: Serving,
    listener: TcpListener,
    tls: Option<Tls>,
    origins: Vec<HeaderValue>,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let Serving { fitment, routes, guard, auth, callers, health: _, service } = serving;
    let known = origins.clone();
    #[expect(
        clippy::result_large_err,
        reason = "the layer wants a whole response, and few calls are refused here"
    )]
    let from_known_page = ValidateRequestHeaderLayer::custom(move |request: &mut Request<Body>| {
        match request.headers().get(ORIGIN) {
            Some(origin) if !known.contains(origin) => Err(strange()),
            // Without an origin it comes from no page.
            _ => Ok(()),
        }
    });
    let cors = CorsLayer::new()
        .allow_origin(origins)
        .allow_methods([Method::POST])
        .allow_headers(SENT)
        .expose_headers(READ)
        .max_age(ALLOWED_FOR);
    limited()
        // Browsers speak HTTP/1.1 where nothing is encrypted.
        .accept_http1(true)
        .layer(from_known_page)
        .layer(cors)
        .layer(GrpcWebLayer::new())
        .layer(guard)
        .layer(auth)
        .layer(callers)
        .layer(fitment)
        .add_routes(routes)
        .serve_with_incoming_shutdown(
            connections(listener, tls, service.connection_figures().of(Listener::Web), service.end()),
            end,
        )
        .await
        .map_err(ServeError::Transport)
}

/// The answer to a page that is not on the list.
fn strange() -> Response<Body> {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::FORBIDDEN;
    response
}
