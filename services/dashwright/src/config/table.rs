//! The settings of `serve`, one row each: flags, environment, file, `config print` and the sample file follow from it.
//!
//! To add one, add a row to [`settings!`] and use it (`settings.get(NAME)`); `deploy/serve.toml` is held level by a test.

use std::marker::PhantomData;
use std::net::SocketAddr;
use std::path::PathBuf;

use dashwright_grpc::LIMITS;

use super::value::{Held, Kind, Trouble, Value};
use crate::args::{DEFAULT_PORT, LogFormat};

/// What the environment calls a setting begins with this. A cluster puts variables with the name of a service and `_SERVICE_` or
/// `_PORT` into every pod, so that a shorter beginning would make errors of those.
pub(crate) const PREFIX: &str = "DASHWRIGHT_SERVE_";
/// The variable that names the file.
pub(crate) const CONFIG_VARIABLE: &str = "DASHWRIGHT_SERVE_CONFIG";
/// Log lines that a server writes where nobody says how many.
const LOGGED: &str = "info";

/// Which part of the calls is traced: one in a hundred costs a look-up nothing that could be measured.
const SAMPLED: f64 = 0.01;

/// One setting.
#[derive(Debug)]
pub(crate) struct Setting {
    /// Its name in a file; the flag has two dashes before it.
    pub(crate) name: &'static str,
    /// What it may be.
    pub(crate) kind: Kind,
    /// What holds where nobody says anything.
    pub(crate) unset: Unset,
    /// What a number counts.
    pub(crate) unit: Option<&'static str>,
    /// Whether it holds a secret itself: it is then never printed. The path of a secret is none, and passwords in URLs are left out anyway.
    pub(crate) secret: bool,
    /// Another setting that has to be there too, for it means nothing alone.
    pub(crate) needs: Option<&'static str>,
    /// A variable of the environment that says the same for other programs too, below our own.
    pub(crate) also: Option<&'static str>,
    /// What `--help` and the sample file say of it.
    pub(crate) help: &'static str,
}

/// What holds where nobody says anything.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Unset {
    /// Somebody has to say something.
    Refused,
    /// The setting is then not there.
    Nothing,
    /// This, as a flag would say it.
    Is(fn() -> String),
}

/// A row that says the least; others say what differs.
pub(super) const ROW: Setting = Setting {
    name: "",
    kind: Kind::Switch,
    unset: Unset::Nothing,
    unit: None,
    secret: false,
    needs: None,
    also: None,
    help: "",
};

/// By which a setting of a type is asked for.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Key<T> {
    name: &'static str,
    holds: PhantomData<T>,
}

impl<T> Key<T> {
    const fn of(setting: &Setting) -> Self {
        Self { name: setting.name, holds: PhantomData }
    }

    /// The name of the setting.
    pub(crate) fn name(&self) -> &'static str {
        self.name
    }
}

/// A row of the table: the setting, and whether a value is of the type by which it is asked for.
#[derive(Debug)]
pub(crate) struct Row {
    /// The setting.
    pub(crate) setting: Setting,
    /// Whether a value can be had as the type of the key.
    #[cfg_attr(not(test), expect(dead_code, reason = "a test holds the types of the table to its kinds"))]
    pub(crate) fits: fn(&Value) -> bool,
}

macro_rules! settings {
    ($($key:ident: $holds:ty = $row:expr;)*) => {
        $(pub(crate) const $key: Key<$holds> = Key::of(&$row);)*
        /// Every setting, in the order in which they are told.
        pub(crate) static TABLE: &[Row] = &[
            $(Row { setting: $row, fits: |value| <$holds as Held>::of(value).is_some() }),*
        ];
    };
}

