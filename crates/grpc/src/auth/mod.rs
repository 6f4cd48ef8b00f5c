//! Who may call: a layer before the router, so that a stranger learns neither what exists nor what would be valid.
//!
//! The key comes as `authorization: Bearer <key>`. Where no key was ever made, callers on this machine may do everything
//! and others nothing, unless the operator lets everybody read. A stream ends at once when its key does.

mod admit;
mod denied;
mod figures;
mod roles;
mod watched;

use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::SystemTime;

use dashwright_engine::keys::KeyRing;
use futures_util::future::{BoxFuture, Either, FutureExt as _};
use http::header::AUTHORIZATION;
use http::{Request, Response};
use tokio::sync::watch;
use tonic::body::Body;
use tower::{Layer, Service};

use crate::guard::refused;
use crate::incoming::Peer;
use crate::status::Refusal;

pub use denied::{Cause, Denied};
pub use figures::{AuthFigures, KeyUse};
pub use roles::Need;
pub(crate) use roles::streams;

/// What a call of a path needs; none for a path of no method.
pub(crate) fn need_of(path: &str) -> Option<Need> {
    roles::row_of(path).map(|row| row.need)
}

/// Who may call.
#[derive(Clone, Debug)]
pub struct Access {
    /// The keys, as they are now.
    pub keys: watch::Receiver<Arc<KeyRing>>,
    /// Whether everybody may read as long as no key was ever made; without, only this machine is answered.
    pub everybody_reads: bool,
}

impl Access {
    /// Whoever has one of the keys; where none was ever made, this machine only.
    #[must_use]
    pub fn by(keys: watch::Receiver<Arc<KeyRing>>) -> Self {
        Self { keys, everybody_reads: false }
    }
}

/// Puts an [`Auth`] before a service.
#[derive(Clone)]
pub struct AuthLayer {
    access: Access,
    figures: Arc<AuthFigures>,
}

impl AuthLayer {
    /// A layer that counts in these figures.
    #[must_use]
    pub fn new(access: Access, figures: Arc<AuthFigures>) -> Self {
        Self { access, figures }
    }
}

impl<S> Layer<S> for AuthLayer {
    type Service = Auth<S>;

    fn layer(&self, inner: S) -> Auth<S> {
        Auth { inner, shared: self.clone() }
    }
}

/// Lets callers in, and puts the [`Caller`](dashwright_engine::keys::Caller) into the extensions of the request.
#[derive(Clone)]
pub struct Auth<S> {
    inner: S,
    shared: AuthLayer,
}

impl<S> Service<Request<Body>> for Auth<S>
where
    S: Service<Request<Body>, Response = Response<Body>> + Clone + Send + 'static,
    S::Error: Send,
    S::Future: Send + 'static,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = Either<S::Future, BoxFuture<'static, Result<Response<Body>, S::Error>>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, mut request: Request<Body>) -> Self::Future {
        let path = request.uri().path();
        let row = roles::row_of(path);
        if row.is_some_and(|row| row.need == Need::Open) {
            return Either::Left(self.inner.call(request));
        }
        let AuthLayer { access, figures } = &self.shared;
        let peer = request.extensions().get::<Peer>().and_then(|peer| peer.address);
        let now = SystemTime::now();
        let caller = match admit::admit(access, row.map(|row| row.need), request.headers(), peer, now) {
            Ok(caller) => caller,
            Err(denied) => {
                figures.refuse(&denied, path, peer);
                return Either::Right(std::future::ready(Ok(refused(Refusal::Denied(denied)))).boxed());
            }
        };
        if let Some(key) = caller.key_id() {
            figures.taken(key, now);
        }
        let path = row.filter(|row| row.streams).map(|_| path.to_owned());
        // What comes after knows the caller; the secret ends here, and no later log line can hold it.
        request.headers_mut().remove(AUTHORIZATION);
        request.extensions_mut().insert(caller.clone());
        let Some(path) = path else { return Either::Left(self.inner.call(request)) };
        let figures = Arc::clone(figures);
        let lost = watched::lost(access.keys.clone(), caller);
        let lost = lost.inspect(move |denied| figures.refuse(denied, &path, peer)).boxed();
        Either::Right(watched::until(lost, self.inner.call(request)).boxed())
    }
}
