//! What may be said on the command line.

mod audit;
mod bulk;
mod curation;
mod exchange;
mod feed;
mod findings;
mod golden;
mod keys;
mod outcomes;
mod plans;
mod rules;
mod serve;
mod sheets;

use std::net::SocketAddr;
use std::num::NonZeroU64;
use std::path::PathBuf;

use clap::builder::{PossibleValue, TypedValueParser as _};
use clap::{ArgAction, Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use dashwright_api::v1;
use dashwright_model::record::{RecordKey, RecordKind};

pub(crate) use audit::{
    Audit, AuditCheckpoint, AuditList, AuditProof, AuditVerify, Diff, Revisions, Watch, WhichRevision,
};
pub(crate) use bulk::{Bulk, DraftRename, DraftRetire, DraftSplit, DraftSupersede};
pub(crate) use curation::{
    Changing, Draft, DraftDiscard, DraftEdit, DraftList, DraftNew, DraftOpen, DraftPublish, DraftShow, Revert,
};
pub(crate) use exchange::{DraftImport, Export, Table, format};
pub(crate) use feed::{Feed, FeedReturn, FeedSystem};
pub(crate) use findings::{DraftCheck, DraftPreview};
pub(crate) use golden::{AskedQuestion, Golden, GoldenAccept, GoldenAdd, GoldenList, GoldenRun};
pub(crate) use keys::{Backup, Key, KeyList, KeyNew, KeyRevoke, Restore, Role};
pub(crate) use outcomes::{
    Outcome, OutcomeAccept, OutcomeList, OutcomeReject, OutcomeReport, OutcomeState, WrongRecord,
};
pub(crate) use plans::{Aim, Cart, NoQuantity, Plan, Radios, Vehicles, quantity_of};
pub(crate) use serve::{Config, LogFormat, Serve};
pub(crate) use sheets::{Picture, Sheet};

/// The port that `serve` listens on unless told otherwise. RFC 6335 never assigns ports from 49152 on to a service, and
/// Linux hands out those below 61000 to outgoing connections, so that a fixed one above is free on a fresh machine.
pub(crate) const DEFAULT_PORT: u16 = 61_761;

/// How long a probe waits: a healthy server answers within milliseconds, and a probe's own patience is seconds.
const HEALTH_DEADLINE_MS: &str = "2000";

/// The server that a client asks unless told otherwise.
const DEFAULT_SERVER: &str = "http://127.0.0.1:61761";

/// Answers, for a vehicle, what opening its dash offers a radio, which adapters are needed, and what works afterwards.
#[derive(Debug, Parser)]
#[command(name = "dashwright", version, max_term_width = 100, arg_required_else_help = true)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Serve an invented catalogue from a temporary directory, and ask it a question
    Demo(Demo),
    /// Serve the dataset of a directory
    #[command(after_help = serve::LEVELS)]
    Serve(Box<Serve>),
    /// Show and check the settings of `serve`
    #[command(subcommand)]
    Config(Config),
    /// Ask what a vehicle's dash takes: opening, adapters, what becomes of each feature
    LookUp(LookUp),
    /// Plan a radio into a vehicle: parts, joins, settings, steps, what becomes of each feature
    Plan(Box<Plan>),
    /// Put a plan on paper: the bench sheet as one printable HTML page, or its pictures as SVG
    Sheet(Box<Sheet>),
    /// Check a cart: what each line is worth, and what is lacking
    Cart(Box<Cart>),
    /// List the radios for a vehicle, those that fit first
    Radios(Box<Radios>),
    /// List the vehicles that a radio goes into, or that a part serves
    Vehicles(Box<Vehicles>),
    /// Size a direct feed: conductor, what is lost on it, fuse; without a server
    Feed(Feed),
    /// List the choices for what is still open of a vehicle
    Choices(Choices),
    /// Read records of the catalogue
    #[command(subcommand)]
    Record(Record),
    /// Tell what is served: revision, counts, limits
    Info(Info),
    /// Ask whether a server takes calls, for probes: exit code 0 when it does, 1 otherwise; no key is needed
    Health(Box<Health>),
    /// Edit the catalogue: drafts, and publishing them
    #[command(subcommand)]
    Draft(Draft),
    /// Keep questions with the answers that are right; publishing asks them again
    #[command(subcommand)]
    Golden(Golden),
    /// Tell how jobs went that were done by plans, and decide what that is worth
    #[command(subcommand)]
    Outcome(Outcome),
    /// Make a draft that takes a revision back, or that goes back to its content
    Revert(Revert),
    /// Write every record of a revision to a file
    Export(Export),
    /// List the revisions, latest first
    Revisions(Revisions),
    /// Show what differs between two revisions, field by field
    Diff(Diff),
    /// Tell each revision as it is published
    Watch(Watch),
    /// Read the trail of every change, and check it
    #[command(subcommand)]
    Audit(Audit),
    /// Say who may call: make, list and revoke keys
    #[command(subcommand)]
    Key(Key),
    /// Write the whole trail to a file, from which a dataset is restored
    Backup(Backup),
    /// Make a data directory from a backup, without a server
    Restore(Restore),
    /// Check the files of a data directory, without a server
    Verify(Verify),
    /// Print the completions of a shell
    Completions {
        /// The shell
        shell: Shell,
    },
}

