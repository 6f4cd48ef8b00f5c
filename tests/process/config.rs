//! Settings: by flags, environment and file, printed with who said them, and checked as `serve` checks them.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use dashwright_tests::binary::{Ended, Process, run, run_at, run_in};
use serde_json::{Value, json};

/// What a cluster puts into every pod where there is a service named after ours. None of it is a setting.
const OF_A_CLUSTER: [(&str, &str); 3] = [
    ("DASHWRIGHT_SERVICE_HOST", "10.96.0.1"),
    ("DASHWRIGHT_PORT_61761_TCP_ADDR", "10.96.0.1"),
    ("DASHWRIGHT_SERVER_PORT", "tcp://10.96.0.1:61761"),
];

fn text(path: PathBuf) -> String {
    path.to_str().unwrap().to_owned()
}

fn pair(directory: &Path, name: &str) -> (String, String) {
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    let (certificate, key) = (directory.join(format!("{name}.pem")), directory.join(format!("{name}.key")));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    // Of one that others can read the log of `serve` warns.
    std::fs::set_permissions(&key, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    (text(certificate), text(key))
}

/// A dataset without keys that nobody serves.
fn dataset(directory: &Path) -> String {
    let data = text(directory.join("data"));
    let mut server =
        Process::start(&["serve", "--data", &data, "--init", "--listen", "127.0.0.1:0"]).unwrap();
    server.serving().unwrap();
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
    data
}

/// Every file below a directory with its content: what a check must not change.
fn content(directory: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(directory).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(content(&path));
            found.insert(path, Vec::new());
        } else {
            found.insert(path.clone(), std::fs::read(path).unwrap());
        }
    }
    found
}

fn refused(ended: &Ended, said: &[&str]) {
    assert_eq!(ended.status.code(), Some(1), "{ended:?}");
    for said in said {
        assert!(ended.err.contains(said), "`{said}` is not told: {}", ended.err);
    }
}

