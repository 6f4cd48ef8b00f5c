//! The records of a revision, gathered from the store.

use std::collections::BTreeMap;

use dashwright_snapshot::SourceRecord;
use dashwright_store::{Space, Store};

use crate::layout::{self, LayoutError, Version};
use crate::state::StateError;

/// The records of the last revision, having proved that none is missing. `layers` are the published drafts that are
/// not settled.
pub(crate) fn current(store: &Store, layers: &BTreeMap<u64, u64>) -> Result<Vec<SourceRecord>, StateError> {
    let mut found = Gathered { most: u64::MAX, versions: Vec::new(), wrong: None };
    found.layers(store, layers)?;
    found.records(store)?;
    found.finish()
}

/// The records as of an earlier revision.
///
/// Items move from layers to records to versions while this reads; because it reads in that order it meets each of them
/// at least once.
pub(crate) fn as_of(
    store: &Store,
    layers: &BTreeMap<u64, u64>,
    revision: u64,
) -> Result<Vec<SourceRecord>, StateError> {
    let mut found = Gathered { most: revision, versions: Vec::new(), wrong: None };
    found.layers(store, layers)?;
    found.records(store)?;
    found.versions(store)?;
    found.finish()
}

/// The line of one record as of a revision; none where there was no such record. Reads in the order of [`as_of`].
pub(crate) fn record_as_of(
    store: &Store,
    layers: &BTreeMap<u64, u64>,
    key: &[u8],
    revision: u64,
) -> Result<Version, StateError> {
    let mut versions = Vec::new();
    for (number, published) in layers {
        if let Some(value) = store.get(Space::Draft, &layout::draft_key(*number, key))? {
            versions.push((*published, line_of(key, layout::split_item(key, &value)?.1)?));
        }
    }
    if let Some(value) = store.get(Space::Record, key)? {
        let (published, line) = layout::split_record(key, &value)?;
        versions.push((published, line_of(key, Some(line))?));
    }
    for (stored, value) in store.scan(Space::Version, &layout::versions_prefix(key), None, usize::MAX)? {
        let (key, published) = layout::split_version_key(&stored)?;
        versions.push((published, line_of(key, layout::split_version(key, &value)?)?));
    }
    let known = versions.into_iter().filter(|(published, _)| *published <= revision);
    Ok(known.max_by_key(|(published, _)| *published).and_then(|(_, line)| line))
}

fn line_of(key: &[u8], line: Option<&[u8]>) -> Result<Version, LayoutError> {
    line.map(|line| layout::text(key, line)).transpose()
}

/// A record's key, the revision of a version of it, and its line unless it was deleted.
type Item<'i> = (&'i [u8], u64, Option<&'i [u8]>);

/// Versions of records, none later than `most`.
struct Gathered {
    most: u64,
    versions: Vec<(Box<[u8]>, u64, Version)>,
    wrong: Option<LayoutError>,
}

impl Gathered {
    fn layers(&mut self, store: &Store, layers: &BTreeMap<u64, u64>) -> Result<(), StateError> {
        // Also without layers: this proves that the open drafts are whole.
        self.read(store, Space::Draft, |stored, value| {
            let (number, key) = layout::split_draft_key(stored)?;
            let Some(revision) = layers.get(&number) else { return Ok(None) };
            Ok(Some((key, *revision, layout::split_item(key, value)?.1)))
        })
    }

    fn records(&mut self, store: &Store) -> Result<(), StateError> {
        self.read(store, Space::Record, |key, value| {
            let (revision, line) = layout::split_record(key, value)?;
            Ok(Some((key, revision, Some(line))))
        })
    }

    fn versions(&mut self, store: &Store) -> Result<(), StateError> {
        self.read(store, Space::Version, |stored, value| {
            let (key, revision) = layout::split_version_key(stored)?;
            Ok(Some((key, revision, layout::split_version(key, value)?)))
        })
    }

    fn read<S>(&mut self, store: &Store, space: Space, split: S) -> Result<(), StateError>
    where
        S: for<'i> Fn(&'i [u8], &'i [u8]) -> Result<Option<Item<'i>>, LayoutError>,
    {
        store.for_each(space, |key, value| {
            if let Err(error) = split(key, value).and_then(|item| self.add(item)) {
                self.wrong.get_or_insert(error);
            }
        })?;
        Ok(())
    }

    fn add(&mut self, item: Option<Item<'_>>) -> Result<(), LayoutError> {
        let Some((key, revision, line)) = item.filter(|(_, revision, _)| *revision <= self.most) else {
            return Ok(());
        };
        let line = line.map(|line| layout::text(key, line)).transpose()?;
        self.versions.push((key.into(), revision, line));
        Ok(())
    }

    /// Of every record the latest version, unless that is a deletion.
    fn finish(self) -> Result<Vec<SourceRecord>, StateError> {
        let Gathered { mut versions, wrong, .. } = self;
        if let Some(wrong) = wrong {
            return Err(wrong.into());
        }
        versions.sort_by(|(one, revision, _), (other, other_revision, _)| {
            one.cmp(other).then_with(|| other_revision.cmp(revision))
        });
        versions.dedup_by(|(later, ..), (earlier, ..)| later == earlier);
        let record =
            |(_, revision, line): (Box<[u8]>, u64, Version)| line.map(|text| SourceRecord { text, revision });
        Ok(versions.into_iter().filter_map(record).collect())
    }
}
