//! Figures of authentication: refusals by cause, uses by key; and log lines of refusals, at most one a second and cause.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{PoisonError, RwLock};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use dashwright_engine::keys::KeyId;
use prometheus::{IntCounter, IntCounterVec, Opts, Registry};

use super::denied::{Cause, Denied};
use crate::throttle::Throttle;

/// Characters of a method's path in a log line: the caller chose it.
const MOST_PATH_CHARS: usize = 120;

/// What was counted since the service started.
#[derive(Debug)]
pub struct AuthFigures {
    refused: [IntCounter; Cause::ALL.len()],
    refusals: IntCounterVec,
    taken: IntCounter,
    lines: [Throttle; Cause::ALL.len()],
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

impl Default for AuthFigures {
    #[expect(clippy::expect_used, reason = "names and labels are constants, and every test makes them all")]
    fn default() -> Self {
        let refusals =
            Opts::new("dashwright_auth_refused_total", "Calls whose caller was not let in, by cause.");
        let refusals = IntCounterVec::new(refusals, &["cause"]).expect("a constant name");
        let taken = IntCounter::new("dashwright_auth_taken_total", "Calls that were let in by a key.");
        Self {
            refused: Cause::ALL.map(|cause| refusals.with_label_values(&[cause.name()])),
            refusals,
            taken: taken.expect("a constant name"),
            lines: Default::default(),
            uses: RwLock::default(),
        }
    }
}

impl AuthFigures {
    /// Puts the figures into a registry. Uses by key are not among them: who asks how much is told to operators only.
    pub(crate) fn register(&self, registry: &Registry) -> prometheus::Result<()> {
        registry.register(Box::new(self.refusals.clone()))?;
        registry.register(Box::new(self.taken.clone()))
    }

    /// Refused calls by cause.
    #[must_use]
    pub fn refused(&self) -> BTreeMap<Cause, u64> {
        Cause::ALL.iter().zip(&self.refused).map(|(cause, count)| (*cause, count.get())).collect()
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
        self.taken.inc();
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
        let place = cause as usize;
        let (Some(count), Some(lines)) = (self.refused.get(place), self.lines.get(place)) else { return };
        count.inc();
        let Some(left_out) = lines.line(Instant::now()) else { return };
        let method: String = path.chars().take(MOST_PATH_CHARS).collect();
        let (key, peer) = (denied.key_id().map(tracing::field::display), peer.map(tracing::field::display));
        tracing::warn!(cause = cause.name(), key, peer, method, left_out, "a call was refused: {denied}");
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
