//! From the arguments to the exit code: 0 done, 1 refused or failed, 2 not understood.

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{CommandFactory as _, Parser as _};

use crate::args::{Cli, Command};
use crate::failure::Failure;
use crate::{client, config, dataset, demo, feed, out, serve};

/// The command line was not understood; the code that shells use for it.
const USAGE: u8 = 2;

/// Does what the arguments say.
pub(crate) fn run(arguments: impl Iterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<_> = arguments.collect();
    let cli = match Cli::try_parse_from(&arguments) {
        Ok(cli) => cli,
        Err(error) => return not_understood(&error, &arguments),
    };
    let json = wants_json(&cli.command);
    match perform(cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.report(json);
            ExitCode::FAILURE
        }
    }
}

fn perform(command: Command) -> Result<(), Failure> {
    match command {
        Command::Demo(arguments) => demo::demo(&arguments),
        Command::Serve(arguments) => serve::serve(&arguments),
        Command::Config(arguments) => config::config(&arguments),
        Command::LookUp(arguments) => client::look_up(arguments),
        Command::Plan(arguments) => client::plan(*arguments),
        Command::Sheet(arguments) => client::sheet(*arguments),
        Command::Cart(arguments) => client::cart(*arguments),
        Command::Radios(arguments) => client::radios(*arguments),
        Command::Vehicles(arguments) => client::vehicles(*arguments),
        Command::Feed(arguments) => feed::feed(&arguments),
        Command::Choices(arguments) => client::choices(arguments),
        Command::Record(arguments) => client::record(arguments),
        Command::Info(arguments) => client::info(arguments),
        Command::Health(arguments) => client::health(&arguments),
        Command::Draft(arguments) => client::draft(arguments),
        Command::Golden(arguments) => client::golden(arguments),
        Command::Outcome(arguments) => client::outcome(arguments),
        Command::Revert(arguments) => client::revert(arguments),
        Command::Export(arguments) => client::export(arguments),
        Command::Revisions(arguments) => client::revisions(arguments),
        Command::Diff(arguments) => client::diff(arguments),
        Command::Watch(arguments) => client::watch(arguments),
        Command::Audit(arguments) => client::audit(arguments),
        Command::Key(arguments) => client::key(arguments),
        Command::Backup(arguments) => client::backup(arguments),
        Command::Restore(arguments) => dataset::restore(&arguments),
        Command::Verify(arguments) => dataset::verify(&arguments),
        Command::Completions { shell } => {
            let mut text = Vec::new();
            clap_complete::generate(shell, &mut Cli::command(), "dashwright", &mut text);
            out::print(&String::from_utf8_lossy(&text))
        }
    }
}

fn wants_json(command: &Command) -> bool {
    use crate::args::Record;
    match command {
        Command::Demo(arguments) => arguments.json,
        Command::Config(arguments) => arguments.json(),
        Command::LookUp(arguments) => arguments.source.client.json,
        Command::Plan(arguments) => arguments.source.client.json,
        Command::Sheet(arguments) => arguments.source.client.json,
        Command::Cart(arguments) => arguments.source.client.json,
        Command::Radios(arguments) => arguments.source.client.json,
        Command::Vehicles(arguments) => arguments.source.client.json,
        Command::Feed(arguments) => arguments.json,
        Command::Choices(arguments) => arguments.source.client.json,
        Command::Record(Record::Get(arguments)) => arguments.source.client.json,
        Command::Record(Record::List(arguments)) => arguments.source.client.json,
        Command::Record(Record::Search(arguments)) => arguments.source.client.json,
        Command::Record(Record::Schema(arguments)) => arguments.client.json,
        Command::Info(arguments) => arguments.source.client.json,
        Command::Health(arguments) => arguments.client.json,
        Command::Draft(arguments) => arguments.json(),
        Command::Golden(arguments) => arguments.json(),
        Command::Outcome(arguments) => arguments.json(),
        Command::Revert(arguments) => arguments.client.json,
        Command::Export(arguments) => arguments.client.json,
        Command::Revisions(arguments) => arguments.client.json,
        Command::Diff(arguments) => arguments.client.json,
        Command::Watch(arguments) => arguments.client.json,
        Command::Audit(arguments) => arguments.json(),
        Command::Key(arguments) => arguments.json(),
        Command::Backup(arguments) => arguments.client.json,
        Command::Restore(arguments) => arguments.json,
        Command::Verify(arguments) => arguments.json,
        Command::Serve(_) | Command::Completions { .. } => false,
    }
}

/// Help and version are answers; anything else is told as clap tells it, or as JSON where that was asked for.
fn not_understood(error: &clap::Error, arguments: &[OsString]) -> ExitCode {
    if error.use_stderr() && arguments.iter().any(|argument| argument == "--json") {
        let text = error.render().to_string();
        Failure::Usage(text.trim().trim_start_matches("error: ").to_owned()).report(true);
        return ExitCode::from(USAGE);
    }
    // Nothing can be told to somebody who does not listen.
    let _ = error.print();
    u8::try_from(error.exit_code()).map_or(ExitCode::FAILURE, ExitCode::from)
}
