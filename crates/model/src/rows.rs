//! Files of records as people exchange them, row by row: JSON Lines of all kinds, and tables of one.

use std::io::BufRead;

use crate::exchange::{ExchangeCause, ExchangeError, Reader};
use crate::record::Record;
use crate::table::{RowError, RowFault, TableKind, TableReader};

/// The form of a file of records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// JSON Lines, of all kinds.
    JsonLines,
    /// A table, of one kind.
    Table(TableKind),
}

impl Format {
    /// Reads the records of a file, each with the number of its row; memory is bounded by the longest row.
    pub fn read<'i>(
        self,
        input: impl BufRead + 'i,
    ) -> Box<dyn Iterator<Item = Result<(u64, Record), RowError>> + 'i> {
        match self {
            Self::JsonLines => Box::new(Reader::new(input).strictly().map(|row| row.map_err(RowError::from))),
            Self::Table(kind) => Box::new(TableReader::new(kind, input)),
        }
    }
}

impl From<ExchangeError> for RowError {
    fn from(error: ExchangeError) -> Self {
        match error.cause {
            ExchangeCause::Io(error) => Self::Io(error),
            cause => {
                RowFault { row: error.line, column: cause.field().to_owned(), text: cause.to_string() }.into()
            }
        }
    }
}

#[cfg(test)]
#[path = "rows_tests.rs"]
mod tests;
