//! Figures of connections: how many are open beside how many may be, and how many were closed before they said a word.

use prometheus::{IntCounter, IntCounterVec, IntGauge, IntGaugeVec, Opts, Registry};

use crate::limits::LIMITS;

/// Where connections come in.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Listener {
    /// For callers.
    Calls,
    /// For pages in browsers.
    Web,
}

impl Listener {
    const fn name(self) -> &'static str {
        match self {
            Self::Calls => "calls",
            Self::Web => "web",
        }
    }
}

/// Figures of connections.
#[derive(Debug)]
pub(crate) struct ConnectionFigures {
    open: IntGaugeVec,
    most: IntGaugeVec,
    closed: IntCounterVec,
}

/// Figures of one listener.
#[derive(Clone, Debug)]
pub(crate) struct OfListener {
    open: IntGauge,
    /// Closed because their address has as many as one may have.
    pub(crate) of_full_address: IntCounter,
    /// Closed because their address has as many handshakes going on as one may have.
    pub(crate) of_shaking_address: IntCounter,
    /// Closed because the handshake failed.
    pub(crate) without_handshake: IntCounter,
}

/// A connection that is counted as open, until this is dropped.
#[derive(Debug)]
pub(crate) struct Open(IntGauge);

impl Default for ConnectionFigures {
    #[expect(clippy::expect_used, reason = "names and labels are constants, and every test makes them all")]
    fn default() -> Self {
        let gauge = |name: &str, help: &str| {
            IntGaugeVec::new(Opts::new(name, help), &["listener"]).expect("a constant name")
        };
        let closed = Opts::new(
            "dashwright_connections_closed_unheard_total",
            "Connections that were closed before a call came over them, by cause.",
        );
        Self {
            open: gauge("dashwright_connections_open", "Connections that are open."),
            most: gauge(
                "dashwright_connections_most",
                "Connections that may be open; more wait for a place.",
            ),
            closed: IntCounterVec::new(closed, &["listener", "cause"]).expect("a constant name"),
        }
    }
}

impl ConnectionFigures {
    /// The figures of a listener, which are told from now on.
    pub(crate) fn of(&self, listener: Listener) -> OfListener {
        let name = listener.name();
        self.most.with_label_values(&[name]).set(i64::try_from(LIMITS.connections).unwrap_or(i64::MAX));
        let closed = |cause| self.closed.with_label_values(&[name, cause]);
        OfListener {
            open: self.open.with_label_values(&[name]),
            of_full_address: closed("ADDRESS_FULL"),
            of_shaking_address: closed("ADDRESS_HANDSHAKES_FULL"),
            without_handshake: closed("HANDSHAKE_FAILED"),
        }
    }

    /// Puts the figures into a registry.
    pub(super) fn register(&self, registry: &Registry) -> prometheus::Result<()> {
        let Self { open, most, closed } = self;
        registry.register(Box::new(open.clone()))?;
        registry.register(Box::new(most.clone()))?;
        registry.register(Box::new(closed.clone()))
    }
}

impl OfListener {
    /// Counts one more that is open.
    pub(crate) fn open(&self) -> Open {
        self.open.inc();
        Open(self.open.clone())
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        self.0.dec();
    }
}
