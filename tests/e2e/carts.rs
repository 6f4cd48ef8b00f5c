//! Carts over a real socket: unary, and as a stream with order, correlation ids, one revision and errors of their own.

use bytes::Bytes;
use dashwright_api::v1::check_carts_response::Result as Checked;
use dashwright_api::v1::read_at::At;
use dashwright_api::v1::{
    CartLine, CartVerdict, CheckCartRequest, CheckCartsRequest, CheckCartsResponse, LineStatus, Need, Order,
    ReadAt, VehicleQuestion, Wish,
};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Running, demo_lines};
use prost::Message as _;
use tokio_stream::StreamExt as _;
use tonic::Code;

fn vehicle() -> VehicleQuestion {
    VehicleQuestion {
        model_year: 2015,
        make: "Orvane".to_owned(),
        model: "Quarrow".to_owned(),
        trim: "Lane".to_owned(),
        audio_option: "B6".to_owned(),
        ..Default::default()
    }
}

fn cart(items: &[(&str, u32)]) -> CheckCartRequest {
    let lines =
        items.iter().map(|(item, quantity)| CartLine { item: (*item).to_owned(), quantity: *quantity });
    CheckCartRequest {
        vehicle: Some(vehicle()),
        radio_id: "sonquill-rowan-2".to_owned(),
        lines: lines.collect(),
        ..Default::default()
    }
}

fn named(number: usize, cart: CheckCartRequest) -> CheckCartsRequest {
    CheckCartsRequest { correlation_id: format!("cart {number}"), cart: Some(cart) }
}

async fn answers(running: &Running, carts: Vec<CheckCartsRequest>) -> Vec<CheckCartsResponse> {
    let stream = running.fitment.clone().check_carts(tokio_stream::iter(carts)).await.unwrap().into_inner();
    stream.map(|answer| answer.unwrap()).collect().await
}

#[tokio::test(flavor = "multi_thread")]
async fn adding_what_a_cart_lacks_completes_it_at_the_price_that_was_told() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.fitment.clone();
    let empty = client.check_cart(cart(&[])).await.unwrap().into_inner();
    assert_eq!(empty.verdict(), CartVerdict::Incomplete);
    let completion = &empty.completions[0];
    assert!(!completion.add_part_ids.is_empty());
    let lines: Vec<(&str, u32)> = completion.add_part_ids.iter().map(|id| (id.as_str(), 1)).collect();
    let full = client.check_cart(cart(&lines)).await.unwrap().into_inner();
    assert_eq!(full.verdict(), CartVerdict::Complete, "{full:#?}");
    assert!(full.completions[0].add_part_ids.is_empty());
    let useful = |status| matches!(status, LineStatus::Needed | LineStatus::ForAWish);
    assert!(full.lines.iter().all(|line| useful(line.status())));
    // The list prices of the parts that were to be added come to what was told.
    let price = |id: &String| {
        let part = empty.parts.iter().find(|part| part.id == *id).unwrap();
        part.price.as_ref().unwrap().amount.as_ref().unwrap().minor_units
    };
    let told = completion.total.as_ref().unwrap().price.as_ref().unwrap().minor_units;
    assert_eq!(completion.add_part_ids.iter().map(price).sum::<u64>(), told);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stream_keeps_order_and_names_and_a_bad_cart_ends_nothing() {
    let (_home, running) = Running::demo().await.unwrap();
    let carts = (0..200).map(|number| match number % 4 {
        0 => named(number, cart(&[("hwk-210-d", 1)])),
        1 => named(number, cart(&[("nonsense", 1), ("hwk-210-d", 3)])),
        2 => named(number, CheckCartRequest { vehicle: None, ..cart(&[]) }),
        _ => named(number, CheckCartRequest { radio_id: "no-radio".to_owned(), ..cart(&[("", 1)]) }),
    });
    let answers = answers(&running, carts.collect()).await;
    assert_eq!(answers.len(), 200);
    for (number, answer) in answers.into_iter().enumerate() {
        assert_eq!(answer.correlation_id, format!("cart {number}"));
        match (number % 4, answer.result.unwrap()) {
            (0, Checked::Answer(answer)) => assert_eq!(answer.lines[0].status(), LineStatus::Needed),
            (1, Checked::Answer(answer)) => {
                assert_eq!(answer.lines[0].status(), LineStatus::UnknownItem);
                assert_eq!((answer.lines[1].status(), answer.lines[1].surplus), (LineStatus::OneTooMany, 2));
            }
            (2, Checked::Error(error)) => assert_eq!(error.reason, "QUESTION_EMPTY"),
            (3, Checked::Error(error)) => {
                assert_eq!(
                    (error.code, error.reason.as_str()),
                    (Code::InvalidArgument as u32, "FIELDS_INVALID")
                );
                assert_eq!(error.fields.len(), 2, "{error:?}");
            }
            (kind, result) => panic!("kind {kind}: {result:?}"),
        }
    }
    running.stop().await.unwrap();
}

