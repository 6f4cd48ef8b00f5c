//! The data directory of format 1 that is kept for good: it opens, and says what it said when it was made.

use std::fs;
use std::path::{Path, PathBuf};

use dashwright_log::Digest;
use dashwright_tests::binary::{Process, run};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tempfile::TempDir;

/// The files as they were made, by coreutils: `find . -type f | sort | xargs sha256sum`. Whoever has to change a line here
/// is about to break what was promised: a newer format gets a directory of its own.
const FILES: [(&str, &str); 7] = [
    ("ada.key", "78d4da6ef7a8e566f6ba916a87243230abf46c00e045cff3e72d541137fb19f9"),
    ("backup", "f6b1d8edc1fe92e40d68c981a4cadcec883c2a73c3e5102ad1b8e9c4b946aa6f"),
    ("checkpoint-seed", "1d46dab12710d1c28779ef62f44c0dd2cd56bcd0c8776c786fccf52668b1e639"),
    ("data/FORMAT", "648e926ef01f80fb65da01df7b3ef3071934aa213cd10b322ee23551af3812d9"),
    ("data/checkpoints.jsonl", "e5617aa7b5145b9a4220f9d8c34e6ef6c6b709e67e2eb5a02a63f2118dfd2959"),
    ("data/key-secret", "eb0e655dd5d5b43b57b32b8b26a900d7d75444ab96c2c3f7ffcdf7be9d6991c8"),
    (
        "data/log/00000000000000000001.jsonl",
        "4198f8e00651a35cdb3b2a7bf496d44cadbfa95c5a308493d663d3bfea3b3ec5",
    ),
];

/// Taken down when the directory was made: the tokens of its revisions, the hashes of their content.
const REVISIONS: [(&str, &str, &str); 3] = [
    (
        "AXeryG1cN_4mAAAAAAAAAAGcb8sO",
        "25d6f15d7cfb5d0fd2c1c5e632412df16e8f7d9088e794388991756ffcc03a67",
        "the first records",
    ),
    (
        "AXeryG1cN_4mAAAAAAAAAAIDwTbY",
        "edc88c41449f90c621f25fccb971f79c5f3a48d8dbc11a515cd3747a617833f0",
        "a year more, and another car",
    ),
    (
        "AXeryG1cN_4mAAAAAAAAAAN6j1AE",
        "2635986d459b762210e7c42abf769ffe767d6c30c89253694ce89c89344ce1e2",
        "there is no such car",
    ),
];

/// The public key of the seed.
const VERIFIER: &str = "dashwright+ead82748+ARKkFZLIt8F9QFnnspth6P+Wx0FfL4AzSPLwF+BbnqHa";

/// The root over the 14 entries of the backup, computed by RFC 6962, section 2.1, with Python's hashlib.
const ROOT: &str = "7298ae53444b51e0c03c3c4562f6e725104149c60f555f3d48c2819ca8063192";

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/format-1")
}

/// A copy, for every start writes to what it opens.
fn copy() -> TempDir {
    let root = tempfile::tempdir().unwrap();
    for (name, _) in FILES {
        let to = root.path().join(name);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(golden().join(name), &to).unwrap();
        fs::set_permissions(&to, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    }
    root
}

fn path(root: &TempDir, name: &str) -> String {
    root.path().join(name).to_str().unwrap().to_owned()
}

fn done(arguments: &[&str]) -> String {
    let ended = run(arguments).unwrap();
    assert!(ended.status.success(), "{arguments:?}: {ended:?}");
    ended.out
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_str(&done(&[arguments, &["--json"]].concat())).unwrap()
}

#[test]
fn nobody_has_made_it_again() {
    for (name, expected) in FILES {
        let bytes = fs::read(golden().join(name)).unwrap();
        assert_eq!(Digest(Sha256::digest(bytes).into()).to_string(), expected, "{name}");
    }
    let mut names = Vec::new();
    let mut open = vec![golden()];
    while let Some(place) = open.pop() {
        for entry in fs::read_dir(place).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() { open.push(path) } else { names.push(path) }
        }
    }
    assert_eq!(names.len(), FILES.len() + 1, "these, and the README: {names:?}");
}

#[test]
fn it_is_verified_without_a_server() {
    let root = copy();
    for what in ["data", "backup"] {
        let report = json(&["audit", "verify", &path(&root, what), "--verifier-key", VERIFIER]);
        let found = (&report["entries"], &report["root"], &report["signedBy"]);
        assert_eq!(found, (&14.into(), &ROOT.into(), &"dashwright".into()), "{report}");
    }
    assert_eq!(json(&["verify", &path(&root, "data")])["verifiedEntries"], 14);
}

