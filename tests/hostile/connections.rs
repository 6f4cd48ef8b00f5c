//! Connections that say nothing: half of a handshake, no preface, ten thousand of them.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use dashwright_api::v1;
use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_grpc::LIMITS;
use dashwright_tests::keys::with_key;
use rcgen::{CertificateParams, KeyPair};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tonic::transport::{Certificate, ClientTlsConfig};

use crate::stage::Stage;
use crate::wire::{PREFACE, begin, ending, open};

/// The preface and settings that say nothing.
const POLITE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0";
/// How long a client is waited for that is to be served at last.
const PATIENCE: Duration = Duration::from_secs(40);
/// After what time a silent connection has ended: the limit, and room for a busy machine
/// and for a packet that is repeated when the queue of the kernel was full.
const SILENT: Duration = Duration::from_secs(LIMITS.preface.as_secs() + 25);

/// Opens connections and says something on each; those that were made.
async fn open_many(address: SocketAddr, from: u8, count: usize, say: &'static [u8]) -> Vec<TcpStream> {
    let mut all = JoinSet::new();
    for _ in 0..count {
        all.spawn(async move {
            // Where the queue of the kernel is full this takes long: the attacker does not wait.
            let opened = tokio::time::timeout(Duration::from_millis(1_500), open(address, from)).await;
            let mut stream = opened.ok()?.ok()?;
            let _ = stream.write_all(say).await;
            Some(stream)
        });
    }
    all.join_all().await.into_iter().flatten().collect()
}

/// How many of the connections the server has ended, when each is given so long.
async fn ended(streams: Vec<TcpStream>, patience: Duration) -> usize {
    let mut all = JoinSet::new();
    for mut stream in streams {
        all.spawn(async move {
            let mut rest = Vec::new();
            tokio::time::timeout(patience, stream.read_to_end(&mut rest)).await.is_ok()
        });
    }
    all.join_all().await.into_iter().filter(|ended| *ended).count()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn connections_that_never_say_what_they_speak() {
    let stage = Stage::alone().await;
    let attack = async {
        let begin = Instant::now();
        let mut streams = open_many(stage.address, 2, 200, b"").await;
        streams.extend(open_many(stage.address, 2, 200, &PREFACE[..10]).await);
        let made = streams.len();
        assert!(made > 300, "only {made} were made");
        assert_eq!(ended(streams, SILENT).await, made, "silent connections stay");
        assert!(begin.elapsed() >= LIMITS.preface, "they were ended after {:?}", begin.elapsed());
    };
    stage.attacked("connections without a preface", attack).await;
}

/// Descriptors that ten thousand connections take, beside those of the other tests.
const DESCRIPTORS: u64 = 16_000;

/// Whether this machine lets a process have so many descriptors; where it does not, that is told. Linux tells it in the file.
fn has_descriptors() -> bool {
    let limits = std::fs::read_to_string("/proc/self/limits").unwrap_or_default();
    let most = limits.lines().find_map(|line| line.strip_prefix("Max open files")?.split_whitespace().next());
    let most = most.and_then(|most| most.parse().ok()).unwrap_or(u64::MAX);
    if most < DESCRIPTORS {
        println!(
            "10,000 connections: NOT TRIED, a process has {most} descriptors here: `ulimit -n {DESCRIPTORS}`"
        );
    }
    most >= DESCRIPTORS
}

/// Ten thousand connections of one machine: it gets its share, the others are closed at once, and nobody else notices.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ten_thousand_connections_of_one_address() {
    if !has_descriptors() {
        return;
    }
    let stage = Stage::alone().await;
    let (before, begin) = (stage.sockets(), Instant::now());
    let attack = async {
        let (mut made, mut most) = (0, 0);
        let mut held = Vec::new();
        for _ in 0..10 {
            let streams = open_many(stage.address, 2, 1_000, b"").await;
            made += streams.len();
            held.extend(streams);
            most = most.max(stage.sockets());
        }
        let elapsed = begin.elapsed();
        let gone = ended(held, SILENT).await;
        assert_eq!(gone, made, "silent connections stay");
        (made, most, elapsed)
    };
    let (made, most, elapsed) = stage.attacked("10,000 connections of one address", attack).await;
    println!(
        "10,000 connections of one address: {made} were made in {elapsed:.1?}, the server had {most} at most"
    );
    assert!(made > 9_000, "only {made} were made");
    // Those of the honest clients, and what the server has beside connections.
    assert!(most <= before + LIMITS.connections_per_address + 50, "{before} before, {most} at most");
}

