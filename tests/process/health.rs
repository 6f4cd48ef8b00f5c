//! `health`: what a probe is told, over either kind of connection, and within its deadline.

use std::net::TcpListener as Silent;

use dashwright_tests::binary::{Ended, Process, run, run_in};
use serde_json::Value;
use tokio::net::TcpListener;
use tonic_health::ServingStatus;

fn refused(ended: &Ended, said: &str) {
    assert_eq!(ended.status.code(), Some(1), "{ended:?}");
    assert!(ended.out.is_empty() && ended.err.contains(said), "{said}: {ended:?}");
}

#[test]
fn a_server_that_serves_is_healthy_with_and_without_tls_and_needs_no_key() {
    let directory = tempfile::tempdir().unwrap();
    let path = |name: &str| directory.path().join(name).to_str().unwrap().to_owned();
    let made = rcgen::generate_simple_self_signed(["dashwright.test".to_owned()]).unwrap();
    let (certificate, key, data) = (path("cert.pem"), path("key.pem"), path("data"));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let serve = ["serve", "--data", &data, "--listen", "127.0.0.1:0"];
    let mut server = Process::start(&[&serve[..], &["--init"]].concat()).unwrap();
    let (_, address) = server.serving().unwrap();
    let new =
        ["key", "new", "--holder", "a", "--role", "operator", "--reason", "x", "--server", &address, "--to"];
    assert!(run(&[&new[..], &[&path("owner.key")]].concat()).unwrap().status.success());
    let health = |more: &[&str]| run(&[&["health", "--server", &address][..], more].concat()).unwrap();
    assert_eq!(health(&[]).out, "SERVING\n");
    // A key that is none is nobody's business here.
    let with_a_key =
        run_in(&["health", "--server", &address], &[("DASHWRIGHT_KEY", "none".as_ref())]).unwrap();
    assert_eq!((with_a_key.status.code(), with_a_key.out.as_str()), (Some(0), "SERVING\n"));
    assert_eq!(
        health(&["--service", "dashwright.v1.FitmentService", "--json"]).out,
        "{\"status\":\"SERVING\"}\n"
    );
    refused(
        &health(&["--service", "dashwright.v1.NoService"]),
        "SERVICE_UNKNOWN of `dashwright.v1.NoService`",
    );
    refused(&health(&["--tls-name", "a"]), "without encryption");
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
    refused(&run(&["health", "--server", &address]).unwrap(), "no server answers");

    let mut server =
        Process::start(&[&serve[..], &["--tls-cert", &certificate, "--tls-key", &key]].concat()).unwrap();
    let (_, address) = server.serving().unwrap();
    let health = |more: &[&str]| {
        run(&[&["health", "--server", &address, "--ca", &certificate][..], more].concat()).unwrap()
    };
    assert_eq!(health(&["--tls-name", "dashwright.test"]).out, "SERVING\n");
    refused(&health(&[]), "--tls-name NAME");
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_not_well_or_says_nothing_is_told_apart() {
    // A health service of another make.
    let (reporter, service) = tonic_health::server::health_reporter();
    reporter.set_service_status("", ServingStatus::NotServing).await;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let incoming = tokio_stream::wrappers::TcpListenerStream::new(listener);
    let server =
        tokio::spawn(tonic::transport::Server::builder().add_service(service).serve_with_incoming(incoming));
    let silent = Silent::bind("127.0.0.1:0").unwrap();
    let nobody = format!("http://{}", silent.local_addr().unwrap());
    let asked = tokio::task::spawn_blocking(move || {
        let not_serving = run(&["health", "--json", "--server", &address]).unwrap();
        (not_serving, run(&["health", "--json", "--server", &nobody, "--deadline-ms", "200"]).unwrap())
    });
    let (not_serving, late) = asked.await.unwrap();
    server.abort();
    for (ended, code) in [(not_serving, "NOT_SERVING"), (late, "LATE")] {
        let error: Value = serde_json::from_str(&ended.err).unwrap();
        assert_eq!(
            (ended.status.code(), &error["error"]["code"]),
            (Some(1), &Value::from(code)),
            "{ended:?}"
        );
    }
    drop(silent);
}
