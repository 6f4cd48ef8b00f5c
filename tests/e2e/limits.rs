//! Limits over a real socket: too much, too long, too many, and bytes that are no call at all.

use std::convert::Infallible;
use std::future::{pending, ready};
use std::net::SocketAddr;
use std::time::{Duration, Instant};

use dashwright_api::v1::read_at::At;
use dashwright_api::v1::{GetDatasetInfoRequest, ReadAt, SearchRecordsRequest};
use dashwright_engine::RevisionToken;
use dashwright_grpc::LIMITS;
use dashwright_grpc::guard::GuardLayer;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tonic::body::Body;
use tonic::{Code, Request, Status};
use tower::{Layer as _, ServiceExt as _, service_fn};

/// How long a test waits for what has to happen, before it says that it did not.
const PATIENCE: Duration = Duration::from_secs(20);

/// A fresh connection is answered.
async fn is_alive(address: SocketAddr) {
    use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
    let mut client = CatalogueServiceClient::connect(format!("http://{address}")).await.unwrap();
    let info = client.get_dataset_info(GetDatasetInfoRequest::default()).await.unwrap().into_inner();
    assert_eq!(info.revision.unwrap().number, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_over_the_limit_is_refused_and_one_at_it_is_read() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.catalogue.clone();
    let of = |bytes: usize| SearchRecordsRequest { query: "x".repeat(bytes), ..Default::default() };
    // Tag and length of the only field take four bytes.
    let read = client.search_records(of(LIMITS.request_bytes - 4)).await.unwrap_err();
    assert_eq!(Refused::of(&read).reason, "FIELDS_INVALID");
    let refused = Refused::of(&client.search_records(of(LIMITS.request_bytes)).await.unwrap_err());
    assert_eq!((refused.code, refused.reason.as_str()), (Code::ResourceExhausted, "MESSAGE_TOO_LARGE"));
    assert_eq!(refused.metadata["most_bytes"], LIMITS.request_bytes.to_string());
    is_alive(running.address).await;
    running.stop().await.unwrap();
}

/// A call that waits for a revision which does not come.
async fn waiting_call(running: &Running, timeout: Duration) -> Status {
    let token = RevisionToken::new(running.engine.view().incarnation(), 99).to_string();
    let read_at = Some(ReadAt { at: Some(At::AtLeast(token)) });
    let mut request = Request::new(GetDatasetInfoRequest { read_at });
    request.set_timeout(timeout);
    running.catalogue.clone().get_dataset_info(request).await.unwrap_err()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_read_that_waits_is_told_before_its_deadline_that_the_revision_was_not_reached() {
    let (_home, running) = Running::demo().await.unwrap();
    for milliseconds in [500, 2000] {
        let timeout = Duration::from_millis(milliseconds);
        let begin = Instant::now();
        let refused = Refused::of(&waiting_call(&running, timeout).await);
        // "At least this revision: the call waits for it until its deadline, then fails with FAILED_PRECONDITION."
        assert_eq!(refused.code, Code::FailedPrecondition, "{timeout:?}: {refused:?}");
        assert_eq!(refused.reason, "REVISION_NOT_REACHED");
        assert_eq!((refused.metadata["wanted"].as_str(), refused.metadata["latest"].as_str()), ("99", "1"));
        assert!(begin.elapsed() > timeout / 2, "it waited {:?} of {timeout:?}", begin.elapsed());
    }
    running.stop().await.unwrap();
}

/// A service behind the guard that answers what `answer` says.
async fn guarded<F: Future<Output = ()> + Send + 'static>(
    layer: &GuardLayer,
    timeout: Option<&str>,
    answer: impl Fn() -> F + Clone + Send + 'static,
) -> Status {
    let service = service_fn(move |_: http::Request<Body>| {
        let answer = answer();
        async move {
            answer.await;
            Ok::<_, Infallible>(http::Response::new(Body::empty()))
        }
    });
    let mut request = http::Request::new(Body::empty());
    if let Some(timeout) = timeout {
        request.headers_mut().insert("grpc-timeout", timeout.parse().unwrap());
    }
    request.headers_mut().insert("x-request-id", "a-name".parse().unwrap());
    let response = layer.layer(service).oneshot(request).await.unwrap();
    Status::from_header_map(response.headers()).unwrap_or_else(|| Status::new(Code::Ok, ""))
}

#[tokio::test]
async fn a_call_that_does_not_end_is_ended_by_its_deadline() {
    let layer = GuardLayer::new();
    let refused = Refused::of(&guarded(&layer, Some("20m"), pending).await);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::DeadlineExceeded, "DEADLINE"));
    assert_eq!(refused.keys(), ["most_milliseconds"]);
}

#[tokio::test]
async fn a_panic_is_internal_for_its_caller_only() {
    let layer = GuardLayer::new();
    let refused = Refused::of(&guarded(&layer, None, || async { panic!("provoked by a test") }).await);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::Internal, "INTERNAL"));
    assert_eq!(refused.metadata["request_id"], "a-name");
    assert_eq!(guarded(&layer, None, || ready(())).await.code(), Code::Ok);
}

