//! Clients that ask and never read: how much is kept for them, and for how long.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use dashwright_api::v1;
use dashwright_grpc::LIMITS;
use prost::Message as _;
use tonic::Code;

use crate::hand::{Came, Hand, message, status};
use crate::stage::Stage;

/// How long a call is waited for before it is taken to have no answer yet.
const ANSWER: Duration = Duration::from_secs(5);
/// After what time the connections are cut: the limit, what lies between two looks at it, and room for a busy machine.
const CUT: Duration = Duration::from_secs(LIMITS.unread.as_secs() + 15);
/// Connections of the attacker, each with as many streams as one may have.
const CONNECTIONS: usize = 8;

/// Paths and messages of what is asked: a large page, an export, carts, a watch.
fn asked() -> [(&'static str, Vec<u8>); 4] {
    let kind = v1::RecordKind::Part.into();
    let page = v1::ListRecordsRequest { kind, page_size: 1_000, ..Default::default() };
    [
        ("/dashwright.v1.CatalogueService/ListRecords", message(&page.encode_to_vec())),
        ("/dashwright.v1.CurationService/ExportRecords", message(&[])),
        ("/dashwright.v1.FitmentService/CheckCarts", message(&[]).repeat(100)),
        ("/dashwright.v1.AuditService/WatchRevisions", message(&[])),
    ]
}

/// The answers begin, and nobody takes more of them than the window has room for.
async fn asks_and_never_reads(window: u32) {
    let stage = Stage::beside().await;
    let bearer = format!("Bearer {}", stage.key(v1::Role::Auditor).await);
    let headers = [("authorization", bearer.as_str())];
    let asked = asked();
    let attack = async {
        let (mut came, mut unread, mut hands) = (BTreeMap::new(), Vec::new(), Vec::new());
        let refused = format!("status {}", Code::ResourceExhausted as i32);
        for _ in 0..CONNECTIONS {
            let hand = Hand::connect(stage.address, 2, window).await;
            for number in 0..LIMITS.streams_per_connection {
                let (path, body) = &asked[usize::try_from(number).unwrap() % asked.len()];
                let Some((response, mut send)) = hand.begin(path, &headers).await else { continue };
                let _ = send.send_data(body.clone().into(), true);
                let Ok(Ok(response)) = tokio::time::timeout(ANSWER, response).await else {
                    *came.entry("cut".to_owned()).or_insert(0) += 1;
                    continue;
                };
                let how = match status(response.headers()) {
                    Some(Came::Status(code)) => format!("status {code}"),
                    _ => "begun".to_owned(),
                };
                if how != refused {
                    unread.push(response.into_body());
                }
                *came.entry(how).or_insert(0) += 1;
            }
            hands.push((hand, unread.len()));
        }
        (came, unread, hands)
    };
    let name = format!("answers not read, window of {window}");
    // What one caller may leave unread, and as much for the messages before they are encoded.
    let most_kib = u64::try_from((2 * LIMITS.unread_bytes_per_caller) >> 10).unwrap() + (64 << 10);
    let begin = Instant::now();
    let rest = async {
        let (came, unread, hands) = attack.await;
        println!("{name}: {came:?}, {} answers are open", unread.len());
        let begun = came.get("begun").copied().unwrap_or_default();
        assert!(begun > 0 && begun <= LIMITS.calls_per_caller, "{came:?}");
        let refused = came.get(&format!("status {}", Code::ResourceExhausted as i32)).copied();
        assert!(refused.unwrap_or_default() > LIMITS.calls_per_caller, "{came:?}");
        let mut before = 0;
        for (hand, answers) in hands {
            if answers == std::mem::replace(&mut before, answers) {
                // All of its calls were refused: there is nothing that it does not read.
                hand.connection.abort();
                continue;
            }
            let ended = tokio::time::timeout(CUT, hand.connection).await;
            assert!(ended.is_ok(), "a connection is open after {:?}", begin.elapsed());
        }
        drop(unread);
        begin.elapsed()
    };
    let after = stage.attacked_within(&name, most_kib, rest).await;
    println!("{name}: the last connection was cut after {after:.1?}");
    assert!(after >= LIMITS.unread, "{after:?}");

    is_served_again(&stage, &asked[..2], &headers).await;
}

/// Nothing is held for calls that were cut.
async fn is_served_again(stage: &Stage, asked: &[(&str, Vec<u8>)], headers: &[(&str, &str)]) {
    let hand = Hand::connect(stage.address, 2, 1 << 20).await;
    for (path, body) in asked {
        assert_eq!(hand.call(path, headers, body.clone()).await, Came::Status("0".to_owned()), "{path}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn answers_that_nobody_reads() {
    asks_and_never_reads(0).await;
}

/// With room for one byte a transport takes the whole answer into a place that nobody counts.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn answers_of_which_nobody_reads_more_than_a_byte() {
    asks_and_never_reads(1).await;
}

/// Streams that need no key are bounded too, and single calls of health go on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn watches_of_strangers() {
    let stage = Stage::alone().await;
    let watch = "/grpc.health.v1.Health/Watch";
    let attack = async {
        let (mut begun, mut refused, mut open) = (0, 0, Vec::new());
        for _ in 0..2 {
            let hand = Hand::connect(stage.address, 2, 65_535).await;
            for _ in 0..LIMITS.streams_per_connection {
                let (response, mut send) = hand.begin(watch, &[]).await.unwrap();
                let _ = send.send_data(message(&[]).into(), true);
                let response = response.await.unwrap();
                match status(response.headers()) {
                    None => begun += 1,
                    Some(status) => {
                        assert_eq!(status, Came::Status((Code::ResourceExhausted as i32).to_string()));
                        refused += 1;
                    }
                }
                open.push(response);
            }
            let check = hand.call("/grpc.health.v1.Health/Check", &[], message(&[])).await;
            // All streams of the connection are in use: only those that were refused have room.
            assert_eq!(check, Came::Status("0".to_owned()));
            open.push(hand.begin(watch, &[]).await.unwrap().0.await.unwrap());
        }
        (begun, refused)
    };
    let (begun, refused) = stage.attacked("watches of strangers", attack).await;
    println!("watches of strangers: {begun} begun, {refused} refused");
    assert_eq!(begun, LIMITS.open_streams_per_address);
    assert!(refused > 0);
}
