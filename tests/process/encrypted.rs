//! TLS and keys on the command line: what is served, what the client shows, and what is refused with what to do next.

use std::path::{Path, PathBuf};

use dashwright_engine::keys::{KeyId, KeyText};
use dashwright_tests::binary::{Ended, Line, Process, run};

/// A certificate for this machine that vouches for itself, and its key, as files.
fn pair(directory: &Path, name: &str) -> (String, String) {
    let made = rcgen::generate_simple_self_signed(["127.0.0.1".to_owned()]).unwrap();
    let (certificate, key) =
        (directory.join(format!("{name}.pem")), directory.join(format!("{name}-key.pem")));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    (text(certificate), text(key))
}

fn text(path: PathBuf) -> String {
    path.to_str().unwrap().to_owned()
}

fn info(server: &str, more: &[&str]) -> Ended {
    run(&[&["info", "--server", server], more].concat()).unwrap()
}

#[test]
fn an_encrypted_server_is_asked_and_takes_another_certificate_on_a_signal() {
    let directory = tempfile::tempdir().unwrap();
    let ((certificate, key), (next, next_key)) =
        (pair(directory.path(), "one"), pair(directory.path(), "two"));
    let data = text(directory.path().join("data"));
    let serve = ["serve", "--data", &data, "--init", "--listen", "127.0.0.1:0"];
    let mut server =
        Process::start(&[&serve[..], &["--tls-cert", &certificate, "--tls-key", &key]].concat()).unwrap();
    let (_, address) = server.serving().unwrap();
    assert!(address.starts_with("https://127.0.0.1:"), "{address}");
    let answer = info(&address, &["--ca", &certificate]);
    assert!(answer.status.success(), "{answer:?}");
    for wrong in [&[][..], &["--ca", &next]] {
        not_connected(&info(&address, wrong), "is not trusted", "--ca FILE");
    }
    let by_name = address.replace("127.0.0.1", "localhost");
    not_connected(&info(&by_name, &["--ca", &certificate]), "is not trusted", "--server https://NAME:PORT");
    let plain = address.replace("https://", "http://");
    not_connected(&info(&plain, &[]), "is no such server", "https://");
    let refused = info(&plain, &["--ca", &certificate]);
    assert!(refused.err.contains("without encryption") && refused.err.contains("next:"), "{refused:?}");

    std::fs::copy(&next, &certificate).unwrap();
    server.hang_up().unwrap();
    server.wait_for(|line| matches!(line, Line::Err(it) if it.contains("was not replaced"))).unwrap();
    std::fs::copy(&next_key, &key).unwrap();
    server.hang_up().unwrap();
    server.wait_for(|line| matches!(line, Line::Err(it) if it.contains("identity was replaced"))).unwrap();
    assert!(info(&address, &["--ca", &next]).status.success());
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}

#[test]
fn a_client_that_a_server_does_not_trust_is_told_so_and_one_that_asks_the_wrong_port_too() {
    let directory = tempfile::tempdir().unwrap();
    let ((certificate, key), (client, client_key)) =
        (pair(directory.path(), "one"), pair(directory.path(), "two"));
    let serve = |name: &str, more: &[&str]| {
        let data = text(directory.path().join(name));
        let begin = ["serve", "--data", &data, "--init", "--listen", "127.0.0.1:0"];
        let mut server = Process::start(&[&begin[..], more].concat()).unwrap();
        let (_, address) = server.serving().unwrap();
        (server, address)
    };
    let identity = ["--tls-cert", &certificate, "--tls-key", &key, "--tls-client-ca", &certificate];
    let (strict, address) = serve("strict", &identity);
    let shown = ["--ca", &certificate, "--client-cert", &client, "--client-key", &client_key];
    for untrusted in [&shown[..2], &shown[..]] {
        let refused = info(&address, untrusted);
        not_connected(&refused, "does not trust this client", "--client-cert FILE");
    }

    drop(strict);

    let (plain, address) = serve("plain", &[]);
    let encrypted = address.replace("http://", "https://");
    not_connected(&info(&encrypted, &["--ca", &certificate]), "does not encrypt", "--server http://");
    drop(plain);
    not_connected(&info(&address, &[]), "no server answers", "dashwright serve");
}

/// That a client says why it has no connection, and what to do. What the server says of it may be overtaken by the end of the
/// connection: then the client knows of the end alone, and says what may help.
fn not_connected(ended: &Ended, why: &str, next: &str) {
    let told = ended.err.split_once("next:");
    let said = |error: &str| error.contains(why) || error.contains("ended the connection");
    let right = told.is_some_and(|(error, after)| said(error) && after.contains(next));
    assert!(!ended.status.success() && right, "{why}, {next}: {ended:?}");
}

#[test]
fn what_can_not_be_encrypted_is_refused_before_anything_is_begun() {
    let directory = tempfile::tempdir().unwrap();
    let ((certificate, key), (_, other)) = (pair(directory.path(), "one"), pair(directory.path(), "two"));
    let data = text(directory.path().join("data"));
    let missing = text(directory.path().join("missing.pem"));
    let serve = ["serve", "--data", data.as_str(), "--init", "--listen"];
    let tls = |certificate: &str, key: &str| {
        let flags = ["127.0.0.1:0", "--tls-cert", certificate, "--tls-key", key];
        run(&[&serve[..], &flags].concat()).unwrap()
    };
    let public = |more: &[&str]| run(&[&serve[..], &["0.0.0.0:0"], more].concat()).unwrap();
    for (refused, said) in [
        (tls(&certificate, &other), "can not be used together"),
        (tls(&certificate, &missing), "missing.pem"),
        (tls(&key, &key), "there is no certificate"),
        (public(&[]), "--allow-plaintext"),
        (public(&["--allow-public-without-keys"]), "--allow-plaintext"),
        (public(&["--allow-plaintext"]), "--allow-public-without-keys"),
        (public(&["--tls-cert", &certificate, "--tls-key", &key]), "--allow-public-without-keys"),
    ] {
        assert_eq!(refused.status.code(), Some(1), "{refused:?}");
        assert!(refused.err.contains(said) && refused.err.contains("next:"), "{said}: {refused:?}");
        assert!(!Path::new(&data).exists(), "{said}: something was begun");
    }
}

#[test]
fn a_key_is_taken_from_its_file_and_a_mistyped_one_goes_nowhere() {
    let directory = tempfile::tempdir().unwrap();
    let data = text(directory.path().join("data"));
    let mut server =
        Process::start(&["serve", "--data", &data, "--init", "--listen", "127.0.0.1:0"]).unwrap();
    let (_, address) = server.serving().unwrap();
    let file = directory.path().join("key");
    let key = KeyText::new(KeyId::new([1; 8]), &[2; 32]);
    std::fs::write(&file, format!("{}\n", key.reveal())).unwrap();
    let file = text(file);
    let answer = info(&address, &["--key-file", &file]);
    assert!(answer.status.success(), "{answer:?}");
    assert!(!answer.err.contains("unencrypted"), "{answer:?}");
    std::fs::write(&file, key.reveal().replacen("0202", "0203", 1)).unwrap();
    let refused = info(&address, &["--key-file", &file]);
    assert!(refused.err.contains("checksum") && refused.err.contains(&file), "{refused:?}");
    assert!(!refused.err.contains("0203"), "the key was told: {refused:?}");
    let refused = info(&address, &["--key-file", &text(directory.path().join("nowhere"))]);
    assert!(refused.err.contains("nowhere") && refused.err.contains("next:"), "{refused:?}");
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}
