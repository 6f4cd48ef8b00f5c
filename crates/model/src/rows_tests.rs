//! Files of records: what is no record is refused with its row and its field.

use super::*;

const GOOD: &str = r#"{"part":{"id":"p-1","brand":"b","number":"P 1","title":"A part","kind":"LEAD","life":"CURRENT","covers":[],"evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}}}"#;

fn fault(bytes: &[u8]) -> RowFault {
    let mut faults = Format::JsonLines.read(bytes).filter_map(|row| match row {
        Ok(_) => None,
        Err(RowError::Fault(fault)) => Some(fault),
        Err(RowError::Io(error)) => panic!("{error}"),
    });
    let first = faults.next().unwrap_or_else(|| panic!("nothing is wrong"));
    assert!(faults.next().is_none());
    first
}

/// RFC 8259 says of names that stand twice only that they SHOULD not, and leaves numbers and depth to the reader.
#[test]
fn what_is_no_record_is_refused_with_row_and_field() {
    for (bad, field, why) in [
        (GOOD.replace("\"LEAD\"", "\"ROPE\""), "part.kind", "ROPE"),
        (GOOD.replace("\"brand\":\"b\"", "\"brand\":\"b\",\"brand\":\"b\""), "part", "duplicate field"),
        (GOOD.replace("\"covers\":[]", "\"covers\":1e999"), "part.covers", ""),
        (GOOD.replace("\"A part\"", r#""\ud800""#), "part.title", "hex escape"),
        (GOOD.replace("\"A part\"", "\"A\u{0}part\""), "part.title", "control character"),
        (format!("{GOOD}{GOOD}"), "", "trailing characters"),
        (GOOD.replace('}', ""), "part", "EOF"),
        (format!("{}{}", "[".repeat(30_000), "]".repeat(30_000)), "", ""),
        ("x".repeat(1_000_000), "", "longer than"),
        (format!("\u{feff}{GOOD}"), "", "expected value"),
    ] {
        let fault = fault(format!("{GOOD}\n\n{bad}\n").as_bytes());
        assert_eq!(fault.row, 3, "{fault}");
        assert!(fault.column.starts_with(field), "{fault}");
        assert!(fault.text.contains(why), "{fault} has no `{why}`");
    }
}

#[test]
fn other_encodings_are_refused() {
    let utf16: Vec<u8> = GOOD.encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(fault(&utf16).row, 1);
    assert!(fault(&[b"\xff".as_slice(), GOOD.as_bytes()].concat()).text.contains("not UTF-8 at byte 1"));
}

/// A map is an object too: two entries of one name are two opinions.
#[test]
fn a_name_in_a_map_stands_once() {
    let bad = GOOD.replace("\"covers\":[]", "\"covers\":[{\"a\":1,\"a\":2}]");
    assert!(!fault(bad.as_bytes()).text.is_empty());
}

#[test]
fn a_mark_at_the_beginning_and_either_line_break_are_read() {
    let file = format!("\u{feff}{GOOD}\r\n{}\n", GOOD.replace("p-1", "p-2"));
    assert_eq!(Format::JsonLines.read(file.as_bytes()).filter_map(Result::ok).count(), 2);
}
