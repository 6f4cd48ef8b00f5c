//! What the crates are wired with: the runtime, the log, the time and fresh ids, signals.

use std::io;
use std::time::{Duration, SystemTime};

use dashwright_engine::Surroundings;
use dashwright_grpc::LIMITS;
use tokio::net::{TcpListener, TcpSocket};
use tokio::runtime::Builder;

use crate::failure::{Failure, KeepingFailure};

/// How long a thread for blocking work waits for more of it. The allocator gives back what others have freed of a thread's memory
/// when that thread allocates again or ends: one that idles keeps a compiled revision's worth. Of 200 publishes onto 15,000 lines, 100 a
/// minute, 45 MB stayed with the 10 s of tokio's own, and 12 MB with this.
const IDLE_THREAD: Duration = Duration::from_millis(50);

/// Runs until the future has ended, then lets go of whatever still runs.
///
/// # Errors
/// The future's own, or when there is no runtime.
pub(crate) fn block_on<T>(future: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    let runtime = Builder::new_multi_thread()
        .enable_all()
        .thread_keep_alive(IDLE_THREAD)
        .build()
        .map_err(Failure::System)?;
    let result = runtime.block_on(future);
    // Connections that were cut off, and a load that a signal interrupted, end with the process.
    runtime.shutdown_background();
    result
}

/// Runs until the future has ended or a signal came, so that what was begun on disk is taken away again.
///
/// # Errors
/// The future's own; when a signal came; when there is no runtime.
pub(crate) fn block_on_until_signal<T>(
    future: impl Future<Output = Result<T, Failure>>,
) -> Result<T, Failure> {
    block_on(async {
        let mut signals = Signals::take()?;
        tokio::select! {
            ended = future => ended,
            () = signals.next() => Err(KeepingFailure::Stopped.into()),
        }
    })
}

/// Listens, so that an address that is taken is told before anything is opened or begun.
///
/// # Errors
/// When it is taken, or not one of this machine.
pub(crate) async fn listen(address: std::net::SocketAddr) -> Result<TcpListener, Failure> {
    let listening = || {
        let socket = if address.is_ipv4() { TcpSocket::new_v4()? } else { TcpSocket::new_v6()? };
        // A restart takes the address over from connections that are not quite gone.
        socket.set_reuseaddr(true)?;
        socket.bind(address)?;
        socket.listen(LIMITS.waiting_connections)
    };
    listening().map_err(|source: io::Error| match source.kind() {
        io::ErrorKind::AddrInUse => Failure::AddressInUse { address },
        _ => Failure::Listen { address, source },
    })
}

/// The clock of the machine, and random ids.
pub(crate) struct Machine;

impl Surroundings for Machine {
    fn now(&self) -> String {
        humantime::format_rfc3339_millis(SystemTime::now()).to_string()
    }

    fn new_id(&self) -> String {
        uuid::Uuid::now_v7().to_string()
    }

    fn random(&self) -> Option<[u8; 32]> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).ok().map(|()| bytes)
    }
}

/// The signal that asks for files to be read again: SIGHUP.
#[cfg(unix)]
pub(crate) struct Hangup(tokio::signal::unix::Signal);

#[cfg(unix)]
impl Hangup {
    /// Takes the signal; from now on it no longer ends the process.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub(crate) fn take() -> Result<Self, Failure> {
        use tokio::signal::unix::{SignalKind, signal};
        signal(SignalKind::hangup()).map(Self).map_err(Failure::System)
    }

    /// Waits for the next one.
    pub(crate) async fn next(&mut self) {
        if self.0.recv().await.is_none() {
            std::future::pending::<()>().await;
        }
    }
}

impl Hangup {
    /// Takes every one where there is nothing to read again: otherwise it would end the process. Never ends.
    pub(crate) async fn ignored(mut self) {
        loop {
            self.next().await;
            tracing::info!("SIGHUP: nothing is read again, for there are no certificates");
        }
    }
}

/// The signal that asks for files to be read again: there is none here.
#[cfg(not(unix))]
pub(crate) struct Hangup;

#[cfg(not(unix))]
impl Hangup {
    /// Takes the signal.
    pub(crate) fn take() -> Result<Self, Failure> {
        Ok(Self)
    }

    /// Waits for one that does not come.
    pub(crate) async fn next(&mut self) {
        std::future::pending::<()>().await;
    }
}

/// The signals that end the program: SIGINT, which Ctrl-C sends, and SIGTERM.
#[cfg(unix)]
pub(crate) struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Signals {
    /// Takes the signals; from now on they no longer end the process by themselves.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub(crate) fn take() -> Result<Self, Failure> {
        use tokio::signal::unix::{SignalKind, signal};
        let interrupt = signal(SignalKind::interrupt()).map_err(Failure::System)?;
        let terminate = signal(SignalKind::terminate()).map_err(Failure::System)?;
        Ok(Self { interrupt, terminate })
    }

    /// Waits for the next one.
    pub(crate) async fn next(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

/// The signal that ends the program: Ctrl-C.
#[cfg(not(unix))]
pub(crate) struct Signals;

#[cfg(not(unix))]
impl Signals {
    /// Takes the signal.
    pub(crate) fn take() -> Result<Self, Failure> {
        Ok(Self)
    }

    /// Waits for the next one.
    pub(crate) async fn next(&mut self) {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
