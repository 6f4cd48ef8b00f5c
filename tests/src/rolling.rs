//! A rolling restart: two servers with the same records, restarted in turns while clients ask and repeat as they are told to.

use std::collections::BTreeMap;
use std::error::Error as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_api::v1::{LookUpFitmentRequest, VehicleQuestion};
use serde::Deserialize;
use tempfile::TempDir;
use tokio::sync::watch;
use tokio::task::{JoinSet, spawn_blocking};
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Request, Status};

use crate::binary::Process;
use crate::service::{Outcome, demo_lines};

/// How clients are told to wait and repeat.
const SERVICE_CONFIG: &str = include_str!("../../deploy/service-config.json");
/// The service that is asked.
const ASKED: &str = "dashwright.v1.FitmentService";
/// Clients that ask at once, over one balanced channel.
const CLIENTS: usize = 4;
/// A client's pause between calls: the load is there all the time, and leaves the machine to others too.
const PAUSE: Duration = Duration::from_millis(2);
/// Answers between two restarts, so that every restart is met by calls in flight and over settled connections.
const ANSWERS_BETWEEN: u64 = 100;

/// What came of it.
#[derive(Debug, Default)]
pub struct Figures {
    /// Calls, each with its repetitions.
    pub calls: u64,
    /// Calls that were refused and repeated after a wait.
    pub repeated: u64,
    /// Calls that were sent again at once, for no server had taken them.
    pub resent: u64,
    /// Calls that failed in the end, by what they were told.
    pub failed: BTreeMap<String, u64>,
    /// The longest time from the first attempt to the answer.
    pub longest: Duration,
    /// The longest time from the signal to the end of a server.
    pub longest_end: Duration,
    /// The longest time from the start of a server until it served.
    pub longest_start: Duration,
}

/// How a call is repeated: gRFC A6 with the numbers of the service config.
#[derive(Clone, Copy, Debug)]
struct Policy {
    attempts: u32,
    first: Duration,
    most: Duration,
    factor: f64,
    deadline: Duration,
}

/// A service config of gRPC, as far as it is needed here.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct ServiceConfig {
    method_config: Vec<MethodConfig>,
}

/// How some methods are called.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct MethodConfig {
    name: Vec<MethodName>,
    timeout: Option<String>,
    retry_policy: Option<RetryPolicy>,
}

/// A method, or all of a service.
#[derive(Deserialize)]
struct MethodName {
    service: String,
    method: Option<String>,
}

/// How they are repeated.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct RetryPolicy {
    max_attempts: u32,
    initial_backoff: String,
    max_backoff: String,
    backoff_multiplier: f64,
    retryable_status_codes: Vec<String>,
}

/// What came of one call.
struct Called {
    result: Result<(), Status>,
    attempts: u32,
    resent: u32,
    took: Duration,
}

/// Two servers, each on a dataset of its own with the same records.
pub struct Pair {
    directory: TempDir,
    servers: [Option<Process>; 2],
    addresses: [String; 2],
}

impl Pair {
    /// Starts both.
    ///
    /// # Errors
    /// When one can not be started.
    pub fn start() -> Outcome<Self> {
        let directory = tempfile::tempdir()?;
        let file = directory.path().join("catalogue.jsonl");
        std::fs::write(&file, demo_lines().join("\n") + "\n")?;
        let mut pair = Self { directory, servers: [None, None], addresses: Default::default() };
        let load = ["--init", "--load", file.to_str().ok_or("a path that is no text")?];
        for which in 0..pair.servers.len() {
            pair.begin(which, "127.0.0.1:0", &load)?;
        }
        Ok(pair)
    }

    fn begin(&mut self, which: usize, listen: &str, more: &[&str]) -> Outcome<()> {
        let data = self.directory.path().join(format!("data-{which}"));
        let data = data.to_str().ok_or("a path that is no text")?;
        let mut server = Process::start(&[&["serve", "--data", data, "--listen", listen], more].concat())?;
        let (revision, address) = server.serving()?;
        if revision != 1 {
            return Err(format!("it serves revision {revision}").into());
        }
        *self.servers.get_mut(which).ok_or("there are two")? = Some(server);
        *self.addresses.get_mut(which).ok_or("there are two")? = address;
        Ok(())
    }

