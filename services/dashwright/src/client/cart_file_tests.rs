//! Files of carts: what is read of them, and with which place and reason they are refused.

use proptest::prelude::*;

use super::*;

fn given() -> v1::CheckCartRequest {
    let words = v1::VehicleQuestion { words: "given".to_owned(), ..v1::VehicleQuestion::default() };
    v1::CheckCartRequest {
        vehicle: Some(words),
        radio_id: "given".to_owned(),
        ..v1::CheckCartRequest::default()
    }
}

fn pairs(lines: &[v1::CartLine]) -> Vec<(&str, u32)> {
    lines.iter().map(|line| (line.item.as_str(), line.quantity)).collect()
}

/// The message of a refusal, its cause and its details, as a person reads them.
fn told(error: &CartFileError) -> String {
    let cause = std::error::Error::source(error).map(|cause| format!(": {cause}")).unwrap_or_default();
    format!("{error}{cause}; {}", error.details().join("; "))
}

fn table_refused(text: &str, whole: &str) {
    assert_eq!(told(&table(text.as_bytes()).unwrap_err()).trim_end_matches("; "), whole, "{text:?}");
}

fn json_refused(text: &str, part: &str) {
    let told = told(&json(text.as_bytes(), &given()).unwrap_err());
    assert!(told.contains(part), "{text}: {told}");
}

#[test]
fn a_table_is_read_by_its_header() {
    let lines = table(b"item,quantity\nhwk-210, 2\n\"WD 80,214\",1\n").unwrap();
    assert_eq!(pairs(&lines), [("hwk-210", 2), ("WD 80,214", 1)]);
    // A byte-order mark, line ends of both kinds, an empty line, and no line end behind the last row.
    let lines = table("\u{feff}item,quantity\r\na,1\n\nb,4294967295".as_bytes()).unwrap();
    assert_eq!(pairs(&lines), [("a", 1), ("b", u32::MAX)]);
}

#[test]
fn a_table_with_another_header_is_refused() {
    table_refused("", "the header is ``, not `item,quantity`");
    table_refused("part,count\na,1\n", "the header is `part,count`, not `item,quantity`");
    table_refused("item,item\na,1\n", "the header is `item,item`, not `item,quantity`");
    table_refused(
        "item,quantity,colour\na,1,red\n",
        "the header is `item,quantity,colour`, not `item,quantity`",
    );
    table_refused("quantity,item\n1,a\n", "the header is `quantity,item`, not `item,quantity`");
    table_refused("item;quantity\na;1\n", "the header is `item;quantity`, not `item,quantity`");
    table_refused("hwk-210,2\n", "the header is `hwk-210,2`, not `item,quantity`");
    table_refused("item,quantity\n", "the table has no rows below its header");
}

#[test]
fn every_malformed_row_is_told_with_its_row_and_reason() {
    let one = "1 of its rows is malformed; row 2: ";
    for (row, fault) in [
        ("a,0", "`0` is no quantity of at least 1"),
        ("a,-1", "`-1` is no quantity of at least 1"),
        ("a,abc", "`abc` is no quantity of at least 1"),
        ("a,1e9", "`1e9` is no quantity of at least 1"),
        ("a,1.5", "`1.5` is no quantity of at least 1"),
        ("a,4294967296", "`4294967296` is no quantity of at least 1"),
        ("a,", "`` is no quantity of at least 1"),
        (",1", "names no item"),
        ("a", "has 1 columns, not 2"),
        ("a,1,2", "has 3 columns, not 2"),
    ] {
        table_refused(&format!("item,quantity\n{row}\n"), &format!("{one}{fault}"));
    }
    table_refused(
        "item,quantity\na,1\nb,0\n\n,1\n",
        "2 of its rows are malformed; row 3: `0` is no quantity of at least 1; row 5: names no item",
    );
    let many = format!("item,quantity\n{}", ",1\n".repeat(23));
    let details = table(many.as_bytes()).unwrap_err().details();
    assert_eq!((details.len(), details.last().map(String::as_str)), (21, Some("and 3 more")));
}

#[test]
fn what_is_no_text_is_refused() {
    // UTF-16 as a spreadsheet may save it.
    let error = table(b"\xff\xfei\0t\0e\0m\0").unwrap_err();
    assert!(matches!(error, CartFileError::NotText { at: 1 }), "{error:?}");
    let error = json(b"{\"lines\": [\xff]}", &given()).unwrap_err();
    assert!(matches!(error, CartFileError::NotText { at: 12 }), "{error:?}");
}

#[test]
fn json_holds_one_cart_or_many_and_the_command_line_fills_in() {
    let one = br#"{"vehicle": {"words": "2013 tamsel", "drive_side": "right"}, "lines": [{"item": "a"}, {"item": "b", "quantity": 3}]}"#;
    let Carts::One(cart) = json(one, &given()).unwrap() else { panic!("many") };
    assert_eq!(cart.radio_id, "given");
    let vehicle = cart.vehicle.unwrap();
    assert_eq!((vehicle.words.as_str(), vehicle.drive_side()), ("2013 tamsel", v1::DriveSide::Right));
    assert_eq!(pairs(&cart.lines), [("a", 1), ("b", 3)]);
    let many = "\u{feff} [{\"radio\": \"own\", \"lines\": []}, {\"lines\": [{\"item\": \"a\"}]}, \
                {\"radio_id\": \"third\", \"lines\": []}]";
    let Carts::Many(carts) = json(many.as_bytes(), &given()).unwrap() else { panic!("one") };
    assert_eq!(
        carts.iter().map(|cart| cart.radio_id.as_str()).collect::<Vec<_>>(),
        ["own", "given", "third"]
    );
    assert!(carts.iter().all(|cart| cart.vehicle == given().vehicle));
}

