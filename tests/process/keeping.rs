//! What is kept, by the commands of its user: drafts, revisions, exports, the trail, keys, backups, and their refusals.

use std::fs;
use std::path::Path;

use dashwright_log::{Digest, Note};
use dashwright_tests::binary::{Line, Process, run};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::bench::{Bench, contains_all, done, make, mode, refused, serve};

#[test]
fn a_draft_is_edited_published_told_apart_and_exported() {
    let bench = Bench::new();
    let first = bench.json(&["info"])["revision"]["token"].as_str().unwrap().to_owned();
    let id = bench.draft("zz-new", "Zz New");
    contains_all(&bench.text(&["draft", "list"]), &["1", "a test"]);
    contains_all(&bench.text(&["draft", "show", &id]), &["vocabulary/zz-new", "added"]);
    let shown = bench.text(&["draft", "show", &id, "--full"]);
    contains_all(&shown, &["Zz New", &id]);
    assert!(bench.refused(&["record", "get", "vocabulary/zz-new"]).contains("zz-new"), "it is live already");

    let publish = ["draft", "publish", &id, "--reason", "go live", "--checkpoint-file", &bench.path("kept")];
    let said = bench.text(&publish);
    contains_all(&said, &["Revision 2", "1 record", "keep it elsewhere"]);
    let kept = String::from_utf8(bench.read("kept")).unwrap();
    assert!(said.contains(&kept), "the checkpoint of the file is not the one that was told");
    let note = Note::parse(&kept).unwrap();
    assert_eq!((note.checkpoint().revision, note.checkpoint().size), (2, 8));

    contains_all(&bench.text(&["revisions"]), &["go live", "initial load"]);
    contains_all(
        &bench.text(&["diff", "1", "2"]),
        &[
            "vocabulary/zz-new added",
            "Zz New",
            "from revision 1 to revision 2: 1 added, 0 deleted, 0 changed",
        ],
    );
    assert_eq!(bench.text(&["diff", &first]), bench.text(&["diff", "1"]), "by token as by number");
    contains_all(&bench.refused(&["diff", "7"]), &["no revision 7, the latest is 2"]);
    let told = bench.text(&["watch", "--once", "1", "--after", &first]);
    assert_eq!(told.lines().count(), 1, "{told}");
    contains_all(&told, &["revision 2", "1 record changed", "go live"]);

    for name in ["one", "two"] {
        contains_all(&bench.text(&["export", "--to", &bench.path(name)]), &["revision 2", name]);
    }
    let old = bench.text(&["export", "--to", "-", "--at", &first]);
    // SHA-256 by the `sha2` crate; the hash of the latest revision by the checkpoint of its publish.
    let hash = Digest(Sha256::digest(bench.read("one")).into());
    assert_eq!(hash, note.checkpoint().content_hash);
    assert_eq!(
        (bench.read("one"), bench.read("one.checkpoint")),
        (bench.read("two"), bench.read("two.checkpoint"))
    );
    let mut lines: Vec<&str> = old.lines().collect();
    let new = String::from_utf8(bench.read("one")).unwrap();
    lines.push(new.lines().find(|line| line.contains("zz-new")).unwrap());
    lines.sort_unstable();
    let mut expected: Vec<&str> = new.lines().collect();
    expected.sort_unstable();
    assert!(lines == expected, "the exports differ in more than the record");

    let thrown = bench.draft("zz-other", "Zz Other");
    contains_all(&bench.text(&["draft", "discard", &thrown, "--reason", "no"]), &["the trail keeps"]);
    for gone in [&id, &thrown] {
        let said = bench.refused(&["draft", "publish", gone, "--reason", "again"]);
        contains_all(&said, &["no open draft", "dashwright draft list"]);
    }
}

