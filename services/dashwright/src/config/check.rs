//! `config check`, and what `serve` looks at before it begins: every fault at once, and nothing is changed.

use std::fs::File;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use dashwright_engine::KEY_CREATE;
use dashwright_grpc::tls::Tls;
use dashwright_log::{FileLog, Head, OpenError};
use serde::Deserialize;
use serde_json::json;

use super::table::{
    ALLOW_PLAINTEXT, ALLOW_PUBLIC_WITHOUT_KEYS, CHECKPOINT_KEY, DATA, LISTEN, LOG, LOG_FORMAT,
    OPERATIONS_LISTEN, OTLP_ENDPOINT, OTLP_SAMPLE_RATIO, TLS_CERT, TLS_CLIENT_CA, TLS_KEY, WEB_LISTEN,
};
use super::value::{Kind, Value};
use super::writable::{first_unwritable, unwritable_for_new};
use super::{Fault, Settings, resolve};
use crate::args::Serve;
use crate::dataset::{self, LoadFailure};
use crate::failure::Failure;
use crate::out;
use crate::telemetry::{Collector, Telemetry};
use crate::tls_files::{TlsFiles, is_shared};

/// What `serve` begins with.
pub(crate) struct Ready {
    /// The settings that are in force.
    pub(crate) settings: Settings,
    /// The TLS identity, where there is one, and its files.
    pub(crate) tls: Option<(TlsFiles, Tls)>,
    /// What tells of it from now on.
    pub(crate) telemetry: Telemetry,
}

/// Who looks.
#[derive(Clone, Copy, PartialEq, Eq)]
enum By {
    /// `serve`: what is in the directory it sees when it opens it.
    Serve,
    /// `config check`, which opens nothing.
    Check,
}

/// What was found.
#[derive(Default)]
struct Found {
    faults: Vec<Failure>,
    remarks: Vec<String>,
}

/// What `serve` begins with. The log, and traces where a collector is named, are set up as the settings say.
///
/// # Errors
/// When something is wrong with them: all of it.
pub(crate) fn ready(arguments: &Serve) -> Result<Ready, Failure> {
    let (settings, faults) = resolve(arguments);
    let mut found = Found::of(faults);
    let telemetry = telemetry(&settings).unwrap_or_else(|error| {
        found.faults.push(error);
        Telemetry::default()
    });
    let tls = found.examine(&settings, arguments, By::Serve);
    Failure::of_settings(found.faults)?;
    Ok(Ready { settings, tls, telemetry })
}

fn telemetry(settings: &Settings) -> Result<Telemetry, Failure> {
    let collector = settings.get(OTLP_ENDPOINT).zip(settings.get(OTLP_SAMPLE_RATIO));
    let collector = collector.map(|(endpoint, sample_ratio)| Collector { endpoint, sample_ratio });
    // What is wrong with one of them is told with the rest.
    match (settings.get(LOG_FORMAT), settings.get(LOG)) {
        (Some(format), Some(filter)) => Telemetry::begin(format, &filter, collector.as_ref()),
        _ => Ok(Telemetry::default()),
    }
}

/// Says whether `serve` would begin with the settings. It starts nothing and changes nothing.
///
/// # Errors
/// When it would not: all that is wrong.
pub(crate) fn check(arguments: &Serve, as_json: bool) -> Result<(), Failure> {
    let (settings, faults) = resolve(arguments);
    let mut found = Found::of(faults);
    found.examine(&settings, arguments, By::Check);
    let Found { faults, remarks } = found;
    Failure::of_settings(faults)?;
    out::print(&if as_json {
        format!("{:#}\n", json!({ "faults": [], "remarks": remarks }))
    } else {
        let remarks: String = remarks.iter().map(|remark| format!("{remark}\n")).collect();
        format!("{remarks}no fault: `serve` begins with these settings\n")
    })
}

impl Found {
    fn of(faults: Vec<Fault>) -> Self {
        Self { faults: faults.into_iter().map(Failure::from).collect(), remarks: Vec::new() }
    }

    fn remark(&mut self, remark: impl Into<String>) {
        self.remarks.push(remark.into());
    }

