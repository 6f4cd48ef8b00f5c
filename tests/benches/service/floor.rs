//! The floor: a tonic server that reads nothing of a request and returns bytes that it was given.

use std::convert::Infallible;
use std::io::BufRead as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll};

use bytes::{Buf as _, BufMut as _, Bytes};
use futures_util::future::BoxFuture;
use tonic::body::Body;
use tonic::codec::{BufferSettings, Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::{Response, Status};
use tower::Service;

use crate::{Outcome, server};

/// More than any reply has that is asked for here.
const BUFFER_BYTES: usize = 32 << 10;

/// Bytes as they are.
#[derive(Clone, Copy, Default)]
pub(crate) struct Raw;

impl Codec for Raw {
    type Encode = Bytes;
    type Decode = Bytes;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for Raw {
    type Item = Bytes;
    type Error = Status;

    fn encode(&mut self, item: Bytes, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.put(item);
        Ok(())
    }

    fn buffer_settings(&self) -> BufferSettings {
        // A reply of the usual size goes in without the buffer growing: an echo does not get better than that.
        BufferSettings::new(BUFFER_BYTES, BUFFER_BYTES)
    }
}

impl Decoder for Raw {
    type Item = Bytes;
    type Error = Status;

    fn decode(&mut self, buffer: &mut DecodeBuf<'_>) -> Result<Option<Bytes>, Status> {
        let length = buffer.remaining();
        Ok(Some(buffer.copy_to_bytes(length)))
    }
}

/// Returns the replies in turns.
#[derive(Clone)]
struct Echo {
    replies: Arc<Vec<Bytes>>,
    next: Arc<AtomicUsize>,
}

impl tonic::server::UnaryService<Bytes> for Echo {
    type Response = Bytes;
    type Future = std::future::Ready<Result<Response<Bytes>, Status>>;

    fn call(&mut self, _: tonic::Request<Bytes>) -> Self::Future {
        let number = self.next.fetch_add(1, Ordering::Relaxed) % self.replies.len();
        let reply = self.replies.get(number).cloned().unwrap_or_default();
        std::future::ready(Ok(Response::new(reply)))
    }
}

impl tonic::server::NamedService for Echo {
    const NAME: &'static str = "dashwright.v1.FitmentService";
}

impl Service<http::Request<Body>> for Echo {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Self::Response, Infallible>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        let echo = self.clone();
        Box::pin(async move { Ok(tonic::server::Grpc::new(Raw).unary(echo, request).await) })
    }
}

/// The role of the floor: the replies come as one JSON line.
pub(crate) fn serve(_: &[String]) -> Outcome<()> {
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line)?;
    let replies: Vec<Vec<u8>> = serde_json::from_str(&line)?;
    let replies = Arc::new(replies.into_iter().map(Bytes::from).collect());
    let echo = Echo { replies, next: Arc::default() };
    server::run(true, |listener| server::serve_alone(echo, listener))
}
