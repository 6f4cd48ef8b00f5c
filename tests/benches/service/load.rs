//! The client: as many calls as a server takes, for a bounded time, on a bounded number of connections.

use std::fmt;
use std::time::{Duration, Instant};

use bytes::Bytes;
use dashwright_api::v1;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use http::uri::PathAndQuery;
use prost::Message as _;
use tonic::client::Grpc;
use tonic::transport::{Channel, Endpoint};

use crate::Outcome;
use crate::floor::Raw;
use crate::server::Running;

/// A look-up.
pub(crate) const LOOK_UP: PathAndQuery =
    PathAndQuery::from_static("/dashwright.v1.FitmentService/LookUpFitment");
/// A plan.
pub(crate) const PLAN: PathAndQuery = PathAndQuery::from_static("/dashwright.v1.FitmentService/PlanInstall");
/// Connections at once.
pub(crate) const CONNECTIONS: usize = 4;
/// Calls at once on each connection.
const CALLS_EACH: usize = 16;

/// How long a server is asked.
#[derive(Clone, Copy)]
pub(crate) struct Length {
    pub(crate) warm_up: Duration,
    pub(crate) measured: Duration,
}

/// For figures.
pub(crate) const LONG: Length =
    Length { warm_up: Duration::from_millis(400), measured: Duration::from_secs(2) };
/// To see that it works.
pub(crate) const SHORT: Length =
    Length { warm_up: Duration::from_millis(50), measured: Duration::from_millis(200) };

/// What a server did in a round.
pub(crate) struct Measured {
    pub(crate) cpu_microseconds: f64,
    pub(crate) calls_per_second: f64,
    pub(crate) reply_bytes: f64,
}

impl fmt::Display for Measured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} µs CPU, {:.0} calls/s", self.cpu_microseconds, self.calls_per_second)
    }
}

/// The replies to some requests, in their order.
pub(crate) fn replies(server: &Running, path: &PathAndQuery, requests: &[Vec<u8>]) -> Outcome<Vec<Vec<u8>>> {
    block_on(async {
        let channel = channel(server).await?;
        let mut replies = Vec::new();
        for request in requests {
            replies.push(call(&channel, path, Bytes::from(request.clone())).await?.to_vec());
        }
        Ok(replies)
    })
}

/// Asks a server as fast as it answers.
pub(crate) fn measure(
    server: &Running,
    path: &PathAndQuery,
    requests: &[Vec<u8>],
    length: Length,
) -> Outcome<Measured> {
    let requests: Vec<Bytes> = requests.iter().cloned().map(Bytes::from).collect();
    block_on(async {
        saturate(server, path, &requests, length.warm_up).await?;
        let (cpu, began) = (server.cpu_microseconds()?, Instant::now());
        let (calls, bytes) = saturate(server, path, &requests, length.measured).await?;
        let (cpu, seconds) = (server.cpu_microseconds()? - cpu, began.elapsed().as_secs_f64());
        let calls = calls as f64;
        Ok(Measured {
            cpu_microseconds: cpu / calls,
            calls_per_second: calls / seconds,
            reply_bytes: bytes as f64 / calls,
        })
    })
}

async fn saturate(
    server: &Running,
    path: &PathAndQuery,
    requests: &[Bytes],
    time: Duration,
) -> Outcome<(u64, u64)> {
    let end = Instant::now() + time;
    let mut tasks = tokio::task::JoinSet::new();
    for connection in 0..CONNECTIONS {
        let channel = channel(server).await?;
        for caller in 0..CALLS_EACH {
            let (channel, path, requests) = (channel.clone(), path.clone(), requests.to_vec());
            tasks.spawn(async move {
                ask_until(end, &channel, &path, &requests, connection * CALLS_EACH + caller).await
            });
        }
    }
    let (mut calls, mut bytes) = (0, 0);
    while let Some(done) = tasks.join_next().await {
        let (own_calls, own_bytes) = done??;
        calls += own_calls;
        bytes += own_bytes;
    }
    Ok((calls, bytes))
}

async fn ask_until(
    end: Instant,
    channel: &Channel,
    path: &PathAndQuery,
    requests: &[Bytes],
    start: usize,
) -> Outcome<(u64, u64)> {
    let (mut calls, mut bytes) = (0, 0);
    for request in requests.iter().cycle().skip(start) {
        if Instant::now() >= end {
            break;
        }
        bytes += call(channel, path, request.clone()).await?.len() as u64;
        calls += 1;
    }
    Ok((calls, bytes))
}

pub(crate) async fn call(channel: &Channel, path: &PathAndQuery, request: Bytes) -> Outcome<Bytes> {
    let mut client = Grpc::new(channel.clone());
    client.ready().await?;
    Ok(client.unary(tonic::Request::new(request), path.clone(), Raw).await?.into_inner())
}

/// Sends carts through one stream as fast as they are answered: server CPU for each, and how many a second.
pub(crate) fn measure_carts(
    server: &Running,
    carts: &[v1::CheckCartRequest],
    count: usize,
) -> Outcome<Measured> {
    block_on(async {
        let mut client = FitmentServiceClient::new(channel(server).await?);
        let messages: Vec<v1::CheckCartsRequest> = carts
            .iter()
            .cycle()
            .take(count)
            .map(|cart| v1::CheckCartsRequest { correlation_id: String::new(), cart: Some(cart.clone()) })
            .collect();
        let (cpu, began) = (server.cpu_microseconds()?, Instant::now());
        let mut answers = client.check_carts(tokio_stream::iter(messages)).await?.into_inner();
        let (mut answered, mut bytes) = (0_u64, 0_u64);
        while let Some(answer) = answers.message().await? {
            bytes += answer.encoded_len() as u64;
            answered += 1;
        }
        let (cpu, seconds) = (server.cpu_microseconds()? - cpu, began.elapsed().as_secs_f64());
        let answered = answered as f64;
        Ok(Measured {
            cpu_microseconds: cpu / answered,
            calls_per_second: answered / seconds,
            reply_bytes: bytes as f64 / answered,
        })
    })
}

pub(crate) async fn channel(server: &Running) -> Outcome<Channel> {
    Ok(Endpoint::from_shared(format!("http://{}", server.address))?.connect().await?)
}

pub(crate) fn block_on<T>(work: impl Future<Output = Outcome<T>>) -> Outcome<T> {
    tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(work)
}
