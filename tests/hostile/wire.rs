//! Frames by hand (RFC 9113), also such as no library sends, and floods of them.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, SocketAddr};
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::OwnedReadHalf;
use tokio::net::{TcpSocket, TcpStream};

/// With what a client begins.
pub(crate) const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";
/// How long a write may take before the server is taken to read no more for now.
const WRITE: Duration = Duration::from_millis(200);
/// How long the end of a connection is waited for after the flood.
const END: Duration = Duration::from_millis(500);

/// Frames (section 6).
pub(crate) const DATA: u8 = 0;
pub(crate) const HEADERS: u8 = 1;
pub(crate) const PRIORITY: u8 = 2;
pub(crate) const RST_STREAM: u8 = 3;
pub(crate) const SETTINGS: u8 = 4;
pub(crate) const PING: u8 = 6;
const GOAWAY: u8 = 7;
pub(crate) const WINDOW_UPDATE: u8 = 8;
pub(crate) const CONTINUATION: u8 = 9;
/// Flags.
pub(crate) const END_STREAM: u8 = 1;
pub(crate) const END_HEADERS: u8 = 4;
/// ENHANCE_YOUR_CALM (section 7).
pub(crate) const CALM: &str = "GOAWAY 11";

/// A connection from one of the addresses of this machine, 127.0.0.`from`.
pub(crate) async fn open(to: SocketAddr, from: u8) -> std::io::Result<TcpStream> {
    let socket = TcpSocket::new_v4()?;
    socket.bind((Ipv4Addr::new(127, 0, 0, from), 0).into())?;
    socket.connect(to).await
}

/// A frame.
pub(crate) fn frame(kind: u8, flags: u8, stream: u32, payload: &[u8]) -> Vec<u8> {
    let [_, length @ ..] = u32::try_from(payload.len()).unwrap().to_be_bytes();
    [&length[..], &[kind, flags], &stream.to_be_bytes(), payload].concat()
}

/// The preface and settings that say nothing.
pub(crate) fn begin() -> Vec<u8> {
    [PREFACE, &frame(SETTINGS, 0, 0, &[])].concat()
}

/// Header fields that are neither compressed nor remembered (RFC 7541, section 6.2.2).
pub(crate) fn fields(fields: &[(&str, &str)]) -> Vec<u8> {
    let mut block = Vec::new();
    for (name, value) in fields {
        block.push(0);
        text(name, &mut block);
        text(value, &mut block);
    }
    block
}

/// A text with its length before it (RFC 7541, sections 5.1 and 5.2).
pub(crate) fn text(text: &str, block: &mut Vec<u8>) {
    let mut length = text.len();
    if length < 127 {
        block.push(u8::try_from(length).unwrap());
    } else {
        block.push(127);
        length -= 127;
        while length >= 128 {
            block.push(u8::try_from(length % 128).unwrap() | 128);
            length /= 128;
        }
        block.push(u8::try_from(length).unwrap());
    }
    block.extend_from_slice(text.as_bytes());
}

/// The header fields of a look-up.
pub(crate) fn call(key: &str) -> Vec<u8> {
    fields(&[
        (":method", "POST"),
        (":scheme", "http"),
        (":path", "/dashwright.v1.FitmentService/LookUpFitment"),
        (":authority", "x"),
        ("content-type", "application/grpc"),
        ("te", "trailers"),
        ("authorization", &format!("Bearer {key}")),
    ])
}

/// The stream of the n-th call of a connection.
pub(crate) fn stream(number: u32) -> u32 {
    number * 2 + 1
}

/// What a flood came to.
#[derive(Debug, Default)]
pub(crate) struct Flooded {
    /// Connections that were made.
    pub(crate) connections: usize,
    /// Rounds of frames that were sent over all of them.
    pub(crate) rounds: u64,
    /// How the connections ended that the server ended.
    pub(crate) ended: BTreeMap<String, usize>,
}

/// Whether an attacker takes what the server sends.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reads {
    Yes,
    No,
}

/// Sends rounds of frames as fast as the server takes them, and connects again whenever it ends the connection.
pub(crate) async fn flood(
    address: SocketAddr,
    lasts: Duration,
    reads: Reads,
    round: impl Fn(u32) -> Vec<u8>,
) -> Flooded {
    /// Rounds of one write: a system call for each would be the slowest part.
    const BATCH: u32 = 20;
    let (mut flooded, end) = (Flooded::default(), Instant::now() + lasts);
    while Instant::now() < end {
        let (read, mut write) = open(address, 2).await.unwrap().into_split();
        flooded.connections += 1;
        let ended = tokio::spawn(async move {
            match reads {
                Reads::Yes => ending(read).await,
                Reads::No => {
                    std::future::pending::<()>().await;
                    drop(read);
                    None
                }
            }
        });
        let mut open = write.write_all(&begin()).await.is_ok();
        let mut number = 0;
        while open && Instant::now() < end {
            let rounds: Vec<u8> = (number..number + BATCH).flat_map(&round).collect();
            number += BATCH;
            open = match tokio::time::timeout(WRITE, write.write_all(&rounds)).await {
                Ok(written) => written.is_ok(),
                // Half of a frame may be written: nothing can be sent behind it.
                Err(_) => false,
            };
            flooded.rounds += u64::from(BATCH);
            // Honest clients live in the same process: they must not wait for this loop.
            tokio::task::yield_now().await;
        }
        let abort = ended.abort_handle();
        if let Ok(Ok(Some(how))) = tokio::time::timeout(END, ended).await {
            *flooded.ended.entry(how).or_default() += 1;
        }
        abort.abort();
    }
    flooded
}

/// How the server ends a connection: with which GOAWAY, or none.
pub(crate) async fn ending(mut read: OwnedReadHalf) -> Option<String> {
    let mut how = "without a word".to_owned();
    let mut head = [0; 9];
    loop {
        if read.read_exact(&mut head).await.is_err() {
            return Some(how);
        }
        let [a, b, c, kind, ..] = head;
        let mut payload = vec![0; usize::try_from(u32::from_be_bytes([0, a, b, c])).unwrap()];
        if read.read_exact(&mut payload).await.is_err() {
            return Some(how);
        }
        if kind == GOAWAY {
            how = format!("GOAWAY {}", u32::from_be_bytes(payload[4..8].try_into().unwrap()));
        }
    }
}
