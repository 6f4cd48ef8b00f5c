//! Records as they were written, and typed tables of the few kinds that are kept whole.

use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

use dashwright_model::Valid;
use dashwright_model::record::RecordKind;
use dashwright_quantity::TermId;

/// Bytes of records that share an allocation. Texts that are kept one by one stand between others that are let go, and the
/// holes cost as much again.
const CHUNK_BYTES: usize = 1 << 20;

/// The place of a record among those of its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordIx(pub(crate) u32);

impl RecordIx {
    /// The place as an index.
    #[must_use]
    pub const fn get(self) -> usize {
        self.0 as usize
    }
}

/// A record as it was written.
#[derive(Clone, Debug)]
pub struct KeptRecord {
    /// The id, within its kind.
    pub id: TermId,
    /// The revision in which it was last changed.
    pub revision: u64,
    /// The record's line.
    pub text: KeptText,
}

/// A record's line, in an allocation that it shares with others.
#[derive(Clone)]
pub struct KeptText {
    chunk: Arc<str>,
    start: u32,
    end: u32,
}

impl Deref for KeptText {
    type Target = str;

    fn deref(&self) -> &str {
        self.chunk.get(self.start as usize..self.end as usize).unwrap_or_default()
    }
}

impl fmt::Debug for KeptText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&**self, f)
    }
}

/// A record before it is kept: its id, its revision and its line.
pub(crate) type Loose = (TermId, u64, Arc<str>);

/// All records as they were written.
#[derive(Debug, Default)]
pub(crate) struct Records {
    by_kind: [Vec<KeptRecord>; RecordKind::ALL.len()],
}

impl Records {
    pub(crate) fn of(&self, kind: RecordKind) -> &[KeptRecord] {
        self.by_kind.get(kind as usize).map_or(&[], Vec::as_slice)
    }

    /// Keeps the records of a kind, which come in the order of their ids.
    pub(crate) fn keep(&mut self, kind: RecordKind, loose: Vec<Loose>) {
        if let Some(records) = self.by_kind.get_mut(kind as usize) {
            records.reserve_exact(loose.len());
            let mut chunk = Chunk::default();
            for record in loose {
                if !chunk.has_room(&record.2) {
                    std::mem::take(&mut chunk).close(records);
                }
                chunk.add(record);
            }
            chunk.close(records);
        }
    }

    pub(crate) fn find(&self, kind: RecordKind, id: &str) -> Option<(RecordIx, &KeptRecord)> {
        let records = self.of(kind);
        let index = records.binary_search_by(|record| record.id.as_str().cmp(id)).ok()?;
        Some((RecordIx(u32::try_from(index).ok()?), records.get(index)?))
    }
}

/// A chunk while it is filled.
#[derive(Default)]
struct Chunk {
    text: String,
    records: Vec<(TermId, u64, u32)>,
}

impl Chunk {
    fn has_room(&self, text: &str) -> bool {
        self.text.is_empty() || self.text.len() + text.len() <= CHUNK_BYTES
    }

    fn add(&mut self, (id, revision, text): Loose) {
        self.text.push_str(&text);
        // One text of at most 60 KiB over a megabyte: far below four gigabytes.
        self.records.push((id, revision, u32::try_from(self.text.len()).unwrap_or(u32::MAX)));
    }

    fn close(self, records: &mut Vec<KeptRecord>) {
        let chunk: Arc<str> = self.text.into();
        let mut start = 0;
        for (id, revision, end) in self.records {
            records.push(KeptRecord {
                id,
                revision,
                text: KeptText { chunk: Arc::clone(&chunk), start, end },
            });
            start = end;
        }
    }
}

/// Records of one kind, kept whole, in the order of their ids.
pub struct Table<T> {
    rows: Vec<(TermId, Valid<T>)>,
}

impl<T> Table<T> {
    pub(crate) fn new(mut rows: Vec<(TermId, Valid<T>)>) -> Self {
        rows.sort_by(|(one, _), (other, _)| one.cmp(other));
        Self { rows }
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The record at a place.
    #[must_use]
    pub fn get(&self, index: RecordIx) -> Option<&T> {
        self.rows.get(index.get()).map(|(_, record)| &**record)
    }

    /// The record of an id, with its place.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<(RecordIx, &T)> {
        let index = self.rows.binary_search_by(|(own, _)| Borrow::<str>::borrow(own).cmp(id)).ok()?;
        let (_, record) = self.rows.get(index)?;
        Some((RecordIx(u32::try_from(index).ok()?), record))
    }

    /// Every record with its place, in the order of their ids.
    pub fn iter(&self) -> impl Iterator<Item = (RecordIx, &T)> {
        self.rows.iter().zip(0_u32..).map(|((_, record), index)| (RecordIx(index), &**record))
    }
}

impl<T> fmt::Debug for Table<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} records", self.rows.len())
    }
}
