//! The store: one atomic batch per log entry, verified reads, verified runs.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use dashwright_log::Head;

use crate::backend::{Backend, Batch, Bytes};
use crate::error::StoreError;
use crate::ledger::{LEDGER_KEY, Ledger};
use crate::open::{self, Opened};
use crate::space::{Changes, Space};
use crate::value::Total;

/// Memory that the database may use for pages: the snapshot that answers questions is elsewhere, so that only look-ups
/// of history and the start profit from more.
pub const CACHE_BYTES: u64 = 32 * 1024 * 1024;

/// Most bytes of a value. The database keeps small values in its pages and moves larger ones to files of their own,
/// which are neither part of its atomic batches nor tried as well.
pub const MAX_VALUE_BYTES: usize = 64 * 1024;

/// Most bytes of a key: a record id, a revision and room.
pub const MAX_KEY_BYTES: usize = 512;

/// A store whose files are this many times its content is worth rebuilding: rewriting everything five times was
/// measured to leave a factor of about seven, a fresh load one of two to three.
pub const OVERGROWN_FACTOR: u64 = 6;

/// Below this size on disk no store is worth rebuilding.
pub const OVERGROWN_FLOOR_BYTES: u64 = 256 * 1024 * 1024;

/// Applied batches after which they are handed to the operating system, so that little is replayed after a kill.
const BATCHES_PER_FLUSH: u32 = 64;

/// How long sled may take to let go of its file after it was closed: far longer than was ever seen (milliseconds), and no
/// longer than a person waits for a start.
const MOST_RELEASE_TIME: Duration = Duration::from_secs(10);
/// How often it is asked again.
const RELEASE_POLL: Duration = Duration::from_millis(5);

/// A key without its space, and its value.
pub type Item = (Vec<u8>, Vec<u8>);

/// The materialised copy of a log's state. Calls block.
#[derive(Debug)]
pub struct Store {
    directory: PathBuf,
    backend: Option<Backend>,
    state: Mutex<State>,
}

#[derive(Debug)]
struct State {
    ledger: Option<Ledger>,
    failed: bool,
    unflushed: u32,
}

impl Store {
    /// Opens the store in `directory`, or makes an empty one there. One that is damaged is set aside, which the report
    /// says; the store is then empty and the caller fills it from the log.
    ///
    /// # Errors
    /// [`StoreError::InUse`], [`StoreError::Directory`]; others only if even an empty store does not open.
    pub fn open(directory: &Path) -> Result<Opened, StoreError> {
        open::open(directory)
    }

