//! What a setting may be: read from a text (flag, environment) or from a file, printed without secrets.

use std::ffi::OsStr;
use std::fmt;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use clap::ValueEnum as _;
use serde_json::json;
use toml::de::DeValue;

use crate::args::{LogFormat, address};

/// Characters of a value that are repeated where it is refused: enough to know it by.
const SHOWN_CHARS: usize = 60;
/// What stands in the place of a secret.
const HIDDEN: &str = "…";

/// What a setting may be.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Kind {
    /// A directory, which need not be there.
    Directory,
    /// A file that has to be there.
    File,
    /// An address to listen on.
    Address,
    /// Yes or no.
    Switch,
    /// One of these words.
    Choice(&'static str, &'static [&'static str]),
    /// A text that a function looks at.
    Text(&'static str, fn(&str) -> Result<(), Trouble>),
    /// Texts that a function looks at; in flags and the environment with commas between them.
    List(&'static str, fn(&str) -> Result<(), Trouble>),
    /// A whole number from the first to the second.
    Count(u64, u64),
    /// A number from the first to the second.
    Number(f64, f64),
    /// An http:// or https:// address. What it holds of a password is not printed.
    Url,
}

/// What a setting is.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    /// Of a directory or a file.
    Path(PathBuf),
    /// Of an address.
    Address(SocketAddr),
    /// Of a switch.
    Switch(bool),
    /// Of a choice or a text.
    Text(String),
    /// Of a list.
    List(Vec<String>),
    /// Of a count.
    Count(u64),
    /// Of a number.
    Number(f64),
    /// Of a URL.
    Url(String),
}

/// Why a setting can not be this.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub(crate) enum Trouble {
    /// Nothing stands there.
    #[error("is empty: leave it out altogether, or say something")]
    Empty,
    /// No text.
    #[error("is not UTF-8")]
    NotUtf8,
    /// No address.
    #[error("is not an address with a port, as 127.0.0.1:61761 or [::1]:0")]
    NotAnAddress,
    /// Neither yes nor no.
    #[error("is neither true nor false")]
    NotASwitch,
    /// None of the words.
    #[error("is none of {}", .0.join(", "))]
    NotOneOf(&'static [&'static str]),
    /// No whole number of the range.
    #[error("is not a whole number from {0} to {1}")]
    NotACount(u64, u64),
    /// No number of the range.
    #[error("is not a number from {0} to {1}")]
    NotANumber(f64, f64),
    /// No URL.
    #[error("is not an address that begins with http:// or https:// and names a host")]
    NotAUrl,
    /// No origin.
    #[error("is not the origin of a page, as https://shop.example or http://localhost:8080")]
    NotAnOrigin,
    /// No log filter; what the library says of it.
    #[error("is not a log filter, as info or warn,dashwright=debug ({0})")]
    Filter(String),
    /// A file says it as another type.
    #[error("is to be {wanted}, and is {found}")]
    Type {
        /// What it is to be.
        wanted: &'static str,
        /// What it is.
        found: &'static str,
    },
}

/// A type that a setting can be had as.
pub(crate) trait Held: Sized {
    /// The value as this type, when it is of it.
    fn of(value: &Value) -> Option<Self>;
}

