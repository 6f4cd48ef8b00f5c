//! What a large publish does to look-ups beside it: their times at a steady pace, while nothing else happens and while a draft that
//! changes every vehicle line becomes a revision.

use std::time::{Duration, Instant};

use bytes::Bytes;
use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;

use crate::Outcome;
use crate::load::{LOOK_UP, block_on, call, channel};
use crate::server::{Kind, Running, with_draft};

/// Look-ups in a second: a busy day of a hundred shops, and far from what the server could do.
const PACE: u64 = 500;
/// How long look-ups are timed while nothing else happens.
const IDLE: Duration = Duration::from_secs(4);

/// Times in milliseconds.
pub(crate) struct Beside {
    pub(crate) idle_p50: f64,
    pub(crate) idle_p99: f64,
    pub(crate) publish_p50: f64,
    pub(crate) publish_p99: f64,
    pub(crate) publish_max: f64,
    pub(crate) publish_seconds: f64,
}

/// Publishes a draft of so many lines beside look-ups.
pub(crate) fn measure(lines: usize, requests: &[Vec<u8>]) -> Outcome<Beside> {
    let root = with_draft(lines)?;
    let server = Running::start(&Kind::Unpinned { directory: &root.path().join("data") })?;
    let requests: Vec<Bytes> = requests.iter().cloned().map(Bytes::from).collect();
    block_on(async {
        // The first look-ups encode their answers.
        // sleep: the time that is measured.
        asked(&server, &requests, tokio::time::sleep(Duration::from_secs(1))).await?;
        // sleep: the time that is measured.
        let (mut idle, ()) = asked(&server, &requests, tokio::time::sleep(IDLE)).await?;
        let began = Instant::now();
        let (mut beside, published) = asked(&server, &requests, publish(&server)).await?;
        published?;
        let publish_seconds = began.elapsed().as_secs_f64();
        idle.sort_unstable();
        beside.sort_unstable();
        Ok(Beside {
            idle_p50: milliseconds(&idle, 0.5),
            idle_p99: milliseconds(&idle, 0.99),
            publish_p50: milliseconds(&beside, 0.5),
            publish_p99: milliseconds(&beside, 0.99),
            publish_max: milliseconds(&beside, 1.0),
            publish_seconds,
        })
    })
}

/// The times of look-ups at a steady pace for as long as something else takes. Each counts from when it was due: one that
/// waits behind another is not let off.
async fn asked<T>(
    server: &Running,
    requests: &[Bytes],
    work: impl Future<Output = T>,
) -> Outcome<(Vec<Duration>, T)> {
    let channel = channel(server).await?;
    let (begin, step) = (Instant::now(), Duration::from_secs(1) / u32::try_from(PACE)?);
    let (mut due, mut asking) = (begin, tokio::task::JoinSet::new());
    let mut next = requests.iter().cycle();
    tokio::pin!(work);
    let done = loop {
        tokio::select! {
            done = &mut work => break done,
            // sleep: the pace.
            () = tokio::time::sleep_until(due.into()) => {
                let (channel, request, since) = (channel.clone(), next.next().cloned().unwrap_or_default(), due);
                asking.spawn(async move { call(&channel, &LOOK_UP, request).await.map(|_| since.elapsed()) });
                due += step;
            }
        }
    };
    let mut times = Vec::new();
    while let Some(asked) = asking.join_next().await {
        times.push(asked??);
    }
    Ok((times, done))
}

async fn publish(server: &Running) -> Outcome<()> {
    let mut client = CurationServiceClient::new(channel(server).await?);
    let drafts = client.list_drafts(v1::ListDraftsRequest {}).await?.into_inner().drafts;
    let draft_id = drafts.into_iter().next().ok_or("no draft")?.draft_id;
    let change =
        v1::Change { request_id: "00000000-0000-7000-8000-000000000001".into(), reason: "bench".into() };
    let request = v1::PublishDraftRequest { change: Some(change), draft_id, ..Default::default() };
    client.publish_draft(request).await?;
    Ok(())
}

pub(crate) fn milliseconds(sorted: &[Duration], part: f64) -> f64 {
    let place = ((sorted.len() as f64 * part) as usize).min(sorted.len().saturating_sub(1));
    sorted.get(place).map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
}
