//! A service in this process, on a log in memory: what requests and histories are put to.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use dashwright_engine::keys::ServerSecret;
use dashwright_engine::{Ground, Origin, Surroundings};
use dashwright_log::{Log, MemoryCheckpoints};
use dashwright_store::Store;
use tempfile::TempDir;

/// What an engine stands on: a log of the caller's, and a store in a directory that goes with it.
pub(crate) fn ground(log: Arc<dyn Log>, directory: &TempDir) -> Ground {
    Ground {
        log,
        store: Store::open(&directory.path().join("store")).expect("a directory of its own").store,
        checkpoints: Arc::new(MemoryCheckpoints::new()),
        signer: None,
        key_secret: ServerSecret::new([7; 32]),
        surroundings: Arc::new(Fixed::default()),
    }
}

/// Who changes what.
pub(crate) fn origin() -> Origin {
    Origin { actor: "fuzz".to_owned(), reason: "a test".to_owned(), request_id: None }
}

/// A clock that stands, and ids that count.
#[derive(Default)]
pub(crate) struct Fixed {
    given: AtomicU64,
}

impl Surroundings for Fixed {
    fn now(&self) -> String {
        "2026-01-31T09:05:00Z".to_owned()
    }

    fn new_id(&self) -> String {
        format!("fuzz-{}", self.given.fetch_add(1, Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&self.given.fetch_add(1, Ordering::Relaxed).to_be_bytes());
        Some(bytes)
    }
}
