//! The materialised copy of the log's state in sled: rebuildable, checked on every read.
//!
//! The log is what is durable; this copy makes a start fast and look-ups of history cheap. It knows keys and bytes and
//! nothing of what they mean. Because it can always be rebuilt, whatever is doubtful about it is discarded:
//!
//! - what cannot be opened is moved aside and an empty store is returned, for the caller to fill from the log;
//! - every value is stored with a checksum over its key and content, verified on every read;
//! - the applied head of the log, and for each space the number of its items and the sum of their checksums, are written
//!   in the same batch as the items, so that items that were lost without an error show;
//! - panics of the database are contained and become errors, after which the store refuses to go on.

mod backend;
mod error;
mod ledger;
mod open;
mod space;
mod store;
#[cfg(test)]
mod tests;
mod value;

pub use backend::BackendError;
pub use error::StoreError;
pub use open::{Doubt, MAX_KEPT_ASIDE, OpenReport, Opened};
pub use space::{Changes, Space};
pub use store::{
    CACHE_BYTES, Item, MAX_KEY_BYTES, MAX_VALUE_BYTES, OVERGROWN_FACTOR, OVERGROWN_FLOOR_BYTES, Store,
};
