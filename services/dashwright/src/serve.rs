//! `serve`: the dataset of a directory, until a signal.

use std::net::SocketAddr;

use dashwright_engine::Engine;
use dashwright_grpc::auth::Access;
use dashwright_grpc::{LIMITS, Service, Serving};
use tokio::net::TcpListener;
use tokio::task::spawn_blocking;

use crate::args::Serve;
use crate::dataset;
use crate::failure::Failure;
use crate::out;
use crate::wiring::{self, Signals};

/// Log lines that a server writes unless RUST_LOG says otherwise.
const LOGGED: &str = "info";

/// Serves the dataset of a directory.
pub(crate) fn serve(arguments: &Serve) -> Result<(), Failure> {
    refuse_public(arguments)?;
    wiring::log(arguments.log_format, LOGGED);
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
        let (revision, address) = (engine.view().revision(), listener.local_addr());
        let address = address.map_err(Failure::System)?;
        tracing::info!(%address, revision, "listening");
        if !address.ip().is_loopback() {
            tracing::warn!(
                "other machines can reach this address, no key is asked for and nothing is encrypted"
            );
        }
        out::print(&format!("serving revision {revision} at http://{address}\n"))?;
        let access = Access { keys: engine.keys(), everybody_reads: arguments.allow_public_without_keys };
        until_signal(engine, listener, access, &mut signals).await
    })
}

/// Serves until a signal, then says so to balancers, finishes the calls in flight and ends; a second signal ends at once.
pub(crate) async fn until_signal(
    engine: Engine,
    listener: TcpListener,
    access: Access,
    signals: &mut Signals,
) -> Result<(), Failure> {
    let serving = Serving::new(Service::new(engine), access).await?;
    let (end, ended) = tokio::sync::oneshot::channel::<()>();
    let ended = async {
        // A sender that is gone ends as well.
        let _ = ended.await;
    };
    let server = dashwright_grpc::serve(serving.clone(), listener, ended);
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

fn refuse_public(arguments: &Serve) -> Result<(), Failure> {
    let Serve { listen: address, allow_public_without_keys: allowed, .. } = arguments;
    if *allowed { Ok(()) } else { refuse_beyond_this_machine(*address) }
}

/// Refuses an address that other machines can reach.
pub(crate) fn refuse_beyond_this_machine(address: SocketAddr) -> Result<(), Failure> {
    if address.ip().is_loopback() { Ok(()) } else { Err(Failure::Public { address }) }
}
