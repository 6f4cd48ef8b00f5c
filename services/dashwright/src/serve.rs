//! `serve`: the dataset of a directory, until a signal.

use std::net::SocketAddr;
use std::path::Path;

use dashwright_grpc::auth::Access;
use dashwright_grpc::tls::Tls;
use dashwright_grpc::{LIMITS, ServeError, Service, Serving};
use tokio::net::TcpListener;
use tokio::task::spawn_blocking;

use crate::args::Serve;
use crate::config::{self, Ready, Settings};
use crate::dataset;
use crate::failure::Failure;
use crate::out;
use crate::wiring::{self, Hangup, Signals};

/// Where calls come in, and whose.
pub(crate) struct Door {
    /// Where it listens.
    pub(crate) listener: TcpListener,
    /// Who may call.
    pub(crate) access: Access,
    /// How it encrypts, if it does.
    pub(crate) tls: Option<Tls>,
}

/// Serves the dataset of a directory.
pub(crate) fn serve(arguments: &Serve) -> Result<(), Failure> {
    let ready = config::ready(arguments)?;
    wiring::block_on(run(arguments, ready))
}

async fn run(arguments: &Serve, ready: Ready) -> Result<(), Failure> {
    let Ready { settings, tls } = ready;
    let (mut signals, hangup) = (Signals::take()?, Hangup::take()?);
    let listener = wiring::listen(settings.need(config::LISTEN)?).await?;
    let data = settings.need(config::DATA)?;
    let service = tokio::select! {
        opened = open(arguments, &settings, &data) => opened?,
        () = signals.next() => return Err(Failure::Interrupted),
    };
    let everybody_reads = settings.is_on(config::ALLOW_PUBLIC_WITHOUT_KEYS);
    let access = Access { keys: service.engine().keys(), everybody_reads };
    let address = listener.local_addr().map_err(Failure::System)?;
    if access.keys.borrow().is_empty() && !everybody_reads {
        refuse_beyond_this_machine(address)?;
    }
    let revision = service.engine().view().revision();
    tracing::info!(%address, revision, encrypted = tls.is_some(), "listening");
    warn_of_strangers(address, &access, tls.is_some());
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
    until_signal(service, Door { listener, access, tls }, &mut signals).await
}

/// The service over the dataset, which is begun and loaded where that is asked for.
async fn open(arguments: &Serve, settings: &Settings, data: &Path) -> Result<Service, Failure> {
    let Serve { init, load, config: _, given: _ } = arguments.clone();
    let (directory, checkpoint_key) = (data.to_owned(), settings.get(config::CHECKPOINT_KEY));
    let opening = move || dataset::open(&directory, init, load.as_deref(), checkpoint_key.as_deref());
    let engine = spawn_blocking(opening).await.map_err(|error| Failure::System(error.into()))??;
    let service = Service::new(engine, dataset::imports_of(data));
    Ok(service.with_separate_publisher(settings.is_on(config::SEPARATE_PUBLISHER)))
}

/// Serves until a signal, then says so to balancers, finishes the calls in flight and ends; a second signal ends at once.
pub(crate) async fn until_signal(service: Service, door: Door, signals: &mut Signals) -> Result<(), Failure> {
    let Door { listener, access, tls } = door;
    let serving = Serving::new(service, access).await?;
    let (end, ended) = tokio::sync::oneshot::channel::<()>();
    let ended = async {
        // A sender that is gone ends as well.
        let _ = ended.await;
    };
    let server = served(serving.clone(), listener, tls, ended);
    tokio::pin!(server);
    tokio::select! {
        result = &mut server => return result.map_err(Failure::Serve),
        () = signals.next() => {}
    }
    tracing::info!("going down: finishing the calls in flight");
    serving.going_down().await;
    // The receiver lives in the server, which is still there.
    let _ = end.send(());
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
