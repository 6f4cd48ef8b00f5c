//! Imports: a file of records put into a draft, all of it or nothing.
//!
//! The file is read twice. First every row is read, compared with the draft and the dataset, and counted; where anything is
//! wrong nothing is done. Then what is new is written in as many edits as it takes. Each says that it is part of the import,
//! and until the last one is there the draft takes nothing else and is not published. Whoever repeats the request has it
//! finished: what is there already is unchanged then.

use std::collections::HashMap;
use std::io;
use std::ops::ControlFlow;
use std::sync::{Arc, PoisonError};

use dashwright_log::Digest;
use dashwright_model::exchange::to_line;
use dashwright_model::record::{Record, RecordKey};
use dashwright_model::table::{RowError, RowFault};
use serde_json::value::RawValue;

use crate::drafts::from_state;
use crate::engine::Engine;
use crate::entry::{DRAFT_EDIT, DraftEdit, ImportPart, OnConflict};
use crate::load::{EDIT_BYTES, MAX_REPORTED};
use crate::state::{DraftFacts, StateError};
use crate::surroundings::Origin;
use crate::view::View;
use crate::writer::{Drafted, Stand, WriteError};

/// Most records of an import: thirteen times the vehicle lines of a large catalogue, and 100 MB for telling which keys
/// stand twice.
pub const MAX_IMPORT_RECORDS: usize = 2_000_000;

/// Faults after which a file is not read on: it is another file than its sender thinks, and reading it to its end would keep
/// others waiting.
pub const MAX_IMPORT_FAULTS: u64 = 100_000;

/// How often a file is compared again because the draft or the dataset moved meanwhile: each time is a read of it.
const ATTEMPTS: usize = 4;

/// Rows between two messages of the progress.
const STEP: u64 = 1_000;

/// A file that is to be imported.
#[derive(Clone, Debug)]
pub struct Import {
    /// The draft.
    pub draft: String,
    /// SHA-256 of the file.
    pub content: Digest,
    /// What becomes of records of which there are others already.
    pub on_conflict: OnConflict,
    /// Everything but the edits themselves.
    pub validate_only: bool,
}

/// How far an import has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImportProgress {
    /// So many rows are read and compared.
    Read(u64),
    /// So many of the records that are to be put are durable.
    Written {
        /// Rows of the file.
        rows: u64,
        /// So many.
        done: u64,
        /// Of so many.
        total: u64,
    },
}

/// What the records of a file come to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ImportCounts {
    /// Records of the file.
    pub records: u64,
    /// Those that are put.
    pub put: u64,
    /// Those that are there already, the same.
    pub unchanged: u64,
    /// Those of which there is another one, which stays.
    pub kept: u64,
}

/// What an import came to.
#[derive(Clone, Debug)]
pub struct Imported {
    /// The draft afterwards.
    pub drafted: Drafted,
    /// What the records come to; nothing where this repeats an earlier request.
    pub counts: ImportCounts,
    /// What is wrong with the file: the first faults, at most [`MAX_REPORTED`]. With any, nothing was done.
    pub faults: Vec<RowFault>,
    /// How many faults there are; reading ends at [`MAX_IMPORT_FAULTS`].
    pub faults_total: u64,
}

/// Why a file was not imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The file could not be read.
    #[error("the file that was received can not be read")]
    Read(#[from] io::Error),
    /// It was not written, or not to the end.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StateError> for ImportError {
    fn from(error: StateError) -> Self {
        from_state(error).into()
    }
}

/// The rows of a file.
pub type Rows<'f> = Box<dyn Iterator<Item = Result<(u64, Record), RowError>> + 'f>;

