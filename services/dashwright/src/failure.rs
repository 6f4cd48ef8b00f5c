//! Why a command failed: what is wrong, the details, and what to do next.

mod keeping;
mod obstacle;

use std::error::Error;
use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

use dashwright_engine::keys::KeyTextError;
use dashwright_engine::{FoldError, InitError, StartError};
use dashwright_grpc::ServeError;
use dashwright_log::{IoFault, OpenError};
use dashwright_store::StoreError;
use serde_json::json;

use crate::client::{CartFileError, Refusal, SheetFailure};
use crate::config::Fault;
use crate::dataset::LoadFailure;
use crate::feed::FeedFailure;

/// Where the key of a client stands.
#[derive(Debug)]
pub(crate) enum KeyOrigin {
    /// A file.
    File(PathBuf),
    /// A variable of the environment.
    Variable(&'static str),
}

impl fmt::Display for KeyOrigin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "`{}`", path.display()),
            Self::Variable(name) => write!(f, "the variable {name}"),
        }
    }
}

pub(crate) use keeping::{ChangeFailure, KeepingFailure, ProofFault, StatedBy};
use obstacle::find;
pub(crate) use obstacle::{Obstacle, innermost};

/// Why a command failed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Failure {
    /// The command line was not understood; clap's own words.
    #[error("{0}")]
    Usage(String),
    /// The service refused the call.
    #[error("{}", .0.message)]
    Refused(Box<Refusal>),
    /// No server answers, or none that can be talked to.
    #[error("{}", obstacle.words(server))]
    Unreachable {
        /// The address that was asked.
        server: String,
        /// What stands in the way.
        obstacle: Obstacle,
        /// What the transport says.
        source: Box<dyn Error + Send + Sync>,
    },
    /// A server was asked for its health and did not answer in time.
    #[error("{server} did not say how it is within {milliseconds} ms")]
    Late {
        /// The address that was asked.
        server: String,
        /// How long was waited.
        milliseconds: u128,
    },
    /// A server says that it takes no calls.
    #[error("{server} says {status}{}", of_service(service))]
    NotServing {
        /// The address that was asked.
        server: String,
        /// The service that was asked for; empty for all of it.
        service: String,
        /// What it says.
        status: &'static str,
    },
    /// An answer is not what the schema says.
    #[error("the answer can not be read, the server may be of another version")]
    Answer(#[source] Box<dyn Error + Send + Sync>),
    /// Somebody else listens there.
    #[error("{address} is in use by another program")]
    AddressInUse {
        /// The address.
        address: SocketAddr,
    },
    /// Nobody can listen there.
    #[error("can not listen on {address}")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the operating system says.
        source: io::Error,
    },
    /// Other machines would reach a server that encrypts nothing.
    #[error("{address} can be reached by other machines, and nothing would be encrypted")]
    Plaintext {
        /// The address.
        address: SocketAddr,
    },
    /// Other machines would reach a server that asks for no key.
    #[error("{address} can be reached by other machines, and no key was ever made that could be asked for")]
    Public {
        /// The address.
        address: SocketAddr,
    },
    /// A setting is wrong.
    #[error(transparent)]
    Setting(Box<Fault>),
    /// Several settings are, or what they name.
    #[error("{} faults in the settings", .0.len())]
    Settings(Vec<Failure>),
    /// No feed was sized.
    #[error(transparent)]
    Feed(#[from] FeedFailure),
    /// A sheet was not written.
    #[error(transparent)]
    Sheet(#[from] SheetFailure),
    /// What is to be presented as a key is none.
    #[error("{origin} holds no key that could be presented")]
    Key {
        /// Where it stands.
        origin: KeyOrigin,
        /// Why not.
        source: KeyTextError,
    },
    /// Files for TLS were named for a server that is asked without it.
    #[error("{server} is asked without encryption, and certificates were named for it")]
    NotEncrypted {
        /// The address that was to be asked.
        server: String,
    },
    /// The certificates for TLS can not be used.
    #[error("the certificates can not be used")]
    ClientTls(#[source] Box<dyn Error + Send + Sync>),
    /// The data directory can not be used.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The store can not be used.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The dataset can not be served.
    #[error(transparent)]
    Start(#[from] StartError),
    /// The dataset can not be begun.
    #[error(transparent)]
    Init(#[from] InitError),
    /// An initial dataset was to be loaded over another.
    #[error("`{}` holds revision {revision} already, and --load is for the first one", directory.display())]
    HasRevision {
        /// The data directory.
        directory: PathBuf,
        /// Its last revision.
        revision: u64,
    },
    /// A file is to hold a secret and holds none.
    #[error("`{}` does not hold a secret of 64 hexadecimal digits", file.display())]
    NotASecret {
        /// The file.
        file: PathBuf,
    },
    /// A file can not be read.
    #[error("`{}` can not be read", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// The directory can not be used.
    #[error(transparent)]
    Io(#[from] IoFault),
    /// Records were not loaded.
    #[error(transparent)]
    Load(#[from] LoadFailure),
    /// The invented catalogue can not be read.
    #[error(transparent)]
    Demo(#[from] dashwright_demo::DemoError),
    /// A signal came before the server was ready.
    #[error("stopped by a signal before the dataset was served; a load goes live as a whole or not at all")]
    Interrupted,
    /// What was verified is damaged; the report has said how.
    #[error("`{}` is damaged", directory.display())]
    Damaged {
        /// The data directory.
        directory: PathBuf,
        /// What is wrong.
        faults: Vec<String>,
    },
    /// The server failed.
    #[error(transparent)]
    Serve(#[from] ServeError),
    /// A file of carts is refused.
    #[error("`{}` is refused", path.display())]
    CartFile {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        error: Box<CartFileError>,
    },
    /// The server ended a stream before every cart was answered.
    #[error("the server ended the stream after {answered} of {asked} carts")]
    CartsUnanswered {
        /// Carts that were answered.
        answered: usize,
        /// Carts that were sent.
        asked: usize,
    },
    /// Carts of a stream were not checked; what is wrong with each was printed in its place.
    #[error("{refused} of {asked} carts {} not checked", if *refused == 1 { "was" } else { "were" })]
    CartsRefused {
        /// Carts that were not checked.
        refused: usize,
        /// Carts that were sent.
        asked: usize,
    },
    /// Something that is kept was not made, not changed, or not believed.
    #[error(transparent)]
    Keeping(#[from] KeepingFailure),
    /// A change failed.
    #[error("{}", .0.failure)]
    Change(Box<ChangeFailure>),
    /// Standard output can not be written to.
    #[error("the answer can not be written")]
    Output(#[source] io::Error),
    /// The collector of traces can not be spoken to.
    #[error("traces can not be sent to `{endpoint}`")]
    Collector {
        /// Its address.
        endpoint: String,
        /// Why not.
        source: opentelemetry_otlp::ExporterBuildError,
    },
    /// The metrics can not be set up.
    #[error(transparent)]
    Metrics(#[from] dashwright_grpc::operations::MetricsError),
    /// The operating system refuses something that every run needs.
    #[error("the program can not run here")]
    System(#[source] io::Error),
}

impl From<Fault> for Failure {
    fn from(fault: Fault) -> Self {
        Self::Setting(fault.into())
    }
}

impl Failure {
    /// All that is wrong with the settings; one fault is told as what it is.
    ///
    /// # Errors
    /// When there is any.
    pub(crate) fn of_settings(mut faults: Vec<Self>) -> Result<(), Self> {
        match faults.pop() {
            None => Ok(()),
            Some(only) if faults.is_empty() => Err(only),
            Some(last) => {
                faults.push(last);
                Err(Self::Settings(faults))
            }
        }
    }

    /// Tells it on standard error.
    pub(crate) fn report(&self, as_json: bool) {
        let text = if as_json { format!("{}\n", self.json()) } else { self.text() };
        anstream::eprint!("{text}");
    }

    fn text(&self) -> String {
        let mut text = format!("{RED}error:{RED:#} {}\n", self.message());
        for detail in self.details() {
            text.push_str(&format!("  {detail}\n"));
        }
        if let Some(next) = self.next() {
            text.push_str(&format!("{BOLD}next:{BOLD:#} {next}\n"));
        }
        text
    }

    /// The failure as JSON.
    pub(crate) fn json(&self) -> serde_json::Value {
        if let Self::Change(change) = self {
            return self.change_json(change);
        }
        let mut error = json!({ "message": self.message() });
        let mut put = |key: &str, value: serde_json::Value| {
            if let Some(object) = error.as_object_mut() {
                object.insert(key.to_owned(), value);
            }
        };
        match self {
            Self::Refused(refusal) => {
                let Refusal { code, message: _, reason, metadata, violations, retry_after } = &**refusal;
                put("code", json!(code));
                put("reason", json!(reason));
                put("metadata", json!(metadata));
                let violation =
                    |(field, text): &(String, String)| json!({"field": field, "description": text});
                put("violations", violations.iter().map(violation).collect());
                if let Some(wait) = retry_after {
                    put("retry_after_milliseconds", json!(wait.as_millis()));
                }
            }
            Self::Settings(faults) => {
                put("code", json!(self.code()));
                put("details", json!(self.details()));
                let fault = |fault: &Self| fault.json().get("error").cloned().unwrap_or_default();
                put("faults", faults.iter().map(fault).collect());
            }
            failure => {
                put("code", json!(failure.code()));
                put("details", json!(failure.details()));
            }
        }
        if let Some(next) = self.next() {
            put("next", json!(next));
        }
        json!({ "error": error })
    }

    /// The failure of a change, with all that repeats it.
    fn change_json(&self, change: &ChangeFailure) -> serde_json::Value {
        let mut value = change.failure.json();
        if let Some(error) = value.get_mut("error").and_then(|error| error.as_object_mut()) {
            error.insert("request_id".to_owned(), json!(change.request_id.to_string()));
            error.insert("may_have_been_made".to_owned(), json!(change.is_open()));
            error.insert("repeat".to_owned(), json!(change.command));
            if let Some(next) = self.next() {
                error.insert("next".to_owned(), json!(next));
            }
        }
        value
    }

    /// What a script tells failures apart by; those of the service have the codes of gRPC.
    fn code(&self) -> &'static str {
        match self {
            Self::Change(change) => change.failure.code(),
            Self::Keeping(failure) => failure.code().unwrap_or("FAILED"),
            Self::Usage(_) => "USAGE",
            Self::Setting(_) | Self::Settings(_) => "SETTINGS",
            Self::Unreachable { .. } => "UNREACHABLE",
            Self::Late { .. } => "LATE",
            Self::NotServing { status, .. } => status,
            Self::Damaged { .. } | Self::Open(OpenError::Damaged(_)) => "DAMAGED",
            _ => "FAILED",
        }
    }

    /// The failure with its causes.
    pub(crate) fn message(&self) -> String {
        if let Self::Change(change) = self {
            return change.failure.message();
        }
        let mut text = self.to_string();
        let mut cause = self.source();
        while let Some(error) = cause {
            let words = error.to_string();
            // Some wrappers repeat what they wrap, and the transport's says nothing.
            if !text.ends_with(&words) && words != "transport error" {
                text.push_str(&format!(": {words}"));
            }
            cause = error.source();
        }
        text
    }

    fn details(&self) -> Vec<String> {
        match self {
            Self::Refused(refusal) => refusal.details(),
            Self::Load(failure) => failure.details(),
            Self::Settings(faults) => of_several(faults),
            Self::CartFile { path: _, error } => error.details(),
            Self::Damaged { directory: _, faults } => faults.clone(),
            Self::Keeping(failure) => failure.details(),
            Self::Change(change) => {
                let mut details = change.failure.details();
                details.push(format!("the request id is {}", change.request_id));
                details
            }
            _ => Vec::new(),
        }
    }

    fn next(&self) -> Option<String> {
        let text = match self {
            Self::Refused(refusal) => return refusal.next(),
            Self::Keeping(failure) => return failure.next(),
            Self::Change(change) => return change.next(),
            Self::Unreachable { obstacle, .. } => obstacle.next(),
            Self::AddressInUse { address } => {
                return Some(format!(
                    "end the other program, or choose another port: {}:0 takes a free one",
                    address.ip()
                ));
            }
            Self::Plaintext { .. } => LET_PLAINTEXT,
            Self::Public { .. } => LET_PUBLIC,
            Self::Feed(failure) => failure.next(),
            Self::Sheet(failure) => failure.next(),
            Self::Setting(fault) => fault.next(),
            Self::Settings(_) => {
                "mend them all; `dashwright config check` says what is left, `dashwright config print` who said what"
            }
            Self::File { .. } => "name a file that you may read",
            Self::Key { .. } => {
                "put the key there as it was shown when it was made: dwk_ and three more parts, on one line"
            }
            Self::NotEncrypted { .. } => "say --server https://… to encrypt, or leave the certificates out",
            Self::ClientTls(_) => "name PEM files: --ca FILE, --client-cert FILE --client-key FILE",
            Self::Store(_) => return self.next_of_denied(),
            Self::Open(error) => return after_open(error).or_else(|| self.next_of_denied()),
            Self::HasRevision { .. } => {
                "leave out --load to serve what is there, or load into a new directory with --init"
            }
            Self::Load(LoadFailure::File { .. }) => "name a file that you may read: --load FILE.jsonl",
            Self::Load(LoadFailure::Faults { .. }) => "mend the file and load it again; nothing was loaded",
            Self::Start(error) => return after_start(error).or_else(|| self.next_of_denied()),
            Self::NotASecret { .. } => {
                "put back the file as it was; without it every key has to be made anew: move it away then"
            }
            Self::CartFile { .. } => "mend the file and ask again; nothing of it was checked",
            Self::CartsRefused { .. } => {
                "mend those that say why, and ask for them again; the others are answered"
            }
            Self::CartsUnanswered { .. } => "ask again for those that were not answered",
            Self::Interrupted => "start again; a directory that was begun needs no --init any more",
            Self::Damaged { .. } => "restore the directory from a backup; nothing was changed",
            _ => return None,
        };
        Some(text.to_owned())
    }

    /// What to do where the operating system did not let it.
    fn next_of_denied(&self) -> Option<String> {
        let denied =
            find::<io::Error>(self).is_some_and(|error| error.kind() == io::ErrorKind::PermissionDenied);
        let text = "`serve` reads and writes as the user that it runs as: give it the directory with everything in it \
                    (chown -R); `dashwright config check`, run as that user, says what is left";
        denied.then(|| text.to_owned())
    }
}

/// What to do when the dataset did not start.
fn after_start(error: &StartError) -> Option<String> {
    let text = match error {
        StartError::NotBegun => {
            "the directory was left when a dataset was just being begun: begin again with --init"
        }
        StartError::LogBehindStore { .. } => {
            "restore the log from a backup; to serve what the log still holds, move the directory `store` away"
        }
        StartError::Entry { source, .. } => match **source {
            FoldError::NewerFormat { .. } | FoldError::UnknownKind { .. } => {
                "serve it with the newer version of dashwright that wrote it; the log was not changed"
            }
            _ => "restore the directory from a backup; the log was not changed",
        },
        StartError::Rewritten { .. } => {
            "somebody has rewritten the log or put an older copy in its place: restore it from a backup. \
             `dashwright audit verify DIR` tells more; nothing was changed"
        }
        _ => return None,
    };
    Some(text.to_owned())
}

/// Several failures one by one: the message of each, its details, and what to do, where that was not said before.
fn of_several(failures: &[Failure]) -> Vec<String> {
    let (mut lines, mut told) = (Vec::new(), Vec::new());
    for failure in failures {
        lines.push(failure.message());
        lines.extend(failure.details().into_iter().map(|detail| format!("  {detail}")));
        let next = failure.next().filter(|next| !told.contains(next));
        lines.extend(next.iter().map(|next| format!("  next: {next}")));
        told.extend(next);
    }
    lines
}

/// The service that was asked for, where it was one.
fn of_service(service: &str) -> String {
    if service.is_empty() { String::new() } else { format!(" of `{service}`") }
}

/// What lets other machines in where nothing is encrypted.
const LET_PLAINTEXT: &str = "name a certificate with --tls-cert and --tls-key, listen on 127.0.0.1, or say --allow-plaintext when \
                             something else encrypts on the way";
/// What lets other machines in where no key was made.
const LET_PUBLIC: &str = "listen on 127.0.0.1, or say --allow-public-without-keys when everybody who can reach the address may \
                          read the catalogue";

const RED: anstyle::Style = anstyle::AnsiColor::Red.on_default().bold();
const BOLD: anstyle::Style = anstyle::Style::new().bold();

fn after_open(error: &OpenError) -> Option<String> {
    let text = match error {
        OpenError::NotADataset { directory } => {
            return Some(format!(
                "check the path, or begin a dataset there with `dashwright serve --data {} --init`",
                directory.display()
            ));
        }
        OpenError::AlreadyADataset { .. } => "leave out --init to serve it",
        OpenError::Occupied { .. } => "name a directory that is missing or empty",
        OpenError::NewerFormat { .. } => "serve it with the newer version of dashwright that wrote it",
        OpenError::InUse { .. } => "end the other process, or ask it: one directory has one server",
        OpenError::Damaged(_) | OpenError::UnreadableFormat { .. } => {
            "restore the directory from a backup; `dashwright verify DIR` says whether it is whole"
        }
        OpenError::Behind { .. } => {
            "the log was cut or is an older copy: restore it from a backup; to serve what it still holds, \
             move the directory `store` away"
        }
        _ => return None,
    };
    Some(text.to_owned())
}
