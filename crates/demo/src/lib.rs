//! The invented catalogue: data files and their loader.
//!
//! Makes, models, brands, part numbers, plug families and switch tables are invented from end to end. The files are kept
//! by hand, one record a line, in the form that the exchange writer gives it; `data/README.md` says which make shows what.
//! [`scaled`] adds as many generated vehicle lines as a benchmark asks for.

mod scale;

use std::fmt;

use dashwright_model::exchange::{ExchangeError, parse_line};
use dashwright_model::record::Record;

pub use scale::{MAX_GENERATED_LINES, MAX_GENERATED_MAKES, scaled};

/// A file that does not hold what it should: never in a released build, a test sees to that.
#[derive(Debug)]
pub struct DemoError {
    /// The file.
    pub file: &'static str,
    /// The line and what is wrong with it.
    pub source: ExchangeError,
}

impl fmt::Display for DemoError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "demo file `{}` can not be read", self.file)
    }
}

impl std::error::Error for DemoError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.source)
    }
}

/// Every record of the catalogue, in the order of [`lines`].
///
/// # Errors
/// When a line is not a record.
pub fn records() -> Result<Vec<Record>, DemoError> {
    lines().map(|(file, line, text)| record(file, line, text)).collect()
}

/// Every line of the catalogue: its file, its number in the file counted from 1, and its text.
pub fn lines() -> impl Iterator<Item = (&'static str, u64, &'static str)> {
    FILES.iter().flat_map(|(file, text)| (1..).zip(text.lines()).map(|(line, text)| (*file, line, text)))
}

fn record(file: &'static str, line: u64, text: &str) -> Result<Record, DemoError> {
    parse_line(text.as_bytes(), line).map_err(|source| DemoError { file, source })
}

macro_rules! files {
    ($($name:literal,)+) => {
        &[$(($name, include_str!(concat!("../data/", $name))),)+]
    };
}

/// The files; what is named comes before what names it, so that a reader can go from top to bottom.
const FILES: &[(&str, &str)] = files![
    "vocabulary.jsonl",
    "dashes.jsonl",
    "audios.jsonl",
    "radios.jsonl",
    "parts-kits.jsonl",
    "parts-harness.jsonl",
    "parts-modules.jsonl",
    "parts-amplifiers.jsonl",
    "parts-signals.jsonl",
    "parts-bundles.jsonl",
    "parts-sundries.jsonl",
    "vehicles-orvane.jsonl",
    "vehicles-tessamer.jsonl",
    "vehicles-brennholt.jsonl",
    "vehicles-ostrevik.jsonl",
    "vehicles-zuvanto.jsonl",
    "vehicles-marlquist.jsonl",
    "vehicles-pelhurst.jsonl",
    "vehicles-veshiro.jsonl",
    "vehicles-dovrenne.jsonl",
    "golden-questions.jsonl",
];

#[cfg(test)]
mod tests;
