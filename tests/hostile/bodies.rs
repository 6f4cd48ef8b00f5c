//! Requests that are too large, that lie about their length, that unfold, that nest, and that never end.

use std::io::Write as _;
use std::time::{Duration, Instant};

use bytes::Bytes;
use dashwright_api::v1::Role;
use dashwright_grpc::LIMITS;
use flate2::Compression;
use flate2::write::GzEncoder;
use prost::Message as _;
use tonic::Code;

use crate::hand::{Came, Hand, came, flagged, message};
use crate::stage::{Stage, question};

const LOOK_UP: &str = "/dashwright.v1.FitmentService/LookUpFitment";
/// How often each of the requests is sent at least, and for how long.
const TIMES: usize = 30;
const LASTS: Duration = Duration::from_millis(500);

fn status(code: Code) -> Came {
    Came::Status((code as i32).to_string())
}

/// Sends a body several times over one connection; every time it comes to the same.
async fn comes_to(stage: &Stage, name: &str, headers: &[(&str, &str)], body: Vec<u8>, expected: &[Code]) {
    let bearer = format!("Bearer {}", stage.key(Role::Reader).await);
    let headers = [headers, &[("authorization", &bearer)]].concat();
    let body = Bytes::from(body);
    let expected: Vec<Came> = expected.iter().map(|code| status(*code)).collect();
    let attack = async {
        let (begin, mut times) = (Instant::now(), 0);
        while times < TIMES || begin.elapsed() < LASTS {
            times += 1;
            let hand = Hand::connect(stage.address, 2, 65_535).await;
            let came = hand.call(LOOK_UP, &headers, body.clone()).await;
            hand.connection.abort();
            assert!(expected.contains(&came), "{name}: {came:?}");
        }
    };
    stage.attacked(name, attack).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn requests_that_are_too_large_or_say_so() {
    let stage = Stage::alone().await;
    let honest = message(&question().encode_to_vec());
    comes_to(&stage, "an honest question", &[], honest, &[Code::Ok]).await;
    // Eight times the limit, and the window of a stream besides: most of it is never sent.
    let large = message(&vec![0; 8 * LIMITS.request_bytes]);
    comes_to(&stage, "a request of 8 MiB", &[], large, &[Code::ResourceExhausted]).await;
    let announced = flagged(0, u32::MAX, &[0; 60_000]);
    comes_to(&stage, "a request that announces 4 GiB", &[], announced, &[Code::ResourceExhausted]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn requests_whose_length_lies() {
    let stage = Stage::alone().await;
    let short = flagged(0, 1_000, &[0x0a]);
    comes_to(&stage, "less than announced", &[], short, &[Code::InvalidArgument]).await;
    let long = flagged(0, 1, &[0x0a, 0, 0, 0]);
    comes_to(&stage, "more than announced", &[], long, &[Code::InvalidArgument]).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn requests_that_unfold() {
    let stage = Stage::alone().await;
    let mut bomb = GzEncoder::new(Vec::new(), Compression::best());
    for _ in 0..500 {
        bomb.write_all(&vec![0; 1 << 20]).unwrap();
    }
    let bomb = bomb.finish().unwrap();
    assert!(bomb.len() < LIMITS.request_bytes, "{} bytes", bomb.len());
    let body = message(&bomb);
    let body = [&[1], &body[1..]].concat();
    // The service takes nothing compressed; where it did, the limit would be of what comes out.
    let expected = [Code::Unimplemented, Code::ResourceExhausted];
    comes_to(&stage, "500 MiB of zeros in a gzip", &[("grpc-encoding", "gzip")], body, &expected).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn requests_that_nest() {
    let stage = Stage::alone().await;
    // Groups (wire type 3) of a field that there is not, each inside the one before.
    let groups = message(&[0xa3, 0x06].repeat(400_000));
    comes_to(&stage, "400,000 groups in each other", &[], groups, &[Code::InvalidArgument]).await;
    // Messages inside each other: the field of the vehicle (2), which is no more than bytes where it is not known.
    let mut inner = Vec::new();
    while inner.len() < 200_000 {
        let mut outer = vec![0x12];
        prost::encode_length_delimiter(inner.len(), &mut outer).unwrap();
        outer.append(&mut inner);
        inner = outer;
        if inner.len() > 2_000 {
            break;
        }
    }
    comes_to(&stage, "messages in each other", &[], message(&inner), &[Code::InvalidArgument]).await;
}

/// Slowloris: many calls of which a byte comes now and then. Each ends by its deadline.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn requests_that_come_byte_by_byte() {
    /// Below what one caller may have.
    const CALLS: usize = 120;
    let stage = Stage::alone().await;
    let bearer = format!("Bearer {}", stage.key(Role::Reader).await);
    let headers = [("authorization", bearer.as_str()), ("grpc-timeout", "2S")];
    let hand = Hand::connect(stage.address, 2, 65_535).await;
    let begin = Instant::now();
    let attack = async {
        let mut calls = tokio::task::JoinSet::new();
        for _ in 0..CALLS {
            let (response, mut send) = hand.begin(LOOK_UP, &headers).await.unwrap();
            calls.spawn(async move {
                let slowly = async move {
                    let _ = send.send_data(flagged(0, 1_000, &[]).into(), false);
                    loop {
                        // sleep: this is the attack
                        tokio::time::sleep(Duration::from_millis(200)).await;
                        let _ = send.send_data(Bytes::from_static(&[0]), false);
                    }
                };
                tokio::select! {
                    came = came(response) => came,
                    () = slowly => Came::Cut(None),
                }
            });
        }
        calls.join_all().await
    };
    let all = stage.attacked("bytes one by one", attack).await;
    assert_eq!(all, vec![status(Code::DeadlineExceeded); CALLS]);
    assert!(begin.elapsed() < LIMITS.deadline, "{:?}", begin.elapsed());
}