#[test]
fn json_that_is_no_cart_is_refused_with_its_place() {
    json_refused("", "EOF while parsing a value at line 1");
    json_refused("nonsense", "line 1 column 2");
    json_refused("[]", "its list has no carts");
    json_refused("{}", "missing field `lines`");
    json_refused(r#"{"lines": [{"quantity": 1}]}"#, "missing field `item`");
    json_refused("{\"lines\": [\n{\"item\": \"a\", \"quantity\": 0}]}", "nonzero u32 at line 2");
    json_refused(r#"{"lines": [{"item": "a", "quantity": -1}]}"#, "integer `-1`");
    json_refused(r#"{"lines": [{"item": "a", "quantity": 1e9}]}"#, "floating point `1000000000.0`");
    json_refused(r#"{"lines": [{"item": "a", "quantity": "2"}]}"#, "string \"2\"");
    json_refused(r#"{"lines": [], "basket": 1}"#, "unknown field `basket`");
    json_refused(r#"{"vehicle": {"year": 2013}, "lines": []}"#, "unknown field `year`");
    json_refused(r#"{"radio": "a", "radio": "b", "lines": []}"#, "duplicate field `radio`");
    json_refused(r#"{"lines": []} {"lines": []}"#, "trailing characters");
}

#[test]
fn a_file_is_read_by_the_end_of_its_name() {
    let directory = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = directory.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    };
    let csv = carts(&write("cart.CSV", "item,quantity\na,2\n"), &given()).unwrap();
    let Carts::One(cart) = csv else { panic!("many") };
    assert_eq!((pairs(&cart.lines).as_slice(), cart.radio_id.as_str()), ([("a", 2)].as_slice(), "given"));
    let error = carts(&write("cart.txt", "item,quantity\na,2\n"), &given()).unwrap_err();
    assert!(matches!(error, CartFileError::UnknownForm), "{error:?}");
    let error = carts(&directory.path().join("none.json"), &given()).unwrap_err();
    assert!(matches!(error, CartFileError::Unreadable(_)), "{error:?}");
}

/// A cart as JSON, by a writer of others: what a file says of its lines.
fn as_json(lines: &[(String, u32)]) -> String {
    let lines: Vec<_> = lines
        .iter()
        .map(|(item, quantity)| serde_json::json!({ "item": item, "quantity": quantity }))
        .collect();
    serde_json::json!({ "lines": lines }).to_string()
}

/// The same as a table, by the writer of the crate `csv`.
fn as_table(lines: &[(String, u32)]) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADER).unwrap();
    lines
        .iter()
        .for_each(|(item, quantity)| writer.write_record([item.as_str(), &quantity.to_string()]).unwrap());
    writer.into_inner().unwrap()
}

fn some_lines() -> impl Strategy<Value = Vec<(String, u32)>> {
    let item = prop_oneof!["[a-z0-9-]{1,12}", "[^\\p{Z}\\p{C}]{1,12}", "[a-z\",]{1,6} [0-9,\"]{1,6}"];
    proptest::collection::vec((item, 1..u32::MAX), 1..6)
}

proptest! {
    #[test]
    fn lines_are_read_as_they_were_written(lines in some_lines()) {
        let wanted: Vec<(&str, u32)> = lines.iter().map(|(item, quantity)| (item.as_str(), *quantity)).collect();
        let read = table(&as_table(&lines)).unwrap();
        prop_assert_eq!(pairs(&read), wanted.clone());
        let Carts::One(cart) = json(as_json(&lines).as_bytes(), &given()).unwrap() else { panic!("many") };
        prop_assert_eq!(pairs(&cart.lines), wanted);
    }

    /// Bytes of any kind, and files with bytes put in and left out, are read or refused with words; a row with its line.
    #[test]
    fn no_file_is_too_odd(
        lines in some_lines(), at in 0.0..1.0, put in proptest::collection::vec(any::<u8>(), 0..8), leave in 0..20_usize,
    ) {
        for mut bytes in [as_table(&lines), as_json(&lines).into_bytes(), put.clone()] {
            let begin = ((bytes.len() as f64) * at) as usize;
            bytes.splice(begin..(begin + leave).min(bytes.len()), put.iter().copied());
            let last = bytes.iter().filter(|byte| **byte == b'\n').count() as u64 + 1;
            if let Err(error) = table(&bytes) {
                prop_assert!(!told(&error).is_empty());
                if let CartFileError::Rows { rows } = &error {
                    prop_assert!(rows.iter().all(|(line, _)| (2..=last).contains(line)), "{:?} of {}", rows, last);
                }
            }
            if let Err(error) = json(&bytes, &given()) {
                prop_assert!(!told(&error).is_empty());
            }
        }
    }
}
