//! Calls about vehicles go to their service at once; the router, which makes several boxes for every call, has the rest.

use std::convert::Infallible;
use std::task::{Context, Poll};

use dashwright_api::replies::fitment_service_server::{FitmentServiceServer, SERVICE_NAME};
use futures_util::future::Either;
use http::{Request, Response};
use tonic::body::Body;
use tower::Layer;

use crate::Service;

/// Puts the service of vehicles before a router.
#[derive(Clone)]
pub(crate) struct DirectLayer(FitmentServiceServer<Service>);

impl DirectLayer {
    pub(crate) const fn new(fitment: FitmentServiceServer<Service>) -> Self {
        Self(fitment)
    }
}

impl<R> Layer<R> for DirectLayer {
    type Service = Direct<R>;

    fn layer(&self, others: R) -> Direct<R> {
        Direct { fitment: self.0.clone(), others }
    }
}

/// The service of vehicles, and a router for all others.
#[derive(Clone)]
pub(crate) struct Direct<R> {
    fitment: FitmentServiceServer<Service>,
    others: R,
}

impl<R> tower::Service<Request<Body>> for Direct<R>
where
    R: tower::Service<Request<Body>, Response = Response<Body>, Error = Infallible>,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Either<<FitmentServiceServer<Service> as tower::Service<Request<Body>>>::Future, R::Future>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        // The service of vehicles is always ready.
        self.others.poll_ready(context)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        if is_of_vehicles(request.uri().path()) {
            Either::Left(self.fitment.call(request))
        } else {
            Either::Right(self.others.call(request))
        }
    }
}

/// Whether a path, `/package.Service/Method`, is one of the service of vehicles.
fn is_of_vehicles(path: &str) -> bool {
    path.strip_prefix('/')
        .and_then(|path| path.strip_prefix(SERVICE_NAME))
        .is_some_and(|rest| rest.starts_with('/'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_paths_of_the_service_go_to_it() {
        assert!(is_of_vehicles("/dashwright.v1.FitmentService/LookUpFitment"));
        for other in
            ["/dashwright.v1.FitmentServices/LookUpFitment", "/dashwright.v1.FitmentService", "/", ""]
        {
            assert!(!is_of_vehicles(other), "{other}");
        }
    }
}
