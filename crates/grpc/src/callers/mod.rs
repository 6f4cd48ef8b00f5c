//! What one caller may take: calls a second, calls at once, bytes of answers that it does not read. The rest is for others.
//!
//! The layer sits behind the one that lets callers in. A key is a caller, and where no key is asked for an address is one;
//! whoever is on this machine where no key was ever made is trusted. Health and reflection are asked by strangers: single
//! calls of them are free, and their streams are counted by address.

mod account;
mod answer;
mod spent;

use std::sync::Arc;
use std::task::{Context, Poll};

use dashwright_engine::keys::Caller;
use futures_util::future::{BoxFuture, Either, FutureExt as _};
use http::{Request, Response};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::body::Body;
use tower::{Layer, Service};

use crate::auth::streams;
use crate::guard::refused;
use crate::incoming::{Peer, network};
use crate::limits::LIMITS;
use crate::status::Refusal;

pub(crate) use account::Account;
pub(crate) use account::Allowance;
use account::{Accounts, Who};
use answer::{Taken, held};
pub use spent::Spent;

/// Puts [`Callers`] before a service.
#[derive(Clone)]
pub(crate) struct CallersLayer {
    accounts: Arc<Accounts>,
    open_streams: Arc<Semaphore>,
}

impl CallersLayer {
    /// A layer that gives every caller as much.
    pub(crate) fn new(allowance: Allowance) -> Self {
        let accounts = Arc::new(Accounts::new(allowance, LIMITS.callers_remembered));
        Self { accounts, open_streams: Arc::new(Semaphore::new(LIMITS.open_streams)) }
    }

    /// What a call takes while it lasts; none where nothing is counted.
    fn take(&self, request: &mut Request<Body>) -> Result<Option<Taken>, Refusal> {
        let peer = request.extensions().get::<Peer>().cloned();
        let address = peer.as_ref().and_then(|peer| peer.address).map(|address| network(address.ip()));
        let line = peer.map(|peer| peer.line).unwrap_or_default();
        let Some(caller) = request.extensions().get::<Caller>() else {
            // The layer before lets nobody else in without a name: it is a call of health or reflection.
            return if streams(request.uri().path()) { self.open(address, line).map(Some) } else { Ok(None) };
        };
        if caller.is_this_machine() {
            line.trust();
            return Ok(None);
        }
        let who = caller.key_id().map_or(Who::Address(address), |key| Who::Key(key.clone()));
        let account = self.accounts.of(who);
        account.count().map_err(Refusal::Spent)?;
        let call = account.place().map_err(Refusal::Spent)?;
        request.extensions_mut().insert(Arc::clone(&account));
        let of_line = Some(line.call());
        Ok(Some(Taken { account, line, _call: call, of_line, _open: None }))
    }

    /// What a stream of somebody who has shown no key takes.
    fn open(&self, address: Option<std::net::IpAddr>, line: crate::line::Line) -> Result<Taken, Refusal> {
        let account = self.accounts.of(Who::Stranger(address));
        let call = account.place().map_err(Refusal::Spent)?;
        let open: Option<OwnedSemaphorePermit> = Arc::clone(&self.open_streams).try_acquire_owned().ok();
        let open = open.ok_or(Refusal::Overloaded)?;
        // It does not count as a call of the connection: whoever shows no key gives way when the house is full.
        Ok(Taken { account, line, _call: call, of_line: None, _open: Some(open) })
    }
}

impl<S> Layer<S> for CallersLayer {
    type Service = Callers<S>;

    fn layer(&self, inner: S) -> Callers<S> {
        Callers { inner, shared: self.clone() }
    }
}

/// Keeps every caller within its allowance.
#[derive(Clone)]
pub(crate) struct Callers<S> {
    inner: S,
    shared: CallersLayer,
}

impl<S> Service<Request<Body>> for Callers<S>
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
        match self.shared.take(&mut request) {
            Ok(None) => Either::Left(self.inner.call(request)),
            Ok(Some(taken)) => {
                let answer = self.inner.call(request);
                let answered = async move {
                    let answer = {
                        let _work = taken.account.work().await;
                        answer.await?
                    };
                    Ok(held(answer, taken).await)
                };
                Either::Right(answered.boxed())
            }
            Err(refusal) => Either::Right(std::future::ready(Ok(refused(refusal))).boxed()),
        }
    }
}
