//! Streams that end with their key.

use std::future::pending;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use dashwright_engine::keys::{Caller, KeyRing};
use futures_util::future::{BoxFuture, Either, FutureExt as _, select};
use http::Response;
use tokio::sync::watch;
use tonic::body::Body;

use super::Denied;
use super::admit::still;
use crate::ending::{Ended, Order};
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
            let lost = lost.map(Refusal::Denied).boxed();
            Ok(answer?.map(|inner| Ended::body(inner, lost, Order::EndFirst)))
        }
        Either::Right((denied, _)) => Ok(refused(Refusal::Denied(denied))),
    }
}
