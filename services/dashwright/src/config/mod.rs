//! The settings of `serve`: what flags, the environment, a file and the defaults say, in this order, and who said it.

mod check;
mod fault;
mod file;
mod flags;
mod print;
mod table;
mod value;
mod writable;

use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

use rapidfuzz::distance::osa;

pub(crate) use check::{Ready, check, ready};
pub(crate) use fault::Fault;
pub(crate) use flags::Given;
pub(crate) use print::print;

use crate::args::{Config, Serve};
use crate::failure::Failure;
use crate::out;
pub(crate) use table::{
    ALLOW_PUBLIC_WITHOUT_KEYS, CALLS_PER_SECOND, CHECKPOINT_KEY, DATA, LISTEN, OPERATIONS_LISTEN,
    SEPARATE_PUBLISHER, WEB_LISTEN, WEB_ORIGINS,
};

use fault::Origin;
use table::{CONFIG_VARIABLE, Key, PREFIX, Row, Setting, TABLE, Unset};
use value::{Held, Trouble, Value, repeated};

/// What somebody said of a setting.
#[derive(Clone, Debug)]
struct Said {
    name: &'static str,
    value: Value,
    origin: Origin,
}

/// The settings that are in force.
#[derive(Clone, Debug)]
pub(crate) struct Settings {
    table: &'static [Row],
    /// Of each setting what was said by whoever has the last word. One of which anybody said something wrong is left out, so that
    /// nothing else is told of what may not be meant.
    said: Vec<Said>,
    /// Whether all that was said could be read, so that what is not there was not said.
    whole: bool,
}

/// Prints the settings, or checks them.
pub(crate) fn config(arguments: &Config) -> Result<(), Failure> {
    match arguments {
        Config::Print(show) => {
            let (settings, faults) = resolve(&show.serve);
            Failure::of_settings(faults.into_iter().map(Failure::from).collect())?;
            out::print(&print(&settings, show.json))
        }
        Config::Check(show) => check(&show.serve, show.json),
    }
}

/// The settings that the arguments, the environment and the file come to, and all that is wrong with what they say.
pub(crate) fn resolve(arguments: &Serve) -> (Settings, Vec<Fault>) {
    let Serve { config, given, init: _, load: _ } = arguments;
    let read = |file: &Path, named_by: &Origin| file::read(file, named_by, TABLE);
    resolve_with(TABLE, given, config.as_deref(), std::env::vars_os(), read)
}

/// The same for any table, any environment and any way to read a file.
fn resolve_with(
    table: &'static [Row],
    given: &Given,
    config: Option<&Path>,
    environment: impl Iterator<Item = (OsString, OsString)>,
    read: impl Fn(&Path, &Origin) -> Result<(Vec<Said>, Vec<Fault>), Fault>,
) -> (Settings, Vec<Fault>) {
    let mut variables: Vec<_> = environment.collect();
    // The environment has no order of its own that somebody could rely on.
    variables.sort();
    let mut faults = Vec::new();
    let mut said = Vec::new();
    for row in table {
        let words = given.of(row.setting.name);
        take(&mut said, &mut faults, &row.setting, words.as_deref(), || Origin::Flag);
    }
    said.extend(from_environment(table, &variables, &mut faults));
    if let Some((file, named_by)) = file_named(config, &variables) {
        match read(&file, &named_by) {
            Ok((more, wrong)) => {
                said.extend(more);
                faults.extend(wrong);
            }
            Err(fault) => faults.push(fault),
        }
    }
    for row in table {
        let text = row.setting.default_text().map(OsString::from);
        take(&mut said, &mut faults, &row.setting, text.as_deref(), || Origin::Default);
    }
    let sound = |name| !faults.iter().any(|fault| fault.is_of(name));
    let first = |row: &Row| said.iter().find(|said| said.name == row.setting.name).cloned();
    let said = table.iter().filter(|row| sound(row.setting.name)).filter_map(first).collect();
    let whole = faults.is_empty();
    (Settings { table, said, whole }, faults)
}

/// Takes what one source says of a setting, or why that can not be.
fn take(
    said: &mut Vec<Said>,
    faults: &mut Vec<Fault>,
    setting: &'static Setting,
    words: Option<&OsStr>,
    origin: impl Fn() -> Origin,
) {
    let Some(words) = words else { return };
    match setting.kind.parse(words) {
        Ok(value) => said.push(Said { name: setting.name, value, origin: origin() }),
        Err(trouble) => {
            let repeats = !(setting.secret || setting.kind.may_hold_a_secret() || trouble == Trouble::Empty);
            let shown = repeats.then(|| repeated(&words.to_string_lossy()));
            faults.push(Fault::Value { origin: origin(), name: setting.name, shown, trouble });
        }
    }
}

