//! Loading records: checked and compiled as a whole first, then staged in a draft and published.

use std::collections::BTreeSet;
use std::sync::Arc;

use dashwright_curation::{Finding, new_errors};
use dashwright_log::MAX_ENTRY_BYTES;
use dashwright_model::dataset::clashes;
use dashwright_model::exchange;
use dashwright_model::record::{KeyError, Record, RecordKey, RecordKind};
use dashwright_quantity::IdError;
use dashwright_snapshot::{BuildError, Snapshot, SourceRecord};
use serde_json::value::RawValue;

use crate::engine::Engine;
use crate::entry::DraftEdit;
use crate::fold::SETTLED_PER_ENTRY;
use crate::surroundings::Origin;
use crate::view::View;
use crate::writer::{Compiled, Published, WriteError};

/// Most records of one draft edit: the store is fastest with batches of about a thousand.
pub const EDIT_RECORDS: usize = 1_000;

/// Most bytes of records in one draft edit: what an entry may have, less what actor, reason and request id take when every
/// byte of them has to be escaped.
pub const EDIT_BYTES: usize = MAX_ENTRY_BYTES - 24 * 1024;

/// Draft edits that are made durable together: a synchronisation costs more than writing a few MiB, and all of them are
/// in memory twice meanwhile.
const EDITS_PER_BATCH: usize = 16;

/// Faults that are reported one by one; a person mends no more at once, and the rest is counted.
pub const MAX_REPORTED: usize = 100;

/// Why records were not loaded. Nothing has changed.
#[derive(Debug, thiserror::Error)]
pub enum LoadError<E: std::error::Error + 'static> {
    /// Some records could not be read.
    #[error("{total} records can not be read")]
    Unreadable {
        /// The first ones, at most [`MAX_REPORTED`].
        first: Vec<E>,
        /// How many there are.
        total: usize,
    },
    /// Records contradict each other, or would make answers wrong.
    #[error(
        "{total} {} in the records, the first: {}",
        if *total == 1 { "error" } else { "errors" },
        first.first().map_or("", |it| it.text.as_str())
    )]
    Contradictions {
        /// The first ones, at most [`MAX_REPORTED`].
        first: Vec<Finding>,
        /// How many there are.
        total: usize,
    },
    /// An id is none.
    #[error(transparent)]
    Id(#[from] IdError),
    /// The key of a record that is to be deleted is none.
    #[error(transparent)]
    Key(KeyError),
    /// A record has no JSON form.
    #[error("a record has no JSON form")]
    NotJson(#[from] serde_json::Error),
    /// The current records, which the new ones are added to, can not be read.
    #[error("a current record can not be read")]
    Current(#[source] Box<exchange::ExchangeError>),
    /// The dataset does not compile.
    #[error(transparent)]
    Build(Box<BuildError>),
    /// It could not be written.
    #[error(transparent)]
    Write(Box<WriteError>),
}

/// How much is done at once; only tests choose.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pace {
    pub(crate) edit_records: usize,
    pub(crate) edits_per_batch: usize,
    pub(crate) settled: usize,
}

impl Default for Pace {
    fn default() -> Pace {
        Pace { edit_records: EDIT_RECORDS, edits_per_batch: EDITS_PER_BATCH, settled: SETTLED_PER_ENTRY }
    }
}

impl Engine {
    /// Puts records into the dataset, replacing those of the same keys, and publishes the result as the next revision: all of
    /// it at one instant, or nothing. `progress` is told how many records are durable so far.
    ///
    /// A request id that has led to a revision before leads to that one again, also after a restart.
    /// Blocks: on an async runtime call it from a thread for blocking work.
    ///
    /// # Errors
    /// See [`LoadError`].
    pub fn load<E: std::error::Error + 'static>(
        &self,
        records: impl IntoIterator<Item = Result<Record, E>>,
        origin: &Origin,
        mut progress: impl FnMut(u64),
    ) -> Result<Published, LoadError<E>> {
        if let Some(earlier) = self.published_earlier(origin).map_err(write)? {
            return Ok(earlier);
        }
        let view = self.view();
        let prepared = prepare(&view, read_all(records)?, &BTreeSet::new(), Counted::Changed)?;
        self.stage(&view, origin, prepared, &mut progress).map_err(write)
    }

    pub(crate) fn published_earlier(&self, origin: &Origin) -> Result<Option<Published>, WriteError> {
        let Some(id) = origin.request_id.clone() else { return Ok(None) };
        self.ask(move |writer| writer.published_earlier(Some(&id)))
    }

    /// Writes a prepared revision into a draft of its own and publishes it.
    pub(crate) fn stage(
        &self,
        view: &View,
        origin: &Origin,
        prepared: Prepared,
        progress: &mut impl FnMut(u64),
    ) -> Result<Published, WriteError> {
        let Prepared { snapshot, changed } = prepared;
        // The request is the publish: a repetition after half of the edits begins anew.
        let (staging, base) = (Origin { request_id: None, ..origin.clone() }, view.revision());
        let begin = staging.clone();
        let draft = self.ask(move |writer| writer.create(&begin, base))?.id;
        let (mut done, mut edits, mut batch) = (0, 0, Vec::new());
        let mut left = changed.as_slice();
        while !left.is_empty() {
            let (edit, rest) = left.split_at(edit_length(left, self.pace.edit_records));
            batch.push(draft_edit(&draft, edit)?);
            done += edit.len() as u64;
            left = rest;
            if batch.len() >= self.pace.edits_per_batch || left.is_empty() {
                edits += batch.len() as u64;
                let (batch, staging, draft) = (std::mem::take(&mut batch), staging.clone(), draft.clone());
                self.ask(move |writer| writer.edit(&staging, &draft, &batch))?;
                progress(done);
            }
        }
        let (snapshot, changed) = (Arc::new(snapshot), changed.len() as u64);
        let compiled = Compiled { draft, edits, changed, onto: base, snapshot };
        let origin = origin.clone();
        self.ask(move |writer| writer.publish(&origin, compiled))
    }
}

