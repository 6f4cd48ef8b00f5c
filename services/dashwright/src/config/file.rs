//! The file of settings: TOML, one line a setting, every fault with its line and column.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fault::{Fault, Origin, Place};
use super::table::{Row, Setting};
use super::value::{Trouble, repeated};
use super::{Said, nearest};

/// Bytes of a file of settings: each with a page of comment would still fit, and what is larger is another file.
pub(crate) const FILE_BYTES: u64 = 64 << 10;

/// What a file says of each setting.
///
/// # Errors
/// When it can not be read at all; what is wrong inside of it is told beside what is right.
pub(super) fn read(
    file: &Path,
    named_by: &Origin,
    table: &'static [Row],
) -> Result<(Vec<Said>, Vec<Fault>), Fault> {
    let unreadable = |source| Fault::Unreadable { file: file.to_owned(), named_by: named_by.clone(), source };
    let bytes = bytes_of(file).map_err(unreadable)?;
    let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    if length > FILE_BYTES {
        return Err(Fault::TooLarge { file: file.to_owned(), most: FILE_BYTES });
    }
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(error.as_bytes().get(..valid).unwrap_or_default());
        Fault::NotUtf8 { place: Place::of(file, &before, valid) }
    })?;
    Ok(said_in(file, &text, table))
}

fn bytes_of(file: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(file)?.take(FILE_BYTES + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// What a text says of each setting, and all that is wrong with it. Also what stands behind a fault of syntax is looked at.
pub(super) fn said_in(file: &Path, text: &str, table: &'static [Row]) -> (Vec<Said>, Vec<Fault>) {
    let (document, errors) = DeTable::parse_recoverable(text);
    let place = |offset| Place::of(file, text, offset);
    let mut faults: Vec<_> = errors
        .into_iter()
        .map(|error| Fault::Toml {
            place: place(error.span().map_or(0, |span| span.start)),
            message: error.message().lines().collect::<Vec<_>>().join(", "),
        })
        .collect();
    let broken = !faults.is_empty();
    let beside = file.parent().unwrap_or(Path::new(""));
    let mut said = Vec::new();
    for (key, value) in document.get_ref().iter() {
        let known =
            table.iter().map(|row| &row.setting).find(|setting| setting.name == key.get_ref().as_ref());
        let Some(setting) = known else {
            let name = repeated(key.get_ref());
            let nearest = nearest(&name, table.iter().map(|row| row.setting.name)).unwrap_or_default();
            faults.push(Fault::UnknownKey { place: place(key.span().start), name, nearest });
            continue;
        };
        match setting.kind.read(value.get_ref(), beside) {
            Ok(value) => {
                said.push(Said { name: setting.name, value, origin: Origin::File(place(key.span().start)) });
            }
            // What the parser puts in the place of what it could not read is no fault of its own.
            Err(_) if broken && is_filler(value) => {}
            Err(trouble) => faults.push(Fault::Value {
                origin: Origin::File(place(value.span().start)),
                name: setting.name,
                // A type says more than the value.
                shown: shown(setting, value.get_ref()).filter(|_| !matches!(trouble, Trouble::Type { .. })),
                trouble,
            }),
        }
    }
    faults.sort_by_key(line_of);
    (said, faults)
}

fn is_filler(value: &Spanned<DeValue<'_>>) -> bool {
    value.span().is_empty()
}

/// What was said, where it may be repeated and says more than the fault does.
fn shown(setting: &Setting, value: &DeValue<'_>) -> Option<String> {
    let text = match value {
        DeValue::String(text) => text.as_ref(),
        DeValue::Integer(whole) => whole.as_str(),
        DeValue::Float(number) => number.as_str(),
        DeValue::Boolean(_) | DeValue::Datetime(_) | DeValue::Array(_) | DeValue::Table(_) => return None,
    };
    let repeats = !(text.is_empty() || setting.secret || setting.kind.may_hold_a_secret());
    repeats.then(|| repeated(text))
}

fn line_of(fault: &Fault) -> (usize, usize) {
    match fault {
        Fault::Value { origin: Origin::File(place), .. }
        | Fault::UnknownKey { place, .. }
        | Fault::Toml { place, .. } => (place.line, place.column),
        _ => (0, 0),
    }
}
