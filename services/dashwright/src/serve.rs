//! `serve`: the dataset of a directory, until a signal.

use std::net::SocketAddr;
use std::num::NonZeroU32;
use std::path::Path;

use dashwright_grpc::auth::Access;
use dashwright_grpc::observe::Gauge;
use dashwright_grpc::operations::Operations;
use dashwright_grpc::tls::Tls;
use dashwright_grpc::web::serve_web;
use dashwright_grpc::{LIMITS, ServeError, Service, Serving};
use http::HeaderValue;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::spawn_blocking;

use crate::args::Serve;
use crate::config::{self, Ready, Settings};
use crate::dataset;
use crate::failure::Failure;
use crate::out;
use crate::tls_files::TlsFiles;
use crate::wiring::{self, Hangup, Signals};

/// Where calls come in, and whose.
pub(crate) struct Door {
    /// Where it listens.
    pub(crate) listener: TcpListener,
    /// Who may call.
    pub(crate) access: Access,
    /// How it encrypts, if it does.
    pub(crate) tls: Option<Tls>,
    /// Where pages in browsers come in, if they do.
    pub(crate) web: Option<Web>,
    /// What is told of it to whoever runs it.
    pub(crate) operations: Operations,
    /// Figures of the machine that are told with it.
    pub(crate) machine: Vec<Gauge>,
}

/// Where pages in browsers come in.
pub(crate) struct Web {
    listener: TcpListener,
    address: SocketAddr,
    origins: Vec<HeaderValue>,
}

impl Door {
    /// One way in, and nothing is told.
    pub(crate) fn plain(listener: TcpListener, access: Access) -> Self {
        Self {
            listener,
            access,
            tls: None,
            web: None,
            operations: Operations::default(),
            machine: Vec::new(),
        }
    }
}

/// Serves the dataset of a directory.
pub(crate) fn serve(arguments: &Serve) -> Result<(), Failure> {
    wiring::block_on(async {
        let Ready { settings, tls, telemetry } = config::ready(arguments)?;
        let ended = run(arguments, &settings, tls).await;
        telemetry.end().await;
        ended
    })
}

async fn run(arguments: &Serve, settings: &Settings, tls: Option<(TlsFiles, Tls)>) -> Result<(), Failure> {
    let (mut signals, hangup) = (Signals::take()?, Hangup::take()?);
    let listener = wiring::listen(settings.need(config::LISTEN)?).await?;
    let (web, operations) = (web(settings).await?, operations(settings).await?);
    let data = settings.need(config::DATA)?;
    let service = tokio::select! {
        opened = open(arguments, settings, &data) => opened?,
        () = signals.next() => return Err(Failure::Interrupted),
    };
    let everybody_reads = settings.is_on(config::ALLOW_PUBLIC_WITHOUT_KEYS);
    let access = Access { keys: service.engine().keys(), everybody_reads };
    let address = listener.local_addr().map_err(Failure::System)?;
    let addresses = [Some(address), web.as_ref().map(|web| web.address)];
    if access.keys.borrow().is_empty() && !everybody_reads {
        addresses.into_iter().flatten().try_for_each(refuse_beyond_this_machine)?;
    }
    let revision = service.engine().view().revision();
    tracing::info!(%address, revision, encrypted = tls.is_some(), "listening");
    addresses.into_iter().flatten().for_each(|address| warn_of_strangers(address, &access, tls.is_some()));
    let scheme = if tls.is_some() { "https" } else { "http" };
    let tls = match tls {
        Some((files, tls)) => {
            tokio::spawn(files.follow(tls.clone(), hangup));
            Some(tls)
        }
        None => {
            tokio::spawn(hangup.ignored());
            None
        }
    };
    out::print(&format!("serving revision {revision} at {scheme}://{address}\n"))?;
    let machine = vec![free_bytes(&data)];
    until_signal(service, Door { listener, access, tls, web, operations, machine }, &mut signals).await
}

/// The service over the dataset, which is begun and loaded where that is asked for.
async fn open(arguments: &Serve, settings: &Settings, data: &Path) -> Result<Service, Failure> {
    let Serve { init, load, config: _, given: _ } = arguments.clone();
    let (directory, checkpoint_key) = (data.to_owned(), settings.get(config::CHECKPOINT_KEY));
    let opening = move || dataset::open(&directory, init, load.as_deref(), checkpoint_key.as_deref());
    let engine = spawn_blocking(opening).await.map_err(|error| Failure::System(error.into()))??;
    let service = Service::new(engine, dataset::imports_of(data))
        .with_separate_publisher(settings.is_on(config::SEPARATE_PUBLISHER));
    let calls = settings.get(config::CALLS_PER_SECOND).and_then(|calls| u32::try_from(calls).ok());
    Ok(match calls.and_then(NonZeroU32::new) {
        Some(calls) => service.with_calls_per_second(calls),
        None => service,
    })
}

