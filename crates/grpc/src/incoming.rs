//! Connections: at most so many at once, each without delay.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_stream::Stream;
use tonic::transport::server::Connected;

/// Who is at the other end of a connection; in the extensions of every request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peer {
    /// Its address; none when it has gone already.
    pub address: Option<SocketAddr>,
}

/// A connection that holds its place among the connections at once.
pub(crate) struct Connection {
    stream: TcpStream,
    _place: OwnedSemaphorePermit,
}

/// The connections of a listener. One over the limit is not refused but left to wait in the kernel's queue, so that a
/// client that reconnects in a hurry is served a moment later.
pub(crate) fn connections(listener: TcpListener, most: usize) -> impl Stream<Item = io::Result<Connection>> {
    let places = Arc::new(Semaphore::new(most));
    futures_util::stream::unfold((listener, places), |(listener, places)| async move {
        let place = Arc::clone(&places).acquire_owned().await.ok()?;
        let accepted = listener.accept().await.and_then(|(stream, _)| {
            // Answers are small and whole: nothing is gained by waiting for more.
            stream.set_nodelay(true)?;
            Ok(Connection { stream, _place: place })
        });
        Some((accepted, (listener, places)))
    })
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        Peer { address: self.stream.peer_addr().ok() }
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_read(cx, buffer)
    }
}

impl AsyncWrite for Connection {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.get_mut().stream).poll_write(cx, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_flush(cx)
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_shutdown(cx)
    }

    fn poll_write_vectored(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.get_mut().stream).poll_write_vectored(cx, slices)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}
