//! Lines that are records and lines that are not.

use super::*;

const EVIDENCE: &str = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;

fn refused(line: &str) -> String {
    parse_line(line.as_bytes(), 7).unwrap_err().to_string()
}

#[test]
fn a_record_is_read_and_written_alike() {
    let line = format!(
        r#"{{"vocabulary":{{"id":"orvane","of":"MAKE","name":"Orvane","aliases":["Orv"],{EVIDENCE}}}}}"#
    );
    let record = parse_line(line.as_bytes(), 1).unwrap();
    assert_eq!(to_line(&record).unwrap(), line);
}

#[test]
fn what_is_wrong_is_named_with_line_and_field() {
    let unknown =
        format!(r#"{{"vocabulary":{{"id":"orvane","of":"MAKE","name":"Orvane","nick":1,{EVIDENCE}}}}}"#);
    assert!(
        refused(&unknown).starts_with("line 7, field `vocabulary.nick`, column "),
        "{}",
        refused(&unknown)
    );
    assert!(refused(&unknown).contains("unknown field `nick`"));

    let bad_date = unknown.replace(r#","nick":1"#, "").replace("2024-05-01", "2024-02-30");
    assert!(refused(&bad_date).contains("field `vocabulary.evidence.date`"), "{}", refused(&bad_date));

    let no_evidence = r#"{"vocabulary":{"id":"orvane","of":"MAKE","name":"Orvane"}}"#;
    assert!(refused(no_evidence).contains("missing field `evidence`"), "{}", refused(no_evidence));

    assert!(refused(r#"{"wheel":{}}"#).contains("unknown variant `wheel`"));
    assert!(refused("{").contains("line 7"));
    assert!(refused(&format!("{} x", unknown.replace(r#","nick":1"#, ""))).contains("trailing characters"));
    assert!(refused(&format!("{}{}", "[".repeat(100_000), "]")).contains("line 7 is longer"));
    assert!(refused(&"[".repeat(50_000)).contains("line 7"));
}

#[test]
fn all_contradictions_inside_a_record_are_named_at_once() {
    let line = format!(
        r#"{{"dash":{{"id":"d","title":"d","opening":{{"class":"ONE_DIN","width":0}},"held_by":[],"surroundings":[
        {{"name":"a","kind":"VENT","left":5,"right":1,"bottom":0,"top":1,"proud":0,"clearance":"NEVER_COVER"}}],{EVIDENCE}}}}}"#
    )
    .replace('\n', "");
    let reason = refused(&line);
    for part in
        ["`opening.width` must be above zero", "`held_by` must name at least one", "`surroundings.0.right`"]
    {
        assert!(reason.contains(part), "{reason}");
    }
}

#[test]
fn files_are_read_line_by_line_with_bounded_memory() {
    let good = format!(r#"{{"vocabulary":{{"id":"a","of":"MAKE","name":"A",{EVIDENCE}}}}}"#);
    let long = "x".repeat(3 * MAX_LINE_BYTES);
    let text = format!("\u{feff}{good}\r\n\n  \n{long}\n{good}\nnot json");
    let lines: Vec<_> = Reader::new(text.as_bytes()).collect();
    let summary: Vec<String> = lines
        .iter()
        .map(|line| match line {
            Ok((line, record)) => format!("{line} {}", record.id()),
            Err(error) => format!("{} refused", error.line),
        })
        .collect();
    assert_eq!(summary, ["1 a", "4 refused", "5 a", "6 refused"]);
}

#[test]
fn bytes_that_are_not_text_are_refused_with_their_place() {
    let error = parse_line(b"{\"a\xff\"}", 3).unwrap_err();
    assert_eq!(error.to_string(), "line 3 is not UTF-8 at byte 4");
}