/// Serve an invented catalogue, and ask it a question.
#[derive(Args, Debug)]
pub(crate) struct Demo {
    /// Exit after the answer
    #[arg(long)]
    pub(crate) once: bool,
    /// Print the answer as JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// Where to listen, on this machine only; port 0 takes a free one
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:0", value_parser = address)]
    pub(crate) listen: SocketAddr,
}

/// What every client command takes.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Where the answer comes from")]
pub(crate) struct Client {
    /// The server to ask
    #[arg(long, value_name = "URL", env = "DASHWRIGHT_SERVER", default_value = DEFAULT_SERVER, value_parser = server)]
    pub(crate) server: String,
    /// The file that holds your key; DASHWRIGHT_KEY may hold the key itself
    #[arg(long, value_name = "FILE")]
    pub(crate) key_file: Option<PathBuf>,
    /// The authorities that may vouch for the server, instead of the system's: PEM
    #[arg(long, value_name = "FILE")]
    pub(crate) ca: Option<PathBuf>,
    /// The certificate to show to the server: PEM
    #[arg(long, value_name = "FILE", requires = "client_key")]
    pub(crate) client_cert: Option<PathBuf>,
    /// The private key of that certificate: PEM
    #[arg(long, value_name = "FILE", requires = "client_cert")]
    pub(crate) client_key: Option<PathBuf>,
    /// Print the answer as JSON (the JSON form of the gRPC message)
    #[arg(long)]
    pub(crate) json: bool,
}

