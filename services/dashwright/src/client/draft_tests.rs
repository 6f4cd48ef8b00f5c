//! How the edits of a file become requests.

use super::*;

/// Terms of the vocabulary: the smallest records there are.
fn terms(count: usize) -> Vec<Record> {
    let term = |number: usize| {
        let line = format!(
            r#"{{"vocabulary":{{"id":"term-{number}","of":"MAKE","name":"Term {number}","evidence":{{"grade":"BENCH_VERIFIED","source":"a test","date":"2025-01-01"}}}}}}"#
        );
        dashwright_model::exchange::parse_line(line.as_bytes(), 1).unwrap()
    };
    (1..=count).map(term).collect()
}

fn keys(count: usize) -> Vec<RecordKey> {
    (1..=count).map(|number| format!("part/kit-{number}").parse().unwrap()).collect()
}

#[test]
fn what_fits_is_one_request_and_nothing_is_none() {
    assert_eq!(requests(&[], Vec::new()).unwrap(), []);
    let sent = requests(&terms(2), keys(1)).unwrap();
    assert_eq!(sent.len(), 1);
    let Edits { puts, deletes, bytes: _ } = &sent[0];
    assert!(
        puts[1].starts_with(r#"{"vocabulary":{"id":"term-2""#) && puts[1].contains(r#""id":"term-2""#),
        "{puts:?}"
    );
    assert_eq!(deletes, &["part/kit-1"]);
}

#[test]
fn no_request_has_more_records_or_bytes_than_the_service_takes() {
    // By curation.proto: at most 1000 puts and deletes and 480 KiB of records.
    let sent = requests(&terms(1_500), keys(600)).unwrap();
    let sizes: Vec<_> = sent.iter().map(|edits| (edits.puts.len(), edits.deletes.len())).collect();
    assert_eq!(sizes, [(1_000, 0), (500, 500), (0, 100)]);

    let mut edits = Edits { bytes: 480 * 1024 - 10, ..Edits::default() };
    assert!(edits.has_room_for("0123456789") && !edits.has_room_for("0123456789a"));
    edits.puts = vec![String::new(); 1_000];
    assert!(!edits.has_room_for(""));
}

#[test]
fn the_order_of_the_file_is_kept_and_a_key_that_is_deleted_twice_is_sent_once() {
    let sent = requests(&terms(1_001), [keys(2), keys(1)].concat()).unwrap();
    let puts: Vec<_> = sent.iter().flat_map(|edits| &edits.puts).collect();
    for (number, put) in puts.iter().enumerate() {
        assert!(put.contains(&format!(r#""id":"term-{}""#, number + 1)), "{put}");
    }
    assert_eq!(sent[1].deletes, ["part/kit-1", "part/kit-2"]);
}

#[test]
fn a_record_is_not_put_and_deleted_at_once() {
    let failure = requests(&terms(3), vec!["vocabulary/term-2".parse().unwrap()]).unwrap_err();
    assert_eq!(failure.message(), "`vocabulary/term-2` is put and deleted by the same command");
}
