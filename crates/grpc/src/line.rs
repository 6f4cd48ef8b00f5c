//! A connection as its calls see it: what of it is given to the client and not taken yet, and whether it is used at all, so
//! that one who never reads, or never asks, does not stay for ever.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A connection, as its calls see it. Clones share everything.
#[derive(Clone, Debug)]
pub(crate) struct Line(Arc<Mutex<State>>);

#[derive(Debug)]
struct State {
    /// Answers that were begun.
    answers: u64,
    /// Those of which a piece waits to be taken, and since when: at most as many as the connection has streams.
    waiting: Vec<(u64, Instant)>,
    /// Calls in flight of callers who were let in.
    calls: usize,
    /// Since when there is none.
    idle_since: Instant,
    /// Whether there ever was one.
    has_called: bool,
    /// Whether somebody on this machine calls, where no key was ever made.
    is_trusted: bool,
}

impl Default for Line {
    fn default() -> Self {
        let (waiting, idle_since) = (Vec::new(), Instant::now());
        let state = State { answers: 0, waiting, calls: 0, idle_since, has_called: false, is_trusted: false };
        Self(Arc::new(Mutex::new(state)))
    }
}

impl Line {
    /// A mark of one answer.
    pub(crate) fn mark(&self) -> Mark {
        let mut state = self.state();
        state.answers += 1;
        Mark { number: state.answers, line: self.clone(), is_set: false }
    }

    /// A call of a caller who was let in.
    pub(crate) fn call(&self) -> OfLine {
        let mut state = self.state();
        state.calls += 1;
        state.has_called = true;
        drop(state);
        OfLine(self.clone())
    }

    /// Whoever is there is trusted.
    pub(crate) fn trust(&self) {
        self.state().is_trusted = true;
    }

    /// Whether a piece waits longer than so.
    pub(crate) fn waits(&self, longer: Duration, now: Instant) -> bool {
        self.state().waiting.iter().any(|(_, since)| now.saturating_duration_since(*since) > longer)
    }

    /// Whether nobody who was let in has called for longer than so, or at all for longer than the second.
    pub(crate) fn idles(&self, longer: Duration, at_first: Duration, now: Instant) -> bool {
        let state = self.state();
        let longer = if state.has_called { longer } else { at_first };
        !state.is_trusted && state.calls == 0 && now.saturating_duration_since(state.idle_since) >= longer
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A call that is in flight; it has ended when this goes.
pub(crate) struct OfLine(Line);

impl Drop for OfLine {
    fn drop(&mut self) {
        let mut state = self.0.state();
        state.calls -= 1;
        state.idle_since = Instant::now();
    }
}

/// Says of one answer whether a piece of it waits to be taken.
pub(crate) struct Mark {
    number: u64,
    line: Line,
    is_set: bool,
}

impl Mark {
    /// A piece was handed on.
    pub(crate) fn set(&mut self) {
        if !self.is_set {
            self.line.state().waiting.push((self.number, Instant::now()));
            self.is_set = true;
        }
    }

    /// It was taken.
    pub(crate) fn clear(&mut self) {
        if self.is_set {
            self.line.state().waiting.retain(|(number, _)| *number != self.number);
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

    const LONG: Duration = Duration::from_secs(30);

    #[test]
    fn a_piece_waits_from_when_it_was_handed_on_until_it_was_taken() {
        let line = Line::default();
        let (mut one, mut other) = (line.mark(), line.mark());
        let later = Instant::now() + Duration::from_secs(60);
        assert!(!line.waits(LONG, later));
        one.set();
        other.set();
        assert!(line.waits(LONG, later) && !line.waits(3 * LONG, later));
        one.clear();
        assert!(line.waits(LONG, later));
        drop(other);
        assert!(!line.waits(LONG, later));
    }

    #[test]
    fn a_connection_idles_from_its_last_call_on() {
        let line = Line::default();
        let later = Instant::now() + Duration::from_secs(60);
        let idles = |longer: Duration, at_first: Duration| line.idles(longer, at_first, later);
        assert!(idles(3 * LONG, LONG) && !idles(LONG, 3 * LONG));
        let call = line.call();
        assert!(!idles(LONG, LONG));
        drop(call);
        assert!(idles(LONG, 3 * LONG) && !idles(3 * LONG, LONG));
        line.trust();
        assert!(!idles(LONG, LONG));
    }
}