#[tokio::test]
async fn a_call_over_the_limit_of_calls_is_shed_until_another_has_ended() {
    let layer = GuardLayer::new();
    let mut calls = JoinSet::new();
    for _ in 0..LIMITS.calls {
        let layer = layer.clone();
        calls.spawn(async move { guarded(&layer, None, pending).await });
    }
    // Each of the calls takes its place when it is polled first, and this runtime polls them in turn.
    for _ in 0..LIMITS.calls {
        tokio::task::yield_now().await;
    }
    let refused = Refused::of(&guarded(&layer, None, || ready(())).await);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::Unavailable, "OVERLOADED"));
    assert!(refused.retry, "{refused:?}");
    assert_eq!(refused.metadata["most_calls"], LIMITS.calls.to_string());
    calls.shutdown().await;
    assert_eq!(guarded(&layer, None, || ready(())).await.code(), Code::Ok);
}

#[tokio::test(flavor = "multi_thread")]
async fn headers_over_the_limit_are_refused_and_others_are_read() {
    let (_home, running) = Running::demo().await.unwrap();
    let of = |bytes: usize| {
        let mut request = Request::new(GetDatasetInfoRequest::default());
        request.metadata_mut().insert("x-filling", "x".repeat(bytes).parse().unwrap());
        request
    };
    let mut client = running.catalogue.clone();
    client.get_dataset_info(of(12 << 10)).await.unwrap();
    let refused = client.get_dataset_info(of(20 << 10)).await;
    assert!(refused.is_err(), "{refused:?}");
    // The same connection goes on.
    client.get_dataset_info(of(0)).await.unwrap();
    is_alive(running.address).await;
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn bytes_that_are_no_call_end_their_connection_and_nothing_else() {
    let (_home, running) = Running::demo().await.unwrap();
    let preface = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_vec();
    let settings = [0, 0, 0, 4, 0, 0, 0, 0, 0];
    let mut all = vec![
        b"GET / HTTP/1.1\r\nhost: x\r\n\r\n".to_vec(),
        vec![0; 4096],
        preface[..10].to_vec(),
        // A frame longer than it may be, one of stream 0 that may not be there, headers that are no header block.
        [preface.as_slice(), &settings, &[0xff, 0xff, 0xff, 0, 0, 0, 0, 0, 1]].concat(),
        [preface.as_slice(), &settings, &[0, 0, 4, 0, 0, 0, 0, 0, 0, 1, 2, 3, 4]].concat(),
        [preface.as_slice(), &settings, &[0, 0, 5, 1, 4, 0, 0, 0, 1, 0xff, 0xff, 0xff, 0xff, 0xff]].concat(),
    ];
    let mut random = 0x2545_f491_4f6c_dd1d_u64;
    for _ in 0..60 {
        let mut bytes = [preface.as_slice(), &settings].concat();
        for _ in 0..200 {
            random ^= random << 13;
            random ^= random >> 7;
            random ^= random << 17;
            bytes.push(random.to_le_bytes()[0]);
        }
        all.push(bytes);
    }
    for bytes in all {
        let mut stream = TcpStream::connect(running.address).await.unwrap();
        // It may close the connection before it has read everything.
        let _ = stream.write_all(&bytes).await;
        let _ = stream.shutdown().await;
        let mut answer = Vec::new();
        let ended = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await;
        assert!(ended.is_ok(), "the connection stays open after {bytes:?}");
    }
    is_alive(running.address).await;
    running.stop().await.unwrap();
}

/// One call by hand; the data frame holds the bytes. What the call came to: its HTTP status and its gRPC status.
async fn by_hand(address: SocketAddr, body: Vec<u8>) -> Option<(u16, String)> {
    let stream = TcpStream::connect(address).await.unwrap();
    let (client, connection) = h2::client::handshake(stream).await.unwrap();
    let connection = tokio::spawn(connection);
    let request =
        http::Request::post(format!("http://{address}/dashwright.v1.CatalogueService/GetDatasetInfo"))
            .header("content-type", "application/grpc")
            .header("te", "trailers")
            .body(())
            .unwrap();
    let (response, mut send) = client.ready().await.unwrap().send_request(request, false).unwrap();
    let _ = send.send_data(body.into(), true);
    let response = response.await.ok()?;
    let code = response.status().as_u16();
    let status = |headers: &http::HeaderMap| Some(headers.get("grpc-status")?.to_str().unwrap().to_owned());
    let mut found = status(response.headers());
    let mut body = response.into_body();
    while let Some(chunk) = body.data().await {
        let _ = body.flow_control().release_capacity(chunk.ok()?.len());
    }
    if found.is_none() {
        found = status(&body.trailers().await.ok()??);
    }
    connection.abort();
    Some((code, found?))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_whose_frame_lies_is_refused_and_the_server_goes_on() {
    let (_home, running) = Running::demo().await.unwrap();
    assert_eq!(by_hand(running.address, vec![0, 0, 0, 0, 0]).await, Some((200, "0".to_owned())));
    for lying in [
        vec![],
        vec![0, 0],
        // More announced than sent, more sent than announced, four GiB announced, flags that mean nothing.
        vec![0, 0, 0, 0, 9, 1],
        vec![0, 0, 0, 0, 1, 0x0a, 0, 0, 0],
        vec![0, 0xff, 0xff, 0xff, 0xff],
        vec![1, 0, 0, 0, 0],
        vec![7, 0, 0, 0, 0],
    ] {
        let begin = Instant::now();
        let answer = by_hand(running.address, lying.clone()).await;
        assert!(
            answer.as_ref().is_none_or(|(code, status)| *code == 200 && status != "0"),
            "{lying:?}: {answer:?}"
        );
        assert!(begin.elapsed() < PATIENCE, "{lying:?}");
    }
    is_alive(running.address).await;
    running.stop().await.unwrap();
}
