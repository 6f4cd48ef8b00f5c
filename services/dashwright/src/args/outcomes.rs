//! What may be said of the outcomes of jobs.

use clap::{ArgAction, ArgGroup, Args, Subcommand, ValueEnum};
use dashwright_api::v1;
use dashwright_model::outcome::Wrong;
use dashwright_model::record::RecordKey;
use uuid::Uuid;

use super::plans::Order;
use super::{Bulk, Client, Page, Vehicle};

/// Tell how jobs went, and decide what that is worth.
#[derive(Debug, Subcommand)]
pub(crate) enum Outcome {
    /// Tell how a job went that was done by a plan
    Report(Box<OutcomeReport>),
    /// List what was reported: what waits for a curator, or what was accepted or rejected
    List(OutcomeList),
    /// Let a job count: an edit of a draft, which is published like any other
    Accept(OutcomeAccept),
    /// Let a job not count
    Reject(OutcomeReject),
}

/// Tell how a job went. The plan is asked for as `dashwright plan` asked for it.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("result").required(true))]
pub(crate) struct OutcomeReport {
    /// The radio, by its id
    #[arg(long, value_name = "RADIO")]
    pub(crate) radio: String,
    /// The fingerprint of the plan, as it stands at its end
    #[arg(long, value_name = "FINGERPRINT")]
    pub(crate) fingerprint: String,
    /// The revision that the plan was made from, by its token; without it the latest
    #[arg(long, value_name = "TOKEN")]
    pub(crate) at: Option<String>,
    /// It was done as the plan says, and everything works
    #[arg(long, group = "result")]
    pub(crate) worked: bool,
    /// It could not be done as the plan says, or something does not work
    #[arg(long, group = "result")]
    pub(crate) did_not: bool,
    /// This record was wrong, in this way, in your words (hw-7: the grey lead is rear); may be given several times. Ways: does-not-fit, wrong-plug,
    /// wrong-lead, wrong-setting, wrong-step, feature-lost, missing, wrong-data, other
    #[arg(long, value_name = "KIND/ID:WAY[:TEXT]", value_parser = wrong, action = ArgAction::Append)]
    pub(crate) wrong: Vec<WrongRecord>,
    /// Anything else
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub(crate) note: String,
    /// Why this is reported, where that is worth saying
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub(crate) reason: String,
    /// Repeat the report that a failed command named: it is made once, and its first result is told
    #[arg(long, value_name = "UUID")]
    pub(crate) request_id: Option<Uuid>,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// A record that was wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct WrongRecord {
    pub(crate) record: RecordKey,
    pub(crate) way: v1::WrongKind,
    pub(crate) text: String,
}

/// Which outcomes are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum OutcomeState {
    /// Those that wait for a curator.
    Open,
    /// Those that count.
    Accepted,
    /// Those that do not.
    Rejected,
    /// All of them.
    All,
}

/// List outcomes.
#[derive(Args, Debug)]
pub(crate) struct OutcomeList {
    /// What became of them
    #[arg(long, value_name = "STATE", default_value = "open")]
    pub(crate) state: OutcomeState,
    /// Only those whose plans rest on this record, as part/kit-7
    #[arg(long, value_name = "KIND/ID")]
    pub(crate) record: Option<RecordKey>,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Let a job count.
#[derive(Args, Debug)]
pub(crate) struct OutcomeAccept {
    /// The outcome, by its number
    #[arg(value_name = "OUTCOME")]
    pub(crate) outcome: u64,
    /// The open draft that takes the edit
    #[arg(long, value_name = "ID")]
    pub(crate) draft: String,
    /// Count it for this record alone; may be given several times. Otherwise a job that worked counts for all that the plan
    /// rests on, and one that did not against what was called wrong
    #[arg(long, value_name = "KIND/ID", action = ArgAction::Append)]
    pub(crate) record: Vec<RecordKey>,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

/// Let a job not count.
#[derive(Args, Debug)]
pub(crate) struct OutcomeReject {
    /// The outcome, by its number
    #[arg(value_name = "OUTCOME")]
    pub(crate) outcome: u64,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

impl Outcome {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::Report(arguments) => arguments.client.json,
            Self::List(arguments) => arguments.client.json,
            Self::Accept(arguments) => arguments.bulk.client.json,
            Self::Reject(arguments) => arguments.bulk.client.json,
        }
    }
}

/// A record, in what way it was wrong, and a text; ids have no colon.
fn wrong(text: &str) -> Result<WrongRecord, WrongFault> {
    let (record, rest) = text.split_once(':').ok_or(WrongFault::Form)?;
    let (way, text) = rest.split_once(':').unwrap_or((rest, ""));
    let record = record.parse().map_err(|_| WrongFault::Record { found: record.to_owned() })?;
    let name = format!("WRONG_KIND_{}", way.trim().to_uppercase().replace('-', "_"));
    let known = v1::WrongKind::from_str_name(&name).filter(|way| *way != v1::WrongKind::Unspecified);
    let way = known.ok_or_else(|| WrongFault::Way { found: way.trim().to_owned() })?;
    Ok(WrongRecord { record, way, text: text.trim().to_owned() })
}

/// What is wrong with the words about a record.
#[derive(Debug, thiserror::Error)]
enum WrongFault {
    #[error("it is not KIND/ID:WAY, as part/hw-7:wrong-lead")]
    Form,
    #[error("`{found}` is no record such as part/kit-7")]
    Record { found: String },
    #[error("`{found}` is no way of being wrong; there are {}", ways())]
    Way { found: String },
}

/// The ways of being wrong as a person writes them.
fn ways() -> String {
    let names: Vec<String> = Wrong::NAMES.iter().map(|name| name.to_lowercase().replace('_', "-")).collect();
    names.join(", ")
}
