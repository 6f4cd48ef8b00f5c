//! Floods of frames: resets, headers, settings, pings, empty pieces.

use dashwright_api::v1::Role;

use crate::stage::{FLOOD, Stage};
use crate::wire::{
    CALM, CONTINUATION, DATA, END_HEADERS, END_STREAM, Flooded, HEADERS, PING, PRIORITY, RST_STREAM, Reads,
    SETTINGS, WINDOW_UPDATE, call, fields, flood, frame, stream, text,
};

/// Attackers at once.
const ATTACKERS: usize = 3;

/// One flood from several connections at once.
async fn flooded(
    stage: &Stage,
    name: &str,
    reads: Reads,
    round: impl Fn(u32) -> Vec<u8> + Clone + Send + Sync + 'static,
) -> Flooded {
    let address = stage.address;
    let attack = async {
        let mut all = tokio::task::JoinSet::new();
        for _ in 0..ATTACKERS {
            let round = round.clone();
            all.spawn(async move { flood(address, FLOOD, reads, round).await });
        }
        let mut sum = Flooded::default();
        for one in all.join_all().await {
            sum.connections += one.connections;
            sum.rounds += one.rounds;
            for (how, count) in one.ended {
                *sum.ended.entry(how).or_default() += count;
            }
        }
        sum
    };
    let sum = stage.attacked(name, attack).await;
    println!("{name}: {sum:?}");
    assert!(sum.rounds > 100, "{name}: nothing was flooded: {sum:?}");
    sum
}

/// CVE-2023-44487: calls that are taken back at once.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn calls_that_are_taken_back_at_once() {
    let stage = Stage::alone().await;
    let block = call(&stage.key(Role::Reader).await);
    let reset = move |number| {
        let cancel = 8_u32.to_be_bytes();
        [frame(HEADERS, END_HEADERS, stream(number), &block), frame(RST_STREAM, 0, stream(number), &cancel)]
            .concat()
    };
    let flooded = flooded(&stage, "rapid reset", Reads::Yes, reset).await;
    assert!(flooded.ended.contains_key(CALM), "{flooded:?}");
}

/// CVE-2025-8671: calls that the server is made to take back.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn calls_that_the_server_is_made_to_reset() {
    let stage = Stage::alone().await;
    let block = call(&stage.key(Role::Reader).await);
    let headers = move |number, more| frame(HEADERS, END_HEADERS | more, stream(number), &block);

    let begin = headers.clone();
    let none = move |number| {
        [begin(number, 0), frame(WINDOW_UPDATE, 0, stream(number), &0_u32.to_be_bytes())].concat()
    };
    let flooded_none = flooded(&stage, "window updates of nothing", Reads::Yes, none).await;

    let begin = headers.clone();
    let over = move |number| {
        let most = frame(WINDOW_UPDATE, 0, stream(number), &0x7fff_ffff_u32.to_be_bytes());
        [begin(number, 0), most.clone(), most].concat()
    };
    let flooded_over = flooded(&stage, "window updates beyond the largest", Reads::Yes, over).await;

    let begin = headers.clone();
    let late = move |number| [begin(number, END_STREAM), frame(DATA, 0, stream(number), b"late")].concat();
    let flooded_late = flooded(&stage, "data behind the end", Reads::Yes, late).await;

    let itself =
        move |number: u32| [headers(number, 0), frame(PRIORITY, 0, stream(number), &[0, 0, 0, 0])].concat();
    let flooded_short = flooded(&stage, "priorities that are too short", Reads::Yes, itself).await;

    for flooded in [flooded_none, flooded_over, flooded_late, flooded_short] {
        assert!(!flooded.ended.is_empty(), "no connection was ended: {flooded:?}");
    }
}

/// CVE-2024-27316: header blocks that do not end.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn headers_without_an_end() {
    let stage = Stage::alone().await;
    for (name, bytes) in [("continuations of one byte", 1), ("continuations of 16 KiB", 16_000)] {
        let piece = if bytes == 1 { vec![0x82] } else { fields(&[("x-filling", &"x".repeat(bytes))]) };
        let round = move |number| {
            if number == 0 { frame(HEADERS, 0, 1, &piece) } else { frame(CONTINUATION, 0, 1, &piece) }
        };
        let flooded = flooded(&stage, name, Reads::Yes, round).await;
        assert!(!flooded.ended.is_empty(), "{flooded:?}");
    }
}

/// Header blocks that are small on the wire and large when they are read.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn headers_that_unfold() {
    let stage = Stage::alone().await;
    // A field of 4,000 bytes is put into the table once (RFC 7541, section 6.2.1), and named by one byte 8,000 times.
    let mut block = call("none");
    block.push(0x40);
    text("x-bomb", &mut block);
    text(&"x".repeat(4_000), &mut block);
    block.extend(std::iter::repeat_n(0xbe, 8_000));
    let bomb = move |number| frame(HEADERS, END_HEADERS | END_STREAM, stream(number), &block);
    flooded(&stage, "headers that unfold to 32 MB", Reads::Yes, bomb).await;

    let mut block = call("none");
    block.extend(fields(&[("x-filling", &"x".repeat(14_000))]));
    let large = move |number| {
        let rest = fields(&[("x-more", &"x".repeat(14_000))]);
        [
            frame(HEADERS, END_STREAM, stream(number), &block),
            frame(CONTINUATION, END_HEADERS, stream(number), &rest),
        ]
        .concat()
    };
    flooded(&stage, "headers over the limit", Reads::Yes, large).await;

    // The table is asked to grow to 1 GiB (section 6.3), where 4 KiB were agreed.
    let mut block = vec![0x3f, 0xe1, 0xff, 0xff, 0xff, 0x03];
    block.extend(call("none"));
    let table = move |number| frame(HEADERS, END_HEADERS | END_STREAM, stream(number), &block);
    let flooded = flooded(&stage, "a table of headers of 1 GiB", Reads::Yes, table).await;
    assert!(!flooded.ended.is_empty(), "{flooded:?}");
}

/// Frames that ask for an answer or for nothing at all (CVE-2019-9512, 9515, 9518), from clients who read and who do not.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn frames_that_cost_the_server_more_than_the_client() {
    let stage = Stage::alone().await;
    for (how, reads) in [("", Reads::Yes), (", answers not read", Reads::No)] {
        let settings = |_| frame(SETTINGS, 0, 0, &[0, 4, 0, 0, 0xff, 0xff]);
        flooded(&stage, &format!("settings{how}"), reads, settings).await;
        flooded(&stage, &format!("pings{how}"), reads, |_| frame(PING, 0, 0, b"nothing!")).await;
    }
    let block = call(&stage.key(Role::Reader).await);
    let empty = move |number| {
        if number == 0 { frame(HEADERS, END_HEADERS, 1, &block) } else { frame(DATA, 0, 1, &[]) }
    };
    flooded(&stage, "empty pieces of a request", Reads::Yes, empty).await;
    let priorities = |_| frame(PRIORITY, 0, 1, &[0, 0, 0, 3, 16]);
    flooded(&stage, "priorities", Reads::Yes, priorities).await;
    let unknown = |_| frame(0xfa, 0xff, 0, &[0; 64]);
    flooded(&stage, "frames of no known kind", Reads::Yes, unknown).await;
    let windows = |_| frame(WINDOW_UPDATE, 0, 0, &1_u32.to_be_bytes());
    flooded(&stage, "window updates of the connection", Reads::Yes, windows).await;
}
