//! Files of carts: JSON with one cart or a list of them, or a table of lines as CSV. A file is taken whole or not at all.

use std::num::NonZeroU32;
use std::path::Path;

use dashwright_api::v1;
use serde::Deserialize;

use crate::args::{NoQuantity, quantity_of};

/// The largest file of carts: a night's batch of as many carts as a stream may have (10,000), of a few lines each.
const MOST_FILE_BYTES: u64 = 64 << 20;

/// The columns of a table of lines.
const HEADER: [&str; 2] = ["item", "quantity"];

/// Rows that are told when many can not be read; a person mends the first ones and reads the table again.
const MOST_ROWS_TOLD: usize = 20;

/// What a file has.
#[derive(Debug, PartialEq)]
pub(super) enum Carts {
    /// One cart.
    One(Box<v1::CheckCartRequest>),
    /// A list of carts, which is a list even where it has one.
    Many(Vec<v1::CheckCartRequest>),
}

/// Why a file of carts is refused.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CartFileError {
    /// It can not be read.
    #[error("it can not be read")]
    Unreadable(#[source] std::io::Error),
    /// It is larger than what is read.
    #[error("it has {bytes} bytes, at most {MOST_FILE_BYTES} are read")]
    TooLarge {
        /// Its size.
        bytes: u64,
    },
    /// It is no text.
    #[error("it is not UTF-8 text: byte {at} begins no character")]
    NotText {
        /// The byte, counted from 1.
        at: usize,
    },
    /// The name says neither what a table nor what JSON is called.
    #[error("its name ends in neither `.json` nor `.csv`")]
    UnknownForm,
    /// It is no JSON, or not that of a cart.
    #[error("it holds no cart")]
    Json(#[source] serde_json::Error),
    /// It is a list without carts.
    #[error("its list has no carts")]
    NoCarts,
    /// The table has another header.
    #[error("the header is `{found}`, not `item,quantity`")]
    Header {
        /// The header that it has.
        found: String,
    },
    /// The table ends with its header.
    #[error("the table has no rows below its header")]
    NoRows,
    /// The table can not be taken apart.
    #[error("the table can not be read")]
    Table(#[source] csv::Error),
    /// Rows are malformed.
    #[error("{} of its rows {} malformed", rows.len(), if rows.len() == 1 { "is" } else { "are" })]
    Rows {
        /// The line of the file that each begins on, and what is wrong with it.
        rows: Vec<(u64, RowFault)>,
    },
}

/// What is wrong with a row.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum RowFault {
    /// It has more or fewer cells than the header.
    #[error("has {found} columns, not 2")]
    Columns {
        /// How many.
        found: usize,
    },
    /// It names nothing.
    #[error("names no item")]
    NoItem,
    /// The quantity is none.
    #[error(transparent)]
    Quantity(#[from] NoQuantity),
}

impl CartFileError {
    /// Each malformed row.
    pub(crate) fn details(&self) -> Vec<String> {
        let Self::Rows { rows } = self else { return Vec::new() };
        let told = rows.iter().take(MOST_ROWS_TOLD).map(|(line, fault)| format!("row {line}: {fault}"));
        let more = rows.len().saturating_sub(MOST_ROWS_TOLD);
        told.chain((more > 0).then(|| format!("and {more} more"))).collect()
    }
}

/// The carts of a file. What the command line says holds where the file says nothing.
pub(super) fn carts(file: &Path, given: &v1::CheckCartRequest) -> Result<Carts, CartFileError> {
    let bytes = std::fs::metadata(file).map_err(CartFileError::Unreadable)?.len();
    if bytes > MOST_FILE_BYTES {
        return Err(CartFileError::TooLarge { bytes });
    }
    let named = |end: &str| file.extension().is_some_and(|it| it.eq_ignore_ascii_case(end));
    if !named("csv") && !named("json") {
        return Err(CartFileError::UnknownForm);
    }
    let bytes = std::fs::read(file).map_err(CartFileError::Unreadable)?;
    if named("csv") {
        let lines = table(&bytes)?;
        return Ok(Carts::One(Box::new(v1::CheckCartRequest { lines, ..given.clone() })));
    }
    json(&bytes, given)
}

/// A text without the byte-order mark that some programs write before UTF-8; it means nothing there (RFC 3629, 6).
fn text(bytes: &[u8]) -> Result<&str, CartFileError> {
    let text = std::str::from_utf8(bytes);
    let text = text.map_err(|error| CartFileError::NotText { at: error.valid_up_to() + 1 })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// The lines of a table (RFC 4180) with the header `item,quantity`.
fn table(bytes: &[u8]) -> Result<Vec<v1::CartLine>, CartFileError> {
    let text = text(bytes)?;
    let mut reader = csv::ReaderBuilder::new();
    let mut reader = reader.flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(CartFileError::Table)?;
    if header.iter().ne(HEADER) {
        return Err(CartFileError::Header { found: header.iter().collect::<Vec<_>>().join(",") });
    }
    let (mut lines, mut faults) = (Vec::new(), Vec::new());
    for row in reader.records() {
        let row = row.map_err(CartFileError::Table)?;
        match cart_line(&row) {
            Ok(line) => lines.push(line),
            Err(fault) => faults.push((line_of(&row, text), fault)),
        }
    }
    match (faults.is_empty(), lines.is_empty()) {
        (false, _) => Err(CartFileError::Rows { rows: faults }),
        (true, true) => Err(CartFileError::NoRows),
        (true, false) => Ok(lines),
    }
}

/// The line of the text that a row begins on. Its position is where the row before it ended: empty lines are skipped.
fn line_of(row: &csv::StringRecord, text: &str) -> u64 {
    let Some(position) = row.position() else { return 0 };
    let rest = usize::try_from(position.byte()).ok().and_then(|at| text.get(at..)).unwrap_or_default();
    let skipped = rest.chars().take_while(|c| matches!(c, '\r' | '\n')).filter(|c| *c == '\n');
    position.line() + skipped.map(|_| 1).sum::<u64>()
}

fn cart_line(row: &csv::StringRecord) -> Result<v1::CartLine, RowFault> {
    let (Some(item), Some(quantity), None) = (row.get(0), row.get(1), row.get(2)) else {
        return Err(RowFault::Columns { found: row.len() });
    };
    if item.is_empty() {
        return Err(RowFault::NoItem);
    }
    Ok(v1::CartLine { item: item.to_owned(), quantity: quantity_of(quantity)? })
}

/// A cart of a JSON file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCart {
    vehicle: Option<FileVehicle>,
    // The name in the schema is as good.
    #[serde(alias = "radio_id")]
    radio: Option<String>,
    lines: Vec<FileLine>,
}

/// A vehicle of a JSON file; the names are those of the schema.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct FileVehicle {
    vin: String,
    model_year: u32,
    make: String,
    model: String,
    trim: String,
    build_month: String,
    market: String,
    drive_side: FileSide,
    body: String,
    drivetrain: String,
    audio_option: String,
    words: String,
}

/// The side the driver sits on.
#[derive(Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum FileSide {
    #[default]
    #[serde(skip)]
    Unstated,
    Left,
    Right,
}

