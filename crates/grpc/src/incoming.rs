//! Connections: at most so many at once and of one address, each without delay. A slow handshake keeps nobody waiting, and
//! who says nothing, or never reads its answers, does not stay.

use std::io;
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Instant;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tokio_rustls::server::TlsStream;
use tokio_stream::Stream;
use tonic::transport::server::Connected;

use crate::limits::LIMITS;
use crate::line::Line;
use crate::observe::connections::{OfListener, Open};
use crate::per_address::{OfAddress, PerAddress};
use crate::silence::Silence;
use crate::throttle::Throttle;
use crate::tls::Tls;

/// Bytes that are read of a connection before others have their turn: the largest frame. Without, a flood of frames that are
/// answered by the transport alone keeps a thread until 128 large buffers are worked off (tokio's own budget).
const TURN_BYTES: usize = 16 << 10;

/// Who is at the other end of a connection; in the extensions of every request.
#[derive(Clone, Debug)]
pub struct Peer {
    /// Its address; none when it has gone already.
    pub address: Option<SocketAddr>,
    /// The connection as its calls see it.
    pub(crate) line: Line,
}

impl Peer {
    /// Who is at an address, by a connection that begins now.
    #[must_use]
    pub fn at(address: SocketAddr) -> Self {
        Self { address: Some(address), line: Line::default() }
    }
}

/// A connection that holds its place among the connections at once.
pub(crate) struct Connection {
    stream: Carrier,
    peer: Peer,
    silence: Silence,
    /// Bytes read since others had their turn.
    read: usize,
    _place: Place,
}

/// A place among the connections at once, and among those of its address.
struct Place {
    all: Arc<Semaphore>,
    _among_all: OwnedSemaphorePermit,
    _of_address: OfAddress,
    _open: Open,
}

/// What an address is taken for: whoever has one address of IPv6 has its whole /64.
pub(crate) fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(address) => IpAddr::V4(address),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
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
    tls: Option<Tls>,
    figures: OfListener,
    end: watch::Receiver<bool>,
) -> impl Stream<Item = io::Result<Connection>> {
    let door = Door {
        listener,
        places: Arc::new(Semaphore::new(LIMITS.connections)),
        addresses: PerAddress::new(LIMITS.connections_per_address),
        tls,
        figures,
        end,
        handshakes: JoinSet::new(),
        handshaking: PerAddress::new(LIMITS.handshakes_per_address),
        failed: Arc::default(),
        refused: Throttle::default(),
    };
    futures_util::stream::unfold(door, |mut door| async move { Some((door.next().await?, door)) })
}

/// Where connections come in.
struct Door {
    listener: TcpListener,
    places: Arc<Semaphore>,
    addresses: PerAddress,
    tls: Option<Tls>,
    figures: OfListener,
    end: watch::Receiver<bool>,
    /// They end with the door.
    handshakes: JoinSet<Option<Connection>>,
    handshaking: PerAddress,
    failed: Arc<Throttle>,
    refused: Throttle,
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
                    let (stream, among_all) = match accepted? {
                        Ok(accepted) => accepted,
                        Err(error) => return Some(Err(error)),
                    };
                    let peer = Peer { address: stream.peer_addr().ok(), line: Line::default() };
                    let Some(place) = self.place(&peer, among_all) else { continue };
                    match &self.tls {
                        Some(tls) => self.begin(tls.clone(), stream, peer, place),
                        None => {
                            let end = self.end.clone();
                            return Some(Ok(Connection::new(Carrier::Plain(stream), peer, place, end)));
                        }
                    }
                }
            }
        }
    }

    /// The place of a connection. One over the limit of its address is closed: left to wait, it would keep others out.
    fn place(&self, peer: &Peer, among_all: OwnedSemaphorePermit) -> Option<Place> {
        let of_address = self.addresses.take(peer.address.map(|address| network(address.ip())));
        if of_address.is_none() {
            self.figures.of_full_address.inc();
            self.refuse(peer, "an address has as many connections as one may have");
        }
        let all = Arc::clone(&self.places);
        Some(Place { all, _among_all: among_all, _of_address: of_address?, _open: self.figures.open() })
    }

    /// Says that a connection was closed unheard.
    fn refuse(&self, peer: &Peer, why: &str) {
        if let Some(left_out) = self.refused.line(Instant::now()) {
            let peer = peer.address.map(tracing::field::display);
            tracing::warn!(peer, left_out, "a connection was closed: {why}");
        }
    }

    /// Begins a handshake; it goes on beside the others.
    fn begin(&mut self, tls: Tls, stream: TcpStream, peer: Peer, place: Place) {
        let Some(handshaking) = self.handshaking.take(peer.address.map(|address| network(address.ip())))
        else {
            self.figures.of_shaking_address.inc();
            self.refuse(&peer, "an address has as many TLS handshakes going on as one may have");
            return;
        };
        let (failed, end) = (Arc::clone(&self.failed), self.end.clone());
        let without_handshake = self.figures.without_handshake.clone();
        self.handshakes.spawn(async move {
            let handshake = tls.acceptor().accept(stream);
            let ended = tokio::time::timeout(tls.patience(), handshake).await;
            drop(handshaking);
            match ended.unwrap_or_else(|_| Err(io::ErrorKind::TimedOut.into())) {
                Ok(stream) => Some(Connection::new(Carrier::Encrypted(stream.into()), peer, place, end)),
                Err(error) => {
                    without_handshake.inc();
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
    fn new(stream: Carrier, peer: Peer, place: Place, end: watch::Receiver<bool>) -> Self {
        let silence = Silence::new(peer.line.clone(), Arc::clone(&place.all), end);
        Self { stream, peer, silence, read: 0, _place: place }
    }
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        self.peer.clone()
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        if this.read >= TURN_BYTES {
            this.read = 0;
            cx.waker().wake_by_ref();
            return Poll::Pending;
        }
        let before = buffer.filled().len();
        let read = match &mut this.stream {
            Carrier::Plain(stream) => Pin::new(stream).poll_read(cx, buffer),
            Carrier::Encrypted(stream) => Pin::new(stream).poll_read(cx, buffer),
        };
        let bytes = buffer.filled().len() - before;
        this.read = if read.is_pending() { 0 } else { this.read + bytes };
        this.silence.heard(bytes);
        if read.is_pending() && this.silence.is_given_up(cx) {
            // Nothing was read: the connection is at its end.
            return Poll::Ready(Ok(()));
        }
        // Also when there was something to read: who floods the connection must not escape.
        this.silence.ends(cx).map_or(read, |end| Poll::Ready(Err(end.into())))
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
