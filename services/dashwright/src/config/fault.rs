//! Who said something of a setting, and what is wrong with what was said.

use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use super::value::Trouble;
use crate::tls_files::TlsFilesError;

/// Who said something of a setting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Origin {
    /// A flag.
    Flag,
    /// A variable of the environment.
    Environment(String),
    /// A file.
    File(Place),
    /// Nobody: it is what holds otherwise.
    Default,
}

/// A place in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    /// The file.
    pub(crate) file: PathBuf,
    /// The line, from 1.
    pub(crate) line: usize,
    /// The column, from 1, in characters.
    pub(crate) column: usize,
}

impl Place {
    /// Where a byte of a text is.
    pub(crate) fn of(file: &Path, text: &str, offset: usize) -> Self {
        let before = text.get(..offset.min(text.len())).unwrap_or(text);
        let line = before.matches('\n').count() + 1;
        let start = before.rfind('\n').map_or(0, |end| end + 1);
        let column = before.get(start..).unwrap_or_default().chars().count() + 1;
        Self { file: file.to_owned(), line, column }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.file.display(), self.line, self.column)
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag => f.write_str("flag"),
            Self::Environment(variable) => write!(f, "environment {variable}"),
            Self::File(Place { file, line, column: _ }) => write!(f, "file {}:{line}", file.display()),
            Self::Default => f.write_str("default"),
        }
    }
}

/// What is wrong with what was said of the settings.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Fault {
    /// A setting can not be this.
    #[error("{}: `{name}`{} {trouble}", at(origin), said(shown.as_deref()))]
    Value {
        /// Who said it.
        origin: Origin,
        /// The setting.
        name: &'static str,
        /// What was said, where that may be repeated.
        shown: Option<String>,
        /// Why not.
        trouble: Trouble,
    },
    /// A file names a setting that there is not.
    #[error("{place}: there is no setting `{name}`; the nearest is `{nearest}`")]
    UnknownKey {
        /// Where.
        place: Place,
        /// The name.
        name: String,
        /// The setting that it resembles most.
        nearest: &'static str,
    },
    /// The environment names a setting that there is not.
    #[error("there is no setting for the variable {name}; the nearest is {nearest}")]
    UnknownVariable {
        /// The variable.
        name: String,
        /// The variable that it resembles most.
        nearest: String,
    },
    /// Two listeners are to have one address.
    #[error("`{one}` and `{other}` are both {address}")]
    SameAddress {
        /// One of the settings.
        one: &'static str,
        /// The other.
        other: &'static str,
        /// The address.
        address: SocketAddr,
    },
    /// A file is no TOML; what the library says of it.
    #[error("{place}: {message}")]
    Toml {
        /// Where.
        place: Place,
        /// The library's words.
        message: String,
    },
    /// A file can not be read.
    #[error("the file of settings `{}` can not be read ({})", file.display(), named_by)]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// Who named it.
        named_by: Origin,
        /// Why not.
        source: io::Error,
    },
    /// A file is larger than settings are.
    #[error("the file of settings `{}` has more than {most} bytes", file.display())]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// The most that is read.
        most: u64,
    },
    /// A file is no text.
    #[error("{place}: a byte here is not UTF-8")]
    NotUtf8 {
        /// Where.
        place: Place,
    },
    /// Nobody said what has to be said.
    #[error("nobody says `{name}`: say --{name}, {variable}, or `{name} = …` in a file")]
    Missing {
        /// The setting.
        name: &'static str,
        /// Its variable.
        variable: String,
    },
    /// A setting means nothing without another one.
    #[error(
        "`{name}` is set ({origin}) and means nothing without `{lacking}`, which is not set by flag, environment or file"
    )]
    Alone {
        /// The setting.
        name: &'static str,
        /// Who set it.
        origin: Origin,
        /// The other one.
        lacking: &'static str,
    },
    /// A file that a setting names can not be read.
    #[error("`{name}` ({origin}) names `{}`, which can not be read", file.display())]
    File {
        /// The setting.
        name: &'static str,
        /// Who set it.
        origin: Origin,
        /// The file.
        file: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// What is to be written may not be.
    #[error("`data` ({origin}): `{}` can not be written", path.display())]
    Unwritable {
        /// Who named the directory.
        origin: Origin,
        /// What can not be written.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// The file of the key that signs checkpoints holds none.
    #[error("`checkpoint-key` ({origin}) names `{}`, which does not hold 64 hexadecimal digits", file.display())]
    NotASeed {
        /// Who named it.
        origin: Origin,
        /// The file.
        file: PathBuf,
    },
    /// Certificate and key are no identity.
    #[error("`tls-cert` ({certificate}) and `tls-key` ({key}) can not be used: {source}")]
    Tls {
        /// Who named the certificate.
        certificate: Origin,
        /// Who named the key.
        key: Origin,
        /// Why not.
        source: Box<TlsFilesError>,
    },
}

impl Fault {
    /// Whether it is what somebody said of a setting.
    pub(super) fn is_of(&self, setting: &str) -> bool {
        matches!(self, Self::Value { name, .. } if *name == setting)
    }

    /// What to do next.
    pub(crate) fn next(&self) -> &'static str {
        match self {
            Self::Value { .. } | Self::UnknownKey { .. } | Self::UnknownVariable { .. } => {
                "`dashwright serve --help` tells every setting and what it may be"
            }
            Self::Toml { .. } | Self::NotUtf8 { .. } => {
                "the file is TOML in UTF-8, one setting a line, as `listen = \"127.0.0.1:61761\"`"
            }
            Self::SameAddress { .. } => "give each a port of its own",
            Self::Unreadable { .. } | Self::File { .. } => "name a file that you may read",
            Self::Unwritable { .. } => {
                "`serve` writes as the user that it runs as, and a check looks as its own: run it as that one, and give \
                 it the directory with everything in it (chown -R)"
            }
            Self::TooLarge { .. } => "is it the right file?",
            Self::Missing { .. } => {
                "`dashwright config print` tells every setting that is in force and who said it"
            }
            Self::NotASeed { .. } => "an Ed25519 seed is 64 hexadecimal digits on one line, and nothing else",
            Self::Alone { .. } => "set the other one too, or leave this one out",
            Self::Tls { .. } => "name PEM files that belong together: --tls-cert FILE --tls-key FILE",
        }
    }
}

/// Where a fault is, as its message begins.
fn at(origin: &Origin) -> String {
    match origin {
        // An editor jumps to file:line:column.
        Origin::File(place) => place.to_string(),
        origin => origin.to_string(),
    }
}

fn said(shown: Option<&str>) -> String {
    shown.map(|shown| format!(" is `{shown}`, which")).unwrap_or_default()
}
