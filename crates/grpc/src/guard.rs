//! What every call has in common: a place among the calls in flight, a deadline, being counted, and nobody harmed by its panic.
//!
//! The guard sits before the router. It refuses what is over the limit of calls at once, ends what takes too long, turns
//! a panic into INTERNAL for that caller only, and puts published reasons into the bare statuses that the transport
//! makes by itself (an oversized request, a malformed deadline).

use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use futures_util::future::{BoxFuture, FutureExt as _};
use http::{HeaderMap, HeaderName, Request, Response};
use tokio::sync::Semaphore;
use tonic::Status;
use tonic::body::Body;
use tower::{Layer, Service};
use tracing::Instrument as _;

use crate::limits::LIMITS;
use crate::observe;
use crate::observe::calls::CallFigures;
use crate::observe::code;
use crate::observe::request::{RequestId, RequestIds};
use crate::status::Refusal;

/// The part of a call's deadline that is kept for the way of the answer: 1 in so many.
const RETURN_SHARE: u32 = 10;
/// The most that is kept for it: a round trip between continents takes less.
const MOST_RETURN: Duration = Duration::from_millis(200);

/// How long a caller waits, as it says it.
pub(crate) const GRPC_TIMEOUT: HeaderName = HeaderName::from_static("grpc-timeout");

tokio::task_local! {
    /// Until when the call that is being answered may wait for something.
    static END_OF_WAIT: Instant;
}

/// Until when the current call may wait for something, so that what it then says still reaches the caller in time.
pub(crate) fn end_of_wait() -> Instant {
    END_OF_WAIT.try_with(|end| *end).unwrap_or_else(|_| Instant::now() + LIMITS.deadline)
}

/// In the extensions of an answer: its call keeps its place among all calls until the answer has ended, not only until it
/// has begun.
#[derive(Clone, Copy, Debug)]
pub(crate) struct KeepsPlace;

/// Puts a [`Guard`] before a service.
#[derive(Clone)]
pub struct GuardLayer {
    places: Arc<Semaphore>,
    requests: Arc<RequestIds>,
    figures: Arc<CallFigures>,
}

impl GuardLayer {
    /// A guard with as many places as the limit says.
    #[must_use]
    pub fn new() -> Self {
        let places = Arc::new(Semaphore::new(LIMITS.calls));
        Self { places, requests: Arc::new(RequestIds::new()), figures: Arc::new(CallFigures::new()) }
    }

    /// What it counts.
    pub(crate) fn figures(&self) -> &Arc<CallFigures> {
        &self.figures
    }
}

impl Default for GuardLayer {
    fn default() -> Self {
        Self::new()
    }
}

impl<S> Layer<S> for GuardLayer {
    type Service = Guard<S>;

    fn layer(&self, inner: S) -> Guard<S> {
        Guard { inner, shared: self.clone() }
    }
}

/// Guards a service.
#[derive(Clone)]
pub struct Guard<S> {
    inner: S,
    shared: GuardLayer,
}

impl<S> Service<Request<Body>> for Guard<S>
where
    S: Service<Request<Body>, Response = Response<Body>> + Clone + Send + 'static,
    S::Error: Send,
    S::Future: Send + 'static,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = BoxFuture<'static, Result<Response<Body>, S::Error>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        let begin = Instant::now();
        let GuardLayer { places, requests, figures } = &self.shared;
        let (path, headers) = (request.uri().path(), request.headers());
        let observed = figures.begin(path, headers, requests.of(headers), begin);
        let Ok(place) = Arc::clone(places).try_acquire_owned() else {
            figures.shed();
            return std::future::ready(Ok(observed.answered(refused(Refusal::Overloaded)))).boxed();
        };
        let span = observe::of_call(&observed, headers);
        let observed = observed.within(span.clone());
        let deadline = deadline(headers);
        // What waits gives up first, then this guard, then the transport, whose status would have no reason.
        let reserve = (deadline / RETURN_SHARE).min(MOST_RETURN) / 2;
        let answer = END_OF_WAIT.scope(begin + deadline - 2 * reserve, self.inner.call(request));
        let ended = async move {
            let end = begin + deadline - reserve;
            match tokio::time::timeout_at(end.into(), caught(answer, observed.id())).await {
                Ok(answer) => answer.map(|mut response| {
                    let kept = response.extensions_mut().remove::<KeepsPlace>().map(|KeepsPlace| place);
                    observed.keeping(kept).answered(with_reason(response))
                }),
                Err(_) => Ok(observed.answered(refused(Refusal::Deadline { most: deadline }))),
            }
        };
        // A span that nobody listens to would be entered and left at every step for nothing.
        if span.is_disabled() { ended.boxed() } else { ended.instrument(span).boxed() }
    }
}

