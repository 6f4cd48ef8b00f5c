//! Why a caller waits: it has taken as much as one may.

use std::fmt;
use std::num::NonZeroU32;
use std::time::Duration;

/// What a caller has taken all of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spent {
    /// Calls a second.
    Rate {
        /// How many it may make.
        per_second: NonZeroU32,
        /// When the next one may come.
        wait: Duration,
    },
    /// Calls at once.
    Calls {
        /// How many it may have.
        most: usize,
    },
    /// Bytes of answers that it has not read.
    Unread {
        /// How many it may leave.
        most: usize,
    },
}

impl fmt::Display for Spent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rate { per_second, wait: _ } => {
                write!(f, "the caller makes more than {per_second} calls in a second, which is its limit")
            }
            Self::Calls { most } => {
                write!(f, "{most} calls and streams of the caller are in flight, which is its limit")
            }
            Self::Unread { most } => {
                write!(f, "the caller leaves more than {most} bytes of answers unread, which is its limit")
            }
        }
    }
}

impl std::error::Error for Spent {}
