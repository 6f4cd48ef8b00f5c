//! What a user would pick instead: a tonic server that answers look-ups from a database, asked with exact attributes.
//!
//! A rival gets its question as our service does, as an encoded request, and must answer with the same message: before anything is
//! measured, every asked question is put to both and the decoded answers are held against each other.

use std::convert::Infallible;
use std::sync::Arc;
use std::task::{Context, Poll};

use dashwright_api::v1;
use futures_util::future::BoxFuture;
use prost::Message as _;
use tonic::body::Body;
use tonic::{Response, Status};
use tonic_prost::ProstCodec;
use tower::Service;

use crate::server::Running;
use crate::{Outcome, load, server};

/// Answers a settled question.
pub(crate) trait Rival: Send + Sync + 'static {
    /// The answer, however it is encoded.
    type Reply: prost::Message + 'static;

    /// The answer; nothing where there is no such line.
    fn answer(
        &self,
        question: v1::VehicleQuestion,
    ) -> impl Future<Output = Outcome<Option<Self::Reply>>> + Send;
}

/// A rival behind the path of the look-up.
struct Served<R>(Arc<R>);

impl<R> Clone for Served<R> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<R: Rival> tonic::server::UnaryService<v1::LookUpFitmentRequest> for Served<R> {
    type Response = R::Reply;
    type Future = BoxFuture<'static, Result<Response<R::Reply>, Status>>;

    fn call(&mut self, request: tonic::Request<v1::LookUpFitmentRequest>) -> Self::Future {
        let rival = Arc::clone(&self.0);
        Box::pin(async move {
            let question = request.into_inner().vehicle.unwrap_or_default();
            match rival.answer(question).await {
                Ok(Some(answer)) => Ok(Response::new(answer)),
                Ok(None) => Err(Status::not_found("no such vehicle line")),
                Err(error) => Err(Status::internal(error.to_string())),
            }
        })
    }
}

impl<R> tonic::server::NamedService for Served<R> {
    const NAME: &'static str = "dashwright.v1.FitmentService";
}

impl<R: Rival> Service<http::Request<Body>> for Served<R> {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Self::Response, Infallible>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        let served = self.clone();
        Box::pin(
            async move { Ok(tonic::server::Grpc::new(ProstCodec::default()).unary(served, request).await) },
        )
    }
}

/// Serves a rival, as the floor is served, once it is made.
pub(crate) fn serve<R: Rival>(made: impl Future<Output = Outcome<R>>) -> Outcome<()> {
    server::run(true, |listener| async { server::serve_alone(Served(Arc::new(made.await?)), listener).await })
}

/// Holds a rival's answers to those of the service.
pub(crate) fn compare(name: &str, rival: &Running, requests: &[Vec<u8>], ours: &[Vec<u8>]) -> Outcome<()> {
    let theirs = load::replies(rival, &load::LOOK_UP, requests)?;
    for (number, (theirs, ours)) in theirs.iter().zip(ours).enumerate() {
        let theirs = v1::LookUpFitmentResponse::decode(theirs.as_slice())?;
        let ours = v1::LookUpFitmentResponse::decode(ours.as_slice())?;
        if theirs != ours {
            return Err(
                format!("{name} answers question {number} otherwise: {theirs:?} is not {ours:?}").into()
            );
        }
    }
    if theirs.len() == ours.len() { Ok(()) } else { Err("answers are missing".into()) }
}
