//! Tables: vehicle lines and parts as CSV (RFC 4180), one record a row, with columns of our own.
//!
//! A column is a field of the record, names joined by dots. What is a list or has a form of its own stands as JSON in its cell. A cell
//! that a spreadsheet would take for a formula is written behind an apostrophe, and read without it.

mod cell;
mod csv;

use std::fmt;
use std::io::{self, BufRead};

use serde_json::{Map, Value};

use crate::record::{Record, RecordKind};

pub use csv::{CsvError, MAX_COLUMNS, MAX_ROW_BYTES};

/// How the value of a column stands in its cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    /// As it is.
    Text,
    /// As JSON: numbers, lists, objects.
    Json,
    /// A term as it is; anything else as JSON, which begins with a brace.
    TextOrJson,
}

/// A column: the field, and how it stands in its cell.
type Column = (&'static str, Form);

const VEHICLE: &[Column] = &[
    ("id", Form::Text),
    ("make", Form::Text),
    ("model", Form::Text),
    ("years.from", Form::Json),
    ("years.to", Form::Json),
    ("trims", Form::TextOrJson),
    ("build", Form::Json),
    ("market", Form::Text),
    ("drive_side", Form::Text),
    ("body", Form::Text),
    ("drivetrain", Form::Text),
    ("system_voltage", Form::Text),
    ("weight_class", Form::Text),
    ("option_codes", Form::Json),
    ("dash", Form::Text),
    ("audio_options", Form::Json),
    ("vin_patterns", Form::Json),
    ("how_to_tell", Form::Json),
    ("note", Form::Text),
    ("evidence.grade", Form::Text),
    ("evidence.source", Form::Text),
    ("evidence.date", Form::Text),
    ("evidence.confirmed_jobs", Form::Json),
    ("evidence.contradicted_jobs", Form::Json),
];

const PART: &[Column] = &[
    ("id", Form::Text),
    ("brand", Form::Text),
    ("number", Form::Text),
    ("title", Form::Text),
    ("kind", Form::Text),
    ("life", Form::TextOrJson),
    ("variant", Form::Json),
    ("kit", Form::Json),
    ("price.amount.currency", Form::Text),
    ("price.amount.minor_units", Form::Json),
    ("price.date", Form::Text),
    ("bench_time", Form::Json),
    ("standby", Form::Json),
    ("output_current", Form::Json),
    ("minimum_firmware", Form::Text),
    ("covers", Form::Json),
    ("occupies", Form::Json),
    ("leads", Form::Json),
    ("contains", Form::Json),
    ("consumables", Form::Json),
    ("requires", Form::Json),
    ("conflicts", Form::Json),
    ("settings", Form::Json),
    ("note", Form::Text),
    ("evidence.grade", Form::Text),
    ("evidence.source", Form::Text),
    ("evidence.date", Form::Text),
    ("evidence.confirmed_jobs", Form::Json),
    ("evidence.contradicted_jobs", Form::Json),
];

/// A kind of record that has a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TableKind {
    /// Vehicle lines.
    Vehicle,
    /// Parts.
    Part,
}

impl TableKind {
    /// The table of a kind, where it has one.
    #[must_use]
    pub const fn of(kind: RecordKind) -> Option<Self> {
        match kind {
            RecordKind::Vehicle => Some(Self::Vehicle),
            RecordKind::Part => Some(Self::Part),
            _ => None,
        }
    }

    /// The kind of record.
    #[must_use]
    pub const fn kind(self) -> RecordKind {
        match self {
            Self::Vehicle => RecordKind::Vehicle,
            Self::Part => RecordKind::Part,
        }
    }

    const fn columns(self) -> &'static [Column] {
        match self {
            Self::Vehicle => VEHICLE,
            Self::Part => PART,
        }
    }

    /// The first row, with its line break.
    #[must_use]
    pub fn header(self) -> String {
        csv::row(self.columns().iter().map(|(name, _)| (*name).to_owned()))
    }
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// The row, counted from 1 with the header.
    pub row: u64,
    /// The column, by its name; empty where it is the row as a whole.
    pub column: String,
    /// What is wrong.
    pub text: String,
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { row, column, text } = self;
        let column = if column.is_empty() { String::new() } else { format!(", column `{column}`") };
        write!(f, "row {row}{column}: {text}")
    }
}

/// Why a row is no record.
#[derive(Debug)]
pub enum RowError {
    /// Of what stands in it.
    Fault(RowFault),
    /// The file could not be read on.
    Io(io::Error),
}

impl From<RowFault> for RowError {
    fn from(fault: RowFault) -> Self {
        Self::Fault(fault)
    }
}

/// Writes one record as a row, with its line break.
///
/// # Errors
/// When the record is of another kind, or has a field without a column: the name of the field.
pub fn to_row(kind: TableKind, record: &Record) -> Result<String, String> {
    let whole = serde_json::to_value(record).map_err(|error| error.to_string())?;
    let Value::Object(mut keyed) = whole else { return Err(String::new()) };
    let mut fields = keyed.remove(kind.kind().name()).ok_or_else(|| record.kind().to_string())?;
    let cells: Vec<String> = kind
        .columns()
        .iter()
        .map(|(name, form)| cell::text(take(&mut fields, name).as_ref(), *form))
        .collect();
    match left(&fields, "") {
        Some(path) => Err(path),
        None => Ok(csv::row(cells)),
    }
}

