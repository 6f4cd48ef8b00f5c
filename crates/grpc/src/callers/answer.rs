//! The body of an answer that holds what its call has taken until it is read.
//!
//! A transport lets go of a body as soon as it has all bytes, whether or not the caller takes them: what waits then is
//! counted nowhere. So a large piece is handed on in parts, the next when the caller's window has room for the one before, and
//! the last part is one byte: when that goes, at most one byte waits uncounted.

use std::future::poll_fn;
use std::pin::Pin;
use std::task::{Context, Poll};

use bytes::Bytes;
use http::Response;
use http_body::{Body as _, Frame, SizeHint};
use tokio::sync::OwnedSemaphorePermit;
use tonic::Status;
use tonic::body::Body;

use super::Account;
use crate::guard::{KeepsPlace, refused};
use crate::line::{Line, Mark, OfLine};
use crate::status::Refusal;

/// The largest answer that is handed on as it is. Calls of one connection leave at most as many times this in the transport as
/// it has streams: half a MiB.
const SMALL: usize = 4 << 10;
/// The largest part of a larger one.
const PART: usize = 64 << 10;

/// What a call holds while it lasts.
pub(super) struct Taken {
    pub(super) account: std::sync::Arc<Account>,
    pub(super) line: Line,
    pub(super) _call: OwnedSemaphorePermit,
    pub(super) of_line: Option<OfLine>,
    pub(super) _open: Option<OwnedSemaphorePermit>,
}

/// The answer, holding what was taken until it has ended; refused when the caller leaves too much unread.
pub(super) async fn held(answer: Response<Body>, taken: Taken) -> Response<Body> {
    let (mut parts, mut inner) = answer.into_parts();
    if inner.is_end_stream() {
        return Response::from_parts(parts, inner);
    }
    // What is there at once is a whole answer, and its size is known before the caller has any of it.
    let first = poll_fn(|context| match Pin::new(&mut inner).poll_frame(context) {
        Poll::Ready(frame) => Poll::Ready(Some(frame)),
        Poll::Pending => Poll::Ready(None),
    });
    let first = first.await;
    let bytes =
        first.as_ref().and_then(|frame| frame.as_ref()?.as_ref().ok()?.data_ref()).map_or(0, Bytes::len);
    let room = if bytes > SMALL {
        match taken.account.room(bytes) {
            Ok(room) => Some(room),
            Err(spent) => return refused(Refusal::Spent(spent)),
        }
    } else {
        None
    };
    if taken.of_line.is_some() {
        // The place among all calls is kept as long: a stream that has begun is still a call.
        parts.extensions.insert(KeepsPlace);
    }
    let mark = taken.line.mark();
    let body = Held { inner, first, rest: Bytes::new(), mark, _taken: taken, _room: room };
    Response::from_parts(parts, Body::new(body))
}

struct Held {
    inner: Body,
    first: Option<Option<Result<Frame<Bytes>, Status>>>,
    /// What is left of a large piece.
    rest: Bytes,
    mark: Mark,
    _taken: Taken,
    _room: Option<OwnedSemaphorePermit>,
}

impl Held {
    /// The next part of a piece.
    fn part(&mut self) -> Bytes {
        let most = if self.rest.len() > PART { PART } else { self.rest.len().saturating_sub(1).max(1) };
        self.rest.split_to(most.min(self.rest.len()))
    }
}

impl http_body::Body for Held {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let this = self.get_mut();
        // It asks for more: what it was given before has gone its way.
        this.mark.clear();
        if this.rest.is_empty() {
            let next = match this.first.take() {
                Some(first) => Poll::Ready(first),
                None => Pin::new(&mut this.inner).poll_frame(context),
            };
            let Poll::Ready(Some(Ok(frame))) = next else { return next };
            match frame.into_data() {
                Ok(data) if data.len() > SMALL => this.rest = data,
                Ok(data) => {
                    this.mark.set();
                    return Poll::Ready(Some(Ok(Frame::data(data))));
                }
                Err(trailers) => return Poll::Ready(Some(Ok(trailers))),
            }
        }
        this.mark.set();
        Poll::Ready(Some(Ok(Frame::data(this.part()))))
    }

    fn is_end_stream(&self) -> bool {
        self.rest.is_empty() && self.first.is_none() && self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::new()
    }
}