    /// Ends one in an orderly way and starts it again on its address: how long each took.
    fn restart(&mut self, which: usize) -> Outcome<(Duration, Duration)> {
        let server = self.servers.get_mut(which).and_then(Option::take).ok_or("it is not there")?;
        let begin = Instant::now();
        server.terminate()?;
        // It fails unless the server ends with 0.
        server.lines_to_its_end()?;
        let ended = begin.elapsed();
        let address = self.addresses.get(which).ok_or("there are two")?.replace("http://", "");
        let begin = Instant::now();
        self.begin(which, &address, &[])?;
        Ok((ended, begin.elapsed()))
    }

    /// Ends both.
    ///
    /// # Errors
    /// When one does not end as it should.
    pub fn end(self) -> Outcome<()> {
        for server in self.servers.into_iter().flatten() {
            server.terminate()?;
            server.lines_to_its_end()?;
        }
        Ok(())
    }
}

/// Restarts the servers in turns, so often, while clients ask.
///
/// # Errors
/// When a server does not end or start as it should.
pub async fn roll(mut pair: Pair, restarts: usize) -> Outcome<(Pair, Figures)> {
    let endpoints = pair.addresses.iter().map(|address| Endpoint::from_shared(address.clone()));
    let channel = Channel::balance_list(endpoints.collect::<Result<Vec<_>, _>>()?.into_iter());
    let (ending, answers) = (Arc::new(AtomicBool::new(false)), Answers::default());
    let policy = Policy::of(SERVICE_CONFIG, ASKED)?;
    let mut clients = JoinSet::new();
    for _ in 0..CLIENTS {
        let (channel, ending, answers) = (channel.clone(), Arc::clone(&ending), answers.clone());
        clients.spawn(async move { ask(channel, policy, &ending, &answers).await });
    }
    let mut figures = Figures::default();
    for turn in 0..restarts {
        answers.more(ANSWERS_BETWEEN).await?;
        let restarted = spawn_blocking(move || pair.restart(turn % 2).map(|times| (pair, times)));
        let (ended, started);
        (pair, (ended, started)) = restarted.await??;
        figures.longest_end = figures.longest_end.max(ended);
        figures.longest_start = figures.longest_start.max(started);
    }
    answers.more(ANSWERS_BETWEEN).await?;
    ending.store(true, Ordering::Relaxed);
    while let Some(of_one) = clients.join_next().await {
        figures.add(of_one?);
    }
    Ok((pair, figures))
}

/// How many answers there were, for whoever waits for more.
#[derive(Clone)]
struct Answers {
    count: Arc<AtomicU64>,
    told: watch::Sender<u64>,
}

impl Default for Answers {
    fn default() -> Self {
        Self { count: Arc::default(), told: watch::Sender::new(0) }
    }
}

impl Answers {
    fn one(&self) {
        self.told.send_replace(self.count.fetch_add(1, Ordering::Relaxed) + 1);
    }

    async fn more(&self, more: u64) -> Outcome<()> {
        let until = self.count.load(Ordering::Relaxed) + more;
        self.told.subscribe().wait_for(|count| *count >= until).await?;
        Ok(())
    }
}

/// Asks until it is told to end.
async fn ask(channel: Channel, policy: Policy, ending: &AtomicBool, answers: &Answers) -> Figures {
    let mut client = FitmentServiceClient::new(channel);
    let mut figures = Figures::default();
    while !ending.load(Ordering::Relaxed) {
        let Called { result, attempts, resent, took } = policy.call(&mut client).await;
        figures.calls += 1;
        figures.repeated += u64::from(attempts > 1);
        figures.resent += u64::from(resent > 0);
        figures.longest = figures.longest.max(took);
        if let Err(status) = result {
            let told = format!(
                "{:?}: {} after {attempts} attempts ({})",
                status.code(),
                status.message(),
                causes(&status)
            );
            *figures.failed.entry(told).or_default() += 1;
        }
        // A failed call counts too, or a service that is gone would be waited for without end.
        answers.one();
        tokio::time::sleep(PAUSE).await;
    }
    figures
}

