//! Loading records from a file: every fault with its line, or everything at once.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::{self, BufReader};
use std::path::{Path, PathBuf};
use std::time::Duration;

use dashwright_engine::{Engine, LoadError, MAX_REPORTED, Origin};
use dashwright_model::dataset::{Clash, clashes};
use dashwright_model::exchange::{ExchangeError, Reader};
use dashwright_model::record::Record;
use indicatif::{ProgressBar, ProgressStyle};

/// How often a progress bar is drawn anew, at most.
const DRAWN_EVERY: Duration = Duration::from_millis(100);

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
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(error) => write!(f, "{error}"),
            Self::Clash { line, clash } => write!(f, "line {line}: {clash}"),
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
    let unreadable = |source| LoadFailure::File { file: file.to_owned(), source };
    let input = File::open(file).map_err(unreadable)?;
    let length = input.metadata().map_err(unreadable)?;
    if length.is_dir() {
        return Err(unreadable(io::ErrorKind::IsADirectory.into()));
    }
    let bar = bar(length.len(), "reading {bar:30} {bytes} of {total_bytes}");
    let (mut records, mut lines) = (Vec::new(), Vec::new());
    let mut faults = Faults::default();
    for read in Reader::new(BufReader::new(bar.wrap_read(input))) {
        match read {
            Ok((line, record)) => {
                records.push(record);
                lines.push(line);
            }
            Err(error) => faults.add(|| Fault::Line(error)),
        }
    }
    bar.finish_and_clear();
    // Records that are missing because their lines are faulty would show as clashes of those that name them.
    if faults.total == 0 {
        faults = clashing(&records, &lines);
    }
    match faults {
        Faults { total: 0, .. } if records.is_empty() => Err(LoadFailure::Empty { file: file.to_owned() }),
        Faults { total: 0, .. } => Ok(records),
        Faults { first, total } => Err(LoadFailure::Faults { file: file.to_owned(), first, total }),
    }
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
        Fault::Clash { line, .. } => *line,
    });
    faults
}

/// A bar on standard error, shown only where that is a terminal.
fn bar(length: u64, template: &str) -> ProgressBar {
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    let bar = ProgressBar::new(length).with_style(style);
    bar.enable_steady_tick(DRAWN_EVERY);
    bar
}
