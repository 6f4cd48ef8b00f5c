//! Log lines that strangers can provoke: at most one a second, which says how many were left out.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// One line in so long: who provokes them fills no disk, and whoever reads the log still sees that it happens.
const LINE_EVERY: Duration = Duration::from_secs(1);

/// Log lines of one kind.
#[derive(Debug, Default)]
pub(crate) struct Throttle(Mutex<Option<Line>>);

/// When a line was last written, and how many were left out since.
#[derive(Debug)]
struct Line {
    at: Instant,
    left_out: u64,
}

impl Throttle {
    /// How many lines were left out before the one that may be written now; none when none may.
    pub(crate) fn line(&self, now: Instant) -> Option<u64> {
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match &mut *last {
            Some(line) if now.duration_since(line.at) < LINE_EVERY => {
                line.left_out += 1;
                None
            }
            _ => last.replace(Line { at: now, left_out: 0 }).map_or(Some(0), |line| Some(line.left_out)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_a_second_says_what_was_left_out() {
        let (throttle, begin) = (Throttle::default(), Instant::now());
        let after = |millis: u64| begin + Duration::from_millis(millis);
        assert_eq!(throttle.line(begin), Some(0));
        assert_eq!(throttle.line(after(1)), None);
        assert_eq!(throttle.line(after(999)), None);
        assert_eq!(throttle.line(after(1_000)), Some(2));
        assert_eq!(throttle.line(after(2_000)), Some(0));
    }
}