/// What the served copy says, and what the restored backup says.
fn check(address: &str, key: &[&str]) {
    let ask = |arguments: &[&str]| json(&[arguments, &["--server", address], key].concat());
    for (place, (token, hash, _)) in REVISIONS.iter().enumerate() {
        let revision = &ask(&["info", "--at", token])["revision"];
        let number = (place + 1).to_string();
        let found = (&revision["number"], &revision["contentHash"]);
        assert_eq!(found, (&Value::from(number), &Value::from(*hash)), "{revision}");
    }
    // By hand, from the README: Ebba ends with 2006, then 2007; Runo is there in revision 2 alone.
    let [first, second, third] = REVISIONS.map(|(token, _, _)| token);
    let asked = |token: &str, year: &str| ask(&["look-up", "--at", token, "--year", year, "hestrin"]);
    for (token, year, id, last) in [
        (first, "2005", "hestrin-ebba", 2006),
        (second, "2005", "hestrin-ebba", 2007),
        (second, "2011", "hestrin-runo", 2012),
        (third, "2007", "hestrin-ebba", 2007),
    ] {
        let found = &asked(token, year)["candidates"];
        assert_eq!(found.as_array().unwrap().len(), 1, "{found}");
        assert_eq!((&found[0]["vehicleId"], &found[0]["lastYear"]), (&id.into(), &last.into()), "{found}");
    }
    for (token, year) in [(first, "2007"), (first, "2011"), (third, "2011")] {
        let refused =
            [&["look-up", "--at", token, "--year", year, "hestrin", "--server", address], key].concat();
        assert_eq!(run(&refused).unwrap().status.code(), Some(1), "{refused:?}");
    }
    let record = ask(&["record", "get", "dash/low", "--at", third]).to_string();
    assert!(record.contains("low dash") && record.contains("a bench note"), "{record}");
    // A single-height opening takes a single-height radio as it is.
    let answer = done(&[&["look-up", "2005", "hestrin", "ebba", "--server", address], key].concat());
    assert!(answer.contains("single height (1 DIN): fits without parts"), "{answer}");
}

#[test]
fn it_is_served_as_it_was() {
    let root = copy();
    let (data, seed, key) = (path(&root, "data"), path(&root, "checkpoint-seed"), path(&root, "ada.key"));
    let serve = ["serve", "--data", &data, "--listen", "127.0.0.1:0", "--checkpoint-key", &seed];
    let mut server = Process::start(&serve).unwrap();
    let (revision, address) = server.serving().unwrap();
    assert_eq!(revision, 3);
    let key = ["--key-file", key.as_str()];
    check(&address, &key);
    let ask = |arguments: &[&str]| json(&[arguments, &["--server", &address], &key].concat());
    let listed = ask(&["revisions"]);
    let reasons: Vec<_> = listed["revisions"].as_array().unwrap().iter().map(|it| &it["reason"]).collect();
    assert_eq!(reasons, [REVISIONS[2].2, REVISIONS[1].2, REVISIONS[0].2]);
    let diff = ask(&["diff", "1", "2"]);
    assert_eq!((&diff["added"], &diff["changed"]), (&"1".into(), &"1".into()), "{diff}");
    let discarded = ask(&["audit", "list", "--kind", "draft.discard"]);
    assert_eq!((&discarded["total"], &discarded["entries"][0]["sequence"]), (&"1".into(), &"10".into()));
    let thrown = ask(&["audit", "list", "--draft", "golden-10"]);
    let kinds: Vec<_> = thrown["entries"].as_array().unwrap().iter().map(|it| &it["kind"]).collect();
    assert_eq!(kinds, ["draft.create", "draft.edit", "draft.discard"]);
    let keys = &ask(&["key", "list"])["keys"];
    assert_eq!((&keys[0]["keyId"], &keys[0]["holder"]), (&"1313131313131313".into(), &"Ada".into()));
    assert_eq!(keys[0]["live"], true);
    // What was given out when it was made is continued.
    let kept = fs::read_to_string(root.path().join("data/checkpoints.jsonl")).unwrap();
    let first: Value = serde_json::from_str(kept.lines().next().unwrap()).unwrap();
    fs::write(root.path().join("kept"), first["note"].as_str().unwrap()).unwrap();
    ask(&["audit", "proof", "--checkpoint", &path(&root, "kept")]);
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}

#[test]
fn its_backup_is_restored() {
    let root = copy();
    let (backup, data) = (path(&root, "backup"), path(&root, "restored"));
    done(&["restore", &backup, "--data", &data, "--reason", "drill"]);
    // Its keys let nobody in under the secret of another directory, so that the way in is a new one.
    let key = path(&root, "new.key");
    let new = ["key", "new", "--data", &data, "--holder", "Bo", "--role", "operator", "--reason", "lost"];
    done(&[&new[..], &["--to", &key]].concat());
    let mut server = Process::start(&["serve", "--data", &data, "--listen", "127.0.0.1:0"]).unwrap();
    let (revision, address) = server.serving().unwrap();
    assert_eq!(revision, 3);
    check(&address, &["--key-file", &key]);
    let old = path(&root, "ada.key");
    let refused = run(&["info", "--server", &address, "--key-file", &old]).unwrap();
    assert!(!refused.status.success(), "{refused:?}");
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}