impl Kind {
    /// What stands for the value in help.
    pub(crate) fn value_name(&self) -> &'static str {
        match self {
            Self::Directory => "DIR",
            Self::File => "FILE",
            Self::Address => "ADDR",
            Self::Switch => "BOOL",
            Self::Choice(name, _) | Self::Text(name, _) | Self::List(name, _) => name,
            Self::Count(..) | Self::Number(..) => "NUMBER",
            Self::Url => "URL",
        }
    }

    /// Whether a value may hold a secret, so that what is refused is not repeated.
    pub(crate) fn may_hold_a_secret(&self) -> bool {
        matches!(self, Self::Url)
    }

    /// The value that a flag or a variable says.
    pub(crate) fn parse(&self, said: &OsStr) -> Result<Value, Trouble> {
        if said.is_empty() && !matches!(self, Self::List(..)) {
            return Err(Trouble::Empty);
        }
        if matches!(self, Self::Directory | Self::File) {
            return Ok(Value::Path(said.into()));
        }
        self.of_text(said.to_str().ok_or(Trouble::NotUtf8)?)
    }

    /// The value that a file says; relative paths are relative to the directory of the file.
    pub(crate) fn read(&self, said: &DeValue<'_>, beside: &Path) -> Result<Value, Trouble> {
        let trouble = || Trouble::Type { wanted: self.wanted(), found: name_of(said) };
        match self {
            Self::Switch => said.as_bool().map(Value::Switch).ok_or_else(trouble),
            Self::List(_, check) => {
                let items = said.as_array().ok_or_else(trouble)?;
                let item = |item: &toml::Spanned<DeValue<'_>>| {
                    let text = item.get_ref().as_str().ok_or_else(trouble)?;
                    item_of(text, *check)
                };
                items.iter().map(item).collect::<Result<_, _>>().map(Value::List)
            }
            Self::Count(least, most) => {
                let whole = said.as_integer().ok_or_else(trouble)?;
                let count = u64::from_str_radix(whole.as_str(), whole.radix()).ok();
                let count = count.filter(|count| (*least..=*most).contains(count));
                count.map(Value::Count).ok_or(Trouble::NotACount(*least, *most))
            }
            Self::Number(least, most) => {
                let text = match said {
                    DeValue::Integer(whole) if whole.radix() == 10 => whole.as_str(),
                    DeValue::Float(number) => number.as_str(),
                    _ => return Err(trouble()),
                };
                number(text, *least, *most)
            }
            Self::Directory | Self::File => {
                let text = said.as_str().ok_or_else(trouble)?;
                if text.is_empty() { Err(Trouble::Empty) } else { Ok(Value::Path(beside.join(text))) }
            }
            Self::Address | Self::Choice(..) | Self::Text(..) | Self::Url => {
                self.parse(OsStr::new(said.as_str().ok_or_else(trouble)?))
            }
        }
    }

    fn of_text(&self, text: &str) -> Result<Value, Trouble> {
        match self {
            Self::Directory | Self::File => Ok(Value::Path(text.into())),
            Self::Address => address(text).map(Value::Address).map_err(|_| Trouble::NotAnAddress),
            Self::Switch => text.parse().map(Value::Switch).map_err(|_| Trouble::NotASwitch),
            Self::Choice(_, words) if words.contains(&text) => Ok(Value::Text(text.to_owned())),
            Self::Choice(_, words) => Err(Trouble::NotOneOf(words)),
            Self::Text(_, check) => check(text).map(|()| Value::Text(text.to_owned())),
            Self::List(_, check) => {
                let items = text.split(',').filter(|_| !text.is_empty());
                items.map(|item| item_of(item.trim(), *check)).collect::<Result<_, _>>().map(Value::List)
            }
            Self::Count(least, most) => {
                let count = text.parse().ok().filter(|count| (*least..=*most).contains(count));
                count.map(Value::Count).ok_or(Trouble::NotACount(*least, *most))
            }
            Self::Number(least, most) => number(text, *least, *most),
            Self::Url => url(text).map(Value::Url),
        }
    }

    /// What a file has to hold.
    fn wanted(&self) -> &'static str {
        match self {
            Self::Switch => "true or false",
            Self::List(..) => "a list of texts, as [\"one\", \"two\"]",
            Self::Count(..) => "a whole number",
            Self::Number(..) => "a number",
            Self::Directory | Self::File | Self::Address | Self::Choice(..) | Self::Text(..) | Self::Url => {
                "a text in quotes"
            }
        }
    }
}

fn item_of(text: &str, check: fn(&str) -> Result<(), Trouble>) -> Result<String, Trouble> {
    if text.is_empty() { Err(Trouble::Empty) } else { check(text).map(|()| text.to_owned()) }
}

fn number(text: &str, least: f64, most: f64) -> Result<Value, Trouble> {
    let number = text.parse().ok().filter(|number| (least..=most).contains(number));
    number.map(Value::Number).ok_or(Trouble::NotANumber(least, most))
}

