//! Loading records from a file: every fault with its line, or everything at once.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fmt;
use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

use dashwright_engine::{Engine, LoadError, MAX_REPORTED, Origin};
use dashwright_model::dataset::{Clash, clashes};
use dashwright_model::exchange::{ExchangeError, Reader};
use dashwright_model::record::{Record, RecordKey};

use crate::progress::{bar, spinner};

/// What stands for standard input where a file is named.
pub(crate) const STANDARD_INPUT: &str = "-";

/// Something that is wrong with a file of records.
#[derive(Debug)]
pub(crate) enum Fault {
    /// A line is not a record.
    Line(ExchangeError),
    /// A record contradicts another one.
    Clash {
        /// The line of the record, from 1.
        line: u64,
        /// What is wrong.
        clash: Clash,
    },
    /// A record stands twice.
    Twice {
        /// The line of the second, from 1.
        line: u64,
        /// The record.
        record: RecordKey,
        /// The line of the first.
        first: u64,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(error) => write!(f, "{error}"),
            Self::Clash { line, clash } => write!(f, "line {line}: {clash}"),
            Self::Twice { line, record, first } => {
                write!(f, "line {line}: `{record}` stands on line {first} already")
            }
        }
    }
}

/// Why records were not loaded. Nothing has changed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum LoadFailure {
    /// The file can not be read.
    #[error("`{}` can not be read", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// The file holds no record.
    #[error("`{}` holds no records", file.display())]
    Empty {
        /// The file.
        file: PathBuf,
    },
    /// Records are faulty.
    #[error("`{}` has {total} faults", file.display())]
    Faults {
        /// The file.
        file: PathBuf,
        /// The first of them.
        first: Vec<Fault>,
        /// How many there are.
        total: usize,
    },
    /// They could not be published.
    #[error(transparent)]
    Publish(Box<LoadError<ExchangeError>>),
}

impl LoadFailure {
    /// The faults one by one, and how many more there are.
    pub(crate) fn details(&self) -> Vec<String> {
        let Self::Faults { file: _, first, total } = self else { return Vec::new() };
        let mut lines: Vec<_> = first.iter().map(ToString::to_string).collect();
        if let Some(more @ 1..) = total.checked_sub(first.len()) {
            lines.push(format!("and {more} more"));
        }
        lines
    }
}

/// Reads a file of records as a whole and checks that they go together.
pub(crate) fn read(file: &Path) -> Result<Vec<Record>, LoadFailure> {
    let Lines { records, lines, mut faults } = read_file(file)?;
    // Records that are missing because their lines are faulty would show as clashes of those that name them.
    if faults.total == 0 {
        faults = clashing(&records, &lines);
    }
    faults.none_in(file, records)
}

/// Reads records that are put into a draft: each by itself, because the others that it names may be in the dataset. The
/// name `-` stands for standard input.
pub(crate) fn read_edits(file: &Path) -> Result<Vec<Record>, LoadFailure> {
    let Lines { records, lines, mut faults } = if file == Path::new(STANDARD_INPUT) {
        let bar = spinner("reading standard input: {bytes}");
        let read = read_lines(BufReader::new(bar.wrap_read(io::stdin().lock())));
        bar.finish_and_clear();
        read
    } else {
        read_file(file)?
    };
    let mut first = BTreeMap::new();
    for (record, line) in records.iter().zip(lines) {
        let Ok(key) = record.key() else { continue };
        match first.entry(key) {
            Entry::Vacant(place) => {
                place.insert(line);
            }
            Entry::Occupied(place) => {
                faults.add(|| Fault::Twice { line, record: place.key().clone(), first: *place.get() });
            }
        }
    }
    faults.none_in(file, records)
}

/// Publishes records as the next revision, with a bar for whoever watches.
pub(crate) fn publish(engine: &Engine, records: Vec<Record>, origin: &Origin) -> Result<(), LoadFailure> {
    let bar = bar(records.len() as u64, "writing {bar:30} {human_pos} of {human_len} records");
    let published = publish_quietly(engine, records, origin, |done| bar.set_position(done));
    bar.finish_and_clear();
    published
}

/// Publishes records as the next revision; `progress` is told how many are durable so far.
pub(crate) fn publish_quietly(
    engine: &Engine,
    records: Vec<Record>,
    origin: &Origin,
    progress: impl FnMut(u64),
) -> Result<(), LoadFailure> {
    let records = records.into_iter().map(Ok::<_, ExchangeError>);
    let published = engine.load(records, origin, progress);
    let published = published.map_err(|error| LoadFailure::Publish(Box::new(error)))?;
    tracing::info!(revision = published.revision, records = published.records, "loaded");
    Ok(())
}

/// What the lines of a file are.
#[derive(Default)]
struct Lines {
    records: Vec<Record>,
    /// The line of each record, from 1.
    lines: Vec<u64>,
    faults: Faults,
}

fn read_file(file: &Path) -> Result<Lines, LoadFailure> {
    let unreadable = |source| LoadFailure::File { file: file.to_owned(), source };
    let input = File::open(file).map_err(unreadable)?;
    let length = input.metadata().map_err(unreadable)?;
    if length.is_dir() {
        return Err(unreadable(io::ErrorKind::IsADirectory.into()));
    }
    let bar = bar(length.len(), "reading {bar:30} {bytes} of {total_bytes}");
    let lines = read_lines(BufReader::new(bar.wrap_read(input)));
    bar.finish_and_clear();
    Ok(lines)
}

fn read_lines(input: impl BufRead) -> Lines {
    let mut read = Lines::default();
    for item in Reader::new(input) {
        match item {
            Ok((line, record)) => {
                read.records.push(record);
                read.lines.push(line);
            }
            Err(error) => read.faults.add(|| Fault::Line(error)),
        }
    }
    read
}

/// The first faults, and how many there are.
#[derive(Default)]
struct Faults {
    first: Vec<Fault>,
    total: usize,
}

impl Faults {
    fn add(&mut self, fault: impl FnOnce() -> Fault) {
        self.total += 1;
        if self.first.len() < MAX_REPORTED {
            self.first.push(fault());
        }
    }

    /// The records, when there are some and nothing is wrong with them.
    fn none_in(self, file: &Path, records: Vec<Record>) -> Result<Vec<Record>, LoadFailure> {
        let file = file.to_owned();
        match self {
            Self { total: 0, .. } if records.is_empty() => Err(LoadFailure::Empty { file }),
            Self { total: 0, .. } => Ok(records),
            Self { first, total } => Err(LoadFailure::Faults { file, first, total }),
        }
    }
}

fn clashing(records: &[Record], lines: &[u64]) -> Faults {
    let mut faults = Faults::default();
    let clashes = clashes(records);
    if clashes.is_empty() {
        return faults;
    }
    // Of two records with one key the later line counts: it is the one that stands twice.
    let lines: BTreeMap<_, _> =
        records.iter().zip(lines).filter_map(|(record, line)| Some((record.key().ok()?, *line))).collect();
    for clash in clashes {
        let line = lines.get(&clash.record).copied().unwrap_or_default();
        faults.add(|| Fault::Clash { line, clash });
    }
    faults.first.sort_by_key(|fault| match fault {
        Fault::Line(error) => error.line,
        Fault::Clash { line, .. } | Fault::Twice { line, .. } => *line,
    });
    faults
}
