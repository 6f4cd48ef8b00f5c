//! Differences against values written by hand, and against the JSON Patch of another library.

use std::sync::Arc;

use dashwright_snapshot::SourceRecord;
use proptest::prelude::*;
use serde_json::json;

use super::*;

fn term(id: &str, name: &str) -> String {
    let evidence = r#""evidence":{"grade":"MEASURED","source":"bench note","date":"2024-05-01"}"#;
    format!(r#"{{"vocabulary":{{"id":"{id}","of":"MAKE","name":"{name}",{evidence}}}}}"#)
}

fn snapshot(terms: &[(&str, &str)]) -> Snapshot {
    let source = |(id, name): &(&str, &str)| SourceRecord { text: Arc::from(term(id, name)), revision: 1 };
    Snapshot::build(terms.iter().map(source).collect()).unwrap()
}

#[test]
fn records_are_added_deleted_changed_or_left_alone() {
    let before = snapshot(&[("a", "A"), ("b", "B"), ("c", "C"), ("e", "E")]);
    let after = snapshot(&[("b", "B"), ("c", "See"), ("d", "D"), ("e", "E"), ("f", "F")]);
    let found = diff(&before, &after);
    let told: Vec<(String, &str)> = found
        .iter()
        .map(|diff| {
            let what = match diff.change {
                RecordChange::Added(_) => "added",
                RecordChange::Deleted(_) => "deleted",
                RecordChange::Changed(..) => "changed",
            };
            (diff.key.to_string(), what)
        })
        .collect();
    let expected = [
        ("vocabulary/a", "deleted"),
        ("vocabulary/c", "changed"),
        ("vocabulary/d", "added"),
        ("vocabulary/f", "added"),
    ];
    assert_eq!(told, expected.map(|(key, what)| (key.to_owned(), what)));
    let fields = found[1].change.fields().unwrap();
    assert_eq!(
        fields,
        [FieldDiff { path: "/name".to_owned(), before: Some(json!("C")), after: Some(json!("See")) }]
    );
    assert_eq!(found[2].change.fields().unwrap().len(), 4, "each field of a record that is new");
    assert!(diff(&after, &after).is_empty());
}

#[test]
fn fields_have_the_paths_of_rfc_6901() {
    // The escapes are those of RFC 6901, section 3: `~` is `~0`, `/` is `~1`.
    let before = json!({"a/b": 1, "m~n": {"x": [1, 2]}, "same": [], "gone": null});
    let after = json!({"a/b": 2, "m~n": {"x": [1, 3]}, "same": [], "new": {"deep": 1}});
    let told: Vec<String> = field_diffs(&before, &after)
        .into_iter()
        .map(|diff| format!("{} {:?} {:?}", diff.path, diff.before.is_some(), diff.after.is_some()))
        .collect();
    assert_eq!(told, ["/a~1b true true", "/gone true false", "/m~0n/x/1 true true", "/new false true"]);
}

fn value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        (0..4_i64).prop_map(Value::from),
        "[a-c~/]{0,2}".prop_map(Value::from),
    ];
    leaf.prop_recursive(3, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(Value::from),
            prop::collection::btree_map("[a-c~/]{1,2}", inner, 0..4)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

proptest! {
    /// The `json-patch` crate, which implements RFC 6902, turns the one into the other with what was found.
    #[test]
    fn what_differs_leads_from_the_one_to_the_other(before in value(), after in value()) {
        let found = field_diffs(&before, &after);
        prop_assert_eq!(found.is_empty(), before == after);
        let operations: Vec<Value> = found
            .iter()
            .map(|diff| match (&diff.before, &diff.after) {
                (Some(_), Some(after)) => json!({"op": "replace", "path": diff.path, "value": after}),
                (None, Some(after)) => json!({"op": "add", "path": diff.path, "value": after}),
                _ => json!({"op": "remove", "path": diff.path}),
            })
            .collect();
        let patch: json_patch::Patch = serde_json::from_value(Value::from(operations)).unwrap();
        let mut patched = before.clone();
        json_patch::patch(&mut patched, &patch).unwrap();
        prop_assert_eq!(&patched, &after);
        for diff in &found {
            prop_assert_eq!(before.pointer(&diff.path), diff.before.as_ref());
            prop_assert_eq!(after.pointer(&diff.path), diff.after.as_ref());
        }
    }
}