    /// Looks at everything, also where something is wrong already.
    fn examine(&mut self, settings: &Settings, arguments: &Serve, by: By) -> Option<(TlsFiles, Tls)> {
        self.faults.extend(settings.gaps().into_iter().map(Failure::from));
        self.files(settings);
        let tls = self.tls(settings);
        if let Some(file) = settings.get(CHECKPOINT_KEY).filter(|file| open(file).is_ok()) {
            self.checkpoint_key(settings, file);
        }
        if let Some(file) = &arguments.load {
            let unreadable = |source| LoadFailure::File { file: file.clone(), source };
            self.faults.extend(open(file).map_err(unreadable).err().map(Failure::from));
        }
        let data = settings.get(DATA);
        if let Some(directory) = &data {
            self.data(directory, settings, arguments.init, by);
        }
        self.addresses(settings);
        for key in [LISTEN, WEB_LISTEN, OPERATIONS_LISTEN] {
            let Some(address) = settings.get(key) else { continue };
            if by == By::Check {
                self.remark(format!("{}: {address}, if nobody else does", key.name()));
            }
            // Of the catalogue and its callers nothing is told there.
            if key.name() == OPERATIONS_LISTEN.name() {
                continue;
            }
            self.address(settings, address, arguments.init);
            if by == By::Check {
                self.keys(settings, address, data.as_deref(), arguments.init);
            }
        }
        tls
    }

    /// Whether every file can be read that a setting names.
    fn files(&mut self, settings: &Settings) {
        for setting in settings.table.iter().map(|row| &row.setting) {
            let Some(said) = settings.said(setting.name) else { continue };
            let (Kind::File, Value::Path(file)) = (setting.kind, &said.value) else { continue };
            if let Err(source) = open(file) {
                let (name, origin, file) = (setting.name, said.origin.clone(), file.clone());
                self.faults.push(Fault::File { name, origin, file, source }.into());
            }
        }
    }

    fn checkpoint_key(&mut self, settings: &Settings, file: PathBuf) {
        let fault = match dataset::signer(&file) {
            Ok(_) => return,
            Err(Failure::NotASecret { file }) => {
                Fault::NotASeed { origin: settings.origin(CHECKPOINT_KEY.name()), file }.into()
            }
            Err(failure) => failure,
        };
        self.faults.push(fault);
    }

    fn tls(&mut self, settings: &Settings) -> Option<(TlsFiles, Tls)> {
        let files = TlsFiles {
            certificates: settings.get(TLS_CERT)?,
            key: settings.get(TLS_KEY)?,
            client_authorities: settings.get(TLS_CLIENT_CA),
        };
        let all = [Some(&files.certificates), Some(&files.key), files.client_authorities.as_ref()];
        if all.into_iter().flatten().any(|file| open(file).is_err()) {
            return None;
        }
        if is_shared(&files.key) {
            let key = files.key.display();
            self.remark(format!("tls-key: other users of this machine can read `{key}`: chmod 600 it"));
        }
        match files.open() {
            Ok(tls) => {
                self.remark("tls-cert, tls-key: they belong together");
                Some((files, tls))
            }
            Err(source) => {
                let (certificate, key) = (settings.origin(TLS_CERT.name()), settings.origin(TLS_KEY.name()));
                let source = source.into();
                self.faults.push(Fault::Tls { certificate, key, source }.into());
                None
            }
        }
    }

