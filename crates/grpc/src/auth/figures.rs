//! Figures of authentication: refusals by cause, uses by key; and log lines of refusals, at most one a second and cause.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError, RwLock};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use dashwright_engine::keys::KeyId;

use super::denied::{Cause, Denied};

/// A cause writes one line in so long: a guesser fills no disk, and whoever reads the log still sees each cause.
const LINE_EVERY: Duration = Duration::from_secs(1);
/// Characters of a method's path in a log line: the caller chose it.
const MOST_PATH_CHARS: usize = 120;

/// What was counted since the service started.
#[derive(Debug, Default)]
pub struct AuthFigures {
    refused: [AtomicU64; Cause::ALL.len()],
    lines: Mutex<BTreeMap<Cause, Line>>,
    uses: RwLock<HashMap<KeyId, Counted>>,
}

/// The uses of a key since the service started.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeyUse {
    /// Calls that it was taken for.
    pub count: u64,
    /// When it was last taken.
    pub last: SystemTime,
}

/// Calls, and the milliseconds since 1970 of the last one.
#[derive(Debug, Default)]
struct Counted {
    count: AtomicU64,
    last: AtomicU64,
}

/// When a cause last wrote a line, and what it left out since.
#[derive(Debug)]
struct Line {
    at: Instant,
    left_out: u64,
}

impl AuthFigures {
    /// Refused calls by cause.
    #[must_use]
    pub fn refused(&self) -> BTreeMap<Cause, u64> {
        Cause::ALL
            .iter()
            .zip(&self.refused)
            .map(|(cause, count)| (*cause, count.load(Ordering::Relaxed)))
            .collect()
    }

    /// The uses of a key; none when it was not taken.
    #[must_use]
    pub fn uses(&self, key: &KeyId) -> Option<KeyUse> {
        let uses = self.uses.read().unwrap_or_else(PoisonError::into_inner);
        let Counted { count, last } = uses.get(key)?;
        let last = UNIX_EPOCH + Duration::from_millis(last.load(Ordering::Relaxed));
        Some(KeyUse { count: count.load(Ordering::Relaxed), last })
    }

    /// Counts a key that was taken.
    pub(super) fn taken(&self, key: &KeyId, now: SystemTime) {
        let since = now.duration_since(UNIX_EPOCH).unwrap_or_default();
        let millis = u64::try_from(since.as_millis()).unwrap_or(u64::MAX);
        if let Some(counted) = self.uses.read().unwrap_or_else(PoisonError::into_inner).get(key) {
            counted.add(millis);
            return;
        }
        // Only keys of the ring come here, so that no stranger makes this grow.
        let mut uses = self.uses.write().unwrap_or_else(PoisonError::into_inner);
        uses.entry(key.clone()).or_default().add(millis);
    }

    /// Counts a refusal, and writes a line unless one was written a moment ago.
    pub(super) fn refuse(&self, denied: &Denied, path: &str, peer: Option<std::net::SocketAddr>) {
        let cause = denied.cause();
        if let Some(count) = self.refused.get(cause as usize) {
            count.fetch_add(1, Ordering::Relaxed);
        }
        let Some(left_out) = self.line(cause, Instant::now()) else { return };
        let method: String = path.chars().take(MOST_PATH_CHARS).collect();
        let (key, peer) = (denied.key_id().map(tracing::field::display), peer.map(tracing::field::display));
        tracing::warn!(cause = cause.name(), key, peer, method, left_out, "a call was refused: {denied}");
    }

    /// How many lines of a cause were left out before the one that may be written now; none when none may.
    fn line(&self, cause: Cause, now: Instant) -> Option<u64> {
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        match lines.get_mut(&cause) {
            Some(line) if now.duration_since(line.at) < LINE_EVERY => {
                line.left_out += 1;
                None
            }
            _ => {
                lines.insert(cause, Line { at: now, left_out: 0 }).map_or(Some(0), |line| Some(line.left_out))
            }
        }
    }
}

impl Counted {
    fn add(&self, millis: u64) {
        self.count.fetch_add(1, Ordering::Relaxed);
        self.last.fetch_max(millis, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_writes_one_line_a_second_and_says_what_it_left_out() {
        let (figures, begin) = (AuthFigures::default(), Instant::now());
        let after = |millis: u64| begin + Duration::from_millis(millis);
        assert_eq!(figures.line(Cause::Unknown, begin), Some(0));
        assert_eq!(figures.line(Cause::Unknown, after(1)), None);
        assert_eq!(figures.line(Cause::Unknown, after(999)), None);
        assert_eq!(figures.line(Cause::Missing, after(999)), Some(0), "each cause for itself");
        assert_eq!(figures.line(Cause::Unknown, after(1_000)), Some(2));
        assert_eq!(figures.line(Cause::Unknown, after(2_000)), Some(0));
    }

    #[test]
    fn the_last_use_of_a_key_is_its_latest() {
        let (figures, key) = (AuthFigures::default(), KeyId::new([1; 8]));
        let at = |seconds: u64| UNIX_EPOCH + Duration::from_secs(seconds);
        assert_eq!(figures.uses(&key), None);
        figures.taken(&key, at(20));
        figures.taken(&key, at(10));
        assert_eq!(figures.uses(&key), Some(KeyUse { count: 2, last: at(20) }));
    }

    #[test]
    fn causes_count_in_their_own_places() {
        for (place, cause) in Cause::ALL.iter().enumerate() {
            assert_eq!(*cause as usize, place, "{}", cause.name());
        }
    }
}