#[test]
fn a_check_fails_where_there_are_errors_and_tells_them() {
    let bench = Bench::new();
    let id = bench.draft("zz-new", "Aurel");
    contains_all(&bench.text(&["draft", "check", &id]), &[&id, "0 errors", "put onto", "Warnings"]);
    let about = ["draft", "check", &id, "--record", "vocabulary/zz-new"];
    contains_all(&bench.text(&about), &["0 errors, 1 warning", "vocabulary/zz-new"]);
    bench.text(&["draft", "edit", &id, "--delete", "vocabulary/collar-coax", "--reason", "a test"]);
    let broken = bench.ask(&["draft", "check", &id, "--errors-only"]);
    assert_eq!(broken.status.code(), Some(1), "{broken:?}");
    contains_all(&broken.out, &["vocabulary/collar-coax", "there may be more"]);
    contains_all(&broken.err, &["errors were found"]);
    let as_json = bench.ask(&["draft", "check", &id, "--json"]);
    let found: Value = serde_json::from_str(&as_json.out).unwrap();
    assert_eq!(found["found"]["findings"][0]["kind"], "FINDING_KIND_DANGLING");
    assert_eq!(as_json.status.code(), Some(1));
    contains_all(&bench.text(&["draft", "check", &id, "--holes"]), &["not looked for"]);
    contains_all(&bench.text(&["draft", "check", "--holes"]), &["holes", "left out"]);
    let said = bench.refused(&["draft", "check", "--record", "part/no-such"]);
    contains_all(&said, &["no-such"]);
}

#[test]
fn golden_questions_are_added_asked_and_accepted() {
    let bench = Bench::new();
    contains_all(&bench.text(&["golden", "list"]), &["tamsel-2013-rowan", "3"]);
    contains_all(&bench.text(&["golden", "run"]), &["3 questions, 0 answered otherwise"]);
    let id = bench.draft("zz-new", "Aurel");
    let add = [
        "golden",
        "add",
        &id,
        "kept",
        "--title",
        "A test",
        "--radio",
        "sonquill-rowan-2",
        "--source",
        "a test",
    ];
    let add = [&add[..], &["--date", "2026-01-01", "--reason", "a test"]].concat();
    let added = bench.text(&[&add[..], &["2013", "orvane", "tamsel", "hatchback", "--audio", "A8"]].concat());
    contains_all(
        &added,
        &["kept: A test", "fits with parts", "am-4l.118 + hwk-210-d", "look whether it is right"],
    );
    let refused = bench.refused(&[&add[..], &["--vin", "1M8GDM9AXKP042788"]].concat());
    contains_all(&refused, &["no vehicle identification number"]);

    bench.text(&["draft", "retire", &id, "part/mw-12p", "--reason", "a test"]);
    let wrong = bench.ask(&["golden", "run", &id, "--wrong-only"]);
    assert_eq!(wrong.status.code(), Some(1), "{wrong:?}");
    contains_all(&wrong.out, &["kept: A test", "tamsel-2013-rowan", "golden accept"]);
    contains_all(&wrong.err, &["2 questions are answered otherwise"]);
    let refused = bench.refused(&["draft", "publish", &id, "--reason", "a test"]);
    contains_all(&refused, &["2 errors in the records", "golden_question/kept"]);
    let accept = ["golden", "accept", &id, "kept", "tamsel-2013-rowan", "--reason", "no longer made"];
    contains_all(&bench.text(&accept), &["expects the answer of now"]);
    bench.text(&["golden", "run", &id]);
    bench.text(&["draft", "publish", &id, "--reason", "a test"]);
}

#[test]
fn a_preview_tells_what_a_draft_changes() {
    let bench = Bench::new();
    let id = bench.draft("zz-new", "Aurel");
    contains_all(&bench.text(&["draft", "preview", &id]), &["0 plans may change", "0 stay the same"]);
    bench.text(&["draft", "retire", &id, "part/mw-12p", "--reason", "a test"]);
    let told = bench.text(&["draft", "preview", &id]);
    contains_all(&told, &["plans may change", "golden question", "-mw-12p", "such as"]);
    let cut = bench.text(&["draft", "preview", &id, "--groups", "0"]);
    contains_all(&cut, &["plans may change", "more group"]);
    assert!(!cut.contains("such as"), "{cut}");
    let lines = bench.text(&["draft", "preview", &id, "--json"]);
    let lines: Vec<Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let (end, groups) = lines.split_last().unwrap();
    assert_eq!(end["groupsTotal"], groups.len());
    assert!(groups.iter().any(|it| it["partIdsGone"][0] == "mw-12p"), "{groups:?}");
    contains_all(&bench.refused(&["draft", "preview", "no-such"]), &["no-such"]);
}

