//! Connections: at most so many at once, each without delay, and a slow handshake keeps nobody waiting.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Instant;

use futures_util::future::{BoxFuture, FutureExt as _};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tokio_rustls::server::TlsStream;
use tokio_stream::Stream;
use tonic::transport::server::Connected;

use crate::limits::LIMITS;
use crate::throttle::Throttle;
use crate::tls::Tls;

/// Who is at the other end of a connection; in the extensions of every request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peer {
    /// Its address; none when it has gone already.
    pub address: Option<SocketAddr>,
}

/// Bytes with which a client begins HTTP/2 (RFC 9113, section 3.4). Until they are there nothing can tell it to go away.
const PREFACE_BYTES: usize = 24;

/// A connection that holds its place among the connections at once.
pub(crate) struct Connection {
    stream: Carrier,
    peer: Peer,
    silence: Option<Silence>,
    _place: OwnedSemaphorePermit,
}

/// That a client has not begun yet. When the service goes down it is not waited for.
struct Silence {
    heard_bytes: usize,
    end: BoxFuture<'static, ()>,
}

impl Silence {
    fn until(mut end: watch::Receiver<bool>) -> Self {
        let end = async move {
            // Without a service there is nothing to wait for either.
            let _ = end.wait_for(|ending| *ending).await;
        };
        Self { heard_bytes: 0, end: end.boxed() }
    }
}

/// What carries the bytes.
enum Carrier {
    Plain(TcpStream),
    // Boxed: it is many times as large.
    Encrypted(Box<TlsStream<TcpStream>>),
}

/// The connections of a listener, encrypted where TLS is given. Those that have said nothing yet end with the service.
pub(crate) fn connections(
    listener: TcpListener,
    most: usize,
    tls: Option<Tls>,
    end: watch::Receiver<bool>,
) -> impl Stream<Item = io::Result<Connection>> {
    let (handshakes, failed) = (JoinSet::new(), Arc::default());
    let door = Door { listener, places: Arc::new(Semaphore::new(most)), tls, end, handshakes, failed };
    futures_util::stream::unfold(door, |mut door| async move { Some((door.next().await?, door)) })
}

/// Where connections come in.
struct Door {
    listener: TcpListener,
    places: Arc<Semaphore>,
    tls: Option<Tls>,
    end: watch::Receiver<bool>,
    /// They end with the door.
    handshakes: JoinSet<Option<Connection>>,
    failed: Arc<Throttle>,
}

impl Door {
    /// The next connection that is ready for calls.
    async fn next(&mut self) -> Option<io::Result<Connection>> {
        loop {
            tokio::select! {
                // Those who have waited longest come first.
                biased;
                Some(ready) = self.handshakes.join_next() => {
                    if let Ok(Some(connection)) = ready {
                        return Some(Ok(connection));
                    }
                }
                accepted = accept(&self.listener, &self.places), if self.handshakes.len() < LIMITS.handshakes => {
                    match (accepted?, &self.tls) {
                        (Ok((stream, place)), Some(tls)) => self.begin(tls.clone(), stream, place),
                        (Ok((stream, place)), None) => {
                            let peer = Peer { address: stream.peer_addr().ok() };
                            return Some(Ok(Connection::new(Carrier::Plain(stream), peer, place, self.end.clone())));
                        }
                        (Err(error), _) => return Some(Err(error)),
                    }
                }
            }
        }
    }

    /// Begins a handshake; it goes on beside the others.
    fn begin(&mut self, tls: Tls, stream: TcpStream, place: OwnedSemaphorePermit) {
        let (failed, end) = (Arc::clone(&self.failed), self.end.clone());
        let peer = Peer { address: stream.peer_addr().ok() };
        self.handshakes.spawn(async move {
            let handshake = tls.acceptor().accept(stream);
            let ended = tokio::time::timeout(tls.patience(), handshake).await;
            match ended.unwrap_or_else(|_| Err(io::ErrorKind::TimedOut.into())) {
                Ok(stream) => Some(Connection::new(Carrier::Encrypted(stream.into()), peer, place, end)),
                Err(error) => {
                    if let Some(left_out) = failed.line(Instant::now()) {
                        let peer = peer.address.map(tracing::field::display);
                        tracing::warn!(peer, left_out, "a TLS handshake failed: {error}");
                    }
                    None
                }
            }
        });
    }
}

/// The next connection and its place. One over the limit is not refused but left to wait in the kernel's queue, so that a
/// client that reconnects in a hurry is served a moment later.
async fn accept(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
) -> Option<io::Result<(TcpStream, OwnedSemaphorePermit)>> {
    let place = Arc::clone(places).acquire_owned().await.ok()?;
    let accepted = listener.accept().await.and_then(|(stream, _)| {
        // Answers are small and whole: nothing is gained by waiting for more.
        stream.set_nodelay(true)?;
        Ok((stream, place))
    });
    Some(accepted)
}

impl Connection {
    fn new(stream: Carrier, peer: Peer, place: OwnedSemaphorePermit, end: watch::Receiver<bool>) -> Self {
        Self { stream, peer, silence: Some(Silence::until(end)), _place: place }
    }
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        self.peer
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        let before = buffer.filled().len();
        let read = match &mut this.stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_read(cx, buffer),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_read(cx, buffer),
        };
        let Some(silence) = &mut this.silence else { return read };
        if read.is_pending() && silence.end.poll_unpin(cx).is_ready() {
            // Nothing was read: the connection is at its end.
            return Poll::Ready(Ok(()));
        }
        silence.heard_bytes += buffer.filled().len() - before;
        if silence.heard_bytes >= PREFACE_BYTES {
            this.silence = None;
        }
        read
    }
}

impl AsyncWrite for Connection {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        match &mut self.get_mut().stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_write(cx, bytes),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_write(cx, bytes),
        }
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.get_mut().stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_flush(cx),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_flush(cx),
        }
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.get_mut().stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_shutdown(cx),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_shutdown(cx),
        }
    }

    fn poll_write_vectored(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        match &mut self.get_mut().stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_write_vectored(cx, slices),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_write_vectored(cx, slices),
        }
    }

    fn is_write_vectored(&self) -> bool {
        match &self.stream {
            Carrier::Plain(stream) => stream.is_write_vectored(),
            Carrier::Encrypted(stream) => stream.is_write_vectored(),
        }
    }
}
