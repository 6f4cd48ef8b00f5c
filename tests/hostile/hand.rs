//! Calls by hand over the HTTP/2 of a library (`h2`): any body, any pace, any window.

use std::net::SocketAddr;

use bytes::Bytes;
use h2::RecvStream;
use h2::client::{Builder, ResponseFuture, SendRequest};
use h2::{Reason, SendStream};
use http::{HeaderMap, Request};
use tokio::task::JoinHandle;

use crate::wire::open;

/// A connection.
pub(crate) struct Hand {
    send: SendRequest<Bytes>,
    /// Ends when the connection does.
    pub(crate) connection: JoinHandle<Result<(), h2::Error>>,
}

/// What a call came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Came {
    /// The status of gRPC.
    Status(String),
    /// The call was reset, or its connection ended.
    Cut(Option<Reason>),
}

impl Hand {
    /// Connects from 127.0.0.`from`; an answer may be as large as the window before it is read.
    pub(crate) async fn connect(address: SocketAddr, from: u8, window: u32) -> Self {
        let mut builder = Builder::new();
        // A library that is slow to read must not take many small pieces for an attack of the server.
        builder.initial_window_size(window).data_frame_budget(1 << 24);
        let stream = open(address, from).await.unwrap();
        let (send, connection) = builder.handshake(stream).await.unwrap();
        Self { send, connection: tokio::spawn(connection) }
    }

    /// Begins a call, whose messages are to follow. None when the connection takes no more.
    pub(crate) async fn begin(
        &self,
        path: &str,
        headers: &[(&str, &str)],
    ) -> Option<(ResponseFuture, SendStream<Bytes>)> {
        let request = Request::post(format!("http://server{path}"));
        let request = request.header("content-type", "application/grpc").header("te", "trailers");
        let request = headers.iter().fold(request, |request, (name, value)| request.header(*name, *value));
        let mut send = self.send.clone().ready().await.ok()?;
        send.send_request(request.body(()).unwrap(), false).ok()
    }

    /// One call: what it came to.
    pub(crate) async fn call(&self, path: &str, headers: &[(&str, &str)], body: impl Into<Bytes>) -> Came {
        let Some((response, mut send)) = self.begin(path, headers).await else { return Came::Cut(None) };
        // The server may reset the call before it has everything.
        let _ = send.send_data(body.into(), true);
        came(response).await
    }
}

/// Waits for what a call comes to, and reads all of it.
pub(crate) async fn came(response: ResponseFuture) -> Came {
    let response = match response.await {
        Ok(response) => response,
        Err(error) => return Came::Cut(error.reason()),
    };
    if let Some(status) = status(response.headers()) {
        return status;
    }
    read(response.into_body()).await
}

/// Reads an answer to its end.
pub(crate) async fn read(mut body: RecvStream) -> Came {
    while let Some(piece) = body.data().await {
        match piece {
            Ok(piece) => drop(body.flow_control().release_capacity(piece.len())),
            Err(error) => return Came::Cut(error.reason()),
        }
    }
    match body.trailers().await {
        Ok(trailers) => trailers.as_ref().and_then(status).unwrap_or(Came::Cut(None)),
        Err(error) => Came::Cut(error.reason()),
    }
}

/// The status that headers have.
pub(crate) fn status(headers: &HeaderMap) -> Option<Came> {
    Some(Came::Status(headers.get("grpc-status")?.to_str().unwrap().to_owned()))
}

/// A message as gRPC sends it.
pub(crate) fn message(bytes: &[u8]) -> Vec<u8> {
    flagged(0, u32::try_from(bytes.len()).unwrap(), bytes)
}

/// A message whose flag and length say what they like.
pub(crate) fn flagged(flag: u8, length: u32, bytes: &[u8]) -> Vec<u8> {
    [&[flag][..], &length.to_be_bytes(), bytes].concat()
}