/// How many records a snapshot holds.
pub(crate) fn count(snapshot: &Snapshot) -> u64 {
    RecordKind::ALL.iter().map(|kind| snapshot.count(*kind) as u64).sum()
}

/// The next revision, compiled, and the lines in which it differs.
pub(crate) struct Prepared {
    pub(crate) snapshot: Snapshot,
    pub(crate) changed: Vec<Arc<str>>,
}

/// Which of the records that are put count as changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Counted {
    /// Those that differ from what the dataset holds.
    Changed,
    /// All of them: they are in a draft, and whatever is in a draft becomes part of its revision.
    All,
}

/// What the dataset is with these records put and those deleted, as records.
pub(crate) struct Gathered {
    /// Those that are put, then the others.
    all: Vec<Record>,
    put: usize,
    /// The others as they are kept.
    sources: Vec<SourceRecord>,
}

/// Puts together what the dataset is with these records put and those deleted.
pub(crate) fn gather<E: std::error::Error + 'static>(
    view: &View,
    puts: Vec<Record>,
    deletes: &BTreeSet<RecordKey>,
) -> Result<Gathered, LoadError<E>> {
    let keys = puts.iter().map(Record::key).collect::<Result<BTreeSet<_>, _>>()?;
    let mut all = puts;
    let put = all.len();
    let mut sources = Vec::with_capacity(all.len());
    for kept in RecordKind::ALL
        .iter()
        .flat_map(|kind| view.snapshot().records(*kind).iter().map(|kept| (*kind, kept)))
    {
        let (kind, kept) = kept;
        let key = RecordKey { kind, id: kept.id.clone() };
        if !keys.contains(&key) && !deletes.contains(&key) {
            let record = exchange::parse_line(kept.text.as_bytes(), 0);
            all.push(record.map_err(|error| LoadError::Current(Box::new(error)))?);
            sources.push(SourceRecord { text: Arc::from(&*kept.text), revision: kept.revision });
        }
    }
    Ok(Gathered { all, put, sources })
}

