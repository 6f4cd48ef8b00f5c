//! What keeps a connection from being made, as far as the transport's error tells it, and what to do about each.

use std::error::Error;
use std::io;

use rustls::{AlertDescription, CertificateError, InvalidMessage};

/// With what a server answers a client whose certificate it does not trust, or that shows none.
const UNTRUSTED: [AlertDescription; 9] = [
    AlertDescription::CertificateRequired,
    AlertDescription::BadCertificate,
    AlertDescription::UnknownCA,
    AlertDescription::CertificateUnknown,
    AlertDescription::CertificateExpired,
    AlertDescription::HandshakeFailure,
    // One that another authority of the same name has signed.
    AlertDescription::DecryptError,
    AlertDescription::UnsupportedCertificate,
    AlertDescription::CertificateRevoked,
];

/// What stands between a client and a server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Obstacle {
    /// Nobody answers there.
    Nobody,
    /// The server's certificate was signed by nobody whom this machine trusts.
    UnknownAuthority,
    /// The server's certificate is of another name than the one that was asked.
    OtherName,
    /// The server's certificate holds no longer, or not yet.
    OutOfDate,
    /// The server wants a certificate of its clients, and not the one that was shown, if any was.
    WantsCertificate,
    /// Whoever answered went away, without a reason that the transport would tell.
    BrokeOff,
    /// What listens there does not encrypt.
    Plain,
    /// Something listens there, and it does not speak as a server of this service does.
    OtherSpeech,
}

impl Obstacle {
    /// What an error of the transport tells of it.
    pub(crate) fn of(error: &(dyn Error + 'static)) -> Self {
        // By its words: an alert that arrives late goes through HTTP/2, which keeps nothing else.
        let untrusted = UNTRUSTED.map(|alert| rustls::Error::AlertReceived(alert).to_string());
        if untrusted.contains(&innermost(error).to_string()) {
            return Self::WantsCertificate;
        }
        if let Some(error) = find::<rustls::Error>(error) {
            return Self::of_tls(error);
        }
        let broke_off = |error: &io::Error| {
            matches!(
                error.kind(),
                io::ErrorKind::BrokenPipe
                    | io::ErrorKind::ConnectionReset
                    | io::ErrorKind::ConnectionAborted
                    | io::ErrorKind::UnexpectedEof
            )
        };
        if find::<hyper::Error>(error).is_some_and(hyper::Error::is_canceled)
            || find::<io::Error>(error).is_some_and(broke_off)
        {
            return Self::BrokeOff;
        }
        // Whoever does not even answer is told by the socket, and never gets as far as HTTP.
        if find::<hyper::Error>(error).is_some() { Self::OtherSpeech } else { Self::Nobody }
    }

    fn of_tls(error: &rustls::Error) -> Self {
        use CertificateError as Bad;
        match error {
            rustls::Error::InvalidCertificate(bad) => match bad {
                Bad::NotValidForName | Bad::NotValidForNameContext { .. } => Self::OtherName,
                Bad::Expired
                | Bad::ExpiredContext { .. }
                | Bad::NotValidYet
                | Bad::NotValidYetContext { .. } => Self::OutOfDate,
                _ => Self::UnknownAuthority,
            },
            rustls::Error::InvalidMessage(InvalidMessage::InvalidContentType) => Self::Plain,
            _ => Self::OtherSpeech,
        }
    }

    /// That there is no connection to a server.
    pub(crate) fn words(self, server: &str) -> String {
        match self {
            Self::Nobody => format!("no server answers at {server}"),
            Self::UnknownAuthority | Self::OtherName | Self::OutOfDate => {
                format!("whoever answers at {server} is not trusted")
            }
            Self::WantsCertificate => format!("{server} does not trust this client"),
            Self::BrokeOff => format!("{server} ended the connection"),
            Self::Plain => format!("what answers at {server} does not encrypt"),
            Self::OtherSpeech => format!("what answers at {server} is no such server"),
        }
    }

    /// What to do about it.
    pub(crate) const fn next(self) -> &'static str {
        match self {
            Self::Nobody => {
                "is the server running? start one with `dashwright demo` or `dashwright serve --data DIR`, \
                 or name another with --server or DASHWRIGHT_SERVER"
            }
            Self::UnknownAuthority => {
                "if it is the server that you mean, name the certificate of the authority that signed its own: --ca FILE"
            }
            Self::OtherName => {
                "ask it by a name that its certificate holds: --server https://NAME:PORT (`health` takes --tls-name NAME)"
            }
            Self::OutOfDate => {
                "replace the certificate of the server, which needs no restart, or put the clock of this machine right"
            }
            Self::WantsCertificate => {
                "show a certificate of an authority that the server trusts: --client-cert FILE --client-key FILE"
            }
            Self::BrokeOff => {
                "ask again; where it ends so every time, the server may encrypt (--server https://…), or want a certificate \
                 of its clients (--client-cert FILE --client-key FILE)"
            }
            Self::Plain => "ask it without encryption, if it is on this machine: --server http://…",
            Self::OtherSpeech => {
                "if the server encrypts, say --server https://…; if not, see whether the port is that of the calls, \
                 and not that of its metrics or of its page, or of another program"
            }
        }
    }
}

/// What lies at the bottom of an error.
pub(crate) fn innermost<'e>(mut error: &'e (dyn Error + 'static)) -> &'e (dyn Error + 'static) {
    while let Some(source) = error.source() {
        error = source;
    }
    error
}

/// The first error of a type among an error and its causes. An error of the operating system's kind may hold one that it does not
/// name as its cause.
pub(super) fn find<'e, E: Error + 'static>(error: &'e (dyn Error + 'static)) -> Option<&'e E> {
    let mut next = Some(error);
    while let Some(error) = next {
        if let Some(found) = error.downcast_ref() {
            return Some(found);
        }
        next = match error.downcast_ref::<io::Error>().and_then(io::Error::get_ref) {
            Some(held) => Some(held),
            None => error.source(),
        };
    }
    None
}
