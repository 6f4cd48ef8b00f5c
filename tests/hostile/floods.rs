//! One key that floods: it gets its share, and others do not notice.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;

use dashwright_api::v1;
use dashwright_grpc::LIMITS;
use dashwright_tests::raw::call_with;
use dashwright_tests::service::demo_json;
use prost::Message as _;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tonic::Code;

use crate::hand::{Came, Hand, message, status};
use crate::stage::{FLOOD, Stage, question};

/// Connections of the flood, and calls at once on each of them.
const CONNECTIONS: usize = 4;
const AT_ONCE: usize = 40;

/// Calls as fast as the server answers: how many came to what.
async fn flood(stage: &Stage, key: &str, path: &'static str, body: Vec<u8>) -> BTreeMap<String, usize> {
    let mut all = JoinSet::new();
    let end = Instant::now() + FLOOD;
    for _ in 0..CONNECTIONS {
        let channel = stage.channel().await.unwrap();
        for _ in 0..AT_ONCE {
            let (channel, key, body) = (channel.clone(), key.to_owned(), body.clone());
            all.spawn(async move {
                let mut came = BTreeMap::new();
                while Instant::now() < end {
                    let answer = call_with(&channel, path, body.clone(), Some(&key)).await.unwrap();
                    let code = answer.map_or_else(|status| status.code(), |_| Code::Ok);
                    *came.entry(format!("{code:?}")).or_insert(0) += 1;
                }
                came
            });
        }
    }
    let mut sum = BTreeMap::new();
    for (code, count) in all.join_all().await.into_iter().flatten() {
        *sum.entry(code).or_insert(0) += count;
    }
    sum
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_key_that_asks_as_fast_as_it_can() {
    let stage = Stage::alone().await;
    let key = stage.key(v1::Role::Reader).await;
    let path = "/dashwright.v1.FitmentService/LookUpFitment";
    let begin = Instant::now();
    let came = stage.attacked("one key floods", flood(&stage, &key, path, question().encode_to_vec())).await;
    let seconds = begin.elapsed().as_secs_f64();
    println!("one key floods: {came:?} in {seconds:.1} s");
    assert!(came.keys().all(|code| ["Ok", "ResourceExhausted"].contains(&code.as_str())), "{came:?}");
    // As many at once as in a second, and so many in each second.
    let most = f64::from(LIMITS.calls_per_second.get()) * (1.0 + seconds);
    let answered = u32::try_from(came["Ok"]).unwrap();
    assert!(f64::from(answered) <= most, "{answered} of at most {most}");
}

/// Calls that a stranger makes with no key, or with one that is wrong.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn strangers_who_guess_keys() {
    let stage = Stage::alone().await;
    let key = stage.key(v1::Role::Reader).await;
    // The last signs are a checksum, which a guesser makes right.
    let wrong = key.replace(['a', 'b'], "c");
    let path = "/dashwright.v1.FitmentService/LookUpFitment";
    let came = stage.attacked("guessed keys", flood(&stage, &wrong, path, question().encode_to_vec())).await;
    println!("guessed keys: {came:?}");
    assert_eq!(came.keys().collect::<Vec<_>>(), ["Unauthenticated"], "{came:?}");
}

/// Calls that take long: one key may have a share of the places, and no more.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_key_whose_calls_take_long() {
    let stage = Stage::alone().await;
    let bearer = format!("Bearer {}", stage.key(v1::Role::Auditor).await);
    let headers = [("authorization", bearer.as_str())];
    let path = "/dashwright.v1.AuditService/WatchRevisions";
    let attack = async {
        let (mut begun, mut refused, mut held) = (0, 0, Vec::new());
        for _ in 0..4 {
            let hand = Hand::connect(stage.address, 2, 65_535).await;
            for _ in 0..LIMITS.streams_per_connection {
                let (response, mut send) = hand.begin(path, &headers).await.unwrap();
                let _ = send.send_data(message(&[]).into(), true);
                let response = response.await.unwrap();
                match status(response.headers()) {
                    None => begun += 1,
                    Some(Came::Status(code)) => {
                        assert_eq!(code, (Code::ResourceExhausted as i32).to_string());
                        refused += 1;
                    }
                    Some(came) => panic!("{came:?}"),
                }
                held.push((response, send));
            }
        }
        (begun, refused)
    };
    let (begun, refused) = stage.attacked("one key whose calls take long", attack).await;
    println!("one key whose calls take long: {begun} begun, {refused} refused");
    assert_eq!(begun, LIMITS.calls_per_caller);
    assert!(refused > 0);
}

/// Carts of one stream count like calls: a stream is read as fast as its caller may ask.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_key_that_floods_a_stream() {
    /// More than may come at once and in the time that they take.
    const CARTS: u32 = 6_000;
    let stage = Stage::alone().await;
    let bearer = format!("Bearer {}", stage.key(v1::Role::Reader).await);
    let headers = [("authorization", bearer.as_str())];
    let hand = Hand::connect(stage.address, 2, 1 << 20).await;
    let begin = Instant::now();
    let carts = message(&[]).repeat(CARTS as usize);
    let attack = hand.call("/dashwright.v1.FitmentService/CheckCarts", &headers, carts);
    let came = stage.attacked("one key floods a stream", attack).await;
    let took = begin.elapsed();
    println!("one key floods a stream: {CARTS} carts in {took:.1?}");
    assert_eq!(came, Came::Status("0".to_owned()));
    let least = f64::from(CARTS) / f64::from(LIMITS.calls_per_second.get()) - 1.0;
    assert!(took.as_secs_f64() >= least, "{took:?}, at least {least}");
}

/// Several connections at once ask for plans that nobody asked before.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_key_that_asks_for_new_plans() {
    let stage = Stage::alone().await;
    let key = stage.key(v1::Role::Reader).await;
    let channel = stage.channel().await.unwrap();
    let places = Arc::new(Semaphore::new(AT_ONCE));
    let end = Instant::now() + FLOOD;
    let parts: Vec<String> = demo_json().unwrap()["part"].keys().take(31).cloned().collect();
    let attack = async {
        let mut all = JoinSet::new();
        let mut number = 0_u32;
        while Instant::now() < end {
            let place = Arc::clone(&places).acquire_owned().await.unwrap();
            number += 1;
            // No two orders leave out the same parts, so that no plan is one that was made before.
            let left_out = parts.iter().enumerate().filter(|(place, _)| number >> place & 1 == 1);
            let excluded_part_ids = left_out.map(|(_, id)| id.clone()).collect();
            let order = v1::Order { excluded_part_ids, ..Default::default() };
            let request = v1::PlanInstallRequest {
                vehicle: question().vehicle,
                radio_id: "sonquill-larch-1".to_owned(),
                order: Some(order),
                ..Default::default()
            };
            let (channel, key, body) = (channel.clone(), key.clone(), request.encode_to_vec());
            all.spawn(async move {
                let path = "/dashwright.v1.FitmentService/PlanInstall";
                let answer = call_with(&channel, path, body, Some(&key)).await.unwrap();
                drop(place);
                answer.map_or_else(|status| format!("{:?}", status.code()), |_| "Ok".to_owned())
            });
        }
        let mut came = BTreeMap::new();
        for code in all.join_all().await {
            *came.entry(code).or_insert(0) += 1;
        }
        came
    };
    let came = stage.attacked("one key asks for new plans", attack).await;
    println!("one key asks for new plans: {came:?}");
    assert!(came.contains_key("Ok"), "{came:?}");
}