    /// The state of the data directory.
    fn data(&mut self, directory: &Path, settings: &Settings, init: bool, by: By) {
        let here = directory.display();
        if init {
            match FileLog::check_new(directory) {
                Ok(()) => {
                    self.writes(unwritable_for_new(directory), settings);
                    self.remark(format!(
                        "data: `{here}` is missing or empty, and --init begins a dataset there"
                    ));
                }
                // Whether an earlier beginning was interrupted is seen when it is opened.
                Err(OpenError::AlreadyADataset { .. }) if by == By::Serve => {}
                Err(OpenError::AlreadyADataset { .. }) if was_only_begun(directory) => {
                    self.remark(format!(
                        "data: `{here}` was left when a dataset was just being begun, and --init goes on"
                    ));
                }
                Err(error) => self.faults.push(error.into()),
            }
            return;
        }
        match FileLog::check(directory) {
            Ok(()) if by == By::Check => {
                self.writes(first_unwritable(directory), settings);
                match FileLog::check_free(directory) {
                    Ok(()) => self.remark(format!("data: `{here}` holds a dataset")),
                    // The usual time to check is before a restart.
                    Err(error @ OpenError::InUse { .. }) => {
                        self.remark(format!("data: {error}; `serve` is refused until that has ended"));
                    }
                    Err(error) => self.faults.push(error.into()),
                }
            }
            Ok(()) => {}
            Err(error) => self.faults.push(error.into()),
        }
    }

    fn writes(&mut self, unwritable: Option<(PathBuf, io::Error)>, settings: &Settings) {
        let origin = settings.origin(DATA.name());
        let fault = unwritable.map(|(path, source)| Fault::Unwritable { origin, path, source });
        self.faults.extend(fault.map(Failure::from));
    }

    /// Whether every listener has an address of its own; port 0 is another one each time.
    fn addresses(&mut self, settings: &Settings) {
        for (one, other) in
            [(LISTEN, WEB_LISTEN), (LISTEN, OPERATIONS_LISTEN), (WEB_LISTEN, OPERATIONS_LISTEN)]
        {
            let (Some(address), also) = (settings.get(one), settings.get(other)) else { continue };
            if also == Some(address) && address.port() != 0 {
                let (one, other) = (one.name(), other.name());
                self.faults.push(Fault::SameAddress { one, other, address }.into());
            }
        }
    }

    /// Whether other machines reach what they should not.
    fn address(&mut self, settings: &Settings, address: SocketAddr, init: bool) {
        // What is mistyped may be what would have allowed it.
        if address.ip().is_loopback() || !settings.whole {
            return;
        }
        if settings.said(TLS_CERT.name()).is_none() && !settings.is_on(ALLOW_PLAINTEXT) {
            self.faults.push(Failure::Plaintext { address });
        }
        // A new dataset has no keys: this is told before it is begun.
        if init && !settings.is_on(ALLOW_PUBLIC_WITHOUT_KEYS) {
            self.faults.push(Failure::Public { address });
        }
    }

    /// Whether a key was ever made where other machines can reach the service; `serve` asks the dataset when it has opened it.
    fn keys(&mut self, settings: &Settings, address: SocketAddr, data: Option<&Path>, init: bool) {
        let Some(directory) = data else { return };
        if init || !settings.whole || address.ip().is_loopback() || settings.is_on(ALLOW_PUBLIC_WITHOUT_KEYS)
        {
            return;
        }
        // What is wrong with the directory itself was told.
        if FileLog::check(directory).is_ok() {
            match has_a_key(directory) {
                Ok(true) => self.remark("data: keys were made in it"),
                Ok(false) => self.faults.push(Failure::Public { address }),
                Err(error) => self.faults.push(error.into()),
            }
        }
    }
}

/// A file that can be read; a directory is none. A pipe is not touched: what is in it is there once.
fn open(file: &Path) -> io::Result<()> {
    let found = std::fs::metadata(file)?;
    if found.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    if found.is_file() { File::open(file).map(drop) } else { Ok(()) }
}

/// Whether a directory has got no further than being one.
fn was_only_begun(directory: &Path) -> bool {
    FileLog::check_free(directory).is_ok()
        && FileLog::verify(directory).is_ok_and(|report| report.head == Head::EMPTY)
}

/// Whether a key was ever made in a dataset, by its log.
fn has_a_key(directory: &Path) -> Result<bool, OpenError> {
    #[derive(Deserialize)]
    struct Entry<'a> {
        kind: &'a str,
    }
    let mut found = false;
    FileLog::verify_visiting(directory, &mut |bytes| {
        let entry: Option<Entry<'_>> = serde_json::from_slice(bytes).ok();
        found |= entry.is_some_and(|entry| entry.kind == KEY_CREATE);
    })?;
    Ok(found)
}