fn url(text: &str) -> Result<String, Trouble> {
    let uri: tonic::transport::Uri = text.parse().map_err(|_| Trouble::NotAUrl)?;
    let known = matches!(uri.scheme_str(), Some("http" | "https"));
    // What stands behind the colon of a host is a port; anything else may be a password with a slash in it.
    let place = uri.authority().map(|all| all.as_str().rsplit(['@', ']']).next().unwrap_or_default());
    let port_is_one = place.is_some_and(|place| !place.contains(':') || uri.port().is_some());
    if known && port_is_one && uri.host().is_some_and(|host| !host.is_empty()) {
        Ok(text.to_owned())
    } else {
        Err(Trouble::NotAUrl)
    }
}

fn name_of(said: &DeValue<'_>) -> &'static str {
    match said {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

impl Value {
    /// As JSON, without secrets.
    pub(crate) fn as_json(&self, secret: bool) -> serde_json::Value {
        match self {
            _ if secret => json!(HIDDEN),
            Self::Switch(value) => json!(value),
            Self::List(value) => json!(value),
            Self::Count(value) => json!(value),
            Self::Number(value) => json!(value),
            Self::Path(_) | Self::Address(_) | Self::Text(_) | Self::Url(_) => json!(self.to_string()),
        }
    }

    /// As a person reads it, without secrets.
    pub(crate) fn shown(&self, secret: bool) -> String {
        if secret { HIDDEN.to_owned() } else { self.to_string() }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Path(path) => write!(f, "{}", path.display()),
            Self::Address(address) => write!(f, "{address}"),
            Self::Switch(value) => write!(f, "{value}"),
            Self::Text(text) => write!(f, "{text}"),
            Self::List(items) => write!(f, "{}", items.join(", ")),
            Self::Count(count) => write!(f, "{count}"),
            Self::Number(number) => write!(f, "{number}"),
            Self::Url(url) => write!(f, "{}", without_secrets(url)),
        }
    }
}

/// A URL without what may let somebody in: the password, a user name that stands alone (which is a token as often as not), and
/// whatever stands behind a question mark.
fn without_secrets(url: &str) -> String {
    let (url, query) = url.split_once('?').map_or((url, ""), |(url, _)| (url, "?…"));
    let (scheme, rest) = url.split_once("://").map_or(("", url), |(scheme, rest)| (scheme, rest));
    let (authority, path) = rest.split_at(rest.find('/').unwrap_or(rest.len()));
    let authority = match authority.rsplit_once('@') {
        None => authority.to_owned(),
        Some((user, host)) => match user.split_once(':') {
            Some((name, _)) => format!("{name}:{HIDDEN}@{host}"),
            None => format!("{HIDDEN}@{host}"),
        },
    };
    format!("{scheme}://{authority}{path}{query}")
}

/// A text that was refused, short enough to be repeated on a line.
pub(crate) fn repeated(text: &str) -> String {
    let mut shown: String = text.chars().take(SHOWN_CHARS).flat_map(char::escape_debug).collect();
    if text.chars().nth(SHOWN_CHARS).is_some() {
        shown.push('…');
    }
    shown
}

impl Held for PathBuf {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Path(path) = value { Some(path.clone()) } else { None }
    }
}

impl Held for SocketAddr {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Address(address) = value { Some(*address) } else { None }
    }
}

impl Held for bool {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Switch(value) = value { Some(*value) } else { None }
    }
}

impl Held for String {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Text(text) | Value::Url(text) = value { Some(text.clone()) } else { None }
    }
}

impl Held for Vec<String> {
    fn of(value: &Value) -> Option<Self> {
        if let Value::List(items) = value { Some(items.clone()) } else { None }
    }
}

impl Held for u64 {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Count(count) = value { Some(*count) } else { None }
    }
}

impl Held for f64 {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Number(number) = value { Some(*number) } else { None }
    }
}

impl Held for LogFormat {
    fn of(value: &Value) -> Option<Self> {
        if let Value::Text(text) = value { Self::from_str(text, false).ok() } else { None }
    }
}
