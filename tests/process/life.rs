//! The life of a server: a hangup that means nothing, and an end that nobody holds up.

use std::time::Duration;

use dashwright_api::v1::audit_service_client::AuditServiceClient;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_api::v1::{CheckCartsRequest, ErrorReason, WatchRevisionsRequest};
use dashwright_grpc::LIMITS;
use dashwright_tests::binary::{Line, Process};
use dashwright_tests::refused::Refused;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::transport::Endpoint;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

/// What the log says when somebody held the end up until the limit.
const HELD_UP: &str = "cutting them off";
/// What a client says first: the preface of RFC 9113, section 3.4, and an empty SETTINGS frame (section 6.5).
const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0";

/// A server of an empty dataset.
fn server() -> (tempfile::TempDir, Process, String) {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("data");
    let serve = ["serve", "--data", data.to_str().unwrap(), "--init", "--listen", "127.0.0.1:0"];
    let mut server = Process::start(&serve).unwrap();
    let (_, address) = server.serving().unwrap();
    (directory, server, address)
}

async fn socket(address: &str) -> TcpStream {
    TcpStream::connect(address.strip_prefix("http://").unwrap()).await.unwrap()
}

/// Asks the server to end: what it logs until then.
async fn end(server: Process) -> String {
    server.terminate().unwrap();
    let lines = tokio::task::spawn_blocking(move || server.lines_to_its_end().unwrap()).await.unwrap();
    let text = |line: &Line| match line {
        Line::Out(text) | Line::Err(text) => format!("{text}\n"),
    };
    lines.iter().map(text).collect()
}

#[tokio::test]
async fn a_hangup_harms_nothing_where_there_is_nothing_to_read_again() {
    let (_directory, mut server, address) = server();
    for _ in 0..2 {
        server.hang_up().unwrap();
        server
            .wait_for(|line| matches!(line, Line::Err(it) if it.contains("nothing is read again")))
            .unwrap();
    }
    super::serving::info(&address).await;
    assert!(!end(server).await.contains(HELD_UP));
}

#[tokio::test(flavor = "multi_thread")]
async fn connections_without_calls_hold_nothing_up() {
    let (_directory, server, address) = server();
    // One that never says a word, one that stops in the middle of the first, and one that has been answered and waits.
    let mut silent = socket(&address).await;
    let mut halting = socket(&address).await;
    halting.write_all(&PREFACE[..10]).await.unwrap();
    let channel = Endpoint::from_shared(address.clone()).unwrap().connect().await.unwrap();
    let mut health = HealthClient::new(channel.clone());
    health.check(HealthCheckRequest::default()).await.unwrap();
    let log = end(server).await;
    assert!(log.contains("ended") && !log.contains(HELD_UP), "{log}");
    for socket in [&mut silent, &mut halting] {
        // SETTINGS and a last word may come; then it is over.
        let ended = socket.read_to_end(&mut Vec::new()).await;
        assert!(
            ended.is_ok() || ended.is_err_and(|error| error.kind() == std::io::ErrorKind::ConnectionReset)
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn streams_without_an_end_are_told_that_the_service_goes_down() {
    let (directory, server, address) = server();
    let channel = Endpoint::from_shared(address).unwrap().connect().await.unwrap();
    let mut audit = AuditServiceClient::new(channel.clone());
    let mut watched = audit.watch_revisions(WatchRevisionsRequest::default()).await.unwrap().into_inner();
    let mut health = HealthClient::new(channel.clone());
    let mut health = health.watch(HealthCheckRequest::default()).await.unwrap().into_inner();
    assert_eq!(health.message().await.unwrap().unwrap().status(), ServingStatus::Serving);
    let (carts, read) = tokio::sync::mpsc::channel::<CheckCartsRequest>(1);
    carts.send(CheckCartsRequest { correlation_id: "one".to_owned(), cart: None }).await.unwrap();
    let read = tokio_stream::wrappers::ReceiverStream::new(read);
    let mut answered =
        FitmentServiceClient::new(channel.clone()).check_carts(read).await.unwrap().into_inner();
    assert_eq!(answered.message().await.unwrap().unwrap().correlation_id, "one");

    let log = end(server).await;
    assert!(!log.contains(HELD_UP), "{log}");
    // The protocol of health: who watches is told each change.
    assert_eq!(health.message().await.unwrap().unwrap().status(), ServingStatus::NotServing);
    let draining = ErrorReason::Draining.as_str_name().strip_prefix("ERROR_REASON_").unwrap();
    for status in [
        health.message().await.unwrap_err(),
        watched.message().await.unwrap_err(),
        answered.message().await.unwrap_err(),
    ] {
        let refused = Refused::of(&status);
        assert_eq!(
            (refused.code, refused.reason.as_str()),
            (tonic::Code::Unavailable, draining),
            "{refused:?}"
        );
    }
    drop((carts, directory));
}

/// A client that says hello and then nothing, so that it never hears that it is to go away.
async fn deaf(address: &str) -> TcpStream {
    let mut socket = socket(address).await;
    socket.write_all(PREFACE).await.unwrap();
    // The server's own SETTINGS: it has read the hello.
    socket.read_exact(&mut [0; 9]).await.unwrap();
    socket
}

#[tokio::test(flavor = "multi_thread")]
async fn who_never_goes_is_cut_off_at_the_limit() {
    let (_directory, server, address) = server();
    let _held = deaf(&address).await;
    let begin = std::time::Instant::now();
    let log = end(server).await;
    assert!(log.contains(HELD_UP) && log.contains("ended"), "{log}");
    // It had all of the time that is promised. That it had not much more is what `HELD_UP` says.
    assert!(begin.elapsed() >= LIMITS.drain - Duration::from_secs(1), "{:?}", begin.elapsed());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_signal_ends_at_once() {
    let (_directory, mut server, address) = server();
    let _held = deaf(&address).await;
    server.terminate().unwrap();
    server.wait_for(|line| matches!(line, Line::Err(it) if it.contains("going down"))).unwrap();
    let log = end(server).await;
    assert!(log.contains("a second signal") && !log.contains(HELD_UP), "{log}");
}
