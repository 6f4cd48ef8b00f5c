//! Tables: what is written is read, whatever it holds; what is no table is refused with row and column.

use std::io::Cursor;

use proptest::prelude::*;

use super::*;
use crate::exchange::{parse_line, to_line};

fn part(extra: &str) -> Record {
    let evidence = r#""evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}"#;
    let fields = format!(
        r#""id":"p-1","brand":"b","number":"P 1","title":"A part","kind":"LEAD","life":"CURRENT","covers":[]{extra}"#
    );
    parse_line(format!(r#"{{"part":{{{fields},{evidence}}}}}"#).as_bytes(), 1).unwrap()
}

fn read(kind: TableKind, bytes: &[u8]) -> Vec<Result<(u64, Record), RowFault>> {
    let fault = |error| match error {
        RowError::Fault(fault) => fault,
        RowError::Io(error) => panic!("{error}"),
    };
    TableReader::new(kind, Cursor::new(bytes)).map(|row| row.map_err(fault)).collect()
}

/// The only fault of a table.
fn fault(bytes: &[u8]) -> RowFault {
    let mut faults: Vec<_> = read(TableKind::Part, bytes).into_iter().filter_map(Result::err).collect();
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults.remove(0)
}

fn table(records: &[Record]) -> String {
    let rows = records.iter().map(|record| to_row(TableKind::Part, record).unwrap());
    TableKind::Part.header() + &rows.collect::<String>()
}

const SMALL: &str = "id,brand,number,title,kind,life,covers,evidence.grade,evidence.source,evidence.date";

#[test]
fn what_a_person_types_is_read() {
    let rows =
        format!("{SMALL}\nx-1,b,X 1,\"A \"\"fine\"\" part, red\",LEAD,CURRENT,[],REPORTED,told,2026-01-02\n");
    let read = read(TableKind::Part, rows.as_bytes());
    let Ok((2, Record::Part(part))) = &read[0] else { panic!("{read:?}") };
    assert_eq!(part.title.as_str(), "A \"fine\" part, red");
    // The same with a mark at its beginning, as spreadsheets write it, and with the other line break.
    let marked = format!("\u{feff}{}", rows.replace('\n', "\r\n"));
    assert_eq!(
        super::tests::read(TableKind::Part, marked.as_bytes())[0].as_ref().unwrap().1,
        read[0].as_ref().unwrap().1
    );
    // Without the last line break.
    assert_eq!(super::tests::read(TableKind::Part, rows.trim_end().as_bytes()).len(), 1);
}

#[test]
fn a_cell_that_a_spreadsheet_takes_for_a_formula_is_written_so_that_it_is_none() {
    for title in ["=1+1", "+1", "-1", "@x", "'=1", "''", "'tis"] {
        let record = part(&format!(r#","note":"{title}""#));
        let text = table(std::slice::from_ref(&record));
        let cells = ["=", "+", "-", "@"].map(|begin| text.contains(&format!(",{begin}")));
        assert_eq!(cells, [false; 4], "{text}");
        let read = read(TableKind::Part, text.as_bytes());
        assert_eq!(to_line(&read[0].as_ref().unwrap().1).unwrap(), to_line(&record).unwrap(), "{text}");
    }
}

/// RFC 4180, sections 2.5 to 2.7, and what it is silent about.
#[test]
fn what_is_no_table_is_refused_with_row_and_column() {
    let row = |cells: &str| format!("{SMALL}\n{cells}\n");
    let good = "x-1,b,X 1,A part,LEAD,CURRENT,[],REPORTED,told,2026-01-02";
    for (bytes, at, column, why) in [
        (String::new(), 1, "", "no header"),
        (format!("id,no_such\n{good}\n"), 1, "no_such", "no such column"),
        (format!("id,brand,id\n{good}\n"), 1, "id", "twice"),
        (row(&good.replace("A part", "A \"part")), 2, "title", "quote within"),
        (row(&good.replace("A part", "\"A\" part")), 2, "title", "behind the closing quote"),
        (row(&good.replace("A part", "\"A part")), 2, "title", "never closed"),
        (row(&good.replace("A part", "A\0part")), 2, "title", "NUL"),
        (row(&good.replace("A part", "A\rpart")), 2, "title", "carriage return"),
        (row(&good.replace("told", "told,more")), 2, "", "11 cells"),
        (row(&good.replace("[]", "{]")), 2, "covers", "no JSON"),
        (row(&good.replace("[]", r#""{""a"":1,""a"":2}""#)), 2, "covers", "`a` stands twice"),
        (
            row(&good.replace("[]", &format!("{}{}", "[".repeat(100_000 / 2), "]".repeat(1000)))),
            2,
            "covers",
            "recursion",
        ),
        (row(&good.replace("[]", "1e999")), 2, "covers", "out of range"),
        (row(&good.replace("[]", r#""""\ud800""""#)), 2, "covers", "hex escape"),
        (row(&good.replace("x-1", "Not An Id")), 2, "id", "is not one of"),
        (row(&good.replace("REPORTED", "HEARD")), 2, "evidence.grade", "HEARD"),
        (row(&good.replace("2026-01-02", "2026-02-30")), 2, "evidence.date", ""),
        (format!("{SMALL}\r\n{good}\n"), 2, "", "another line break"),
        (format!("{SMALL}\n{}\n", ",".repeat(1_000_000)), 2, "", "more than 100 columns"),
        (format!("{}\n{good}\n", ",".repeat(1_000_000)), 1, "", "more than 100 columns"),
        (row(&good.replace("A part", &format!("\"{}", "x".repeat(1_000_000)))), 2, "", "is longer than"),
    ] {
        let fault = fault(bytes.as_bytes());
        assert_eq!((fault.row, fault.column.as_str()), (at, column), "{fault}");
        assert!(fault.text.contains(why), "{fault} has no `{why}`");
    }
    let utf16: Vec<u8> = format!("\u{feff}{SMALL}\n").encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert!(fault(&utf16).text.contains("UTF-16"), "{}", fault(&utf16));
    let latin =
        [SMALL.as_bytes(), b"\nx-1,b,X 1,A p\xe4rt,LEAD,CURRENT,[],REPORTED,told,2026-01-02\n"].concat();
    assert_eq!((fault(&latin).row, fault(&latin).column.as_str()), (2, "title"));
}

#[test]
fn a_bad_row_does_not_hide_the_next() {
    let row = |id: &str| format!("{id},b,X 1,A part,LEAD,CURRENT,[],REPORTED,told,2026-01-02\n");
    let rows = format!("{SMALL}\n{}\n{}{}", row("A B"), row("x-2"), row("C D"));
    let read = read(TableKind::Part, rows.as_bytes());
    let numbers = read.iter().map(|it| it.as_ref().map(|(row, _)| *row).map_err(|fault| fault.row));
    assert_eq!(numbers.collect::<Vec<_>>(), [Err(2), Ok(4), Err(5)]);
}

proptest! {
    /// Against an independent reader: the crate `csv` reads every row that is written as the same cells.
    #[test]
    fn another_reader_reads_the_same_cells(cells in prop::collection::vec("[^\0]{0,12}", 1..8)) {
        let text = csv::row(cells.clone());
        let mut reader = ::csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        let read: Vec<Vec<String>> =
            reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
        // A row of one empty cell is an empty line, which that reader passes over, and a mark at the beginning is none of the text.
        let other = cells.len() == 1 && cells[0].is_empty() || cells[0].starts_with('\u{feff}');
        if !other {
            prop_assert_eq!(&read, &vec![cells.clone()]);
        }
        let mut rows = csv::Rows::new(Cursor::new(text.as_bytes()));
        let own = rows.next_row().unwrap().unwrap().1;
        // A mark at the beginning of a file is none of its text.
        let first = cells[0].strip_prefix('\u{feff}').unwrap_or(&cells[0]).to_owned();
        prop_assert_eq!(own, [vec![first], cells[1..].to_vec()].concat());
    }

    /// Bytes of any kind are read or refused, in rows that only go up.
    #[test]
    fn no_bytes_are_too_odd(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let rows = read(TableKind::Vehicle, &bytes);
        let numbers: Vec<u64> = rows.iter().map(|it| it.as_ref().map_or_else(|fault| fault.row, |(row, _)| *row)).collect();
        prop_assert!(numbers.is_sorted());
    }
}
