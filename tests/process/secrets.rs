//! Secrets stay where they were put: after a full run at the lowest level of logging, all that was printed and written is searched.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use dashwright_tests::binary::{Ended, Line, Process, run_in};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

/// Everything is logged that any library logs.
const LOGGED: &str = "trace";

/// One whole run: the files of it, and all that was printed.
struct Run {
    root: tempfile::TempDir,
    address: String,
    printed: Vec<(String, String)>,
}

impl Run {
    fn path(&self, name: &str) -> String {
        text(self.root.path().join(name))
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.root.path().join(name)).unwrap()
    }

    /// Asks with a key, or without one.
    fn ask(&mut self, arguments: &[&str], key: Option<&str>) -> Ended {
        let certificate = self.path("certificate.pem");
        let mut all = [arguments, &["--server", &self.address, "--ca", &certificate]].concat();
        let file = key.map(|key| self.path(key));
        if let Some(file) = &file {
            all.extend(["--key-file", file.as_str()]);
        }
        let ended = run_in(&all, &[("RUST_LOG", OsStr::new(LOGGED))]).unwrap();
        self.printed.push((format!("{arguments:?}"), format!("{}\n{}", ended.out, ended.err)));
        ended
    }

    fn done(&mut self, arguments: &[&str], key: Option<&str>) -> String {
        let ended = self.ask(arguments, key);
        assert!(ended.status.success(), "{arguments:?}: {ended:?}");
        ended.out
    }

    fn refused(&mut self, arguments: &[&str], key: Option<&str>, said: &str) {
        let ended = self.ask(arguments, key);
        assert!(!ended.status.success() && ended.err.contains(said), "{arguments:?}: {ended:?}");
    }

    /// Makes a key into a file; its id.
    fn key(&mut self, holder: &str, role: &str, by: Option<&str>) -> String {
        let file = self.path(&format!("{holder}.key"));
        let new =
            ["key", "new", "--holder", holder, "--role", role, "--reason", "a test", "--to", &file, "--json"];
        let made: Value = serde_json::from_str(&self.done(&new, by)).unwrap();
        made["key"]["keyId"].as_str().unwrap().to_owned()
    }
}

fn text(path: PathBuf) -> String {
    path.to_str().unwrap().to_owned()
}

