//! When a connection ends because its client says nothing, never reads what it asked for, or asks nothing while others wait
//! to be let in.
//!
//! The transport has no time limit for any of it: it waits for the preface of HTTP/2, and for room in the window of an answer, as
//! long as the client likes. Pings (`LIMITS.keepalive`) end only those who do not answer them.

use std::fmt;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use futures_util::future::{BoxFuture, FutureExt as _};
use tokio::sync::{Semaphore, watch};
use tokio::time::Sleep;

use crate::limits::LIMITS;
use crate::line::Line;

/// Bytes with which every HTTP/2 client begins (RFC 9113, section 3.4).
const PREFACE_BYTES: usize = 24;
/// How often a connection is looked at: a fraction of the shortest time limit, and little work for thousands of them.
const LOOK_EVERY: Duration = Duration::from_secs(5);

/// Why a connection ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// It did not say that it speaks HTTP/2.
    NoPreface,
    /// A piece of an answer was not taken.
    Unread,
    /// Nothing was asked, and the house is full.
    Idle,
}

/// What a connection has heard, and when it is looked at.
pub(crate) struct Silence {
    line: Line,
    /// The places among the connections at once.
    places: Arc<Semaphore>,
    /// Bytes heard, up to those of the preface.
    heard: usize,
    // Boxed: connections move until they are served.
    look: Pin<Box<Sleep>>,
    /// Comes when the service goes down; a client that has not begun by then can not be told to go away, and is not waited for.
    end: BoxFuture<'static, ()>,
}

impl Silence {
    /// A connection that begins now.
    pub(crate) fn new(line: Line, places: Arc<Semaphore>, mut end: watch::Receiver<bool>) -> Self {
        let end = async move {
            // Without a service there is nothing to wait for either.
            let _ = end.wait_for(|ending| *ending).await;
        };
        Self { line, places, heard: 0, look: Box::pin(tokio::time::sleep(LIMITS.preface)), end: end.boxed() }
    }

    /// So many bytes came.
    pub(crate) fn heard(&mut self, bytes: usize) {
        self.heard = self.heard.saturating_add(bytes).min(PREFACE_BYTES);
    }

    /// Whether the service goes down while the client has not begun.
    pub(crate) fn is_given_up(&mut self, context: &mut Context<'_>) -> bool {
        self.heard < PREFACE_BYTES && self.end.poll_unpin(context).is_ready()
    }

    /// Why the connection ends now, if it does. Wakes the task when it is to be looked at again.
    pub(crate) fn ends(&mut self, context: &mut Context<'_>) -> Option<End> {
        while let Poll::Ready(()) = self.look.as_mut().poll(context) {
            if self.heard < PREFACE_BYTES {
                return Some(End::NoPreface);
            }
            let now = Instant::now();
            if self.line.waits(LIMITS.unread, now) {
                return Some(End::Unread);
            }
            // The door holds the last place itself while it waits for whom to give it to.
            let is_full = self.places.available_permits() == 0;
            if is_full && self.line.idles(LIMITS.idle_when_full, LIMITS.preface, now) {
                return Some(End::Idle);
            }
            self.look.as_mut().reset(tokio::time::Instant::now() + LOOK_EVERY);
        }
        None
    }
}

impl fmt::Display for End {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPreface => write!(f, "the client did not say that it speaks HTTP/2"),
            Self::Unread => write!(f, "the client did not read an answer"),
            Self::Idle => write!(f, "the client asked nothing while others waited for a connection"),
        }
    }
}

impl std::error::Error for End {}

impl From<End> for io::Error {
    fn from(end: End) -> Self {
        Self::new(io::ErrorKind::TimedOut, end)
    }
}