#[test]
fn a_watch_tells_what_is_published_while_it_waits() {
    let bench = Bench::new();
    let first = bench.json(&["info"])["revision"]["token"].as_str().unwrap().to_owned();
    let mut watch = ["watch", "--once", "2", "--after", &first, "--server", &bench.address].to_vec();
    watch.push("--json");
    let mut watching = Process::start(&watch).unwrap();
    for (number, name) in [(2, "One"), (3, "Two")] {
        bench.published("zz-new", name);
        let Line::Out(line) = watching.wait_for(|line| matches!(line, Line::Out(_))).unwrap() else {
            panic!()
        };
        let event: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(event["published"]["revision"]["number"], number.to_string(), "{event}");
    }
    assert!(watching.ended().unwrap().success());
}

#[test]
fn a_repeated_request_is_made_once_and_told_as_before() {
    let bench = Bench::new();
    let (one, two) = (uuid::Uuid::new_v4().to_string(), uuid::Uuid::new_v4().to_string());
    let begin = ["draft", "new", "--reason", "a test", "--request-id", &one];
    let begun = bench.json(&begin);
    let again = bench.json(&begin);
    assert_eq!((&again["draft"], &again["repeated"]), (&begun["draft"], &Value::Bool(true)));
    let id = begun["draft"]["draftId"].as_str().unwrap();
    fs::write(bench.path("edit.jsonl"), make("zz-new", "Zz New") + "\n").unwrap();
    bench.text(&["draft", "edit", id, "--put", &bench.path("edit.jsonl"), "--reason", "a test"]);
    let publish = ["draft", "publish", id, "--reason", "go", "--request-id", &two];
    let published = bench.json(&publish);
    let again = bench.json(&publish);
    assert_eq!(
        (&again["revision"], &again["checkpoint"]),
        (&published["revision"], &published["checkpoint"])
    );
    contains_all(&bench.text(&publish), &["Revision 2", "repeat"]);
    let entries = bench.json(&["audit", "list", "--draft", id]);
    assert_eq!(entries["total"], "3", "the draft is begun, edited and published once: {entries}");
    let said = bench.refused(&["draft", "discard", id, "--reason", "no", "--request-id", &two]);
    contains_all(&said, &["another", "leave out --request-id"]);
}

#[test]
fn the_trail_is_listed_proven_and_verified() {
    let bench = Bench::new();
    bench.published("zz-new", "One");
    let checkpoint = bench.text(&["audit", "checkpoint", "--to", &bench.path("kept")]);
    bench.published("zz-new", "Two");
    let listed = bench.json(&["audit", "list", "--record", "vocabulary/zz-new"]);
    let sequences: Vec<_> = listed["entries"].as_array().unwrap().iter().map(|it| &it["sequence"]).collect();
    // 1 the dataset, 2 to 5 the load, 6 to 8 the first draft, 9 to 11 the second.
    assert_eq!(sequences, ["7", "10"]);
    contains_all(
        &bench.text(&["audit", "list", "--actor", "this machine", "--limit", "2"]),
        &["2 of 6 entries"],
    );
    contains_all(
        &bench.text(&["audit", "list", "--kind", "revision.publish", "--payload"]),
        &["content_hash"],
    );
    let kept = bench.path("kept");
    contains_all(
        &bench.text(&["audit", "proof", "--entry", "7", "--checkpoint", &kept]),
        &["Entry 7 stands in the trail of 8 entries", "which is the same"],
    );
    contains_all(
        &bench.text(&["audit", "proof", "--checkpoint", &kept]),
        &["The trail of 11 entries continues the one of 8"],
    );
    contains_all(
        &bench.refused(&["audit", "proof", "--entry", "12"]),
        &["11 entries", "dashwright audit checkpoint"],
    );
    let of_another = String::from_utf8(bench.read("kept")).unwrap().replacen("\n8\n", "\n7\n", 1);
    fs::write(bench.path("another"), of_another).unwrap();
    contains_all(
        &bench.refused(&["audit", "proof", "--checkpoint", &bench.path("another")]),
        &["the trail is another one"],
    );

    bench.text(&["export", "--to", &bench.path("export")]);
    bench.text(&["backup", "--to", &bench.path("backup"), "--reason", "drill"]);
    let verifier = bench.json(&["audit", "checkpoint"])["verifierKey"].as_str().unwrap().to_owned();
    for (what, entries) in [("data", Some(12)), ("backup", Some(12)), ("export", None)] {
        let verify = ["audit", "verify", &bench.path(what), "--verifier-key", &verifier, "--json"];
        let report: Value = serde_json::from_str(&done(run(&verify).unwrap(), &verify)).unwrap();
        assert_eq!(report["entries"].as_u64(), entries, "{report}");
        assert_eq!(report["signedBy"], "dashwright", "{report}");
    }
    assert!(checkpoint.contains("verifier") || verifier.starts_with("dashwright+"));
    for what in ["data", "backup"] {
        let verify = ["audit", "verify", &bench.path(what), "--checkpoint", &kept];
        contains_all(&done(run(&verify).unwrap(), &verify), &["is whole", "agree"]);
    }
    let stranger = ["audit", "verify", &bench.path("data"), "--verifier-key", STRANGER];
    contains_all(&refused(run(&stranger).unwrap(), &stranger), &["signed"]);
}