#[test]
fn a_file_a_variable_and_a_flag_come_together_and_each_is_told() {
    let directory = tempfile::tempdir().unwrap();
    dataset(directory.path());
    let file = text(directory.path().join("serve.toml"));
    // Relative to the file, not to where the program is started.
    std::fs::write(&file, "data = 'data'\nlisten = '0.0.0.0:1'\nlog-format = 'json'\nlog = 'warn'\n")
        .unwrap();
    let environment: Vec<_> = OF_A_CLUSTER
        .into_iter()
        .chain([
            ("DASHWRIGHT_SERVE_CONFIG", file.as_str()),
            ("DASHWRIGHT_SERVE_LOG", "info"),
            ("RUST_LOG", "error"),
        ])
        .map(|(name, value)| (name, OsStr::new(value)))
        .collect();
    let flags = ["--listen", "127.0.0.1:0"];
    let printed = run_in(&[&["config", "print", "--json"][..], &flags].concat(), &environment).unwrap();
    assert!(printed.status.success(), "{printed:?}");
    let printed: Value = serde_json::from_str(&printed.out).unwrap();
    let of = |name: &str| {
        let rows = printed["settings"].as_array().unwrap();
        let row = rows.iter().find(|row| row["name"] == name).unwrap();
        (row["value"].clone(), row["origin"].clone())
    };
    let data = text(directory.path().join("data"));
    assert_eq!(of("data"), (json!(data), json!(format!("file {file}:1"))));
    assert_eq!(of("listen"), (json!("127.0.0.1:0"), json!("flag")));
    assert_eq!(of("log"), (json!("info"), json!("environment DASHWRIGHT_SERVE_LOG")));
    assert_eq!(of("log-format"), (json!("json"), json!(format!("file {file}:3"))));
    assert_eq!(of("separate-publisher"), (json!(false), json!("default")));
    assert_eq!(of("tls-cert"), (Value::Null, json!("default")));

    let mut server = Process::start_in(&[&["serve"][..], &flags].concat(), &environment).unwrap();
    let (_, address) = server.serving().unwrap();
    assert!(run(&["info", "--server", &address]).unwrap().status.success());
    // The usual time to check is while it is served.
    let checked = run_in(&[&["config", "check"][..], &flags].concat(), &environment).unwrap();
    assert!(checked.status.success() && checked.out.contains("is in use by process"), "{checked:?}");
    assert!(run(&["info", "--server", &address]).unwrap().status.success());
    server.terminate().unwrap();
    let lines = server.lines_to_its_end().unwrap();
    assert!(
        format!("{lines:?}").contains(r#"\"message\":\"listening\""#),
        "the log is not as it was set: {lines:?}"
    );
}

/// By `config check`, as text and as JSON, and by `serve`.
fn refused_alike(flags: &[&str], said: &[&str]) {
    let checked = run(&[&["config", "check"][..], flags].concat()).unwrap();
    refused(&checked, said);
    let served = run(&[&["serve"][..], flags].concat()).unwrap();
    refused(&served, said);
    // A check looks further than serve does before it opens the dataset.
    if !flags.contains(&"0.0.0.0:0") {
        assert_eq!(checked.err, served.err, "{flags:?}");
    }
    let as_json = run(&[&["config", "check", "--json"][..], flags].concat()).unwrap();
    let error: Value = serde_json::from_str(&as_json.err).unwrap();
    assert!(error["error"]["message"].is_string() && as_json.out.is_empty(), "{as_json:?}");
}

#[test]
fn what_a_check_refuses_serve_refuses_with_the_same_words() {
    let directory = tempfile::tempdir().unwrap();
    let data = dataset(directory.path());
    let ((certificate, key), (_, other)) = (pair(directory.path(), "one"), pair(directory.path(), "two"));
    let path = |name: &str| text(directory.path().join(name));
    std::fs::write(path("seed"), "no seed").unwrap();
    std::fs::create_dir(path("occupied")).unwrap();
    std::fs::write(path("occupied/letter.txt"), "dear").unwrap();
    std::fs::write(path("typo.toml"), "lisen = '127.0.0.1:0'\ntls-cert = 7\n").unwrap();
    std::fs::write(path("key.toml"), "\n\ntls-key = 'two.key'\n").unwrap();
    let (missing, occupied) = (path("missing"), path("occupied"));
    let (typo, by_file, seed, records) =
        (path("typo.toml"), path("key.toml"), path("seed"), path("no.jsonl"));
    let before = content(directory.path());
    let at = ["--listen", "127.0.0.1:0"];
    let cases: Vec<(Vec<&str>, Vec<&str>)> = vec![
        (vec![], vec!["nobody says `data`", "DASHWRIGHT_SERVE_DATA"]),
        (vec!["--data", &missing], vec!["missing` holds no dataset", "--init"]),
        (vec!["--data", &occupied], vec!["holds no dataset"]),
        (vec!["--data", &occupied, "--init"], vec!["is not empty, it holds `letter.txt`"]),
        (vec!["--data", &data, "--tls-key", &key], vec!["`tls-key` is set (flag)", "without `tls-cert`"]),
        (
            vec!["--data", &data, "--config", &by_file, "--tls-cert", &certificate],
            vec!["`tls-cert` (flag) and `tls-key` (file ", "key.toml:3)", "can not be used together"],
        ),
        (
            vec!["--data", &data, "--checkpoint-key", &seed],
            vec!["`checkpoint-key` (flag) names", "64 hexadecimal digits"],
        ),
        (
            vec!["--data", &missing, "--config", &typo, "--checkpoint-key", &missing, "--load", &records],
            vec![
                "5 faults in the settings",
                "typo.toml:1:1: there is no setting `lisen`; the nearest is `listen`",
                "typo.toml:2:12: `tls-cert` is to be a text in quotes, and is a whole number",
                "`checkpoint-key` (flag) names",
                "no.jsonl` can not be read",
                "holds no dataset",
            ],
        ),
        (
            vec![
                "--data",
                &data,
                "--tls-cert",
                &certificate,
                "--tls-key",
                &other,
                "--tls-client-ca",
                &missing,
            ],
            vec!["`tls-client-ca` (flag) names"],
        ),
        (vec!["--data", &data, "--listen", "0.0.0.0:0"], vec!["--allow-plaintext"]),
        (vec!["--data", &data, "--config", &missing], vec!["can not be read (flag)"]),
        // The certificate is looked at although another file is missing.
        (
            vec!["--data", &data, "--tls-cert", &key, "--tls-key", &key, "--checkpoint-key", &missing],
            vec!["2 faults", "there is no certificate", "`checkpoint-key` (flag) names"],
        ),
    ];
    for (flags, said) in cases {
        let flags = if flags.contains(&"--listen") { flags } else { [&flags[..], &at].concat() };
        refused_alike(&flags, &said);
    }
    assert_eq!(content(directory.path()), before, "something was changed");
    let unlike = run(&["config", "check", "--data", &data, "--listen", "nowhere"]).unwrap();
    assert_eq!(unlike.status.code(), Some(2), "what clap refuses is not understood: {unlike:?}");
}

#[test]
fn a_mistyped_variable_is_told_with_the_nearest_and_those_of_a_cluster_are_nobodys() {
    let directory = tempfile::tempdir().unwrap();
    let data = dataset(directory.path());
    let (flags, name) = (["config", "check", "--data", data.as_str()], "DASHWRIGHT_SERVE_LISTN");
    let ended = run_in(&flags, &[(name, OsStr::new("127.0.0.1:0"))]).unwrap();
    refused(
        &ended,
        &["no setting for the variable DASHWRIGHT_SERVE_LISTN", "the nearest is DASHWRIGHT_SERVE_LISTEN"],
    );
    let cluster = OF_A_CLUSTER.map(|(name, value)| (name, OsStr::new(value)));
    let ended = run_in(&flags, &cluster).unwrap();
    assert!(ended.status.success(), "{ended:?}");
    assert!(ended.out.contains("holds a dataset") && ended.out.contains("no fault"), "{ended:?}");
    let relative = run_at(directory.path(), &["config", "check", "--data", "data"], &[]).unwrap();
    assert!(relative.status.success(), "{relative:?}");
}

#[test]
fn whether_a_key_was_ever_made_is_seen_without_opening_anything() {
    let directory = tempfile::tempdir().unwrap();
    let data = dataset(directory.path());
    let flags = ["--data", data.as_str(), "--listen", "0.0.0.0:0", "--allow-plaintext"];
    let check = || run(&[&["config", "check"][..], &flags].concat()).unwrap();
    let before = content(directory.path());
    refused(&check(), &["no key was ever made", "--allow-public-without-keys"]);
    assert_eq!(content(directory.path()), before, "something was changed");
    refused(&run(&[&["serve"][..], &flags].concat()).unwrap(), &["no key was ever made"]);
    let allowed = run(&[&["config", "check", "--allow-public-without-keys"][..], &flags].concat()).unwrap();
    assert!(allowed.status.success(), "{allowed:?}");
    let file = text(directory.path().join("owner.key"));
    let made = run(&[
        "key", "new", "--data", &data, "--holder", "a", "--role", "operator", "--reason", "x", "--to", &file,
    ]);
    assert!(made.unwrap().status.success());
    let checked = check();
    assert!(checked.status.success() && checked.out.contains("keys were made"), "{checked:?}");
    let mut server = Process::start(&[&["serve"][..], &flags].concat()).unwrap();
    server.serving().unwrap();
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}

/// Runs a copy of the binary as a user who owns nothing. Nothing where the tests themselves run as one who may not become another.
fn as_nobody(binary: &Path, arguments: &[&str]) -> Option<Ended> {
    const NOBODY: u32 = 65534;
    let mut command = std::process::Command::new(binary);
    let command = command.args(arguments).current_dir("/").env_remove("RUST_LOG");
    let ended = std::os::unix::process::CommandExt::uid(command, NOBODY).output().ok()?;
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Some(Ended { status: ended.status, out: text(ended.stdout), err: text(ended.stderr) })
}

#[test]
fn what_serve_may_not_write_is_a_fault_of_a_check_and_stays_as_it_was() {
    let directory = tempfile::tempdir().unwrap();
    let open_to_all = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(directory.path(), open_to_all).unwrap();
    let binary = directory.path().join("dashwright");
    std::fs::copy(dashwright_tests::binary::binary().unwrap(), &binary).unwrap();
    let data = dataset(directory.path());
    let new = text(directory.path().join("new"));
    let before = content(Path::new(&data));
    let Some(checked) = as_nobody(&binary, &["config", "check", "--data", &data]) else {
        println!("not tried: who runs the tests may not become another user");
        return;
    };
    refused(&checked, &[&format!("`data` (flag): `{data}` can not be written"), "chown -R"]);
    let checked = as_nobody(&binary, &["config", "check", "--init", "--data", &new]).unwrap();
    let relative = as_nobody(&binary, &["config", "check", "--init", "--data", "new"]).unwrap();
    refused(&relative, &["`.` can not be written"]);
    let parent = text(directory.path().to_owned());
    refused(&checked, &[&format!("`{parent}` can not be written"), "chown -R"]);
    for more in [&["--data", &data][..], &["--init", "--data", &new]] {
        let served = as_nobody(&binary, &[&["serve", "--listen", "127.0.0.1:0"], more].concat()).unwrap();
        refused(&served, &["Permission denied", "as the user that it runs as", "chown -R"]);
    }
    assert!(run(&["config", "check", "--data", &data]).unwrap().status.success());
    assert!(run(&["config", "check", "--init", "--data", &new]).unwrap().status.success());
    assert_eq!(content(Path::new(&data)), before);
    assert!(!Path::new(&new).exists());
}
