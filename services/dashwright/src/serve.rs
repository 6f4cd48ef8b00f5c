//! `serve`: the dataset of a directory, until a signal.

use std::net::SocketAddr;
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
use crate::dataset;
use crate::failure::Failure;
use crate::out;
use crate::telemetry::{Collector, Telemetry};
use crate::tls_files::TlsFiles;
use crate::wiring::{self, Hangup, Signals};

/// Log lines that a server writes unless RUST_LOG says otherwise.
const LOGGED: &str = "info";

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
    refuse_plaintext(arguments)?;
    if arguments.init {
        // A new dataset has no keys: this is told before it is begun.
        refuse_public_without_keys(arguments)?;
    }
    wiring::block_on(async {
        let telemetry = Telemetry::begin(arguments.log_format, LOGGED, collector(arguments).as_ref())?;
        let ended = run(arguments).await;
        telemetry.end().await;
        ended
    })
}

async fn run(arguments: &Serve) -> Result<(), Failure> {
    let files = tls_files(arguments);
    let tls = files.as_ref().map(TlsFiles::open).transpose()?;
    let mut signals = Signals::take()?;
    let listener = wiring::listen(arguments.listen).await?;
    let web = web(arguments).await?;
    let operations = operations(arguments).await?;
    let Serve { data, init, load, checkpoint_key, .. } = arguments.clone();
    let open = spawn_blocking(move || dataset::open(&data, init, load.as_deref(), checkpoint_key.as_deref()));
    let engine = tokio::select! {
        opened = open => opened.map_err(|error| Failure::System(error.into()))??,
        () = signals.next() => return Err(Failure::Interrupted),
    };
    let access = Access { keys: engine.keys(), everybody_reads: arguments.allow_public_without_keys };
    if access.keys.borrow().is_empty() {
        refuse_public_without_keys(arguments)?;
    }
    let (revision, address) = (engine.view().revision(), listener.local_addr());
    let address = address.map_err(Failure::System)?;
    tracing::info!(%address, revision, encrypted = tls.is_some(), "listening");
    warn_of_strangers(address, &access, tls.is_some());
    if let (Some(files), Some(tls)) = (files, &tls) {
        tokio::spawn(files.follow(tls.clone(), Hangup::take()?));
    }
    let service = Service::new(engine, dataset::imports_of(&arguments.data))
        .with_separate_publisher(arguments.separate_publisher);
    let scheme = if tls.is_some() { "https" } else { "http" };
    out::print(&format!("serving revision {revision} at {scheme}://{address}\n"))?;
    let machine = vec![free_bytes(&arguments.data)];
    until_signal(service, Door { listener, access, tls, web, operations, machine }, &mut signals).await
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
    let Some(Web { listener, origins }) = web else { return Ok(()) };
    serve_web(serving, listener, tls, origins, end).await
}

/// The way in for pages in browsers, if one is asked for.
async fn web(arguments: &Serve) -> Result<Option<Web>, Failure> {
    let Some(address) = arguments.web_listen else { return Ok(None) };
    let listener = wiring::listen(address).await?;
    let (address, origins) = (listener.local_addr().map_err(Failure::System)?, arguments.web_origin.clone());
    tracing::info!(%address, origins = origins.len(), "answering gRPC-Web");
    Ok(Some(Web { listener, origins }))
}

/// Answers those who run the service from now on, if they are to be.
async fn operations(arguments: &Serve) -> Result<Operations, Failure> {
    let operations = Operations::default();
    if let Some(address) = arguments.operations_listen {
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

fn collector(arguments: &Serve) -> Option<Collector> {
    let endpoint = arguments.otlp_endpoint.clone()?;
    Some(Collector { endpoint, sample_ratio: arguments.otlp_sample_ratio })
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

fn tls_files(arguments: &Serve) -> Option<TlsFiles> {
    Some(TlsFiles {
        certificates: arguments.tls_cert.clone()?,
        key: arguments.tls_key.clone()?,
        client_authorities: arguments.tls_client_ca.clone(),
    })
}

/// Refuses an address that other machines can reach without encryption, unless told otherwise.
fn refuse_plaintext(arguments: &Serve) -> Result<(), Failure> {
    if arguments.tls_cert.is_some() || arguments.allow_plaintext {
        return Ok(());
    }
    match open_to_others(arguments) {
        Some(address) => Err(Failure::Plaintext { address }),
        None => Ok(()),
    }
}

/// Refuses an address that other machines can reach where no key was ever made, unless told otherwise.
fn refuse_public_without_keys(arguments: &Serve) -> Result<(), Failure> {
    match open_to_others(arguments) {
        Some(address) if !arguments.allow_public_without_keys => Err(Failure::Public { address }),
        _ => Ok(()),
    }
}

/// An address for calls that other machines can reach.
fn open_to_others(arguments: &Serve) -> Option<SocketAddr> {
    let addresses = [Some(arguments.listen), arguments.web_listen];
    addresses.into_iter().flatten().find(|address| !address.ip().is_loopback())
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