    /// Closes the store and opens it again: sled holds on to what was read from it far beyond its cache, and a start reads
    /// all of it once. Whoever asks compares [`Self::applied`] with what it was, as at any start.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn reopen(self) -> Result<Opened, StoreError> {
        let directory = self.directory.clone();
        drop(self);
        let begin = Instant::now();
        loop {
            match Self::open(&directory) {
                // Threads of sled's own may hold the file for a moment after the last handle has gone.
                Err(StoreError::InUse { .. }) if begin.elapsed() < MOST_RELEASE_TIME => {
                    std::thread::sleep(RELEASE_POLL);
                }
                opened => return opened,
            }
        }
    }

    pub(crate) fn new(directory: &Path, backend: Backend, ledger: Option<Ledger>) -> Store {
        let state = Mutex::new(State { ledger, failed: false, unflushed: 0 });
        Store { directory: directory.to_owned(), backend: Some(backend), state }
    }

    /// The last entry of the log that has been applied; `None` when nothing has.
    ///
    /// A store that is behind the log is brought forward by applying what follows. One whose head the log does not hold,
    /// or that has none though the log has entries, is rebuilt.
    #[must_use]
    pub fn applied(&self) -> Option<Head> {
        self.state().ledger.as_ref().map(|ledger| ledger.applied)
    }

    /// How many items a space holds.
    #[must_use]
    pub fn count(&self, space: Space) -> u64 {
        self.total(space).items
    }

    /// Applies what the log says up to `head`: all of it or nothing.
    ///
    /// # Errors
    /// See [`StoreError`]. After a failed write nothing more is written.
    pub fn apply(&self, head: Head, changes: &Changes) -> Result<(), StoreError> {
        let mut state = self.state();
        if state.failed {
            return Err(StoreError::Failed);
        }
        let applied = state.ledger.as_ref().map_or(Head::EMPTY, |ledger| ledger.applied);
        if head.sequence <= applied.sequence {
            return Err(StoreError::NotBeyond { given: head, applied });
        }
        let (batch, ledger) = self.batch(state.ledger.as_ref(), head, changes)?;
        // Set first, so that a panic leaves it set like an error.
        state.failed = true;
        self.backend()?.apply(batch)?;
        state.unflushed += 1;
        if state.unflushed >= BATCHES_PER_FLUSH {
            self.backend()?.flush()?;
            state.unflushed = 0;
        }
        state.ledger = Some(ledger);
        state.failed = false;
        Ok(())
    }

    /// The value of a key.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn get(&self, space: Space, key: &[u8]) -> Result<Option<Vec<u8>>, StoreError> {
        let Some(stored) = self.backend()?.get(&space.full_key(key))? else { return Ok(None) };
        let (content, _) = space.unwrap(key, &stored).ok_or_else(|| damaged(space, key))?;
        Ok(Some(content.to_vec()))
    }

    /// At most `limit` items whose keys begin with `prefix` and are beyond `after`, in the order of their keys.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn scan(
        &self,
        space: Space,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Item>, StoreError> {
        let mut start = space.full_key(prefix);
        if let Some(after) = after.map(|after| space.full_key(after)).filter(|after| *after >= start) {
            // The first key beyond a key is that key with a zero behind it.
            start = after;
            start.push(0);
        }
        let prefix = space.full_key(prefix);
        let within = |item: &Result<(Bytes, Bytes), StoreError>| {
            item.as_ref().map_or(true, |(key, _)| key.starts_with(&prefix))
        };
        let items = self.backend()?.items_from(start)?;
        items.take_while(within).take(limit).map(|item| owned(space, item?)).collect()
    }

    /// The last item whose key begins with `prefix` and is not beyond `most`; how the version as of a revision is found.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn last(&self, space: Space, prefix: &[u8], most: &[u8]) -> Result<Option<Item>, StoreError> {
        let mut items = self.backend()?.items_back_from(space.full_key(most))?;
        let Some(item) = items.next().transpose()? else { return Ok(None) };
        if item.0.starts_with(&space.full_key(prefix)) { owned(space, item).map(Some) } else { Ok(None) }
    }

    /// Hands every item of a space to `visit`, in the order of their keys, and then proves that none was missing.
    ///
    /// Nothing is applied meanwhile, so `visit` must not call [`Store::apply`], [`Store::applied`] or
    /// [`Store::count`]. What was visited is to be used only after this has returned without an error.
    ///
    /// # Errors
    /// [`StoreError::Incomplete`] and others.
    pub fn for_each(&self, space: Space, mut visit: impl FnMut(&[u8], &[u8])) -> Result<(), StoreError> {
        let state = self.state();
        let expected = state.ledger.as_ref().map(|ledger| ledger.total(space)).unwrap_or_default();
        let mut found = Total::default();
        for item in self.backend()?.items_from(space.full_key(&[]))? {
            let (full_key, stored) = item?;
            let Some(key) = full_key.strip_prefix(&[space.number()]) else { break };
            let (content, sum) = space.unwrap(key, &stored).ok_or_else(|| damaged(space, key))?;
            found.add(key, content, sum);
            visit(key, content);
        }
        if found != expected {
            return Err(StoreError::Incomplete { space, expected: expected.items, found: found.items });
        }
        Ok(())
    }

    /// Proves that a space holds exactly what was written.
    ///
    /// # Errors
    /// [`StoreError::Incomplete`] and others.
    pub fn verify(&self, space: Space) -> Result<(), StoreError> {
        self.for_each(space, |_, _| ())
    }

    /// Discards everything and begins anew, with new files: to be filled from the log.
    ///
    /// # Errors
    /// See [`StoreError`]; the store is then unusable.
    pub fn clear(&mut self) -> Result<(), StoreError> {
        self.backend = None;
        open::remove(&self.directory)?;
        let mut fresh = open::open(&self.directory)?.store;
        self.backend = fresh.backend.take();
        *self.state() = State { ledger: None, failed: false, unflushed: 0 };
        Ok(())
    }

    /// Hands what was applied to the operating system. Nothing durable rests on it.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn flush(&self) -> Result<(), StoreError> {
        self.state().unflushed = 0;
        self.backend()?.flush()
    }

    /// Bytes of the store's files.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn size_on_disk(&self) -> Result<u64, StoreError> {
        self.backend()?.size_on_disk()
    }

    /// Whether the files have grown so far beyond their content that a rebuild is worth while.
    ///
    /// # Errors
    /// See [`StoreError`].
    pub fn is_overgrown(&self) -> Result<bool, StoreError> {
        let content: u64 = Space::ALL.iter().map(|space| self.total(*space).bytes).sum();
        Ok(is_overgrown(content, self.size_on_disk()?))
    }

    fn batch(
        &self,
        ledger: Option<&Ledger>,
        head: Head,
        changes: &Changes,
    ) -> Result<(Batch, Ledger), StoreError> {
        let before = ledger.map(|ledger| ledger.totals.clone()).unwrap_or_default();
        let mut totals = before.clone();
        let mut batch = Batch::default();
        for (space, key, content) in changes.iter() {
            check_sizes(space, key, content)?;
            let full_key = space.full_key(key);
            let total = totals.entry(space).or_default();
            // Nothing to look for in a space that was empty, which makes a first load twice as fast.
            if before.get(&space).is_some_and(|before| before.items > 0)
                && let Some(stored) = self.backend()?.get(&full_key)?
            {
                let (old, sum) = space.unwrap(key, &stored).ok_or_else(|| damaged(space, key))?;
                total.remove(key, old, sum);
            }
            match content {
                Some(content) => {
                    let (value, sum) = space.wrap(key, content);
                    total.add(key, content, sum);
                    batch.insert(full_key, value);
                }
                None => batch.remove(full_key),
            }
        }
        let ledger = Ledger { applied: head, totals };
        batch.insert(LEDGER_KEY, ledger.encode());
        Ok((batch, ledger))
    }

    fn total(&self, space: Space) -> Total {
        self.state().ledger.as_ref().map(|ledger| ledger.total(space)).unwrap_or_default()
    }

    fn backend(&self) -> Result<&Backend, StoreError> {
        self.backend.as_ref().ok_or(StoreError::Failed)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // A panic while it was held has left `failed` set.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn is_overgrown(content_bytes: u64, disk_bytes: u64) -> bool {
    disk_bytes > content_bytes.saturating_mul(OVERGROWN_FACTOR).max(OVERGROWN_FLOOR_BYTES)
}

