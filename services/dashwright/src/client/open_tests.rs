//! What is shown in an editor, and what is read from it.

use super::*;

const TERM: &str = r#"{"vocabulary":{"id":"zz","of":"MAKE","name":"Zz","evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}}}"#;

fn key() -> RecordKey {
    "vocabulary/zz".parse().unwrap()
}

#[test]
fn what_is_shown_is_read_as_it_was() {
    let wide = readable(TERM).unwrap();
    assert!(wide.starts_with("{\n  \"vocabulary\": {\n    \"id\": \"zz\",\n    \"of\""), "{wide}");
    let shown = format!("{}{wide}", heading(&key(), "as of revision 1"));
    assert!(shown.starts_with("// vocabulary/zz, as of revision 1.\n"), "{shown}");
    assert_eq!(without_remarks(&shown), wide);
    assert_eq!(read(&wide, &key()).unwrap(), TERM);
}

#[test]
fn what_is_wrong_stands_above_its_line() {
    let wide = readable(TERM).unwrap().replace("\"ASSUMED\"", "\"GUESSED\"");
    let wrong = read(&wide, &key()).unwrap_err();
    // The grade is on the seventh line: two brackets, id, kind, name, and the bracket of the evidence come before it.
    assert_eq!(wrong.line, 7);
    assert!(wrong.text.starts_with("`vocabulary.evidence.grade`: unknown variant `GUESSED`"), "{wrong:?}");
    let shown = with_remark(&key(), "new", &wide, &wrong);
    let place = shown.lines().position(|line| line.starts_with("// WRONG: ")).unwrap();
    assert!(shown.lines().nth(place + 1).unwrap().contains("GUESSED"), "{shown}");
    assert_eq!(without_remarks(&shown), wide);
    // What was shown is not shown again beside what is wrong now.
    assert_eq!(with_remark(&key(), "new", &without_remarks(&shown), &wrong), shown);
}

#[test]
fn another_record_and_text_that_is_no_json_are_refused() {
    let other = TERM.replace(r#""id":"zz""#, r#""id":"yy""#);
    assert!(
        read(&other, &key()).unwrap_err().text.contains("`vocabulary/yy`, and `vocabulary/zz` was opened")
    );
    for text in ["{", "nonsense", "{} {}", &format!("{TERM} x")] {
        assert!(read(text, &key()).is_err(), "{text}");
    }
}

#[test]
fn a_new_record_begins_with_its_kind_and_id() {
    for kind in RecordKind::ALL {
        let record = RecordKey { kind: *kind, id: "zz".parse().unwrap() };
        let error = exchange::parse_line(new(&record, "").json.as_bytes(), 1).unwrap_err().to_string();
        // The kind is one, and what is missing is the rest.
        assert!(!error.contains("unknown variant"), "{error}");
    }
}

#[test]
fn a_record_that_is_long_only_by_its_layout_is_taken() {
    let wide = readable(TERM).unwrap().replace('\n', &format!("\n{}", " ".repeat(9_000)));
    assert!(wide.len() > exchange::MAX_LINE_BYTES);
    assert_eq!(read(&wide, &key()).unwrap(), TERM);
}