/// The answer, or INTERNAL in place of a panic.
async fn caught<E>(
    answer: impl Future<Output = Result<Response<Body>, E>>,
    id: &RequestId,
) -> Result<Response<Body>, E> {
    match AssertUnwindSafe(answer).catch_unwind().await {
        Ok(answer) => answer,
        Err(_) => {
            let request_id = id.to_string();
            tracing::error!(request_id, "a call panicked");
            Ok(refused(Refusal::Internal { request_id }))
        }
    }
}

/// The whole answer to a refused call.
pub(crate) fn refused(refusal: Refusal) -> Response<Body> {
    Status::from(refusal).into_http()
}

/// The caller's deadline, but not later than the server's. An answer that is a stream has begun by then and goes on.
fn deadline(headers: &HeaderMap) -> Duration {
    let asked = headers.get(GRPC_TIMEOUT).and_then(|value| value.to_str().ok()).and_then(timeout);
    asked.map_or(LIMITS.deadline, |asked| asked.min(LIMITS.deadline))
}

/// A timeout as gRPC over HTTP/2 writes it: at most eight digits and a unit.
fn timeout(text: &str) -> Option<Duration> {
    const MOST_DIGITS: usize = 8;
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.is_empty() || digits.len() > MOST_DIGITS || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let count: u64 = digits.parse().ok()?;
    match unit {
        "H" => Some(Duration::from_secs(count * 3_600)),
        "M" => Some(Duration::from_secs(count * 60)),
        "S" => Some(Duration::from_secs(count)),
        "m" => Some(Duration::from_millis(count)),
        "u" => Some(Duration::from_micros(count)),
        "n" => Some(Duration::from_nanos(count)),
        _ => None,
    }
}

/// Puts a published reason into a status that the transport made by itself.
fn with_reason(response: Response<Body>) -> Response<Body> {
    let headers = response.headers();
    let bare = code::of(headers).filter(|_| !headers.contains_key(Status::GRPC_STATUS_DETAILS));
    bare.and_then(Refusal::of_transport).map_or(response, refused)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn timeouts_are_read_as_the_protocol_writes_them() {
        assert_eq!(timeout("10S"), Some(Duration::from_secs(10)));
        assert_eq!(timeout("250m"), Some(Duration::from_millis(250)));
        assert_eq!(timeout("99999999H"), Some(Duration::from_secs(99_999_999 * 3_600)));
        for bad in ["", "S", "10", "-1S", "999999999S", "1x", "1é", "1 S"] {
            assert_eq!(timeout(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_deadline_is_never_later_than_the_servers() {
        let mut headers = HeaderMap::new();
        assert_eq!(deadline(&headers), LIMITS.deadline);
        headers.insert("grpc-timeout", "1H".parse().unwrap());
        assert_eq!(deadline(&headers), LIMITS.deadline);
        headers.insert("grpc-timeout", "5m".parse().unwrap());
        assert_eq!(deadline(&headers), Duration::from_millis(5));
    }

    proptest! {
        /// Any header is a timeout as the protocol writes it (gRPC over HTTP/2, "Timeout"), or is none.
        #[test]
        fn any_header_is_a_timeout_or_none(text in prop_oneof!["[0-9]{0,9}[HMSmun]", ".{0,12}"]) {
            let proper = (2..=9).contains(&text.len())
                && text.ends_with(['H', 'M', 'S', 'm', 'u', 'n'])
                && text[..text.len() - 1].bytes().all(|byte| byte.is_ascii_digit());
            prop_assert_eq!(timeout(&text).is_some(), proper, "{}", text);
        }
    }
}
