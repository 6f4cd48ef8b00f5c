//! CSV as RFC 4180 has it, read strictly and with bounded memory.
//!
//! Libraries for CSV are lenient where RFC 4180 is silent: a lone quote becomes text, a cell may run over the rest of the file. A
//! catalogue must not take what somebody did not mean, so that this reader refuses it.

use std::fmt;
use std::io::{self, BufRead};

use super::Column;
use crate::exchange::{BYTE_ORDER_MARK, MAX_LINE_BYTES};

/// The longest row: what the longest record takes, with every quote doubled.
pub const MAX_ROW_BYTES: usize = 2 * MAX_LINE_BYTES;
/// The most columns: more than any table has.
pub const MAX_COLUMNS: usize = 100;

/// What is wrong with the form of a row.
#[derive(Debug)]
pub enum CsvError {
    /// Longer than [`MAX_ROW_BYTES`].
    TooLong,
    /// More than [`MAX_COLUMNS`].
    TooManyColumns,
    /// Not UTF-8.
    NotUtf8 {
        /// The column, counted from 0.
        column: usize,
    },
    /// A character that no text has: NUL.
    Nul {
        /// The column, counted from 0.
        column: usize,
    },
    /// A quote within a cell that does not begin with one.
    LoneQuote {
        /// The column, counted from 0.
        column: usize,
    },
    /// Something behind the closing quote.
    BehindQuote {
        /// The column, counted from 0.
        column: usize,
    },
    /// The file ends within quotes.
    Unclosed {
        /// The column, counted from 0.
        column: usize,
    },
    /// A carriage return that is no line break.
    LoneReturn {
        /// The column, counted from 0.
        column: usize,
    },
    /// A row ends otherwise than the first.
    OtherLineBreak,
    /// The file could not be read on.
    Io(io::Error),
}

impl CsvError {
    /// The name of the column, where it is known.
    pub(super) fn column(&self, columns: &[Column]) -> String {
        let (Self::NotUtf8 { column }
        | Self::Nul { column }
        | Self::LoneQuote { column }
        | Self::BehindQuote { column }
        | Self::Unclosed { column }
        | Self::LoneReturn { column }) = self
        else {
            return String::new();
        };
        columns.get(*column).map_or_else(|| (column + 1).to_string(), |(name, _)| (*name).to_owned())
    }
}

impl fmt::Display for CsvError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLong => write!(f, "is longer than {MAX_ROW_BYTES} bytes; a quote may not be closed"),
            Self::TooManyColumns => write!(f, "has more than {MAX_COLUMNS} columns"),
            Self::NotUtf8 { .. } => f.write_str("is not UTF-8; save the file as UTF-8"),
            Self::Nul { .. } => f.write_str("has a NUL character; save the file as UTF-8, not as UTF-16"),
            Self::LoneQuote { .. } => f.write_str(
                "has a quote within a cell that does not begin with one; double it, and quote the cell",
            ),
            Self::BehindQuote { .. } => f.write_str("has something behind the closing quote"),
            Self::Unclosed { .. } => f.write_str("opens a quote that is never closed"),
            Self::LoneReturn { .. } => f.write_str("has a carriage return that is no line break"),
            Self::OtherLineBreak => f.write_str("ends with another line break than the first row"),
            Self::Io(error) => write!(f, "can not be read: {error}"),
        }
    }
}

/// Cells as a row, with its line break.
pub(super) fn row(cells: impl IntoIterator<Item = String>) -> String {
    let quoted = cells.into_iter().map(|cell| {
        if cell.contains(['"', ',', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell
        }
    });
    quoted.collect::<Vec<_>>().join(",") + "\r\n"
}

/// The cells of a row.
pub(super) type Cells = Vec<String>;

/// Reads rows.
pub(super) struct Rows<R> {
    input: R,
    row: u64,
    /// Whether rows end with a carriage return and a line feed; known from the first.
    with_return: Option<bool>,
}

/// Where in a cell the reader is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum At {
    Begin,
    Plain,
    Quoted,
    /// Behind a quote within quotes: the closing one, or the first of a doubled one.
    Quote,
    /// Behind a carriage return.
    Return,
}

/// A row that is being read.
struct Reading {
    cells: Vec<Vec<u8>>,
    bytes: usize,
    at: At,
}