impl Gathered {
    /// What the records say of each other that can not be.
    pub(crate) fn contradictions(&self) -> Vec<Finding> {
        clashes(&self.all).into_iter().map(Finding::from).collect()
    }
}

/// Checks and compiles what the dataset is with these records put and those deleted. Errors that it had before do not count.
pub(crate) fn prepare<E: std::error::Error + 'static>(
    view: &View,
    puts: Vec<Record>,
    deletes: &BTreeSet<RecordKey>,
    counted: Counted,
) -> Result<Prepared, LoadError<E>> {
    let gathered = gather(view, puts, deletes)?;
    refuse(gathered.contradictions())?;
    let prepared = compile(view, gathered, counted)?;
    refuse(new_errors(view.snapshot(), &prepared.snapshot))?;
    Ok(prepared)
}

/// Compiles records that do not contradict each other.
pub(crate) fn compile<E: std::error::Error + 'static>(
    view: &View,
    gathered: Gathered,
    counted: Counted,
) -> Result<Prepared, LoadError<E>> {
    let Gathered { all, put, mut sources } = gathered;
    let mut changed = Vec::new();
    for record in all.iter().take(put) {
        let line = exchange::to_line(record)?;
        let same = view.snapshot().record(record.kind(), record.id()).filter(|kept| *kept.text == *line);
        if let Some(kept) = same.filter(|_| counted == Counted::Changed) {
            sources.push(SourceRecord { text: Arc::from(&*kept.text), revision: kept.revision });
            continue;
        }
        let text: Arc<str> = line.into();
        changed.push((record.key()?, Arc::clone(&text)));
        sources.push(SourceRecord { text, revision: view.revision() + 1 });
    }
    // Compiling takes as much memory as the records do.
    drop(all);
    changed.sort_by(|(one, _), (other, _)| one.cmp(other));
    let changed = changed.into_iter().map(|(_, text)| text).collect();
    let snapshot = Snapshot::build(sources).map_err(|error| LoadError::Build(Box::new(error)))?;
    Ok(Prepared { snapshot, changed })
}

/// Reads every record; of those that can not be read, all are counted and the first are kept.
pub(crate) fn read_all<E: std::error::Error + 'static>(
    records: impl IntoIterator<Item = Result<Record, E>>,
) -> Result<Vec<Record>, LoadError<E>> {
    let (mut read, mut first, mut total) = (Vec::new(), Vec::new(), 0);
    for record in records {
        match record {
            Ok(record) if total == 0 => read.push(record),
            Ok(_) => {}
            Err(error) => {
                // Nothing more will come of what was read.
                read = Vec::new();
                total += 1;
                if first.len() < MAX_REPORTED {
                    first.push(error);
                }
            }
        }
    }
    if total == 0 { Ok(read) } else { Err(LoadError::Unreadable { first, total }) }
}

pub(crate) fn refuse<E: std::error::Error + 'static>(mut first: Vec<Finding>) -> Result<(), LoadError<E>> {
    let total = first.len();
    first.truncate(MAX_REPORTED);
    if total == 0 { Ok(()) } else { Err(LoadError::Contradictions { first, total }) }
}

/// How many of the lines go into the next edit; at least one.
fn edit_length(lines: &[Arc<str>], most: usize) -> usize {
    let mut bytes = 0;
    let fits = |line: &&Arc<str>| {
        bytes += line.len() + 1;
        bytes <= EDIT_BYTES
    };
    lines.iter().take(most).take_while(fits).count().max(1)
}

fn draft_edit(draft: &str, lines: &[Arc<str>]) -> Result<DraftEdit, serde_json::Error> {
    let puts = lines.iter().map(|line| RawValue::from_string(line.to_string())).collect::<Result<_, _>>()?;
    Ok(DraftEdit { puts, ..DraftEdit::new(draft) })
}

pub(crate) fn write<E: std::error::Error + 'static>(error: WriteError) -> LoadError<E> {
    LoadError::Write(Box::new(error))
}
