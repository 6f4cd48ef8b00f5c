//! Settling: the items of drafts that are published or thrown away find their last place, a bounded number at a time.

use dashwright_store::{Changes, Space, Store};

use super::FoldError;
use crate::layout;
use crate::state::{Fate, State};

/// Items that are settled with each entry: no fewer than an entry brings, so that layers do not pile up, and a batch of
/// about a thousand is where the store is fastest.
pub const SETTLED_PER_ENTRY: usize = 1_000;

/// Settles up to `most` items of the oldest draft that is no longer open.
pub(super) fn settle(
    state: &mut State,
    store: &Store,
    changes: &mut Changes,
    most: usize,
) -> Result<(), FoldError> {
    let closed = state.drafts.iter().filter_map(|(id, facts)| match facts.fate {
        Fate::Open => None,
        Fate::Published(revision) => Some((revision, facts.number, id, true)),
        // Nothing reads them any more: they go whenever no layer waits.
        Fate::Discarded => Some((u64::MAX, facts.number, id, false)),
    });
    let Some((revision, number, id, published)) = closed.min() else { return Ok(()) };
    let id = id.clone();
    let items = store.scan(Space::Draft, &number.to_be_bytes(), None, most)?;
    if items.len() < most {
        changes.delete(Space::Meta, layout::draft_facts_key(&id));
        state.drafts.remove(&id);
    }
    for (stored_key, value) in items {
        if published {
            let (_, key) = layout::split_draft_key(&stored_key)?;
            let (_, line) = layout::split_item(key, &value)?;
            settle_item(store, changes, revision, key, line)?;
        }
        changes.delete(Space::Draft, stored_key);
    }
    Ok(())
}

fn settle_item(
    store: &Store,
    changes: &mut Changes,
    revision: u64,
    key: &[u8],
    line: Option<&[u8]>,
) -> Result<(), FoldError> {
    if let Some(old) = store.get(Space::Record, key)? {
        let (old_revision, line) = layout::split_record(key, &old)?;
        changes.put(Space::Version, layout::version_key(key, old_revision), layout::put(line));
    }
    if let Some(line) = line {
        changes.put(Space::Record, key, layout::record(revision, line));
    } else {
        changes.delete(Space::Record, key);
        changes.put(Space::Version, layout::version_key(key, revision), layout::deleted());
    }
    Ok(())
}
