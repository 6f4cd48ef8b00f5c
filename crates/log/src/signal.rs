//! The head as every thread sees it, with a way to wait until it moves.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crate::port::{Head, Sequence};

/// The published head. It only ever changes as a whole, so a panic elsewhere cannot leave it half changed.
#[derive(Debug)]
pub(crate) struct Signal {
    head: Mutex<Head>,
    moved: Condvar,
}

impl Signal {
    pub(crate) fn new(head: Head) -> Signal {
        Signal { head: Mutex::new(head), moved: Condvar::new() }
    }

    pub(crate) fn head(&self) -> Head {
        *self.lock()
    }

    pub(crate) fn advance(&self, head: Head) {
        *self.lock() = head;
        self.moved.notify_all();
    }

    pub(crate) fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head {
        let waited = self.moved.wait_timeout_while(self.lock(), timeout, |head| head.sequence <= sequence);
        *waited.unwrap_or_else(PoisonError::into_inner).0
    }

    fn lock(&self) -> MutexGuard<'_, Head> {
        self.head.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
