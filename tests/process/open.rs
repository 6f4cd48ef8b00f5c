//! `draft open`: a record in an editor, which here is a script.

#![cfg(unix)]

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use dashwright_tests::binary::{Ended, Process, run, run_at};
use serde_json::Value;

/// An editor that does what a line of shell says to the file `$1`.
fn editor(home: &Path, does: &str) -> String {
    let path = home.join("editor.sh");
    std::fs::write(&path, format!("#!/bin/sh\n{does}\n")).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn a_record_is_edited_what_is_wrong_is_shown_in_place_and_nothing_typed_is_lost() {
    let home = tempfile::tempdir().unwrap();
    let data = home.path().join("data");
    let mut server =
        Process::start(&["serve", "--init", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"])
            .unwrap();
    let (_, address) = server.serving().unwrap();
    let begun = run(&["draft", "new", "--reason", "a test", "--json", "--server", &address]).unwrap();
    let begun: Value = serde_json::from_str(&begun.out).unwrap();
    let draft = begun["draft"]["draftId"].as_str().unwrap();
    let open = |does: &str| -> Ended {
        let editor = editor(home.path(), does);
        let arguments = ["draft", "open", draft, "vocabulary/zz", "--reason", "why", "--server", &address];
        run_at(home.path(), &arguments, &[("EDITOR", editor.as_ref()), ("VISUAL", "".as_ref())]).unwrap()
    };
    let items = || -> Value {
        let shown = run(&["draft", "show", draft, "--json", "--server", &address]).unwrap();
        serde_json::from_str::<Value>(&shown.out).unwrap()["items"].clone()
    };

    let left = open("true");
    assert!(left.status.success() && left.out == "nothing was changed\n", "{left:?}");
    let emptied = open(": > \"$1\"");
    assert!(emptied.status.success() && emptied.out == "nothing was changed\n", "{emptied:?}");

    // At first without evidence: the second time the file says what is missing, above its line.
    let record = r#"{"vocabulary":{"id":"zz","of":"MAKE","name":"Zz"}}"#;
    let whole =
        record.replace("\"Zz\"", r#""Zz","evidence":{"grade":"ASSUMED","source":"s","date":"2026-01-01"}"#);
    let mends = format!(
        "if grep -q 'WRONG.*missing field .evidence' \"$1\"; then cp \"$1\" seen; echo '{whole}' > \"$1\"; \
         else echo '{record}' > \"$1\"; fi"
    );
    let mended = open(&mends);
    assert!(mended.status.success() && mended.out.contains("edits        1"), "{mended:?}");
    assert_eq!(items()[0]["json"], whole);
    assert!(std::fs::read_to_string(home.path().join("seen")).unwrap().starts_with("// vocabulary/zz, new;"));

    // Left wrong: nothing is put, and what was typed is kept.
    let wrong = open("sed -i 's/ASSUMED/GUESSED/' \"$1\"");
    assert!(!wrong.status.success(), "{wrong:?}");
    assert!(
        wrong.err.contains("unknown variant `GUESSED`") && wrong.err.contains("zz-not-put.json"),
        "{wrong:?}"
    );
    assert!(std::fs::read_to_string(home.path().join("zz-not-put.json")).unwrap().contains("GUESSED"));
    assert_eq!(items()[0]["json"], whole);

    let renamed = open("sed -i 's/\"Zz\"/\"Zzz\"/' \"$1\"");
    assert!(renamed.status.success(), "{renamed:?}");
    assert!(items()[0]["json"].as_str().unwrap().contains("\"Zzz\""));
    let failed = open("exit 3");
    assert!(!failed.status.success() && failed.err.contains("ended with"), "{failed:?}");
    let nobody = run_at(
        home.path(),
        &["draft", "open", draft, "vocabulary/zz", "--reason", "why", "--server", &address],
        &[("EDITOR", "".as_ref()), ("VISUAL", "".as_ref())],
    )
    .unwrap();
    assert!(nobody.err.contains("neither VISUAL nor EDITOR"), "{nobody:?}");
}
