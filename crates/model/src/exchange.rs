//! JSON Lines: one record a line, read with bounded memory and refused with the line and the field.

mod strict;

use std::fmt;
use std::io::{self, BufRead, Read as _};

use crate::record::Record;

/// The longest line. A record has to fit into one value of the materialised store (64 KiB) with room for its header.
pub const MAX_LINE_BYTES: usize = 60 * 1024;

/// The first line of a file may begin with it; no other place may.
pub(crate) const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// Why a line is not a record.
#[derive(Debug)]
pub struct ExchangeError {
    /// The line, counted from 1.
    pub line: u64,
    /// What is wrong with it.
    pub cause: ExchangeCause,
}

/// What is wrong with a line.
#[derive(Debug)]
pub enum ExchangeCause {
    /// Longer than [`MAX_LINE_BYTES`].
    TooLong,
    /// Not UTF-8.
    NotUtf8 {
        /// The first byte that is not, counted from 1.
        byte: usize,
    },
    /// Not a record: not JSON, an unknown or missing field, a value out of its range, fields that contradict each other.
    NotARecord {
        /// The field, as names and indexes joined by dots; empty when it is the line as a whole.
        path: String,
        /// The column, counted from 1; 0 where the reader gives none.
        column: usize,
        /// What the reader says.
        source: serde_json::Error,
    },
    /// The file could not be read on.
    Io(io::Error),
}

impl fmt::Display for ExchangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { line, cause } = self;
        match cause {
            ExchangeCause::TooLong | ExchangeCause::NotUtf8 { .. } => write!(f, "line {line} {cause}"),
            ExchangeCause::NotARecord { .. } => {
                let field = cause.field();
                let field = if field.is_empty() { String::new() } else { format!(", field `{field}`") };
                let column = cause.column().map_or_else(String::new, |column| format!(", column {column}"));
                write!(f, "line {line}{field}{column}: {}", cause.reason())
            }
            ExchangeCause::Io(_) => write!(f, "line {line} {cause}"),
        }
    }
}

impl fmt::Display for ExchangeCause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLong => write!(f, "is longer than {MAX_LINE_BYTES} bytes"),
            Self::NotUtf8 { byte } => write!(f, "is not UTF-8 at byte {byte}"),
            Self::NotARecord { .. } => match self.column() {
                Some(column) => write!(f, "{} (at character {column})", self.reason()),
                None => f.write_str(&self.reason()),
            },
            Self::Io(error) => write!(f, "can not be read: {error}"),
        }
    }
}

impl ExchangeCause {
    /// The field, as names and indexes joined by dots; empty when it is the line as a whole.
    pub(crate) fn field(&self) -> &str {
        if let Self::NotARecord { path, .. } = self { path } else { "" }
    }

    fn column(&self) -> Option<usize> {
        if let Self::NotARecord { column, .. } = self {
            Some(*column).filter(|column| *column > 0)
        } else {
            None
        }
    }

    /// What the reader says. It counts lines within the one line it was given; only the column says something.
    fn reason(&self) -> String {
        let Self::NotARecord { source, .. } = self else { return String::new() };
        let reason = source.to_string();
        reason.rsplit_once(" at line ").map_or(reason.as_str(), |(reason, _)| reason).to_owned()
    }
}

impl std::error::Error for ExchangeError {}

/// Reads one line.
///
/// # Errors
/// When the line is not a record; the line number is taken from the caller.
pub fn parse_line(bytes: &[u8], line: u64) -> Result<Record, ExchangeError> {
    if bytes.len() > MAX_LINE_BYTES {
        return Err(ExchangeError { line, cause: ExchangeCause::TooLong });
    }
    let text = std::str::from_utf8(bytes).map_err(|error| ExchangeError {
        line,
        cause: ExchangeCause::NotUtf8 { byte: error.valid_up_to() + 1 },
    })?;
    // The common case is read without tracking paths, which costs half as much again; only a refusal is read twice.
    serde_json::from_str(text).map_err(|error| explain(text, line, error))
}

/// Reads JSON in which no object names a field twice: a reader that takes the last would take what somebody did not see.
pub(crate) fn strict_value(text: &str) -> Result<serde_json::Value, serde_json::Error> {
    let distinct: strict::Distinct = serde_json::from_str(text)?;
    Ok(distinct.0)
}

