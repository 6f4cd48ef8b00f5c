//! The body of an answer, which tells when it has ended and with which code.

use std::pin::Pin;
use std::task::{Context, Poll};

use bytes::Bytes;
use http_body::{Frame, SizeHint};
use tonic::body::Body;
use tonic::{Code, Status};

use super::calls::Observed;
use super::code;

/// A body that is watched to its end.
pub(super) struct Counted {
    inner: Body,
    observed: Option<Observed>,
}

impl Counted {
    pub(super) fn new(inner: Body, observed: Observed) -> Self {
        Self { inner, observed: Some(observed) }
    }

    /// The call is over; a body that goes before this was not read to its end.
    fn ended(&mut self, code: Code) {
        if let Some(mut observed) = self.observed.take() {
            observed.ended_with(code);
        }
    }
}

impl http_body::Body for Counted {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let polled = Pin::new(&mut self.inner).poll_frame(context);
        match &polled {
            Poll::Ready(Some(Ok(frame))) => {
                if let Some(trailers) = frame.trailers_ref() {
                    // Trailers without a code mean nothing that anybody has agreed on.
                    self.ended(code::of(trailers).unwrap_or(Code::Unknown));
                }
            }
            Poll::Ready(Some(Err(status))) => self.ended(status.code()),
            Poll::Ready(None) => self.ended(Code::Unknown),
            Poll::Pending => {}
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}