/// Serves until a signal, then says so to balancers, finishes the calls in flight and ends; a second signal ends at once.
pub(crate) async fn until_signal(service: Service, door: Door, signals: &mut Signals) -> Result<(), Failure> {
    let Door { listener, access, tls, web, operations, machine } = door;
    let serving = Serving::new(service, access).await?;
    operations.tell_of(&serving, machine)?;
    let end = watch::Sender::new(false);
    let server = async {
        let web = served_to_pages(serving.clone(), web, tls.clone(), ended(&end));
        tokio::try_join!(served(serving.clone(), listener, tls, ended(&end)), web).map(drop)
    };
    tokio::pin!(server);
    tokio::select! {
        result = &mut server => return result.map_err(Failure::Serve),
        () = signals.next() => {}
    }
    serving.going_down().await;
    tracing::info!("going down: finishing the calls in flight");
    end.send_replace(true);
    tokio::select! {
        result = &mut server => result?,
        () = signals.next() => tracing::warn!("a second signal: ending at once"),
        () = tokio::time::sleep(LIMITS.drain) => {
            tracing::warn!(seconds = LIMITS.drain.as_secs(), "connections are still open: cutting them off");
        }
    }
    tracing::info!("ended");
    Ok(())
}

/// Comes when the end does.
fn ended(end: &watch::Sender<bool>) -> impl Future<Output = ()> + use<> {
    let mut end = end.subscribe();
    async move {
        // A sender that is gone ends as well.
        let _ = end.wait_for(|ended| *ended).await;
    }
}

async fn served(
    serving: Serving,
    listener: TcpListener,
    tls: Option<Tls>,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    match tls {
        Some(tls) => dashwright_grpc::serve_encrypted(serving, listener, tls, end).await,
        None => dashwright_grpc::serve(serving, listener, end).await,
    }
}

async fn served_to_pages(
    serving: Serving,
    web: Option<Web>,
    tls: Option<Tls>,
    end: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let Some(Web { listener, address: _, origins }) = web else { return Ok(()) };
    serve_web(serving, listener, tls, origins, end).await
}

/// The way in for pages in browsers, if one is asked for.
async fn web(settings: &Settings) -> Result<Option<Web>, Failure> {
    let Some(address) = settings.get(config::WEB_LISTEN) else { return Ok(None) };
    let listener = wiring::listen(address).await?;
    let address = listener.local_addr().map_err(Failure::System)?;
    // The settings were refused if one of them were none.
    let origins = settings.get(config::WEB_ORIGINS).unwrap_or_default();
    let origins: Vec<_> = origins.iter().filter_map(|origin| HeaderValue::from_str(origin).ok()).collect();
    tracing::info!(%address, origins = origins.len(), "answering gRPC-Web");
    Ok(Some(Web { listener, address, origins }))
}

/// Answers those who run the service from now on, if they are to be.
async fn operations(settings: &Settings) -> Result<Operations, Failure> {
    let operations = Operations::default();
    if let Some(address) = settings.get(config::OPERATIONS_LISTEN) {
        let listener = wiring::listen(address).await?;
        let address = listener.local_addr().map_err(Failure::System)?;
        tracing::info!(%address, "answering /metrics, /livez and /readyz");
        let answers = operations.clone();
        tokio::spawn(async move {
            if let Err(error) = answers.serve(listener).await {
                tracing::error!(%error, "/metrics, /livez and /readyz are answered no more");
            }
        });
    }
    Ok(operations)
}

/// What the disk of the data directory has left.
fn free_bytes(data: &Path) -> Gauge {
    let data = data.to_owned();
    Gauge {
        name: "dashwright_data_free_bytes",
        help: "Bytes that the disk of the data directory has left; NaN where the system does not tell.",
        value: Box::new(move || fs4::available_space(&data).map_or(f64::NAN, |bytes| bytes as f64)),
    }
}

/// Refuses an address that other machines can reach.
pub(crate) fn refuse_beyond_this_machine(address: SocketAddr) -> Result<(), Failure> {
    if address.ip().is_loopback() { Ok(()) } else { Err(Failure::Public { address }) }
}

/// Says in the log what the operator has allowed.
fn warn_of_strangers(address: SocketAddr, access: &Access, is_encrypted: bool) {
    if address.ip().is_loopback() {
        return;
    }
    if !is_encrypted {
        tracing::warn!("other machines can reach this address, and nothing is encrypted");
    }
    if access.everybody_reads && access.keys.borrow().is_empty() {
        tracing::warn!("other machines can reach this address, and everybody may read until a key is made");
    }
}
