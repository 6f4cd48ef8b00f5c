//! Streams that end with their key.

use std::future::pending;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, SystemTime};

use bytes::Bytes;
use dashwright_engine::keys::{Caller, KeyRing};
use futures_util::future::{BoxFuture, Either, FutureExt as _, select};
use http::{HeaderMap, Response};
use http_body::Frame;
use tokio::sync::watch;
use tonic::Status;
use tonic::body::Body;

use super::Denied;
use super::admit::still;
use crate::guard::refused;
use crate::status::Refusal;

/// The longest wait for the end of a key in one go: the clock of the machine may be set meanwhile.
const RECHECK: Duration = Duration::from_secs(60);

/// Why a caller who was let in would not be any more; waits until that is so.
pub(super) async fn lost(mut keys: watch::Receiver<Arc<KeyRing>>, caller: Caller) -> Denied {
    loop {
        let ring = Arc::clone(&keys.borrow_and_update());
        let now = SystemTime::now();
        if let Err(denied) = still(&ring, &caller, now) {
            return denied;
        }
        let end = caller.key_id().and_then(|key| ring.expires(key));
        let end = async {
            match end.map(|end| end.duration_since(now).unwrap_or_default()) {
                Some(rest) => tokio::time::sleep(rest.min(RECHECK)).await,
                None => pending().await,
            }
        };
        let changed = async {
            if keys.changed().await.is_err() {
                // Whoever changes keys has gone: they stay as they are.
                pending::<()>().await;
            }
        };
        tokio::select! {
            () = changed => {}
            () = end => {}
        }
    }
}

/// The answer of a call, which ends when `lost` says so: before it has begun, or in the middle.
pub(super) async fn until<E>(
    lost: BoxFuture<'static, Denied>,
    answer: impl Future<Output = Result<Response<Body>, E>>,
) -> Result<Response<Body>, E> {
    match select(Box::pin(answer), lost).await {
        Either::Left((answer, lost)) => {
            Ok(answer?.map(|inner| Body::new(Watched { inner, lost, is_over: false })))
        }
        Either::Right((denied, _)) => Ok(refused(Refusal::Denied(denied))),
    }
}

/// The body of an answer that ends with a status when its caller is let in no more.
struct Watched {
    inner: Body,
    lost: BoxFuture<'static, Denied>,
    is_over: bool,
}

impl http_body::Body for Watched {
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
        if let Poll::Ready(denied) = this.lost.poll_unpin(context) {
            this.is_over = true;
            let mut trailers = HeaderMap::new();
            let status = Status::from(Refusal::Denied(denied));
            return Poll::Ready(Some(status.add_header(&mut trailers).map(|()| Frame::trailers(trailers))));
        }
        Pin::new(&mut this.inner).poll_frame(context)
    }

    fn is_end_stream(&self) -> bool {
        self.is_over || self.inner.is_end_stream()
    }
}
