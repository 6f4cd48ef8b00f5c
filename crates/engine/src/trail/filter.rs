//! Which entries of the trail are asked for.

use dashwright_log::{Sequence, StoredEntry};
use dashwright_store::Space;

use super::{READ_AT_ONCE, TrailError};
use crate::entry::{draft_of, records_of};
use crate::fold::milliseconds;
use crate::layout::{self, Index};
use crate::shared::Shared;
use crate::writer::Writes;

/// Which entries are asked for: those for which every condition holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// They put or delete this record, as `part/kit-7`, or report on a plan that rests on it.
    pub record: Option<String>,
    /// They are by this actor.
    pub actor: Option<String>,
    /// They are of this kind.
    pub kind: Option<String>,
    /// They are of this draft.
    pub draft: Option<String>,
    /// They were made at this time or later; RFC 3339 in UTC.
    pub from_time: Option<String>,
    /// They were made before this time; RFC 3339 in UTC.
    pub to_time: Option<String>,
}

impl Filter {
    /// The entries up to `size` that the filter lets through, in their order.
    pub(super) fn sequences(&self, shared: &Shared, size: u64) -> Result<Vec<u64>, TrailError> {
        // A store that has stopped does not know the last entries, and an index that lost items would hide some.
        if shared.writes() == Writes::StoppedByStore || !shared.index_is_whole() {
            return self.scan(shared, size);
        }
        let mut found: Option<Vec<u64>> = None;
        for (index, value) in self.values() {
            let prefix = layout::index_prefix(index, value);
            let items = shared.store.scan(Space::Index, &prefix, None, usize::MAX)?;
            // A value may hold the byte that ends another one; its keys are longer.
            let whole = items.iter().filter(|(key, _)| key.len() == prefix.len() + size_of::<u64>());
            let sequences = whole.map(|(key, _)| layout::indexed(key)).collect::<Result<Vec<_>, _>>()?;
            found = Some(common(found, sequences));
        }
        if self.from_time.is_some() || self.to_time.is_some() {
            found = Some(common(found, self.by_time(shared)?));
        }
        let mut found = found.unwrap_or_else(|| (1..=size).collect());
        found.retain(|sequence| *sequence <= size);
        Ok(found)
    }

    /// The same without the index: every entry is read.
    pub(crate) fn scan(&self, shared: &Shared, size: u64) -> Result<Vec<u64>, TrailError> {
        let (mut found, mut next) = (Vec::new(), Sequence::FIRST);
        while next.0 <= size {
            let entries = shared.log.read_from(next, READ_AT_ONCE)?;
            let Some(last) = entries.last() else { break };
            next = last.entry.sequence.next();
            for stored in entries.iter().filter(|stored| stored.entry.sequence.0 <= size) {
                if self.lets_through(stored)? {
                    found.push(stored.entry.sequence.0);
                }
            }
        }
        Ok(found)
    }

    fn values(&self) -> impl Iterator<Item = (Index, &str)> {
        let Filter { record, actor, kind, draft, from_time: _, to_time: _ } = self;
        [(Index::Record, record), (Index::Actor, actor), (Index::Kind, kind), (Index::Draft, draft)]
            .into_iter()
            .filter_map(|(index, value)| Some((index, value.as_deref()?)))
    }

    fn by_time(&self, shared: &Shared) -> Result<Vec<u64>, TrailError> {
        let (from, to) = self.times();
        let after = layout::time_key(from, 0);
        let items = shared.store.scan(Space::Index, layout::TIMES, Some(&after), usize::MAX)?;
        let mut sequences = Vec::new();
        for (key, _) in &items {
            if layout::split_time_key(key)? >= to {
                break;
            }
            sequences.push(layout::indexed(key)?);
        }
        // Times may go back; the trail never does.
        sequences.sort_unstable();
        Ok(sequences)
    }

    fn times(&self) -> (u64, u64) {
        let from = self.from_time.as_deref().map_or(0, milliseconds);
        (from, self.to_time.as_deref().map_or(u64::MAX, milliseconds))
    }

    fn lets_through(&self, stored: &StoredEntry) -> Result<bool, TrailError> {
        let Filter { record, actor, kind, draft, from_time: _, to_time: _ } = self;
        let entry = &stored.entry;
        let (from, to) = self.times();
        let time = milliseconds(&entry.time);
        Ok((from..to).contains(&time)
            && actor.as_ref().is_none_or(|actor| *actor == entry.actor)
            && kind.as_ref().is_none_or(|kind| *kind == entry.kind.as_str())
            && (draft.is_none() || draft_of(entry)? == *draft)
            && match record {
                Some(record) => records_of(entry)?.contains(record),
                None => true,
            })
    }
}

/// What is in both; both are in order.
fn common(one: Option<Vec<u64>>, other: Vec<u64>) -> Vec<u64> {
    let Some(mut one) = one else { return other };
    one.retain(|sequence| other.binary_search(sequence).is_ok());
    one
}
