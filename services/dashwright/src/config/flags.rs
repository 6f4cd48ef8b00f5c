//! The flags of the settings, made from their table.

use std::ffi::{OsStr, OsString};

use clap::builder::{PossibleValuesParser, TypedValueParser as _, ValueParser};
use clap::{Arg, ArgAction, ArgMatches, Args, Command, FromArgMatches};

use super::table::{Row, Setting, TABLE};
use super::value::Kind;

/// What the flags say, word by word.
#[derive(Clone, Debug, Default)]
pub(crate) struct Given(Vec<(&'static str, OsString)>);

impl Given {
    /// What the flag of a setting says; the words of a list with commas between them.
    pub(super) fn of(&self, name: &str) -> Option<OsString> {
        let words: Vec<&OsStr> =
            self.0.iter().filter(|(flag, _)| *flag == name).map(|(_, words)| words.as_os_str()).collect();
        (!words.is_empty()).then(|| words.join(OsStr::new(",")))
    }

    /// What a command line says of the settings of a table.
    pub(super) fn taken(matches: &ArgMatches, table: &'static [Row]) -> Self {
        let of = |setting: &'static Setting| {
            let words = matches.get_many::<OsString>(setting.name).into_iter().flatten();
            words.map(|words| (setting.name, words.clone()))
        };
        Self(table.iter().flat_map(|row| of(&row.setting)).collect())
    }
}

/// A command with the flags of a table.
pub(super) fn with_flags(command: Command, table: &'static [Row]) -> Command {
    command.args(table.iter().map(|row| flag(&row.setting)))
}

fn flag(setting: &'static Setting) -> Arg {
    let mut help = format!("{} [env: {}", setting.help, setting.variable());
    if let Some(also) = setting.also {
        help.push_str(&format!(" or {also}"));
    }
    help.push(']');
    if let Some(text) = setting.default_text() {
        help.push_str(&format!(
            " [default: {text}{}]",
            setting.unit.map(|unit| format!(" {unit}")).unwrap_or_default()
        ));
    }
    let flag = Arg::new(setting.name).long(setting.name).value_name(setting.kind.value_name()).help(help);
    let flag = flag.value_parser(parser(setting));
    match setting.kind {
        // Said without a value it is on; with one it can take back what a file says.
        Kind::Switch => flag.num_args(0..=1).require_equals(true).default_missing_value("true"),
        Kind::List(..) => flag.action(ArgAction::Append),
        _ => flag,
    }
}

/// What is mistyped on the command line is told as clap tells it, except where that would repeat a secret.
fn parser(setting: &'static Setting) -> ValueParser {
    let words = |text: String| OsString::from(text);
    match setting.kind {
        Kind::Choice(_, choices) => PossibleValuesParser::new(choices).map(words).into(),
        Kind::Directory | Kind::File => clap::builder::OsStringValueParser::new().into(),
        kind if setting.secret || kind.may_hold_a_secret() => {
            clap::builder::OsStringValueParser::new().into()
        }
        kind => {
            ValueParser::from(move |text: &str| kind.parse(OsStr::new(text)).map(|_| OsString::from(text)))
        }
    }
}

impl Args for Given {
    fn augment_args(command: Command) -> Command {
        with_flags(command, TABLE)
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for Given {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        Ok(Self::taken(matches, TABLE))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}