/// What the environment says: our own variables before those that other programs share.
fn from_environment(
    table: &'static [Row],
    variables: &[(OsString, OsString)],
    faults: &mut Vec<Fault>,
) -> Vec<Said> {
    let mut said = Vec::new();
    let own = variables.iter().filter_map(|(name, words)| Some((name.to_str()?, words)));
    for (name, words) in own.filter(|(name, _)| name.starts_with(PREFIX) && *name != CONFIG_VARIABLE) {
        let origin = || Origin::Environment(name.to_owned());
        match table.iter().find(|row| row.setting.variable() == name) {
            Some(row) => take(&mut said, faults, &row.setting, Some(words), origin),
            None => {
                let known = table.iter().map(|row| row.setting.variable());
                let known = known.chain([CONFIG_VARIABLE.to_owned()]);
                let nearest = nearest(name, known).unwrap_or_default();
                faults.push(Fault::UnknownVariable { name: repeated(name), nearest });
            }
        }
    }
    for (row, also) in table.iter().filter_map(|row| Some((row, row.setting.also?))) {
        let shared = variables.iter().find(|(name, words)| name == also && !words.is_empty());
        let words = shared.map(|(_, words)| words.as_os_str());
        take(&mut said, faults, &row.setting, words, || Origin::Environment(also.to_owned()));
    }
    said
}

/// The file that is named, and by whom. None is looked for by itself.
fn file_named(config: Option<&Path>, variables: &[(OsString, OsString)]) -> Option<(PathBuf, Origin)> {
    if let Some(file) = config {
        return Some((file.to_owned(), Origin::Flag));
    }
    let (name, file) = variables.iter().find(|(name, _)| name == CONFIG_VARIABLE)?;
    Some((file.into(), Origin::Environment(name.to_string_lossy().into_owned())))
}

/// The name that a mistyped one resembles most.
fn nearest<T: AsRef<str>>(name: &str, known: impl Iterator<Item = T>) -> Option<T> {
    known.min_by_key(|known| osa::distance(name.chars(), known.as_ref().chars()))
}

impl Settings {
    /// A setting, where it has a value.
    pub(crate) fn get<T: Held>(&self, key: Key<T>) -> Option<T> {
        self.said(key.name()).and_then(|said| T::of(&said.value))
    }

    /// A setting that has a value by default, or has to be given one.
    ///
    /// # Errors
    /// When nobody gave it one.
    pub(crate) fn need<T: Held>(&self, key: Key<T>) -> Result<T, Failure> {
        let name = key.name();
        self.get(key).ok_or_else(|| missing(name).into())
    }

    /// Whether a switch is on.
    pub(crate) fn is_on(&self, key: Key<bool>) -> bool {
        self.get(key).unwrap_or_default()
    }

    fn said(&self, name: &str) -> Option<&Said> {
        self.said.iter().find(|said| said.name == name)
    }

    /// Who has the last word on a setting.
    fn origin(&self, name: &str) -> Origin {
        self.said(name).map_or(Origin::Default, |said| said.origin.clone())
    }

    /// What the settings lack, and what they have in vain. It is told once all that was said can be read.
    fn gaps(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        if !self.whole {
            return faults;
        }
        for setting in self.table.iter().map(|row| &row.setting) {
            match self.said(setting.name) {
                None if matches!(setting.unset, Unset::Refused) => faults.push(missing(setting.name)),
                Some(Said { name, origin, .. }) if *origin != Origin::Default => {
                    let lacking = setting.needs.filter(|needed| self.said(needed).is_none());
                    let alone = |lacking| Fault::Alone { name, origin: origin.clone(), lacking };
                    faults.extend(lacking.map(alone));
                }
                _ => {}
            }
        }
        faults
    }
}

fn missing(name: &'static str) -> Fault {
    let setting = TABLE.iter().map(|row| &row.setting).find(|setting| setting.name == name);
    Fault::Missing { name, variable: setting.map(Setting::variable).unwrap_or_default() }
}

#[cfg(test)]
mod tests;
