//! A log in memory, for tests and for datasets that need not outlive the process.

use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crate::entry::{NewEntry, StoredEntry, chain};
use crate::port::{AppendError, Head, Log, MAX_READ_BYTES, ReadError, Sequence};
use crate::signal::Signal;

/// A log in memory.
#[derive(Debug)]
pub struct MemoryLog {
    entries: Mutex<Vec<StoredEntry>>,
    signal: Signal,
}

impl MemoryLog {
    /// A log without entries.
    #[must_use]
    pub fn new() -> MemoryLog {
        MemoryLog { entries: Mutex::default(), signal: Signal::new(Head::EMPTY) }
    }

    fn entries(&self) -> MutexGuard<'_, Vec<StoredEntry>> {
        self.entries.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Default for MemoryLog {
    fn default() -> MemoryLog {
        MemoryLog::new()
    }
}

impl Log for MemoryLog {
    fn head(&self) -> Head {
        self.signal.head()
    }

    fn append_all(&self, expected: Head, new: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
        let mut entries = self.entries();
        let actual = self.signal.head();
        if actual != expected {
            return Err(AppendError::HeadMoved { expected, actual });
        }
        let stored = chain(actual, new)?;
        entries.extend_from_slice(&stored);
        if let Some(last) = stored.last() {
            self.signal.advance(last.head());
        }
        Ok(stored)
    }

    fn read_from(&self, from: Sequence, limit: usize) -> Result<Vec<StoredEntry>, ReadError> {
        let entries = self.entries();
        let skip = usize::try_from(from.0.saturating_sub(1)).unwrap_or(usize::MAX);
        let mut room = MAX_READ_BYTES;
        let fits = |stored: &&StoredEntry| {
            let fits = stored.bytes.len() <= room;
            room = room.saturating_sub(stored.bytes.len());
            fits
        };
        Ok(entries.iter().skip(skip).take(limit).take_while(fits).cloned().collect())
    }

    fn wait_beyond(&self, sequence: Sequence, timeout: Duration) -> Head {
        self.signal.wait_beyond(sequence, timeout)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conforms() {
        crate::conformance::run(|| Box::new(MemoryLog::new()));
    }
}
