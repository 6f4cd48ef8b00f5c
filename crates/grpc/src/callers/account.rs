//! What each caller has taken, for as many callers as are remembered.

use std::net::IpAddr;
use std::num::NonZeroU32;
use std::sync::Arc;
use std::time::Duration;

use dashwright_engine::keys::KeyId;
use governor::clock::{Clock as _, DefaultClock};
use governor::{DefaultDirectRateLimiter, Quota, RateLimiter};
use quick_cache::sync::Cache;
use quick_cache::{DefaultHashBuilder, Lifecycle, UnitWeighter};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, SemaphorePermit};

use super::spent::Spent;
use crate::limits::LIMITS;

/// Bytes of answers are counted in KiB: a semaphore of 32 bits then reaches 4 TiB.
const KIB: usize = 1 << 10;

/// What every caller may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Allowance {
    /// Calls a second; as many may come at once.
    pub calls_per_second: NonZeroU32,
    /// Calls at once.
    pub calls: usize,
    /// Bytes of large answers that are not read yet.
    pub unread_bytes: usize,
}

impl Default for Allowance {
    fn default() -> Self {
        Self {
            calls_per_second: LIMITS.calls_per_second,
            calls: LIMITS.calls_per_caller,
            unread_bytes: LIMITS.unread_bytes_per_caller,
        }
    }
}

/// Whose account it is.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Who {
    /// The holder of a key.
    Key(KeyId),
    /// Whoever reads from an address where no key is asked for; none when it has gone already.
    Address(Option<IpAddr>),
    /// Whoever asks from an address for what needs no key.
    Stranger(Option<IpAddr>),
}

/// The accounts of those who called last.
pub(super) struct Accounts {
    allowance: Allowance,
    kept: Cache<Who, Arc<Account>, UnitWeighter, DefaultHashBuilder, InUse>,
}

impl Accounts {
    pub(super) fn new(allowance: Allowance, most: usize) -> Self {
        let kept = Cache::with(most, most as u64, UnitWeighter, DefaultHashBuilder::default(), InUse);
        Self { allowance, kept }
    }

    pub(super) fn of(&self, who: Who) -> Arc<Account> {
        let open = || {
            let calls = match who {
                Who::Key(_) | Who::Address(_) => self.allowance.calls,
                Who::Stranger(_) => LIMITS.open_streams_per_address,
            };
            Ok::<_, std::convert::Infallible>(Arc::new(Account::new(Allowance { calls, ..self.allowance })))
        };
        let Ok(account) = self.kept.get_or_insert_with(&who, open);
        account
    }
}

/// Keeps the accounts of those whose calls are in flight: they would begin again with nothing taken.
#[derive(Clone, Copy)]
struct InUse;

impl Lifecycle<Who, Arc<Account>> for InUse {
    type RequestState = ();

    fn is_pinned(&self, _: &Who, account: &Arc<Account>) -> bool {
        account.calls.available_permits() < account.allowance.calls
    }

    fn begin_request(&self) {}
}

/// What a caller has taken.
pub(crate) struct Account {
    allowance: Allowance,
    rate: DefaultDirectRateLimiter,
    calls: Arc<Semaphore>,
    worked: Semaphore,
    unread_kib: Arc<Semaphore>,
}

impl Account {
    fn new(allowance: Allowance) -> Self {
        Self {
            allowance,
            rate: RateLimiter::direct(Quota::per_second(allowance.calls_per_second)),
            calls: Arc::new(Semaphore::new(allowance.calls)),
            worked: Semaphore::new(LIMITS.worked_per_caller),
            unread_kib: Arc::new(Semaphore::new(allowance.unread_bytes / KIB)),
        }
    }

    /// Counts a call.
    pub(super) fn count(&self) -> Result<(), Spent> {
        let per_second = self.allowance.calls_per_second;
        self.wait().map_or(Ok(()), |wait| Err(Spent::Rate { per_second, wait }))
    }

