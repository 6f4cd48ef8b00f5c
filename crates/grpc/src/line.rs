//! What of a connection is given to its client and not taken yet, so that one who never reads does not stay for ever.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A connection, as its calls see it. Clones share everything.
#[derive(Clone, Debug, Default)]
pub(crate) struct Line(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    marks: AtomicU64,
    /// Answers of which a piece waits to be taken, and since when: at most as many as the connection has streams.
    waiting: Mutex<Vec<(u64, Instant)>>,
}

impl Line {
    /// A mark of one answer.
    pub(crate) fn mark(&self) -> Mark {
        Mark { number: self.0.marks.fetch_add(1, Ordering::Relaxed), line: self.clone(), is_set: false }
    }

    /// Whether a piece waits longer than so.
    pub(crate) fn waits(&self, longer: Duration, now: Instant) -> bool {
        let waiting = self.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.iter().any(|(_, since)| now.saturating_duration_since(*since) > longer)
    }
}

/// Says of one answer whether a piece of it waits to be taken.
#[derive(Debug)]
pub(crate) struct Mark {
    number: u64,
    line: Line,
    is_set: bool,
}

impl Mark {
    /// A piece was handed on.
    pub(crate) fn set(&mut self) {
        if !self.is_set {
            let mut waiting = self.line.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
            waiting.push((self.number, Instant::now()));
            self.is_set = true;
        }
    }

    /// It was taken.
    pub(crate) fn clear(&mut self) {
        if self.is_set {
            let mut waiting = self.line.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
            waiting.retain(|(number, _)| *number != self.number);
            self.is_set = false;
        }
    }
}

impl Drop for Mark {
    fn drop(&mut self) {
        self.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_waits_from_when_it_was_handed_on_until_it_was_taken() {
        let line = Line::default();
        let (mut one, mut other) = (line.mark(), line.mark());
        let later = Instant::now() + Duration::from_secs(60);
        let waits = || line.waits(Duration::from_secs(30), later);
        assert!(!waits());
        one.set();
        other.set();
        assert!(waits() && !line.waits(Duration::from_secs(90), later));
        one.clear();
        assert!(waits());
        drop(other);
        assert!(!waits());
    }
}