/// Every form in which a secret of 32 bytes or a text could stand somewhere.
fn forms(secret: &[u8]) -> Vec<Vec<u8>> {
    let hex: String = secret.iter().map(|byte| format!("{byte:02x}")).collect();
    let base64 = |alphabet: &[u8; 64]| {
        // RFC 4648, without the last group, which depends on what follows.
        let groups = secret.chunks_exact(3).flat_map(|group| {
            let bits = u32::from(group[0]) << 16 | u32::from(group[1]) << 8 | u32::from(group[2]);
            [18, 12, 6, 0].map(|shift| alphabet[(bits >> shift) as usize & 63])
        });
        groups.collect::<Vec<u8>>()
    };
    let debug = format!("{secret:?}");
    vec![
        secret.to_vec(),
        hex.to_uppercase().into_bytes(),
        hex.into_bytes(),
        base64(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"),
        base64(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"),
        debug.trim_matches(['[', ']']).as_bytes().to_vec(),
    ]
}

fn unhex(text: &str) -> Vec<u8> {
    let digits = text.trim().as_bytes();
    digits.chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

fn files(directory: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(directory).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found
}

fn holds(haystack: &[u8], needle: &[u8]) -> bool {
    memchr::memmem::find(haystack, needle).is_some()
}

/// Makes, uses, refuses and revokes keys, edits, publishes, exports, backs up, restores.
fn whole_run() -> Run {
    let root = tempfile::tempdir().unwrap();
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    let seed: [u8; 32] = Sha256::digest(b"a seed of a test").into();
    let seed: String = seed.iter().map(|byte| format!("{byte:02x}")).collect();
    fs::write(root.path().join("certificate.pem"), made.cert.pem()).unwrap();
    fs::write(root.path().join("tls-key.pem"), made.signing_key.serialize_pem()).unwrap();
    fs::write(root.path().join("seed"), seed).unwrap();
    fs::write(root.path().join("edit.jsonl"), dashwright_tests::change::make("zz-a", "Zza") + "\n").unwrap();
    let mut run = Run { root, address: String::new(), printed: Vec::new() };
    let (data, certificate) = (run.path("data"), run.path("certificate.pem"));
    let (tls_key, seed) = (run.path("tls-key.pem"), run.path("seed"));
    let common = ["--listen", "127.0.0.1:0", "--tls-cert", &certificate, "--tls-key", &tls_key];
    let serve = [&["serve", "--data", &data, "--checkpoint-key", &seed, "--log-format", "json"][..], &common];
    let serve = serve.concat();
    let environment = [("RUST_LOG", OsStr::new(LOGGED))];
    let mut server = Process::start_in(&[&serve[..], &["--init"]].concat(), &environment).unwrap();
    run.address = server.serving().unwrap().1;

    run.key("ada", "operator", None);
    let all = ["curator", "publisher", "auditor", "reader"];
    let ids: Vec<String> = all.iter().map(|role| run.key(role, role, Some("ada.key"))).collect();
    let begun = run.done(&["draft", "new", "--reason", "a test", "--json"], Some("curator.key"));
    let begun: Value = serde_json::from_str(&begun).unwrap();
    let draft = begun["draft"]["draftId"].as_str().unwrap();
    let edit = run.path("edit.jsonl");
    run.done(&["draft", "edit", draft, "--put", &edit, "--reason", "a test"], Some("curator.key"));
    run.refused(&["draft", "publish", draft, "--reason", "a test"], Some("curator.key"), "publisher");
    run.done(&["draft", "publish", draft, "--reason", "a test"], Some("publisher.key"));
    run.done(&["audit", "list", "--payload"], Some("auditor.key"));
    run.done(&["audit", "checkpoint"], Some("auditor.key"));
    let export = run.path("export");
    run.done(&["export", "--to", &export], Some("reader.key"));
    run.refused(&["info"], None, "needs a key");
    // Of the right form, and made by nobody; of a key that is there, with another secret.
    let mine = run.read("reader.key");
    let forged = dashwright_engine::keys::KeyText::new(dashwright_engine::keys::KeyId::new([9; 8]), &[8; 32]);
    fs::write(run.path("forged.key"), forged.reveal()).unwrap();
    run.refused(&["info"], Some("forged.key"), "key");
    fs::write(run.path("mistyped.key"), mine.trim().replace("dwk_", "dwk")).unwrap();
    run.refused(&["info"], Some("mistyped.key"), "mistyped.key");
    run.done(&["key", "revoke", &ids[3], "--reason", "left"], Some("ada.key"));
    run.refused(&["info"], Some("reader.key"), "revoked");
    run.done(&["key", "list", "--json"], Some("ada.key"));
    let backup = run.path("backup");
    run.done(&["backup", "--to", &backup, "--reason", "drill"], Some("ada.key"));
    // A certificate that is read again goes through the private key once more.
    server.hang_up().unwrap();
    run.done(&["info"], Some("ada.key"));
    server.terminate().unwrap();
    let lines = server.lines_to_its_end().unwrap();
    run.printed.push(("serve".to_owned(), lines.iter().map(|line| printed(line) + "\n").collect()));
    let copy = run.path("copy");
    let restore = ["restore", &backup, "--data", &copy, "--reason", "drill"];
    let restored = run_in(&restore, &environment).unwrap();
    assert!(restored.status.success(), "{restored:?}");
    run.printed.push(("restore".to_owned(), restored.out + &restored.err));
    run
}

fn printed(line: &Line) -> String {
    match line {
        Line::Out(text) | Line::Err(text) => text.clone(),
    }
}

#[test]
fn no_secret_is_printed_or_written_anywhere_but_where_it_was_put() {
    let run = whole_run();
    // Each secret with the files that it may stand in.
    let mut secrets: Vec<(String, Vec<u8>, Vec<String>)> = Vec::new();
    for holder in ["ada", "curator", "publisher", "auditor", "reader", "forged"] {
        let file = format!("{holder}.key");
        let text = run.read(&file);
        // dwk_<id>_<secret>_<checksum>: the id is told, the rest is not.
        let secret = unhex(text.trim().split('_').nth(2).unwrap());
        let may = if holder == "reader" { vec![file, "mistyped.key".to_owned()] } else { vec![file] };
        secrets.push((format!("the key of {holder}"), secret, may));
    }
    secrets.push(("the seed of checkpoints".to_owned(), unhex(&run.read("seed")), vec!["seed".to_owned()]));
    for directory in ["data", "copy"] {
        let file = format!("{directory}/key-secret");
        secrets.push((file.clone(), unhex(&run.read(&file)), vec![file]));
    }
    let pem = run.read("tls-key.pem");
    let body: String = pem.lines().filter(|line| !line.starts_with("-----")).collect();
    for line in pem.lines().filter(|line| !line.starts_with("-----")) {
        secrets.push((format!("the key of TLS, {line:.4}…"), line.into(), vec!["tls-key.pem".to_owned()]));
    }
    // PKCS #8 of a P-256 key: the private value is 32 bytes behind the header of 36.
    let der = unbase64(&body);
    secrets.push(("the private value of TLS".to_owned(), der[36..68].to_vec(), Vec::new()));

    let trace = run.printed.iter().find(|(by, _)| by == "serve").map(|(_, text)| text).unwrap();
    let level = |name: &str| trace.matches(&format!("\"level\":\"{name}\"")).count();
    assert!(level("TRACE") > 100 && level("DEBUG") > 10, "it logs so little that nothing is shown by it");
    let mut searched = 0;
    for path in files(run.root.path()) {
        let name = text(path.strip_prefix(run.root.path()).unwrap().to_owned());
        let bytes = fs::read(&path).unwrap();
        for (secret, value, may) in secrets.iter().filter(|(_, _, may)| !may.contains(&name)) {
            let found = forms(value).into_iter().find(|form| holds(&bytes, form));
            assert!(found.is_none(), "{secret} stands in {name}, and may only in {may:?}");
        }
        searched += 1;
    }
    assert!(searched > 15, "{searched} files");
    for (by, printed) in &run.printed {
        for (secret, value, _) in &secrets {
            let found = forms(value).into_iter().find(|form| holds(printed.as_bytes(), form));
            assert!(found.is_none(), "{secret} was printed by {by}");
        }
    }
    // The search finds what is there: each key in its own file.
    for (secret, value, may) in
        secrets.iter().filter(|(secret, _, may)| !may.is_empty() && !secret.contains("TLS"))
    {
        let bytes = fs::read(run.root.path().join(&may[0])).unwrap();
        assert!(forms(value).iter().any(|form| holds(&bytes, form)), "{secret} is not found where it is");
    }
}

/// RFC 4648, section 4.
fn unbase64(text: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = text.bytes().filter(|letter| *letter != b'=').map(value).collect();
    let groups = letters.chunks(4).flat_map(|group| {
        let bits = group.iter().fold(0_u32, |bits, letter| bits << 6 | u32::from(*letter))
            << (6 * (4 - group.len()));
        let bytes = [(bits >> 16) as u8, (bits >> 8) as u8, bits as u8];
        bytes[..group.len() - 1].to_vec()
    });
    groups.collect()
}