/// Reads one line in which no object names a field twice.
///
/// # Errors
/// As [`parse_line`].
pub fn parse_strictly(bytes: &[u8], line: u64) -> Result<Record, ExchangeError> {
    let record = parse_line(bytes, line)?;
    let Ok(text) = std::str::from_utf8(bytes) else { return Ok(record) };
    match strict_value(text) {
        Ok(_) => Ok(record),
        Err(source) => {
            let cause = ExchangeCause::NotARecord { path: String::new(), column: source.column(), source };
            Err(ExchangeError { line, cause })
        }
    }
}

fn explain(text: &str, line: u64, first: serde_json::Error) -> ExchangeError {
    let mut reader = serde_json::Deserializer::from_str(text);
    let tracked: Result<Record, _> = serde_path_to_error::deserialize(&mut reader);
    let (path, source) = match tracked {
        Err(error) => (path_text(error.path()), error.into_inner()),
        // Trailing characters behind a whole record are no fault of a field.
        Ok(_) => (String::new(), first),
    };
    ExchangeError { line, cause: ExchangeCause::NotARecord { path, column: source.column(), source } }
}

pub(crate) fn path_text(path: &serde_path_to_error::Path) -> String {
    let text = path.to_string();
    let whole = text == "." || text == "?";
    if whole {
        String::new()
    } else {
        text.replace(['[', ']'], ".").replace("..", ".").trim_matches('.').to_owned()
    }
}

/// Writes one record as a line, without the line break.
///
/// # Errors
/// Never for a record that exists; the signature is the writer's.
pub fn to_line(record: &Record) -> Result<String, serde_json::Error> {
    serde_json::to_string(record)
}

/// Reads records from JSON Lines; blank lines are passed over, memory is bounded by the longest line.
pub struct Reader<R> {
    input: R,
    line: u64,
    buffer: Vec<u8>,
    failed: bool,
    strictly: bool,
}

impl<R: BufRead> Reader<R> {
    /// Reads from the input.
    pub fn new(input: R) -> Self {
        Self { input, line: 0, buffer: Vec::new(), failed: false, strictly: false }
    }

    /// Refuses objects that name a field twice.
    #[must_use]
    pub fn strictly(self) -> Self {
        Self { strictly: true, ..self }
    }

    /// The next line with its number, and its bytes without the line break.
    fn next_line(&mut self) -> io::Result<Option<u64>> {
        self.buffer.clear();
        let most = u64::try_from(MAX_LINE_BYTES).unwrap_or(u64::MAX).saturating_add(2);
        let read = (&mut self.input).take(most).read_until(b'\n', &mut self.buffer)?;
        if read == 0 {
            return Ok(None);
        }
        self.line += 1;
        if self.line == 1 && self.buffer.starts_with(BYTE_ORDER_MARK) {
            self.buffer.drain(..BYTE_ORDER_MARK.len());
        }
        let whole = self.buffer.last() == Some(&b'\n');
        while matches!(self.buffer.last(), Some(b'\n' | b'\r')) {
            self.buffer.pop();
        }
        if !whole && self.buffer.len() > MAX_LINE_BYTES {
            skip_line(&mut self.input)?;
        }
        Ok(Some(self.line))
    }
}

/// Passes over the rest of a line that is too long, without keeping it.
fn skip_line(input: &mut impl BufRead) -> io::Result<()> {
    loop {
        let available = input.fill_buf()?;
        if available.is_empty() {
            return Ok(());
        }
        match available.iter().position(|byte| *byte == b'\n') {
            Some(end) => {
                input.consume(end + 1);
                return Ok(());
            }
            None => {
                let length = available.len();
                input.consume(length);
            }
        }
    }
}

impl<R: BufRead> Iterator for Reader<R> {
    type Item = Result<(u64, Record), ExchangeError>;

    fn next(&mut self) -> Option<Self::Item> {
        while !self.failed {
            match self.next_line() {
                Ok(None) => return None,
                Ok(Some(_)) if self.buffer.iter().all(u8::is_ascii_whitespace) => {}
                Ok(Some(line)) => {
                    let parse = if self.strictly { parse_strictly } else { parse_line };
                    return Some(parse(&self.buffer, line).map(|record| (line, record)));
                }
                Err(error) => {
                    self.failed = true;
                    let cause = ExchangeCause::Io(error);
                    return Some(Err(ExchangeError { line: self.line + 1, cause }));
                }
            }
        }
        None
    }
}

#[cfg(test)]
#[path = "exchange_tests.rs"]
mod tests;