impl Engine {
    /// Puts the records of a file into a draft: all of them or nothing, and what was broken off is finished by the
    /// repetition of the request. `open` gives the rows from the first, as often as it is asked. Ends with nothing where
    /// `progress` wishes so before anything is written. Blocks, and for long; one at a time.
    ///
    /// # Errors
    /// See [`ImportError`].
    pub fn import<'f>(
        &self,
        origin: &Origin,
        import: &Import,
        open: &dyn Fn() -> io::Result<Rows<'f>>,
        progress: &mut dyn FnMut(ImportProgress) -> ControlFlow<()>,
    ) -> Result<Option<Imported>, ImportError> {
        // What a broken-off import holds is nothing that the next one depends on.
        let _one = self.shared.importing.lock().unwrap_or_else(PoisonError::into_inner);
        let mut left = ATTEMPTS;
        loop {
            if let Some(imported) = self.imported_earlier(origin, &import.draft)? {
                return Ok(Some(imported));
            }
            match self.import_once(origin, import, open, progress) {
                Err(ImportError::Write(WriteError::Outdated { .. } | WriteError::DraftMoved { .. }))
                    if left > 0 =>
                {
                    left -= 1;
                }
                outcome => return outcome,
            }
        }
    }

    /// What an earlier request of this id has come to.
    ///
    /// # Errors
    /// See [`WriteError`].
    pub fn imported_earlier(&self, origin: &Origin, draft: &str) -> Result<Option<Imported>, WriteError> {
        let (origin, draft) = (origin.clone(), draft.to_owned());
        let earlier = self.ask(move |writer| writer.drafted_earlier(&origin, DRAFT_EDIT, Some(&draft)))?;
        Ok(earlier.map(|drafted| Imported {
            drafted,
            counts: ImportCounts::default(),
            faults: Vec::new(),
            faults_total: 0,
        }))
    }

    fn import_once<'f>(
        &self,
        origin: &Origin,
        import: &Import,
        open: &dyn Fn() -> io::Result<Rows<'f>>,
        progress: &mut dyn FnMut(ImportProgress) -> ControlFlow<()>,
    ) -> Result<Option<Imported>, ImportError> {
        let (view, facts) = (self.view(), self.open_draft(&import.draft)?);
        let part = Box::new(ImportPart {
            request_id: origin.request_id.clone().unwrap_or_default(),
            content: import.content,
            on_conflict: import.on_conflict,
            seen: view.revision(),
            last: false,
        });
        facts.refuse_other_import(&import.draft, &part)?;
        let mut compared = Compared::new(self, &view, &facts, import.on_conflict);
        for row in open()? {
            compared.take(row)?;
            if compared.faults_total == MAX_IMPORT_FAULTS {
                break;
            }
            if compared.rows.is_multiple_of(STEP) && progress(ImportProgress::Read(compared.rows)).is_break()
            {
                return Ok(None);
            }
        }
        // Also a short file is not put for somebody who is not let in any more.
        if !compared.rows.is_multiple_of(STEP) && progress(ImportProgress::Read(compared.rows)).is_break() {
            return Ok(None);
        }
        let Compared { rows, counts, puts, faults, faults_total, .. } = compared;
        let told = |drafted| Imported { drafted, counts, faults, faults_total };
        let found = Drafted { id: import.draft.clone(), draft: facts.clone(), repeated: false };
        if faults_total > 0 {
            let counts = ImportCounts { records: counts.records, ..ImportCounts::default() };
            return Ok(Some(Imported { counts, ..told(found) }));
        }
        if import.validate_only {
            self.ask(|writer| writer.go_on())?;
            return Ok(Some(told(found)));
        }
        let stand = Stand { draft: import.draft.clone(), edits: facts.edits, revision: view.revision() };
        let mut parts = Parts::new(self, origin, stand, part, (rows, counts.put));
        for (row, put) in open()?.zip(puts) {
            match row {
                Ok((_, record)) if put => parts.put(&record, progress)?,
                // It was read a moment ago.
                Ok(_) | Err(RowError::Fault(_)) => {}
                Err(RowError::Io(error)) => return Err(error.into()),
            }
        }
        Ok(Some(told(parts.finish(progress)?)))
    }
}

/// A file, compared with the draft and the dataset.
struct Compared<'c> {
    engine: &'c Engine,
    view: &'c View,
    facts: &'c DraftFacts,
    on_conflict: OnConflict,
    rows: u64,
    counts: ImportCounts,
    /// Of each record, whether it is put.
    puts: Vec<bool>,
    /// The row of each key, by half of the key's SHA-256.
    keys: HashMap<[u8; 16], u64>,
    faults: Vec<RowFault>,
    faults_total: u64,
}

