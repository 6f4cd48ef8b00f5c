//! Streams without an end of their own, of services that are not ours: they end when the service goes down.
//!
//! Clients watch health for as long as they are connected, and would hold up the drain for all of its time.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use bytes::Bytes;
use futures_util::future::{BoxFuture, FutureExt as _};
use http::{HeaderMap, Request, Response};
use http_body::Frame;
use tonic::Status;
use tonic::body::Body;
use tonic::server::NamedService;

use crate::Service;
use crate::status::Refusal;

/// Ends the streams of a service when ours goes down.
#[derive(Clone)]
pub(crate) struct Ending<S> {
    inner: S,
    service: Service,
}

impl<S> Ending<S> {
    /// A service whose streams end with ours.
    pub(crate) fn new(inner: S, service: &Service) -> Self {
        Self { inner, service: service.clone() }
    }
}

impl<S: NamedService> NamedService for Ending<S> {
    const NAME: &'static str = S::NAME;
}

impl<S> tower::Service<Request<Body>> for Ending<S>
where
    S: tower::Service<Request<Body>, Response = Response<Body>, Error = Infallible>,
    S::Future: Send + 'static,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Response<Body>, Infallible>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        let service = self.service.clone();
        let end = async move { service.going_down().await }.boxed();
        let answer = self.inner.call(request);
        async move {
            answer.await.map(|answer| answer.map(|inner| Body::new(Stream { inner, end, ended: false })))
        }
        .boxed()
    }
}

/// The body of an answer, and what ends it before its time.
struct Stream {
    inner: Body,
    end: BoxFuture<'static, ()>,
    ended: bool,
}

impl http_body::Body for Stream {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let this = self.get_mut();
        if this.ended {
            return Poll::Ready(None);
        }
        // What there is to say is said first: that health has changed, for one.
        if let Poll::Ready(frame) = Pin::new(&mut this.inner).poll_frame(context) {
            return Poll::Ready(frame);
        }
        if this.end.poll_unpin(context).is_pending() {
            return Poll::Pending;
        }
        this.ended = true;
        let mut trailers = HeaderMap::new();
        let told = Status::from(Refusal::Draining).add_header(&mut trailers);
        Poll::Ready(Some(told.map(|()| Frame::trailers(trailers))))
    }

    fn is_end_stream(&self) -> bool {
        self.ended || self.inner.is_end_stream()
    }
}