/// A key that signs nothing here: the public key of RFC 8032, 7.1, test 1, in the form of C2SP signed-note. The eight digits
/// begin the SHA-256, by Python's hashlib, of the name, a line feed, 0x01 and the key.
const STRANGER: &str = "stranger+c3882aa2+AddamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea";

#[test]
fn a_file_that_was_changed_is_refused_with_the_entry() {
    let bench = Bench::new();
    bench.published("zz-new", "One");
    bench.text(&["backup", "--to", &bench.path("backup"), "--reason", "drill"]);
    bench.text(&["export", "--to", &bench.path("export")]);
    let whole = String::from_utf8(bench.read("backup")).unwrap();
    let lines: Vec<&str> = whole.split_inclusive('\n').collect();
    let without = |at: usize| [&lines[..at], &lines[at + 1..]].concat().concat();
    let swapped = [&lines[..4], &[lines[5], lines[4]], &lines[6..]].concat().concat();
    // Line 1 is the header, so that entry n is on line n + 1.
    for (name, content, said) in [
        (
            "edited",
            whole.replacen("\"One\"", "\"Two\"", 1).replacen(r#"\"One\""#, r#"\"Two\""#, 1),
            "entry 7",
        ),
        ("deleted", without(4), "entry 4"),
        ("swapped", swapped, "entry 4"),
        ("cut", whole[..whole.len() / 2].to_owned(), "incomplete"),
        ("last line", without(lines.len() - 1), "incomplete"),
        ("longer", format!("{whole}{{}}\n"), "behind the end"),
        ("empty", String::new(), "no backup"),
    ] {
        assert_ne!(content, whole, "{name}");
        fs::write(bench.path(name), content).unwrap();
        let verify = ["audit", "verify", &bench.path(name)];
        contains_all(&refused(run(&verify).unwrap(), &verify), &[said, name]);
        let (data, file) = (bench.path("copy"), bench.path(name));
        let restore = ["restore", &file, "--data", &data, "--reason", "drill"];
        let said = refused(run(&restore).unwrap(), &restore);
        contains_all(&said, &[name]);
        let serve = ["serve", "--data", &data, "--listen", "127.0.0.1:0"];
        refused(run(&serve).unwrap(), &serve);
    }
    let export = String::from_utf8(bench.read("export")).unwrap().replacen("\"One\"", "\"Two\"", 1);
    fs::write(bench.path("export"), export).unwrap();
    let verify = ["audit", "verify", &bench.path("export")];
    contains_all(&refused(run(&verify).unwrap(), &verify), &["revision 2 of the checkpoint"]);
}

#[test]
fn a_backup_is_restored_into_an_empty_directory_only_and_served() {
    let mut bench = Bench::new();
    bench.published("zz-new", "One");
    let info = bench.json(&["info"]);
    let said = bench.text(&["backup", "--to", &bench.path("backup"), "--reason", "drill"]);
    contains_all(&said, &["9 entries", "all verified", "keep it elsewhere"]);
    assert_eq!(mode(&bench.path("backup")), 0o600);
    contains_all(
        &bench.refused(&["backup", "--to", &bench.path("backup"), "--reason", "drill"]),
        &["is there already"],
    );
    assert!(
        fs::read_dir(bench.root.path())
            .unwrap()
            .all(|entry| { !entry.unwrap().file_name().to_string_lossy().ends_with(".partial") })
    );

    let copy = bench.path("copy");
    let restore = |data: &str| {
        let arguments = ["restore", &bench.path("backup"), "--data", data, "--reason", "drill"];
        run(&arguments).unwrap()
    };
    fs::create_dir(bench.path("occupied")).unwrap();
    fs::write(bench.path("occupied/letter.txt"), "dear").unwrap();
    contains_all(&refused(restore(&bench.path("occupied")), &["restore"]), &["letter.txt"]);
    assert_eq!(fs::read_dir(bench.path("occupied")).unwrap().count(), 1, "something was left there");
    refused(restore(&bench.path("data")), &["restore into the live one"]);
    contains_all(&done(restore(&copy), &["restore"]), &["9", "copy"]);
    refused(restore(&copy), &["restore again"]);

    let mut server = serve(Path::new(&copy), &[]);
    let (revision, address) = server.serving().unwrap();
    assert_eq!(revision, 2);
    let original = std::mem::replace(&mut bench.address, address);
    let found = bench.json(&["info"]);
    assert_eq!(found["revision"], info["revision"], "the same revision by the same name");
    assert_ne!(found["incarnation"], info["incarnation"]);
    contains_all(&bench.text(&["audit", "list", "--kind", "dataset.restore"]), &["drill", "1 of 1 entry"]);
    // What is published on both sides from here on is not mistaken for one another.
    bench.published("zz-new", "There");
    let there = bench.json(&["info"])["revision"]["token"].as_str().unwrap().to_owned();
    bench.address = original;
    bench.published("zz-new", "Here");
    contains_all(&bench.refused(&["record", "get", "vocabulary/zz-new", "--at", &there]), &["another"]);
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
    bench.server.terminate().unwrap();
    assert!(bench.server.ended().unwrap().success());
}

#[test]
fn keys_are_made_listed_used_and_revoked() {
    let mut bench = Bench::new();
    contains_all(&bench.text(&["key", "list"]), &["no key was made yet"]);
    let first = bench.refused(&["key", "new", "--holder", "Ada", "--role", "reader", "--reason", "first"]);
    contains_all(&first, &["operator"]);
    let file = bench.path("ada.key");
    let new = [
        "key", "new", "--holder", "Ada", "--role", "operator", "auditor", "--reason", "first", "--to", &file,
    ];
    let said = bench.text(&new);
    let key = fs::read_to_string(&file).unwrap();
    assert!(!said.contains(key.trim()), "the key is in its file, and was told as well");
    assert_eq!(mode(&file), 0o600);
    assert_eq!(mode(&bench.path("data/key-secret")), 0o600);
    contains_all(&bench.refused(&["key", "list"]), &["needs a key", "--key-file"]);
    bench.key = Some(file.clone());
    contains_all(&bench.refused(&new), &["is there already"]);

    let told = bench.ask(&["key", "new", "--holder", "Ben", "--role", "reader", "--reason", "second"]);
    assert!(told.status.success() && told.err.contains("told this once"), "{told:?}");
    assert_eq!((told.out.len(), told.out.trim().matches('_').count()), (key.len(), 3), "the key alone");
    fs::write(bench.path("ben.key"), &told.out).unwrap();
    let read_by_all = bench.path("ben.key");
    let warned = run(&["info", "--server", &bench.address, "--key-file", &read_by_all]).unwrap();
    contains_all(&warned.err, &["warning: other users of this machine can read", "chmod 600"]);
    fs::set_permissions(&read_by_all, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    let listed = bench.json(&["key", "list"]);
    let keys = listed["keys"].as_array().unwrap();
    let holders: Vec<_> = keys.iter().map(|key| key["holder"].as_str().unwrap()).collect();
    assert_eq!(holders, ["Ada", "Ben"], "in the order of making: {listed}");
    let id = keys.iter().find(|key| key["holder"] == "Ben").unwrap()["keyId"].as_str().unwrap().to_owned();

    let ben = |arguments: &[&str]| {
        let more = ["--server", &bench.address, "--key-file", &bench.path("ben.key")];
        run(&[arguments, &more].concat()).unwrap()
    };
    done(ben(&["info"]), &["info"]);
    contains_all(&refused(ben(&["draft", "new", "--reason", "x"]), &["draft"]), &["curator"]);
    contains_all(&refused(ben(&["audit", "checkpoint"]), &["audit"]), &["auditor"]);
    contains_all(&bench.text(&["key", "revoke", &id, "--reason", "left"]), &["revoked"]);
    contains_all(&refused(ben(&["info"]), &["info"]), &["revoked"]);
    contains_all(&bench.refused(&["key", "revoke", &id, "--reason", "left"]), &["dashwright key list"]);
    contains_all(&bench.text(&["audit", "list", "--kind", "key.revoke"]), &["left", "1 of 1 entry"]);
    let past =
        ["key", "new", "--holder", "Cy", "--role", "reader", "--reason", "x", "--expires", "2020-01-01"];
    contains_all(&bench.refused(&past), &["2020-01-01"]);
}

#[test]
fn nonsense_is_not_understood_and_nothing_is_asked() {
    // Nobody listens at this address: whatever asks ends with 1, not with 2.
    let server = ["--server", "http://127.0.0.1:1"];
    for (line, said) in [
        ("draft new", "--reason"),
        ("draft edit some --reason x", "--put"),
        ("draft edit some --delete vocabulary --reason x", "`vocabulary` is not a record key"),
        ("draft publish some --reason x --request-id seven", "--request-id"),
        ("diff 0", "counts from 1"),
        ("watch --once 0", "from 1 on"),
        ("watch --once some", "from 1 on"),
        ("audit proof", "--entry"),
        ("audit proof --entry 0", "from 1 on"),
        ("audit proof --entry 1 --from-size 2", "cannot be used with"),
        ("audit list --from yesterday", "not a time in UTC"),
        ("audit verify", "DIR|FILE"),
        ("key new --holder a --role king --reason x", "operator"),
        ("key new --holder a --role reader", "--reason"),
        ("backup --reason x", "--to"),
        ("restore file --reason x", "--data"),
    ] {
        let mut arguments: Vec<&str> = line.split(' ').collect();
        if !["audit verify", "restore file --reason x"].contains(&line) {
            arguments.extend(server);
        }
        let ended = run(&arguments).unwrap();
        assert_eq!((ended.status.code(), ended.out.as_str()), (Some(2), ""), "{line}: {ended:?}");
        contains_all(&ended.err, &[said]);
    }
}

#[test]
fn a_backup_that_is_killed_leaves_a_file_that_is_no_backup() {
    use std::io::{Read as _, Write as _};
    let bench = Bench::new();
    // A proxy that lets half of a backup through and then holds on to the rest, so that the kill falls in between.
    let length = {
        bench.text(&["backup", "--to", &bench.path("whole"), "--reason", "drill"]);
        bench.read("whole").len()
    };
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let proxy = format!("http://{}", listener.local_addr().unwrap());
    let server = bench.address.trim_start_matches("http://").to_owned();
    std::thread::spawn(move || {
        let (mut client, _) = listener.accept().unwrap();
        let mut upstream = std::net::TcpStream::connect(server).unwrap();
        let (mut requests, mut forward) = (client.try_clone().unwrap(), upstream.try_clone().unwrap());
        std::thread::spawn(move || std::io::copy(&mut requests, &mut forward));
        let mut half = vec![0; length / 2];
        upstream.read_exact(&mut half).unwrap();
        client.write_all(&half).unwrap();
        std::thread::park();
    });
    let to = bench.path("broken");
    let killed = Process::start(&["backup", "--to", &to, "--reason", "drill", "--server", &proxy]).unwrap();
    let begin = std::time::Instant::now();
    let partial = loop {
        let names = fs::read_dir(bench.root.path()).unwrap().map(|entry| entry.unwrap().path());
        let found = names.into_iter().find(|path| path.to_string_lossy().ends_with(".partial"));
        if let Some(path) = found.filter(|path| fs::metadata(path).unwrap().len() > 0) {
            break path;
        }
        assert!(begin.elapsed() < std::time::Duration::from_secs(60), "no backup was begun");
        std::thread::yield_now();
    };
    killed.kill().unwrap();
    assert!(!Path::new(&to).exists(), "half a backup has the name of a whole one");
    assert!(partial.file_name().unwrap().to_string_lossy().starts_with("broken."), "{partial:?}");
    let verify = ["audit", "verify", partial.to_str().unwrap()];
    contains_all(&refused(run(&verify).unwrap(), &verify), &["incomplete", "interrupted"]);
    bench.text(&["backup", "--to", &to, "--reason", "again"]);
}