impl Reading {
    fn column(&self) -> usize {
        self.cells.len().saturating_sub(1)
    }

    fn push(&mut self, byte: u8) {
        if let Some(cell) = self.cells.last_mut() {
            cell.push(byte);
        }
    }

    /// Takes a byte; true where it ends the row.
    fn take(&mut self, byte: u8) -> Result<bool, CsvError> {
        let column = self.column();
        self.bytes += 1;
        if self.bytes > MAX_ROW_BYTES {
            return Err(CsvError::TooLong);
        }
        self.at = match (self.at, byte) {
            (_, 0) => return Err(CsvError::Nul { column }),
            (At::Return, b'\n') => return Ok(true),
            (At::Return, _) => return Err(CsvError::LoneReturn { column }),
            (At::Quoted, b'"') => At::Quote,
            (At::Quoted, _) => {
                self.push(byte);
                At::Quoted
            }
            (At::Quote, b'"') => {
                self.push(byte);
                At::Quoted
            }
            (At::Begin, b'"') => At::Quoted,
            (At::Plain, b'"') => return Err(CsvError::LoneQuote { column }),
            (_, b',') => {
                if self.cells.len() == MAX_COLUMNS {
                    return Err(CsvError::TooManyColumns);
                }
                self.cells.push(Vec::new());
                At::Begin
            }
            (_, b'\n') => return Ok(true),
            (_, b'\r') => At::Return,
            (At::Quote, _) => return Err(CsvError::BehindQuote { column }),
            (At::Begin | At::Plain, _) => {
                self.push(byte);
                At::Plain
            }
        };
        Ok(false)
    }

    fn finish(self) -> Result<Cells, CsvError> {
        let text = |(column, cell): (usize, Vec<u8>)| {
            String::from_utf8(cell).map_err(|_| CsvError::NotUtf8 { column })
        };
        self.cells.into_iter().enumerate().map(text).collect()
    }
}

impl<R: BufRead> Rows<R> {
    pub(super) fn new(input: R) -> Self {
        Self { input, row: 0, with_return: None }
    }

    /// The next row with its number, counted from 1; an error with the number of its row.
    pub(super) fn next_row(&mut self) -> Result<Option<(u64, Cells)>, (u64, CsvError)> {
        let number = self.row + 1;
        let cells = self.read().map_err(|error| (number, error))?;
        self.row = number;
        Ok(cells.map(|cells| (number, cells)))
    }

    fn read(&mut self) -> Result<Option<Cells>, CsvError> {
        let mut reading = Reading { cells: vec![Vec::new()], bytes: 0, at: At::Begin };
        loop {
            let available = self.input.fill_buf().map_err(CsvError::Io)?;
            if available.is_empty() {
                return self.end(reading);
            }
            let (mut used, mut ended) = (0, Ok(false));
            for byte in available {
                used += 1;
                ended = reading.take(*byte);
                if !matches!(ended, Ok(false)) {
                    break;
                }
            }
            self.input.consume(used);
            if ended? {
                self.line_break(reading.at == At::Return)?;
                return self.without_mark(reading).finish().map(Some);
            }
        }
    }

    /// At the end of the file; the last row may lack its line break.
    fn end(&mut self, reading: Reading) -> Result<Option<Cells>, CsvError> {
        match reading.at {
            At::Quoted => Err(CsvError::Unclosed { column: reading.column() }),
            At::Return => Err(CsvError::LoneReturn { column: reading.column() }),
            _ if reading.bytes == 0 => Ok(None),
            _ => self.without_mark(reading).finish().map(Some),
        }
    }

    fn line_break(&mut self, with_return: bool) -> Result<(), CsvError> {
        if *self.with_return.get_or_insert(with_return) == with_return {
            Ok(())
        } else {
            Err(CsvError::OtherLineBreak)
        }
    }

    /// The first row without the byte order mark that the file may begin with.
    fn without_mark(&self, mut reading: Reading) -> Reading {
        if self.row == 0
            && let Some(first) = reading.cells.first_mut()
            && first.starts_with(BYTE_ORDER_MARK)
        {
            first.drain(..BYTE_ORDER_MARK.len());
        }
        reading
    }
}