/// The first cart's revision holds for all of them, whatever is published meanwhile.
#[tokio::test(flavor = "multi_thread")]
async fn a_stream_reads_one_revision() {
    let (_home, running) = Running::demo().await.unwrap();
    let (send, carts) = tokio::sync::mpsc::channel(1);
    let stream = tokio_stream::wrappers::ReceiverStream::new(carts);
    send.send(named(0, cart(&[]))).await.unwrap();
    let mut answers = running.fitment.clone().check_carts(stream).await.unwrap().into_inner();
    let revision = |answer: CheckCartsResponse| match answer.result {
        Some(Checked::Answer(answer)) => answer.revision.unwrap().number,
        other => panic!("{other:?}"),
    };
    let first = revision(answers.next().await.unwrap().unwrap());
    let changed = demo_lines().into_iter().find(|line| line.contains("\"hwk-210\"")).unwrap();
    running.load(vec![changed.replace("\"minor_units\":1790", "\"minor_units\":1791")]).await.unwrap();
    send.send(named(1, cart(&[]))).await.unwrap();
    assert_eq!(revision(answers.next().await.unwrap().unwrap()), first);
    let stated = ReadAt { at: Some(At::Exactly("x".to_owned())) };
    send.send(named(2, CheckCartRequest { read_at: Some(stated), ..cart(&[]) })).await.unwrap();
    match answers.next().await.unwrap().unwrap().result {
        Some(Checked::Error(error)) => assert!(error.fields[0].starts_with("cart.read_at:"), "{error:?}"),
        other => panic!("{other:?}"),
    }
    drop(send);
    assert!(answers.next().await.is_none());
    let latest = running.fitment.clone().check_cart(cart(&[])).await.unwrap().into_inner();
    assert_eq!(latest.revision.unwrap().number, first + 1);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn every_malformed_field_of_an_order_is_told_at_once() {
    let (_home, running) = Running::demo().await.unwrap();
    let order = Order {
        wishes: vec![
            Wish { need: 0, weight: None },
            Wish { need: Need::Camera.into(), weight: Some(1_001) },
            Wish { need: Need::Camera.into(), weight: None },
        ],
        aim: 77,
        excluded_part_ids: vec!["no-part".to_owned()],
        consented_losses: vec![Need::Mount.into()],
        currency: "usd".to_owned(),
        ..Default::default()
    };
    let request =
        CheckCartRequest { order: Some(order), radio_id: "no-radio".to_owned(), ..cart(&[("x", 0)]) };
    let refused = Refused::of(&running.fitment.clone().check_cart(request).await.unwrap_err());
    assert_eq!((refused.code, refused.reason.as_str()), (Code::InvalidArgument, "FIELDS_INVALID"));
    let mut paths = refused.paths.clone();
    paths.sort();
    let expected = [
        "order.aim",
        "order.consented_losses.0",
        "order.currency",
        "order.excluded_part_ids.0",
        "order.wishes.0.need",
        "order.wishes.1.weight",
        "order.wishes.2.need",
        "radio_id",
    ];
    assert_eq!(paths, expected);
    running.stop().await.unwrap();
}

/// Other clients than ours put every message into a frame of its own, and send as many as the window has room for.
#[tokio::test(flavor = "multi_thread")]
async fn thousands_of_carts_in_small_frames_are_no_attack() {
    const CARTS: usize = 4_000;
    let (_home, running) = Running::demo().await.unwrap();
    let stream = tokio::net::TcpStream::connect(running.address).await.unwrap();
    let mut client = h2::client::Builder::new();
    client.data_frame_budget(1 << 24);
    let (client, connection) = client.handshake::<_, Bytes>(stream).await.unwrap();
    let connection = tokio::spawn(connection);
    let path = format!("http://{}/dashwright.v1.FitmentService/CheckCarts", running.address);
    let request =
        http::Request::post(path).header("content-type", "application/grpc").header("te", "trailers");
    let mut client = client.ready().await.unwrap();
    let (answer, mut send) = client.send_request(request.body(()).unwrap(), false).unwrap();
    let vehicle = Some(VehicleQuestion { words: "tamsel".to_owned(), ..Default::default() });
    let small = named(0, CheckCartRequest { vehicle, ..Default::default() }).encode_to_vec();
    assert!(small.len() < 60, "{} bytes", small.len());
    let length = u32::try_from(small.len()).unwrap().to_be_bytes();
    let message = Bytes::from([&[0][..], &length, &small].concat());
    for number in 1..=CARTS {
        send.send_data(message.clone(), number == CARTS).unwrap();
    }
    let mut body = answer.await.unwrap().into_body();
    while let Some(piece) = body.data().await {
        let piece = piece.unwrap();
        body.flow_control().release_capacity(piece.len()).unwrap();
    }
    let trailers = body.trailers().await.unwrap().unwrap();
    assert_eq!(trailers["grpc-status"], "0", "{trailers:?}");
    drop((client, body));
    connection.abort();
    running.stop().await.unwrap();
}