/// Where an answer comes from: a server and, of it, a revision.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Where the answer comes from")]
pub(crate) struct Source {
    #[command(flatten)]
    pub(crate) read_at: ReadAt,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Which revision a read is made from.
#[derive(Args, Clone, Debug, Default)]
#[group(multiple = false)]
pub(crate) struct ReadAt {
    /// Read exactly this revision, by its token
    #[arg(long, value_name = "TOKEN")]
    pub(crate) at: Option<String>,
    /// Read this revision or a later one, by its token; waits for it
    #[arg(long, value_name = "TOKEN")]
    pub(crate) at_least: Option<String>,
}

/// What is known of a vehicle, in any mixture.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Vehicle")]
pub(crate) struct Vehicle {
    /// Model year
    #[arg(long)]
    pub(crate) year: Option<u32>,
    /// Make, as you would say it; small misspellings do not matter
    #[arg(long)]
    pub(crate) make: Option<String>,
    /// Model
    #[arg(long)]
    pub(crate) model: Option<String>,
    /// Trim
    #[arg(long)]
    pub(crate) trim: Option<String>,
    /// Month it was built
    #[arg(long, value_name = "YYYY-MM")]
    pub(crate) build_month: Option<String>,
    /// Market it was sold in
    #[arg(long)]
    pub(crate) market: Option<String>,
    /// Side the driver sits on
    #[arg(long, value_name = "SIDE")]
    pub(crate) drive_side: Option<DriveSide>,
    /// Body or cab
    #[arg(long)]
    pub(crate) body: Option<String>,
    /// Drivetrain
    #[arg(long)]
    pub(crate) drivetrain: Option<String>,
    /// Code of the factory audio option
    #[arg(long, value_name = "CODE")]
    pub(crate) audio: Option<String>,
    /// Vehicle identification number, 17 characters
    #[arg(long)]
    pub(crate) vin: Option<String>,
    /// Free words: year, make, model and whatever else is known
    #[arg(value_name = "WORDS")]
    pub(crate) words: Vec<String>,
}

/// The side the driver sits on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum DriveSide {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// Ask what a vehicle's dash takes.
#[derive(Args, Debug)]
pub(crate) struct LookUp {
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// List the choices for what is still open of a vehicle.
#[derive(Args, Debug)]
pub(crate) struct Choices {
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// Which part of a list.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Pages")]
pub(crate) struct Page {
    /// At most this many on a page
    #[arg(long, value_name = "NUMBER", default_value_t = 0, hide_default_value = true)]
    pub(crate) page_size: u32,
    /// The page that an earlier answer named
    #[arg(long, value_name = "TOKEN", default_value = "", hide_default_value = true)]
    pub(crate) page_token: String,
    /// Every page; with --json one answer a line
    #[arg(long)]
    pub(crate) all: bool,
}

/// Read records of the catalogue.
#[derive(Debug, Subcommand)]
pub(crate) enum Record {
    /// One record
    Get(RecordGet),
    /// The records of a kind
    List(RecordList),
    /// Records that resemble some words
    Search(RecordSearch),
    /// The shape of a record, as JSON Schema
    Schema(RecordSchema),
}

/// One record.
#[derive(Args, Debug)]
pub(crate) struct RecordGet {
    /// The record, as part/kit-7
    #[arg(value_name = "KIND/ID")]
    pub(crate) key: RecordKey,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// The records of a kind.
#[derive(Args, Debug)]
pub(crate) struct RecordList {
    /// The kind
    #[arg(value_parser = kinds())]
    pub(crate) kind: RecordKind,
    /// Only ids that begin with this
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) prefix: String,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// Records that resemble some words.
#[derive(Args, Debug)]
pub(crate) struct RecordSearch {
    /// The words
    #[arg(required = true)]
    pub(crate) words: Vec<String>,
    /// Only this kind; may be given several times
    #[arg(long, value_parser = kinds(), action = ArgAction::Append)]
    pub(crate) kind: Vec<RecordKind>,
    /// At most this many
    #[arg(long, value_name = "NUMBER", default_value_t = 0, hide_default_value = true)]
    pub(crate) page_size: u32,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// The shape of a record.
#[derive(Args, Debug)]
pub(crate) struct RecordSchema {
    /// The kind
    #[arg(value_parser = kinds())]
    pub(crate) kind: RecordKind,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Tell what is served.
#[derive(Args, Debug)]
pub(crate) struct Info {
    #[command(flatten)]
    pub(crate) source: Source,
}

/// Ask whether a server takes calls.
#[derive(Args, Debug)]
pub(crate) struct Health {
    /// Ask for one service of it, as dashwright.v1.FitmentService; otherwise for all of it
    #[arg(long, value_name = "NAME", default_value = "", hide_default_value = true)]
    pub(crate) service: String,
    /// Wait so long for the answer, connecting included
    #[arg(long, value_name = "MILLISECONDS", default_value = HEALTH_DEADLINE_MS, value_parser = counted)]
    pub(crate) deadline_ms: NonZeroU64,
    /// The name that the certificate of the server has, where that is not the one in its address
    #[arg(long, value_name = "NAME")]
    pub(crate) tls_name: Option<String>,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Check the files of a data directory.
#[derive(Args, Debug)]
pub(crate) struct Verify {
    /// The data directory
    #[arg(value_name = "DIR")]
    pub(crate) directory: PathBuf,
    /// Print the result as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

impl Vehicle {
    /// The question as the service takes it. What is malformed is the service's to say: it names every field at once.
    pub(crate) fn question(self) -> v1::VehicleQuestion {
        let Self {
            year,
            make,
            model,
            trim,
            build_month,
            market,
            drive_side,
            body,
            drivetrain,
            audio,
            vin,
            words,
        } = self;
        v1::VehicleQuestion {
            vin: vin.unwrap_or_default(),
            model_year: year.unwrap_or_default(),
            make: make.unwrap_or_default(),
            model: model.unwrap_or_default(),
            trim: trim.unwrap_or_default(),
            build_month: build_month.unwrap_or_default(),
            market: market.unwrap_or_default(),
            drive_side: drive_side.map(side).unwrap_or_default().into(),
            body: body.unwrap_or_default(),
            drivetrain: drivetrain.unwrap_or_default(),
            audio_option: audio.unwrap_or_default(),
            words: words.join(" "),
        }
    }
}

impl ReadAt {
    /// The revision as the service takes it.
    pub(crate) fn message(self) -> Option<v1::ReadAt> {
        let Self { at, at_least } = self;
        let exactly = at.map(v1::read_at::At::Exactly);
        let at = exactly.or_else(|| at_least.map(v1::read_at::At::AtLeast))?;
        Some(v1::ReadAt { at: Some(at) })
    }
}

fn side(side: DriveSide) -> v1::DriveSide {
    match side {
        DriveSide::Left => v1::DriveSide::Left,
        DriveSide::Right => v1::DriveSide::Right,
    }
}

/// An address to listen on.
pub(crate) fn address(text: &str) -> Result<SocketAddr, &'static str> {
    let text = text.replace("localhost:", "127.0.0.1:");
    text.parse().map_err(|_| "not an address with a port, as 127.0.0.1:61761 or [::1]:0")
}

fn server(text: &str) -> Result<String, &'static str> {
    let url = if text.contains("://") { text.to_owned() } else { format!("http://{text}") };
    let rest = url.strip_prefix("http://").or_else(|| url.strip_prefix("https://"));
    let rest = rest.ok_or("only http:// and https:// addresses are served")?;
    let host = rest.trim_end_matches('/');
    if host.is_empty() || host.contains('/') {
        Err("not a server, as http://127.0.0.1:61761")
    } else {
        Ok(url)
    }
}

/// A time in UTC; a day stands for its start.
fn instant(text: &str) -> Result<String, &'static str> {
    let start = format!("{text}T00:00:00Z");
    let stated = [text, &start].into_iter().find(|text| humantime::parse_rfc3339(text).is_ok());
    stated.map(str::to_owned).ok_or("not a time in UTC, as 2026-01-31 or 2026-01-31T18:00:00Z")
}

/// A number of what is counted from 1.
fn counted(text: &str) -> Result<NonZeroU64, &'static str> {
    text.parse().map_err(|_| "not a number from 1 on")
}

/// A kind of record by its one spelling.
fn kinds() -> impl clap::builder::TypedValueParser<Value = RecordKind> {
    let names = RecordKind::NAMES.iter().map(|name| PossibleValue::new(*name));
    clap::builder::PossibleValuesParser::new(names).try_map(|name| name.parse::<RecordKind>())
}

#[cfg(test)]
#[path = "args_tests.rs"]
mod tests;