settings! {
    DATA: PathBuf = Setting { name: "data", kind: Kind::Directory, unset: Unset::Refused, help: "The data directory", ..ROW };
    LISTEN: SocketAddr = Setting {
        name: "listen",
        kind: Kind::Address,
        unset: Unset::Is(|| format!("127.0.0.1:{DEFAULT_PORT}")),
        help: "Where to listen; port 0 takes a free one",
        ..ROW
    };
    TLS_CERT: PathBuf = Setting {
        name: "tls-cert",
        kind: Kind::File,
        needs: Some("tls-key"),
        help: "Encrypt with this certificate, and those that lead to its authority: PEM; read again when it changes or on SIGHUP",
        ..ROW
    };
    TLS_KEY: PathBuf = Setting {
        name: "tls-key",
        kind: Kind::File,
        needs: Some("tls-cert"),
        help: "The private key of the certificate: PEM",
        ..ROW
    };
    TLS_CLIENT_CA: PathBuf = Setting {
        name: "tls-client-ca",
        kind: Kind::File,
        needs: Some("tls-cert"),
        help: "Refuse connections whose client shows no certificate of these authorities: PEM; keys are asked for all the same",
        ..ROW
    };
    ALLOW_PLAINTEXT: bool = Setting {
        name: "allow-plaintext",
        unset: Unset::Is(off),
        help: "Listen where other machines can reach it, although nothing is encrypted",
        ..ROW
    };
    ALLOW_PUBLIC_WITHOUT_KEYS: bool = Setting {
        name: "allow-public-without-keys",
        unset: Unset::Is(off),
        help: "Listen where other machines can reach it, although no key was ever made; everybody may read then",
        ..ROW
    };
    SEPARATE_PUBLISHER: bool = Setting {
        name: "separate-publisher",
        unset: Unset::Is(off),
        help: "Refuse that somebody publishes a draft that they have edited",
        ..ROW
    };
    CHECKPOINT_KEY: PathBuf = Setting {
        name: "checkpoint-key",
        kind: Kind::File,
        help: "Sign checkpoints with the key of this file: 64 hexadecimal digits, an Ed25519 seed",
        ..ROW
    };
    CALLS_PER_SECOND: u64 = Setting {
        name: "calls-per-second",
        kind: Kind::Count(1, u32::MAX as u64),
        unset: Unset::Is(|| LIMITS.calls_per_second.to_string()),
        unit: Some("calls"),
        help: "Calls a second that are taken of one key, or of one address where no key is asked for",
        ..ROW
    };
    OPERATIONS_LISTEN: SocketAddr = Setting {
        name: "operations-listen",
        kind: Kind::Address,
        help: "Answer /metrics, /livez and /readyz over HTTP here, without keys: where only those who watch can reach it",
        ..ROW
    };
    WEB_LISTEN: SocketAddr = Setting {
        name: "web-listen",
        kind: Kind::Address,
        help: "Answer gRPC-Web here, for pages in browsers",
        ..ROW
    };
    WEB_ORIGINS: Vec<String> = Setting {
        name: "web-origins",
        kind: Kind::List("ORIGINS", origin),
        needs: Some("web-listen"),
        help: "The pages that may ask over gRPC-Web, by their origins, as https://shop.example; others are refused",
        ..ROW
    };
    OTLP_ENDPOINT: String = Setting {
        name: "otlp-endpoint",
        kind: Kind::Url,
        help: "Send traces to this collector, which speaks OTLP over gRPC",
        ..ROW
    };
    OTLP_SAMPLE_RATIO: f64 = Setting {
        name: "otlp-sample-ratio",
        kind: Kind::Number(0.0, 1.0),
        unset: Unset::Is(|| SAMPLED.to_string()),
        needs: Some("otlp-endpoint"),
        help: "Which part of the calls is traced that no caller traces already",
        ..ROW
    };
    LOG: String = Setting {
        name: "log",
        kind: Kind::Text("FILTER", log_filter),
        unset: Unset::Is(|| LOGGED.to_owned()),
        also: Some("RUST_LOG"),
        help: "How much of the log is written: error, warn, info, debug, trace, or by target as the crate tracing-subscriber has it",
        ..ROW
    };
    LOG_FORMAT: LogFormat = Setting {
        name: "log-format",
        kind: Kind::Choice("FORM", &["text", "json"]),
        unset: Unset::Is(|| "text".to_owned()),
        help: "The form of the log on standard error",
        ..ROW
    };
}

fn off() -> String {
    false.to_string()
}

fn log_filter(text: &str) -> Result<(), Trouble> {
    tracing_subscriber::EnvFilter::try_new(text).map(drop).map_err(|error| Trouble::Filter(error.to_string()))
}

/// The origin of a page as browsers say it (RFC 6454, section 6.2): scheme, host and port, and nothing behind.
fn origin(text: &str) -> Result<(), Trouble> {
    let rest = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"));
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b".-:[]".contains(&byte);
    let is_one = rest.is_some_and(|rest| !rest.is_empty() && rest.bytes().all(plain));
    if is_one { Ok(()) } else { Err(Trouble::NotAnOrigin) }
}

impl Setting {
    /// What the environment calls it.
    pub(crate) fn variable(&self) -> String {
        format!("{PREFIX}{}", self.name.to_ascii_uppercase().replace('-', "_"))
    }

    /// Its value where nobody says anything, as a flag would say it.
    pub(crate) fn default_text(&self) -> Option<String> {
        match self.unset {
            Unset::Refused | Unset::Nothing => None,
            Unset::Is(text) => Some(text()),
        }
    }
}
