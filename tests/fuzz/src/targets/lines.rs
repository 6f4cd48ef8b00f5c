//! Files of records: JSON Lines of all kinds, and tables of one.

use dashwright_model::Record;
use dashwright_model::dataset::clashes;
use dashwright_model::exchange::{MAX_LINE_BYTES, Reader, parse_strictly, to_line};
use dashwright_model::rows::Format;
use dashwright_model::table::{RowError, TableKind, to_row};

/// Records beyond so many are not compared with each other: the comparison has tests of its own for size.
const MOST_COMPARED: usize = 40;

/// JSON Lines are read or refused line by line; what is read is written and read back the same.
pub(crate) fn hold(bytes: &[u8]) {
    let records = rows_hold(Format::JsonLines, bytes);
    for (number, record) in Reader::new(bytes).filter_map(Result::ok) {
        assert!(number > 0);
        written_alike(&record);
    }
    for clash in clashes(records.get(..MOST_COMPARED).unwrap_or(&records)) {
        assert!(!clash.to_string().is_empty());
    }
}

/// Tables are read or refused row by row. The first byte says of which kind.
pub(crate) fn tables_hold(bytes: &[u8]) {
    let Some((first, table)) = bytes.split_first() else { return };
    let kind = if first % 2 == 0 { TableKind::Part } else { TableKind::Vehicle };
    rows_hold(Format::Table(kind), table);
}

fn rows_hold(format: Format, bytes: &[u8]) -> Vec<Record> {
    let (mut last, mut records) = (0, Vec::new());
    for row in format.read(bytes) {
        let number = match row {
            Ok((number, record)) => {
                written_alike(&record);
                records.push(record);
                number
            }
            Err(RowError::Fault(fault)) => {
                assert!(!fault.text.is_empty(), "a fault of row {} says nothing", fault.row);
                fault.row
            }
            Err(RowError::Io(error)) => panic!("bytes in memory can not be read: {error}"),
        };
        // A header that is refused ends the table on its own row.
        assert!(number > last, "row {number} stands behind row {last}");
        last = number;
    }
    records
}

fn written_alike(record: &Record) {
    let line = to_line(record).expect("a record has a line");
    if line.len() > MAX_LINE_BYTES {
        return;
    }
    let read = parse_strictly(line.as_bytes(), 1).unwrap_or_else(|error| panic!("{error} in {line}"));
    assert_eq!(&read, record);
    assert_eq!(to_line(&read).expect("a record has a line"), line);
    if let Some(kind) = TableKind::of(record.kind()) {
        let row = to_row(kind, record).unwrap_or_else(|path| panic!("no column has `{path}` of {line}"));
        let table = kind.header() + &row;
        let mut rows = Format::Table(kind).read(table.as_bytes());
        let (_, read) = rows.next().expect("a row").unwrap_or_else(|error| panic!("{error:?} in {table}"));
        assert_eq!(&read, record);
    }
}