fn check_sizes(space: Space, key: &[u8], content: Option<&[u8]>) -> Result<(), StoreError> {
    if key.len() > MAX_KEY_BYTES {
        return Err(StoreError::LongKey { space, bytes: key.len() });
    }
    match content.map(<[u8]>::len) {
        Some(bytes) if bytes > MAX_VALUE_BYTES => {
            Err(StoreError::LargeValue { space, key: key.to_vec(), bytes })
        }
        _ => Ok(()),
    }
}

fn owned(space: Space, (full_key, stored): (Bytes, Bytes)) -> Result<Item, StoreError> {
    let key = full_key.strip_prefix(&[space.number()]).ok_or_else(|| damaged(space, &full_key))?;
    let (content, _) = space.unwrap(key, &stored).ok_or_else(|| damaged(space, key))?;
    Ok((key.to_vec(), content.to_vec()))
}

fn damaged(space: Space, key: &[u8]) -> StoreError {
    StoreError::Damaged { space, key: key.to_vec() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_is_overgrown_beyond_both_bounds() {
        const MIB: u64 = 1024 * 1024;
        for (content, disk, expected) in [
            (0, 256 * MIB, false),
            (0, 256 * MIB + 1, true),
            (100 * MIB, 600 * MIB, false),
            (100 * MIB, 600 * MIB + 1, true),
            (u64::MAX, u64::MAX, false),
        ] {
            assert_eq!(is_overgrown(content, disk), expected, "{content} {disk}");
        }
    }
}