/// Takes a field out of an object.
fn take(fields: &mut Value, path: &str) -> Option<Value> {
    let object = fields.as_object_mut()?;
    match path.split_once('.') {
        None => object.remove(path),
        Some((first, rest)) => take(object.get_mut(first)?, rest),
    }
}

/// The path of a field that was not taken.
fn left(fields: &Value, path: &str) -> Option<String> {
    match fields {
        Value::Object(object) => object.iter().find_map(|(name, value)| {
            let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            left(value, &path)
        }),
        _ => Some(path.to_owned()),
    }
}

/// Reads records from the rows of a table; memory is bounded by the longest row.
pub struct TableReader<R> {
    rows: csv::Rows<R>,
    kind: TableKind,
    /// The columns in the order of the file; nothing before the header is read.
    columns: Vec<Column>,
    ended: bool,
}

impl<R: BufRead> TableReader<R> {
    /// Reads from the input.
    pub fn new(kind: TableKind, input: R) -> Self {
        Self { rows: csv::Rows::new(input), kind, columns: Vec::new(), ended: false }
    }

    fn header(&mut self, names: &[String]) -> Result<(), RowFault> {
        for name in names {
            let known = self.kind.columns().iter().find(|(known, _)| known == name);
            let fault = |text: String| RowFault { row: 1, column: name.clone(), text };
            let column = known.ok_or_else(|| {
                let known: Vec<&str> = self.kind.columns().iter().map(|(name, _)| *name).collect();
                fault(format!("there is no such column; there are {}", known.join(", ")))
            })?;
            if self.columns.contains(column) {
                return Err(fault("the column stands twice".to_owned()));
            }
            self.columns.push(*column);
        }
        Ok(())
    }

    fn record(&self, row: u64, cells: &[String]) -> Result<Record, RowFault> {
        let fault = |column: &str, text: String| RowFault { row, column: column.to_owned(), text };
        if cells.len() != self.columns.len() {
            let (found, wanted) = (cells.len(), self.columns.len());
            return Err(fault("", format!("{found} cells, and the header has {wanted} columns")));
        }
        let mut fields = Map::new();
        for ((name, form), text) in self.columns.iter().zip(cells) {
            let value = cell::value(text, *form).map_err(|text| fault(name, text))?;
            if let Some(value) = value {
                put(&mut fields, name, value);
            }
        }
        let mut keyed = Map::new();
        keyed.insert(self.kind.kind().name().to_owned(), fields.into());
        serde_path_to_error::deserialize(Value::Object(keyed)).map_err(|error| {
            let path = crate::exchange::path_text(error.path());
            let field = path.split_once('.').map_or("", |(_, field)| field);
            let (column, rest) = self.column_of(field);
            let rest = if rest.is_empty() { String::new() } else { format!("`{rest}`: ") };
            fault(column, format!("{rest}{}", error.inner()))
        })
    }

    /// The column that a field stands in, and what of its path lies within the cell.
    fn column_of<'f>(&self, field: &'f str) -> (&'static str, &'f str) {
        let within =
            |name: &str| field.strip_prefix(name).filter(|rest| rest.is_empty() || rest.starts_with('.'));
        let found = self.columns.iter().find_map(|(name, _)| Some((*name, within(name)?)));
        found.map_or(("", field), |(name, rest)| (name, rest.trim_start_matches('.')))
    }

    fn next_row(&mut self) -> Result<Option<(u64, Record)>, RowError> {
        loop {
            let Some((row, cells)) = self.next_cells()? else {
                return if self.columns.is_empty() { Err(no_header().into()) } else { Ok(None) };
            };
            if row == 1 {
                self.header(&cells).inspect_err(|_| self.ended = true)?;
            } else if cells.iter().any(|cell| !cell.is_empty()) || cells.len() > 1 {
                return Ok(Some((row, self.record(row, &cells)?)));
            }
        }
    }

    /// The next row that is one; where the rows are no longer told apart, nothing behind can be read.
    fn next_cells(&mut self) -> Result<Option<(u64, csv::Cells)>, RowError> {
        let next = self.rows.next_row();
        self.ended = !matches!(next, Ok(Some(_)));
        next.map_err(|(row, error)| match error {
            CsvError::Io(error) => RowError::Io(error),
            error => RowFault { row, column: error.column(&self.columns), text: error.to_string() }.into(),
        })
    }
}

fn no_header() -> RowFault {
    RowFault { row: 1, column: String::new(), text: "there is no header".to_owned() }
}

impl<R: BufRead> Iterator for TableReader<R> {
    type Item = Result<(u64, Record), RowError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        self.next_row().transpose()
    }
}

/// Puts a value into an object, by names joined by dots.
fn put(fields: &mut Map<String, Value>, path: &str, value: Value) {
    match path.split_once('.') {
        None => {
            fields.insert(path.to_owned(), value);
        }
        Some((first, rest)) => {
            let inner = fields.entry(first).or_insert_with(|| Map::new().into());
            if let Value::Object(inner) = inner {
                put(inner, rest, value);
            }
        }
    }
}

#[cfg(test)]
#[path = "table/tests.rs"]
mod tests;