impl Figures {
    fn add(&mut self, other: Self) {
        let Self { calls, repeated, resent, failed, longest, longest_end: _, longest_start: _ } = other;
        self.calls += calls;
        self.repeated += repeated;
        self.resent += resent;
        self.longest = self.longest.max(longest);
        for (told, count) in failed {
            *self.failed.entry(told).or_default() += count;
        }
    }
}

impl Policy {
    /// The policy of a service.
    fn of(config: &str, service: &str) -> Outcome<Self> {
        let config: ServiceConfig = serde_json::from_str(config)?;
        let mut rows = config.method_config.into_iter();
        let is_of = |name: &MethodName| name.service == service && name.method.is_none();
        let row = rows.find(|row| row.name.iter().any(is_of)).ok_or("no row for the service")?;
        let (retry, timeout) = row.retry_policy.zip(row.timeout).ok_or("it is not repeated")?;
        if retry.retryable_status_codes != ["UNAVAILABLE"] {
            return Err("another code is repeated as well".into());
        }
        Ok(Self {
            attempts: retry.max_attempts,
            first: seconds(&retry.initial_backoff)?,
            most: seconds(&retry.max_backoff)?,
            factor: retry.backoff_multiplier,
            deadline: seconds(&timeout)?,
        })
    }

    /// A call with its repetitions.
    async fn call(self, client: &mut FitmentServiceClient<Channel>) -> Called {
        let begin = Instant::now();
        let mut wait = self.first;
        let (mut attempts, mut resent) = (1, 0);
        loop {
            let left = self.deadline.saturating_sub(begin.elapsed());
            let mut request = Request::new(question());
            request.set_timeout(left);
            let result = client.look_up_fitment(request).await.map(|_| ());
            if result.as_ref().is_err_and(never_taken) && !left.is_zero() {
                resent += 1;
                continue;
            }
            let repeats = result.as_ref().is_err_and(|status| status.code() == Code::Unavailable);
            if !repeats || attempts == self.attempts || wait >= left {
                return Called { result, attempts, resent, took: begin.elapsed() };
            }
            // It is what a client does between attempts.
            tokio::time::sleep(wait).await;
            wait = wait.mul_f64(self.factor).min(self.most);
            attempts += 1;
        }
    }
}

/// Whether a call never came to be answered: its connection was told to go away while it waited for its turn, or it crossed with
/// that on the wire and is above the last stream that the server takes (RFC 9113, section 6.8). gRFC A6 ("transparent retries") has
/// libraries send such a call again by themselves; the one here says that it was cancelled, or an internal error.
fn never_taken(status: &Status) -> bool {
    let Some(source) = status.source().filter(|source| source.is::<tonic::transport::Error>()) else {
        return false;
    };
    let mut cause = Some(source);
    let told_to_go = std::iter::from_fn(|| {
        let this = cause?;
        cause = this.source();
        Some(this)
    });
    let mut of_http = told_to_go.filter_map(|cause| cause.downcast_ref::<h2::Error>());
    let gone = |error: &h2::Error| {
        error.is_go_away() && error.is_remote() && error.reason() == Some(h2::Reason::NO_ERROR)
    };
    status.code() == Code::Cancelled || of_http.any(gone)
}

/// What lies below a status, in the words of the libraries.
fn causes(status: &Status) -> String {
    let mut causes = Vec::new();
    let mut source = status.source();
    while let Some(error) = source {
        causes.push(error.to_string());
        source = error.source();
    }
    causes.join(": ")
}

/// A time as the JSON of protobuf writes it.
fn seconds(text: &str) -> Outcome<Duration> {
    let number = text.strip_suffix('s').ok_or("no time")?;
    Ok(Duration::from_secs_f64(number.parse()?))
}

fn question() -> LookUpFitmentRequest {
    let words = "2013 orvane tamsel hatchback".to_owned();
    LookUpFitmentRequest {
        vehicle: Some(VehicleQuestion { words, ..Default::default() }),
        ..Default::default()
    }
}
