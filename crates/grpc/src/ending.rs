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
        let end = async move {
            service.going_down().await;
            Refusal::Draining
        };
        let answer = self.inner.call(request);
        async move {
            // Said first: that health has changed, for one.
            answer.await.map(|answer| answer.map(|inner| Ended::body(inner, end.boxed(), Order::AnswerFirst)))
        }
        .boxed()
    }
}

/// The body of an answer, and what ends it before its time.
pub(crate) struct Ended {
    inner: Body,
    end: BoxFuture<'static, Refusal>,
    order: Order,
    is_over: bool,
}

/// What is looked at first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Order {
    /// The end: nothing more is told.
    EndFirst,
    /// The answer: what there is to say is still said.
    AnswerFirst,
}

impl Ended {
    /// A body that ends with a refusal when one comes.
    pub(crate) fn body(inner: Body, end: BoxFuture<'static, Refusal>, order: Order) -> Body {
        Body::new(Self { inner, end, order, is_over: false })
    }
}

impl http_body::Body for Ended {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let this = self.get_mut();
        if this.is_over {
            return Poll::Ready(None);
        }
        if this.order == Order::AnswerFirst
            && let Poll::Ready(frame) = Pin::new(&mut this.inner).poll_frame(context)
        {
            return Poll::Ready(frame);
        }
        if let Poll::Ready(refusal) = this.end.poll_unpin(context) {
            this.is_over = true;
            let mut trailers = HeaderMap::new();
            let told = Status::from(refusal).add_header(&mut trailers);
            return Poll::Ready(Some(told.map(|()| Frame::trailers(trailers))));
        }
        match this.order {
            Order::EndFirst => Pin::new(&mut this.inner).poll_frame(context),
            Order::AnswerFirst => Poll::Pending,
        }
    }

    fn is_end_stream(&self) -> bool {
        self.is_over || self.inner.is_end_stream()
    }
}
