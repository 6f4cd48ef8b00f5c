//! How long callers wait while a server does half of what it could: calls come at their own times, whether or not earlier ones were answered.
//!
//! The times between calls are those of callers who know nothing of each other (exponential, from a fixed seed). Each call
//! counts from when it was planned: one that is sent late or waits behind another is not let off. The client does nothing but wait for
//! the next time, so that no timer's coarseness is in the figures.

use std::time::{Duration, Instant};

use bytes::Bytes;
use http::uri::PathAndQuery;

use crate::Outcome;
use crate::load::{CONNECTIONS, Length, block_on, call, channel};
use crate::publish::milliseconds;
use crate::server::Running;

/// The part of what a server does at most that it is asked for.
const PART: f64 = 0.5;
/// The seed of the times between calls: the same for every server and run.
const SEED: u64 = 0x5eed;

/// Times in milliseconds.
pub(crate) struct Waits {
    pub(crate) p50: f64,
    pub(crate) p99: f64,
}

/// Asks a server at half the rate that it was seen to answer.
pub(crate) fn measure(
    server: &Running,
    path: &PathAndQuery,
    requests: &[Vec<u8>],
    calls_per_second: f64,
    length: Length,
) -> Outcome<Waits> {
    let requests: Vec<Bytes> = requests.iter().cloned().map(Bytes::from).collect();
    let mean = 1.0 / (calls_per_second * PART);
    block_on(async {
        let mut channels = Vec::new();
        for _ in 0..CONNECTIONS {
            channels.push(channel(server).await?);
        }
        let (begin, mut asking) = (Instant::now(), tokio::task::JoinSet::new());
        let counted = begin + length.warm_up;
        let (end, mut due) = (counted + length.measured, begin);
        let (mut chance, mut times) = (Chance(SEED), Vec::new());
        let mut next = requests.iter().cycle().zip(channels.iter().cycle());
        while due < end {
            while let Some(asked) = asking.try_join_next() {
                times.extend(asked??);
            }
            if Instant::now() < due {
                // Lets the calls go on, and comes back at once.
                tokio::task::yield_now().await;
                continue;
            }
            let (request, channel) = next.next().ok_or("nothing is asked")?;
            let (request, channel, path, planned) = (request.clone(), channel.clone(), path.clone(), due);
            asking.spawn(async move {
                call(&channel, &path, request).await?;
                Ok::<_, Box<dyn std::error::Error + Send + Sync>>(
                    (planned >= counted).then(|| planned.elapsed()),
                )
            });
            due += Duration::from_secs_f64(mean * chance.wait());
        }
        while let Some(asked) = asking.join_next().await {
            times.extend(asked??);
        }
        times.sort_unstable();
        Ok(Waits { p50: milliseconds(&times, 0.5), p99: milliseconds(&times, 0.99) })
    })
}

/// Chance that is the same every time: SplitMix64 (Steele, Lea and Flood, 2014).
struct Chance(u64);

impl Chance {
    /// The time to the next caller, in parts of the mean.
    fn wait(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^= bits >> 31;
        // 53 bits make a number above 0 and at most 1.
        let part = ((bits >> 11) + 1) as f64 / (1_u64 << 53) as f64;
        -part.ln()
    }
}
