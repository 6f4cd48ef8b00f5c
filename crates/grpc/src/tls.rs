//! TLS: the identity that the service shows, which can be replaced while it serves, and the authority of its clients.

use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use arc_swap::ArcSwap;
use rustls::pki_types::pem::{self, PemObject as _};
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::{VerifierBuilderError, WebPkiClientVerifier};
use rustls::{RootCertStore, ServerConfig};
use tokio_rustls::TlsAcceptor;

use crate::limits::LIMITS;

/// What clients and the service agree on inside the encrypted connection: HTTP/2 and nothing else.
const PROTOCOL: &[u8] = b"h2";

/// An identity as PEM texts.
#[derive(Clone, Copy)]
pub struct Identity<'a> {
    /// The certificate of the service, and after it those that lead to the authority.
    pub certificates: &'a [u8],
    /// Its private key.
    pub key: &'a [u8],
    /// The authorities of clients. With them a connection whose client shows no certificate of theirs is refused.
    pub client_authorities: Option<&'a [u8]>,
}

/// TLS as the service speaks it. Clones share the identity.
#[derive(Clone)]
pub struct Tls {
    config: Arc<ArcSwap<ServerConfig>>,
    replaced: Arc<AtomicU64>,
    patience: Duration,
}

/// Which text of an identity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Text {
    /// The certificates.
    Certificates,
    /// The private key.
    Key,
    /// The authorities of clients.
    ClientAuthorities,
}

/// Why an identity can not be shown.
#[derive(Debug)]
pub enum TlsError {
    /// A text is no PEM.
    Pem {
        /// Which.
        text: Text,
        /// Why not.
        source: pem::Error,
    },
    /// A text has nothing of what it is to have.
    Nothing {
        /// Which.
        text: Text,
    },
    /// The certificate can not be used, or the key is not its own.
    Identity(rustls::Error),
    /// An authority of clients can not be used.
    Authority(rustls::Error),
    /// The authorities of clients can not be used together.
    Authorities(VerifierBuilderError),
}

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Certificates => "certificate",
            Self::Key => "private key",
            Self::ClientAuthorities => "authority of clients",
        })
    }
}

impl fmt::Display for TlsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pem { text, .. } => write!(f, "the {text} is not a PEM text"),
            Self::Nothing { text } => write!(f, "there is no {text} in the PEM text"),
            Self::Identity(_) => write!(f, "certificate and private key can not be used together"),
            Self::Authority(_) | Self::Authorities(_) => {
                write!(f, "the {} can not be used", Text::ClientAuthorities)
            }
        }
    }
}

impl std::error::Error for TlsError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Pem { source, .. } => Some(source),
            Self::Nothing { .. } => None,
            Self::Identity(source) | Self::Authority(source) => Some(source),
            Self::Authorities(source) => Some(source),
        }
    }
}

impl Tls {
    /// Shows an identity.
    ///
    /// # Errors
    /// When it can not be shown.
    pub fn new(identity: Identity<'_>) -> Result<Self, TlsError> {
        let config = Arc::new(ArcSwap::from_pointee(config(identity)?));
        Ok(Self { config, replaced: Arc::default(), patience: LIMITS.handshake })
    }

    /// Shows another identity to connections from now on; those that are open keep theirs until they end.
    ///
    /// # Errors
    /// When it can not be shown: the one before stays.
    pub fn replace(&self, identity: Identity<'_>) -> Result<(), TlsError> {
        self.config.store(Arc::new(config(identity)?));
        self.replaced.fetch_add(1, Ordering::Relaxed);
        Ok(())
    }

    /// How often the identity was replaced.
    #[must_use]
    pub fn replaced(&self) -> u64 {
        self.replaced.load(Ordering::Relaxed)
    }

    /// Waits so long for a handshake, instead of as long as the limit says.
    #[must_use]
    pub fn with_patience(self, patience: Duration) -> Self {
        Self { patience, ..self }
    }

    /// How long a handshake may take.
    pub(crate) fn patience(&self) -> Duration {
        self.patience
    }

    /// What accepts the next connection.
    pub(crate) fn acceptor(&self) -> TlsAcceptor {
        TlsAcceptor::from(self.config.load_full())
    }
}

fn config(identity: Identity<'_>) -> Result<ServerConfig, TlsError> {
    let certificates = certificates(identity.certificates, Text::Certificates)?;
    let key = PrivateKeyDer::from_pem_slice(identity.key).map_err(|error| match error {
        pem::Error::NoItemsFound => TlsError::Nothing { text: Text::Key },
        source => TlsError::Pem { text: Text::Key, source },
    })?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ServerConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()
        .map_err(TlsError::Identity)?;
    let builder = match identity.client_authorities {
        None => builder.with_no_client_auth(),
        Some(text) => {
            let mut roots = RootCertStore::empty();
            for authority in self::certificates(text, Text::ClientAuthorities)? {
                roots.add(authority).map_err(TlsError::Authority)?;
            }
            let verifier = WebPkiClientVerifier::builder_with_provider(Arc::new(roots), provider).build();
            builder.with_client_cert_verifier(verifier.map_err(TlsError::Authorities)?)
        }
    };
    let mut config = builder.with_single_cert(certificates, key).map_err(TlsError::Identity)?;
    config.alpn_protocols = vec![PROTOCOL.to_vec()];
    Ok(config)
}

fn certificates(pem: &[u8], text: Text) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let found: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(pem).collect();
    let found = found.map_err(|source| TlsError::Pem { text, source })?;
    if found.is_empty() { Err(TlsError::Nothing { text }) } else { Ok(found) }
}