/// Ten thousand connections of ten machines, which speak HTTP/2 and ask nothing: the house is full, and whoever is in it is
/// served. A fresh client is served when those who ask nothing have given way.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ten_thousand_connections_of_ten_addresses() {
    if !has_descriptors() {
        return;
    }
    let stage = Stage::alone().await;
    let (key, channel) = (stage.key(v1::Role::Reader).await, stage.channel().await.unwrap());
    let ask = async |channel| {
        let mut client = CatalogueServiceClient::new(channel);
        client.get_dataset_info(with_key(v1::GetDatasetInfoRequest::default(), &key).unwrap()).await
    };
    ask(channel.clone()).await.unwrap();
    let is_over = Arc::new(AtomicBool::new(false));
    let within = tokio::spawn({
        let (key, is_over) = (key.clone(), Arc::clone(&is_over));
        async move {
            let mut longest = Duration::ZERO;
            while !is_over.load(Ordering::Relaxed) {
                let asked = Instant::now();
                let request = with_key(v1::GetDatasetInfoRequest::default(), &key).unwrap();
                CatalogueServiceClient::new(channel.clone()).get_dataset_info(request).await.unwrap();
                longest = longest.max(asked.elapsed());
                // sleep: it asks now and then, as a till does
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            longest
        }
    });
    let begin = Instant::now();
    let mut held = Vec::new();
    for from in 2..12 {
        held.extend(open_many(stage.address, from, 1_000, POLITE).await);
    }
    let (made, sockets) = (held.len(), stage.sockets());
    println!(
        "10,000 connections of ten addresses: {made} were made in {:.1?}, the server has {sockets}",
        begin.elapsed()
    );
    assert!(sockets >= LIMITS.connections, "the house is not full: {sockets}");
    let asked = Instant::now();
    let fresh = tokio::time::timeout(PATIENCE, async {
        loop {
            // It repeats what failed, as deploy/service-config.json says.
            if let Ok(channel) = stage.channel().await
                && ask(channel).await.is_ok()
            {
                return;
            }
        }
    });
    assert!(fresh.await.is_ok(), "a fresh client is locked out");
    is_over.store(true, Ordering::Relaxed);
    println!("10,000 connections of ten addresses: who was in waited {:.1?} at most", within.await.unwrap());
    let peak = stage.memory_kib("VmHWM") >> 10;
    println!(
        "10,000 connections of ten addresses: a fresh client is answered after {:.1?}, memory {peak} MiB at most",
        asked.elapsed()
    );
    drop(held);
}

/// Half-open TLS: nothing at all, and the first bytes of a ClientHello.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn handshakes_that_do_not_end() {
    let root = tempfile::tempdir().unwrap();
    let key = KeyPair::generate().unwrap();
    let certificate =
        CertificateParams::new(["localhost".to_owned()]).unwrap().self_signed(&key).unwrap().pem();
    let (of_certificate, of_key) = (root.path().join("cert.pem"), root.path().join("key.pem"));
    std::fs::write(&of_certificate, &certificate).unwrap();
    std::fs::write(&of_key, key.serialize_pem()).unwrap();
    let trusted =
        ClientTlsConfig::new().ca_certificate(Certificate::from_pem(&certificate)).domain_name("localhost");
    let stage =
        Stage::alone_behind_tls(of_certificate.to_str().unwrap(), of_key.to_str().unwrap(), trusted).await;
    let attack = async {
        for say in [&b""[..], &[0x16, 3, 1, 2, 0, 1, 0, 1, 0xfc, 3, 3]] {
            let (begin, mut made) = (Instant::now(), 0);
            let mut held = Vec::new();
            while begin.elapsed() < LIMITS.handshake / 2 {
                let streams = open_many(stage.address, 2, 200, say).await;
                made += streams.len();
                held.extend(streams);
                assert!(stage.sockets() < LIMITS.handshakes, "{} sockets", stage.sockets());
                // sleep: as many as honest clients could make in the time, and not all that this machine can
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
            let gone = ended(held, SILENT).await;
            println!("half-open handshakes: {made} were made, {gone} are gone after {:.1?}", begin.elapsed());
            assert_eq!(gone, made);
        }
    };
    stage.attacked("half-open handshakes", attack).await;
}

/// A client that speaks HTTP/2, asks nothing and does not answer pings is gone after the time limits for those.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_that_answers_no_ping() {
    let stage = Stage::beside().await;
    let (read, mut write) = open(stage.address, 2).await.unwrap().into_split();
    write.write_all(&begin()).await.unwrap();
    let begin = Instant::now();
    let most = LIMITS.keepalive + LIMITS.keepalive_timeout + Duration::from_secs(10);
    assert!(tokio::time::timeout(most, ending(read)).await.is_ok(), "it is still there");
    println!("a client that answers no ping: gone after {:.1?}", begin.elapsed());
}