    /// Counts one item of a stream, and waits until it may come: who sends faster is read more slowly.
    pub(crate) async fn turn(&self) {
        while let Some(wait) = self.wait() {
            tokio::time::sleep(wait).await;
        }
    }

    /// How long it takes until another call may come; none when it was counted.
    fn wait(&self) -> Option<Duration> {
        let not_until = self.rate.check().err()?;
        Some(not_until.wait_time_from(DefaultClock::default().now()))
    }

    /// A place among the caller's calls at once.
    pub(super) fn place(&self) -> Result<OwnedSemaphorePermit, Spent> {
        let most = self.allowance.calls;
        Arc::clone(&self.calls).try_acquire_owned().map_err(|_| Spent::Calls { most })
    }

    /// A place among those of the caller's calls that are worked on, in the order in which they came. Who floods waits for
    /// itself: behind all of its calls in the queue of the processor everybody would wait.
    pub(super) async fn work(&self) -> Option<SemaphorePermit<'_>> {
        // It is never closed.
        self.worked.acquire().await.ok()
    }

    /// Room for an answer until it is read.
    pub(super) fn room(&self, bytes: usize) -> Result<OwnedSemaphorePermit, Spent> {
        let most = self.allowance.unread_bytes;
        let kib = u32::try_from(bytes.div_ceil(KIB)).unwrap_or(u32::MAX);
        Arc::clone(&self.unread_kib).try_acquire_many_owned(kib).map_err(|_| Spent::Unread { most })
    }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;

    fn allowance(calls_per_second: u32, calls: usize, unread_bytes: usize) -> Allowance {
        Allowance { calls_per_second: NonZeroU32::new(calls_per_second).unwrap(), calls, unread_bytes }
    }

    fn key(number: u8) -> Who {
        Who::Key(KeyId::new([number; 8]))
    }

    #[test]
    fn a_caller_takes_what_is_allowed_and_another_still_has_all() {
        let accounts = Accounts::new(allowance(1, 2, 4 * KIB), 10);
        let account = accounts.of(key(1));
        assert!(account.count().is_ok());
        let Err(Spent::Rate { per_second, wait }) = account.count() else { panic!("it is counted") };
        assert_eq!(per_second.get(), 1);
        assert!(!wait.is_zero() && wait <= Duration::from_secs(1), "{wait:?}");
        let held = [account.place().unwrap(), account.place().unwrap()];
        assert!(matches!(account.place(), Err(Spent::Calls { most: 2 })));
        let room = account.room(3 * KIB + 1).unwrap();
        assert!(matches!(account.room(1), Err(Spent::Unread { .. })));
        drop((held, room));
        assert!(account.place().is_ok() && account.room(4 * KIB).is_ok());

        let other = accounts.of(key(2));
        assert!(other.count().is_ok() && other.place().is_ok() && other.room(4 * KIB).is_ok());
    }

    #[test]
    fn accounts_are_bounded_and_those_with_calls_in_flight_stay() {
        let accounts = Accounts::new(allowance(1, 2, 0), 100);
        let busy = accounts.of(key(1));
        let _call = busy.place().unwrap();
        for number in 0..10_000_u32 {
            accounts.of(Who::Address(Some(IpAddr::from(number.to_be_bytes()))));
        }
        assert!(accounts.kept.len() <= 200, "{} are kept", accounts.kept.len());
        assert!(Arc::ptr_eq(&busy, &accounts.of(key(1))), "the account with a call in flight is gone");
    }

    #[tokio::test]
    async fn items_of_a_stream_wait_for_their_turn() {
        let accounts = Accounts::new(allowance(1_000, 1, 0), 10);
        let account = accounts.of(key(1));
        let begin = Instant::now();
        let wait = loop {
            if let Err(Spent::Rate { wait, .. }) = account.count() {
                break wait;
            }
        };
        account.turn().await;
        assert!(begin.elapsed() >= wait, "it waited {:?} of {wait:?}", begin.elapsed());
    }
}