/// A line of a JSON file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileLine {
    item: String,
    #[serde(default = "once")]
    quantity: NonZeroU32,
}

const fn once() -> NonZeroU32 {
    NonZeroU32::MIN
}

/// One cart, or a list of carts.
fn json(bytes: &[u8], given: &v1::CheckCartRequest) -> Result<Carts, CartFileError> {
    let text = text(bytes)?;
    if !text.trim_start().starts_with('[') {
        let cart: FileCart = serde_json::from_str(text).map_err(CartFileError::Json)?;
        return Ok(Carts::One(Box::new(request(cart, given))));
    }
    let carts: Vec<FileCart> = serde_json::from_str(text).map_err(CartFileError::Json)?;
    if carts.is_empty() {
        return Err(CartFileError::NoCarts);
    }
    Ok(Carts::Many(carts.into_iter().map(|cart| request(cart, given)).collect()))
}

fn request(cart: FileCart, given: &v1::CheckCartRequest) -> v1::CheckCartRequest {
    let FileCart { vehicle, radio, lines } = cart;
    let line = |FileLine { item, quantity }: FileLine| v1::CartLine { item, quantity: quantity.get() };
    v1::CheckCartRequest {
        vehicle: vehicle.map(question).or_else(|| given.vehicle.clone()),
        radio_id: radio.unwrap_or_else(|| given.radio_id.clone()),
        lines: lines.into_iter().map(line).collect(),
        ..given.clone()
    }
}

fn question(vehicle: FileVehicle) -> v1::VehicleQuestion {
    let FileVehicle {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side,
        body,
        drivetrain,
        audio_option,
        words,
    } = vehicle;
    let drive_side = match drive_side {
        FileSide::Unstated => v1::DriveSide::Unspecified,
        FileSide::Left => v1::DriveSide::Left,
        FileSide::Right => v1::DriveSide::Right,
    };
    v1::VehicleQuestion {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side: drive_side.into(),
        body,
        drivetrain,
        audio_option,
        words,
    }
}

#[cfg(test)]
#[path = "cart_file_tests.rs"]
mod tests;