impl<'c> Compared<'c> {
    fn new(
        engine: &'c Engine,
        view: &'c View,
        facts: &'c DraftFacts,
        on_conflict: OnConflict,
    ) -> Compared<'c> {
        Compared {
            engine,
            view,
            facts,
            on_conflict,
            rows: 0,
            counts: ImportCounts::default(),
            puts: Vec::new(),
            keys: HashMap::new(),
            faults: Vec::new(),
            faults_total: 0,
        }
    }

    fn take(&mut self, row: Result<(u64, Record), RowError>) -> Result<(), ImportError> {
        self.rows += 1;
        match row {
            Ok((row, record)) => self.record(row, &record),
            Err(RowError::Fault(fault)) => {
                self.fault(fault);
                Ok(())
            }
            Err(RowError::Io(error)) => Err(error.into()),
        }
    }

    fn record(&mut self, row: u64, record: &Record) -> Result<(), ImportError> {
        let key = match record.key() {
            Ok(key) => key,
            Err(error) => {
                self.fault_at(row, error.to_string());
                return Ok(());
            }
        };
        self.counts.records += 1;
        if self.counts.records > MAX_IMPORT_RECORDS as u64 {
            if self.counts.records == MAX_IMPORT_RECORDS as u64 + 1 {
                let text = format!("more than {MAX_IMPORT_RECORDS} records; put the rest into another file");
                self.fault_at(row, text);
            }
            return Ok(());
        }
        if let Some(first) = self.keys.insert(short(&key), row) {
            self.fault_at(row, format!("`{key}` stands in row {first} already"));
            return Ok(());
        }
        let put = self.compare(row, &key, record)?;
        self.puts.push(put);
        Ok(())
    }

    /// Whether the record is put.
    fn compare(&mut self, row: u64, key: &RecordKey, record: &Record) -> Result<bool, ImportError> {
        let line = to_line(record).map_err(WriteError::from)?;
        let drafted = if self.facts.edits > 0 { self.engine.item_of(self.facts, key)? } else { None };
        let there: Option<Arc<str>> = match drafted {
            Some(item) => item.line,
            None => self.view.snapshot().record(key.kind, key.id.as_str()).map(|kept| Arc::from(&*kept.text)),
        };
        let (put, count) = match there {
            Some(there) if *there == *line => (false, &mut self.counts.unchanged),
            Some(_) if self.on_conflict == OnConflict::Keep => (false, &mut self.counts.kept),
            Some(_) if self.on_conflict == OnConflict::Refuse => {
                self.fault_at(row, format!("there is another `{key}` already"));
                return Ok(false);
            }
            _ => (true, &mut self.counts.put),
        };
        *count += 1;
        Ok(put)
    }

    fn fault_at(&mut self, row: u64, text: String) {
        self.fault(RowFault { row, column: "id".to_owned(), text });
    }

    fn fault(&mut self, fault: RowFault) {
        self.faults_total += 1;
        if self.faults.len() < MAX_REPORTED {
            self.faults.push(fault);
        }
        // Nothing will be put.
        self.puts = Vec::new();
    }
}

/// Half of a SHA-256: no two keys of a file meet in it by chance.
fn short(key: &RecordKey) -> [u8; 16] {
    let Digest(whole) = Digest::of(key.to_string().as_bytes());
    let mut half = [0; 16];
    half.iter_mut().zip(whole).for_each(|(to, from)| *to = from);
    half
}

/// The edits of an import on their way into the draft.
struct Parts<'p> {
    engine: &'p Engine,
    origin: &'p Origin,
    /// What the first edits are to find.
    first: Option<Stand>,
    rows: u64,
    part: Box<ImportPart>,
    draft: String,
    edit: DraftEdit,
    bytes: usize,
    edits: Vec<DraftEdit>,
    done: u64,
    total: u64,
}

impl<'p> Parts<'p> {
    fn new(
        engine: &'p Engine,
        origin: &'p Origin,
        stand: Stand,
        part: Box<ImportPart>,
        (rows, total): (u64, u64),
    ) -> Parts<'p> {
        let draft = stand.draft.clone();
        let edit = DraftEdit { import: Some(part.clone()), ..DraftEdit::new(&draft) };
        Parts {
            engine,
            origin,
            first: Some(stand),
            rows,
            part,
            draft,
            edit,
            bytes: 0,
            edits: Vec::new(),
            done: 0,
            total,
        }
    }

    fn put(
        &mut self,
        record: &Record,
        progress: &mut dyn FnMut(ImportProgress) -> ControlFlow<()>,
    ) -> Result<(), WriteError> {
        let line = to_line(record)?;
        let pace = self.engine.pace;
        if self.edit.puts.len() == pace.edit_records || self.bytes + line.len() + 1 > EDIT_BYTES {
            let next = DraftEdit { import: Some(self.part.clone()), ..DraftEdit::new(&self.draft) };
            self.edits.push(std::mem::replace(&mut self.edit, next));
            self.bytes = 0;
            if self.edits.len() == pace.edits_per_batch {
                self.write()?;
                // What is begun is finished, whoever listens.
                let _ =
                    progress(ImportProgress::Written { rows: self.rows, done: self.done, total: self.total });
            }
        }
        self.bytes += line.len() + 1;
        self.done += 1;
        self.edit.puts.push(RawValue::from_string(line)?);
        Ok(())
    }

    fn write(&mut self) -> Result<Option<Drafted>, WriteError> {
        let (edits, origin, first) =
            (std::mem::take(&mut self.edits), self.origin.clone(), self.first.take());
        self.engine.ask(move |writer| writer.import(&origin, first.as_ref(), edits))
    }

    fn finish(
        mut self,
        progress: &mut dyn FnMut(ImportProgress) -> ControlFlow<()>,
    ) -> Result<Drafted, WriteError> {
        let edit = std::mem::replace(&mut self.edit, DraftEdit::new(&self.draft));
        let last = ImportPart { last: true, ..(*self.part).clone() };
        self.edits.push(DraftEdit { import: Some(Box::new(last)), ..edit });
        let written = self.write()?;
        let _ = progress(ImportProgress::Written { rows: self.rows, done: self.done, total: self.total });
        written.ok_or(WriteError::Ended)
    }
}
