//! `serve`: the dataset of a directory, until a signal.

use std::net::SocketAddr;

use dashwright_grpc::auth::Access;
use dashwright_grpc::tls::Tls;
use dashwright_grpc::{LIMITS, ServeError, Service, Serving};
use tokio::net::TcpListener;
use tokio::task::spawn_blocking;

use crate::args::Serve;
use crate::dataset;
use crate::failure::Failure;
use crate::out;
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
}

/// Serves the dataset of a directory.
pub(crate) fn serve(arguments: &Serve) -> Result<(), Failure> {
    refuse_plaintext(arguments)?;
    if arguments.init {
        // A new dataset has no keys: this is told before it is begun.
        refuse_public_without_keys(arguments)?;
    }
    wiring::log(arguments.log_format, LOGGED);
    let files = tls_files(arguments);
    let tls = files.as_ref().map(TlsFiles::open).transpose()?;
    wiring::block_on(async {
        let mut signals = Signals::take()?;
        let listener = wiring::listen(arguments.listen).await?;
        let Serve { data, init, load, checkpoint_key, .. } = arguments.clone();
        let open =
            spawn_blocking(move || dataset::open(&data, init, load.as_deref(), checkpoint_key.as_deref()));
        let engine = tokio::select! {
            opened = open => opened.map_err(|error| Failure::System(error.into()))??,
            () = signals.next() => return Err(Failure::Interrupted),
        };
        let access = Access { keys: engine.keys(), everybody_reads: arguments.allow_public_without_keys };
        if access.keys.borrow().is_empty() {
            refuse_public_without_keys(arguments)?;
        }
        let separate = arguments.separate_publisher;
        let (revision, address) = (engine.view().revision(), listener.local_addr());
        let address = address.map_err(Failure::System)?;
        tracing::info!(%address, revision, encrypted = tls.is_some(), "listening");
        warn_of_strangers(address, &access, tls.is_some());
        if let (Some(files), Some(tls)) = (files, &tls) {
            tokio::spawn(files.follow(tls.clone(), Hangup::take()?));
        }
        let service =
            Service::new(engine, dataset::imports_of(&arguments.data)).with_separate_publisher(separate);
        let scheme = if tls.is_some() { "https" } else { "http" };
        out::print(&format!("serving revision {revision} at {scheme}://{address}\n"))?;
        until_signal(service, Door { listener, access, tls }, &mut signals).await
    })
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

fn tls_files(arguments: &Serve) -> Option<TlsFiles> {
    Some(TlsFiles {
        certificates: arguments.tls_cert.clone()?,
        key: arguments.tls_key.clone()?,
        client_authorities: arguments.tls_client_ca.clone(),
    })
}

/// Refuses an address that other machines can reach without encryption, unless told otherwise.
fn refuse_plaintext(arguments: &Serve) -> Result<(), Failure> {
    let address = arguments.listen;
    if !(address.ip().is_loopback() || arguments.tls_cert.is_some() || arguments.allow_plaintext) {
        return Err(Failure::Plaintext { address });
    }
    Ok(())
}

/// Refuses an address that other machines can reach where no key was ever made, unless told otherwise.
fn refuse_public_without_keys(arguments: &Serve) -> Result<(), Failure> {
    if arguments.allow_public_without_keys { Ok(()) } else { refuse_beyond_this_machine(arguments.listen) }
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
