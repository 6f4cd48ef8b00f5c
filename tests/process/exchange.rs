//! Files of records by the commands of the back office: out, changed in a spreadsheet, in again; faults, and what was broken off.

use std::fs;

use dashwright_tests::binary::{Process, run};
use serde_json::Value;

use super::bench::{Bench, contains_all, serve};

fn begun(bench: &Bench) -> String {
    let begun = bench.json(&["draft", "new", "--reason", "a test"]);
    begun["draft"]["draftId"].as_str().unwrap().to_owned()
}

#[test]
fn a_table_is_exported_changed_and_imported() {
    let bench = Bench::new();
    let file = bench.path("parts.csv");
    let told = bench.text(&["export", "--to", &file, "--table", "part"]);
    contains_all(&told, &["records in", "SHA-256"]);
    assert!(!fs::exists(bench.path("parts.csv.checkpoint")).unwrap());
    let table = String::from_utf8(bench.read("parts.csv")).unwrap();
    // As a person would: one cell of one row.
    let row = table.lines().find(|row| row.starts_with("am-4l.910,")).unwrap();
    let changed = table.replace(row, &row.replace(",CURRENT,", ",DISCONTINUED,"));
    fs::write(&file, changed).unwrap();

    let id = begun(&bench);
    let import = ["draft", "import", &id, &file, "--table", "part", "--reason", "a test"];
    let ended = bench.ask(&import);
    assert_eq!(ended.status.code(), Some(1));
    contains_all(&ended.out, &["Nothing is imported: 1 fault", "there is another `part/"]);
    contains_all(&ended.err, &["1 fault", "--on-conflict replace"]);
    let replace = [&import[..], &["--on-conflict", "replace"]].concat();
    let told = bench.text(&[&replace[..], &["--validate-only"]].concat());
    contains_all(&told, &["would be put  1 record", "nothing is changed"]);
    let end = bench.json(&replace);
    assert_eq!((end["put"].as_str(), end["faultsTotal"].as_str()), (Some("1"), None), "{end}");
    let published = bench.json(&["draft", "publish", &id, "--reason", "a test"]);
    assert_eq!(published["changedRecords"], "1");
}

#[test]
fn faults_are_told_by_row_and_column() {
    let bench = Bench::new();
    let file = bench.path("bad.csv");
    let header = "id,brand,number,title,kind,life,covers,evidence.grade,evidence.source,evidence.date\r\n";
    fs::write(&file, format!("{header}zz-1,zz,Z 1,\"A part,LEAD,CURRENT,[],REPORTED,told,2026-01-02\r\n"))
        .unwrap();
    let id = begun(&bench);
    let ended = bench.ask(&["draft", "import", &id, &file, "--table", "part", "--reason", "a test"]);
    assert_eq!(ended.status.code(), Some(1));
    contains_all(&ended.out, &["ROW", "title", "opens a quote that is never closed"]);
    // Without --table it is no JSON.
    let ended = bench.ask(&["draft", "import", &id, &file, "--reason", "a test", "--json"]);
    let end: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!((ended.status.code(), end["faultsTotal"].as_str()), (Some(1), Some("2")), "{end}");
    contains_all(&ended.err, &["JSON Lines", "--table part"]);
    let nothing = bench.path("empty.jsonl");
    fs::write(&nothing, "").unwrap();
    contains_all(&bench.refused(&["draft", "import", &id, &nothing, "--reason", "a test"]), &["FILE"]);
    let gone = bench.path("gone.jsonl");
    contains_all(&bench.refused(&["draft", "import", &id, &gone, "--reason", "a test"]), &["gone.jsonl"]);
    let draft = bench.json(&["draft", "show", &id]);
    assert_eq!(draft["draft"]["edits"].as_str(), None, "{draft}");
}

/// A server that is killed while it puts the records leaves an import that nothing but its repetition finishes.
#[test]
fn an_import_that_a_kill_broke_off_is_finished_by_its_repetition() {
    let bench = Bench::new();
    let id = begun(&bench);
    let record = |number: usize| {
        format!(
            r#"{{"vocabulary":{{"id":"zz-{number}","of":"MAKE","name":"Zz {number}","evidence":{{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}}}}}}"#
        )
    };
    let (file, records) = (bench.path("many.jsonl"), 60_000);
    fs::write(&file, (0..records).map(|number| record(number) + "\n").collect::<String>()).unwrap();
    let request = "0199c5a0-0000-7000-8000-000000000001";
    let import = ["draft", "import", &id, &file, "--reason", "a test", "--request-id", request];
    let importing = Process::start(&[&import[..], &["--server", &bench.address]].concat()).unwrap();
    // Once it has begun to write.
    loop {
        let draft = bench.json(&["draft", "show", &id, "--page-size", "1"]);
        if draft["draft"]["unfinishedImport"].is_object() {
            break;
        }
        assert!(draft["draft"]["edits"].is_null(), "the import was over before it was seen");
    }
    let Bench { root, server, .. } = bench;
    server.kill().unwrap();
    assert!(!importing.ended().unwrap().success());

    let data = root.path().join("data");
    let mut server = serve(&data, &[]);
    let address = server.serving().unwrap().1;
    let bench = Bench { root, server, address, key: None };
    contains_all(&bench.text(&["draft", "list"]), &["not finished"]);
    contains_all(&bench.text(&["draft", "show", &id, "--page-size", "1"]), &["not finished", request]);
    let publish = ["draft", "publish", &id, "--reason", "a test"];
    contains_all(&bench.refused(&publish), &["not finished", "repeat it with the same file"]);
    let end = bench.json(&import);
    let put: usize = end["put"].as_str().unwrap().parse().unwrap();
    let unchanged: usize = end["unchanged"].as_str().unwrap().parse().unwrap();
    assert!(put > 0 && unchanged > 0 && put + unchanged == records, "{end}");
    assert_eq!(fs::read_dir(data.join("imports")).unwrap().count(), 0);
    let published = bench.json(&publish);
    assert_eq!(published["changedRecords"], records.to_string());
    let ended = run(&["audit", "verify", data.to_str().unwrap()]).unwrap();
    assert!(ended.status.success(), "{ended:?}");
}
