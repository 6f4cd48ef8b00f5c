//! What may be said of revisions and of the trail.

use std::num::NonZeroU64;
use std::path::PathBuf;
use std::str::FromStr;

use clap::{ArgGroup, Args, Subcommand};
use dashwright_log::PublicKey;
use dashwright_model::record::RecordKey;

use super::{Client, Page, counted, instant};

/// Entries that `audit list` shows unless told otherwise: they fit on a screen or two.
const ENTRIES: u64 = 50;

/// List the revisions.
#[derive(Args, Debug)]
pub(crate) struct Revisions {
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Show what differs between two revisions.
#[derive(Args, Debug)]
pub(crate) struct Diff {
    /// The earlier revision, by its number or token
    pub(crate) from: WhichRevision,
    /// The later revision, by its number or token; the latest without it
    pub(crate) to: Option<WhichRevision>,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// A revision by its number or its token.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum WhichRevision {
    /// By its number.
    Number(NonZeroU64),
    /// By its token.
    Token(String),
}

/// Tell each revision as it is published.
#[derive(Args, Debug)]
pub(crate) struct Watch {
    /// From the revision after this one on, by its token; from the next one on without it
    #[arg(long, value_name = "TOKEN")]
    pub(crate) after: Option<String>,
    /// End after this many revisions
    #[arg(long, value_name = "NUMBER", value_parser = counted)]
    pub(crate) once: Option<NonZeroU64>,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Read the trail of every change, and check it.
#[derive(Debug, Subcommand)]
pub(crate) enum Audit {
    /// List entries of the trail; every condition that is given must hold
    List(AuditList),
    /// Print the checkpoint of the trail as it is now
    Checkpoint(AuditCheckpoint),
    /// Get a proof and check it: that an entry stands in the trail, or that the trail continues a shorter one
    Proof(AuditProof),
    /// Check a data directory, a backup or an export, without a server
    Verify(AuditVerify),
}

/// List entries of the trail.
#[derive(Args, Debug)]
pub(crate) struct AuditList {
    /// Only those that put or delete this record, or report on a plan that rests on it
    #[arg(long, value_name = "KIND/ID")]
    pub(crate) record: Option<RecordKey>,
    /// Only those by this actor
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) actor: String,
    /// Only those of this kind, as draft.edit
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) kind: String,
    /// Only those of this draft
    #[arg(long, value_name = "ID", default_value = "", hide_default_value = true)]
    pub(crate) draft: String,
    /// Only those made at this time or later: a day (from its start) or RFC 3339, in UTC
    #[arg(long, value_name = "TIME", value_parser = instant)]
    pub(crate) from: Option<String>,
    /// Only those made before this time: a day (its start) or RFC 3339, in UTC
    #[arg(long, value_name = "TIME", value_parser = instant)]
    pub(crate) to: Option<String>,
    /// The latest first; otherwise the earliest are
    #[arg(long)]
    pub(crate) latest_first: bool,
    /// What happened, too, as JSON
    #[arg(long)]
    pub(crate) payload: bool,
    /// At most this many
    #[arg(long, value_name = "NUMBER", default_value_t = most_entries(), value_parser = counted)]
    pub(crate) limit: NonZeroU64,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Print the checkpoint of the trail.
#[derive(Args, Debug)]
pub(crate) struct AuditCheckpoint {
    /// Write it to this file
    #[arg(long, value_name = "FILE")]
    pub(crate) to: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Get a proof and check it.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("what").required(true).multiple(true))]
pub(crate) struct AuditProof {
    /// That this entry stands in the trail, by its number
    #[arg(long, value_name = "NUMBER", group = "what", value_parser = counted)]
    pub(crate) entry: Option<NonZeroU64>,
    /// In the trail when it had this many entries; all that it has now without it
    #[arg(long, value_name = "ENTRIES", requires = "entry", conflicts_with = "from_size", value_parser = counted)]
    pub(crate) size: Option<NonZeroU64>,
    /// That the trail continues the one that had this many entries
    #[arg(long, value_name = "ENTRIES", group = "what", conflicts_with = "entry", value_parser = counted)]
    pub(crate) from_size: Option<NonZeroU64>,
    /// Up to this many entries; all that there are now without it
    #[arg(long, value_name = "ENTRIES", conflicts_with_all = ["entry", "size"], value_parser = counted)]
    pub(crate) to_size: Option<NonZeroU64>,
    /// A checkpoint that was kept: that the entry stands in the trail of it, or that the trail continues it
    #[arg(long, value_name = "FILE", group = "what", conflicts_with_all = ["size", "from_size"])]
    pub(crate) checkpoint: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Check files without a server.
#[derive(Args, Debug)]
pub(crate) struct AuditVerify {
    /// A data directory, a backup, or an export with its FILE.checkpoint beside it
    #[arg(value_name = "DIR|FILE")]
    pub(crate) path: PathBuf,
    /// A checkpoint that was kept elsewhere, which must agree
    #[arg(long, value_name = "FILE")]
    pub(crate) checkpoint: Option<PathBuf>,
    /// The key that must have signed the checkpoint, as `audit checkpoint` tells it
    #[arg(long, value_name = "KEY")]
    pub(crate) verifier_key: Option<PublicKey>,
    /// Print the result as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

impl Audit {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::List(arguments) => arguments.client.json,
            Self::Checkpoint(arguments) => arguments.client.json,
            Self::Proof(arguments) => arguments.client.json,
            Self::Verify(arguments) => arguments.json,
        }
    }
}

impl FromStr for WhichRevision {
    type Err = &'static str;

    /// Digits are a number, anything else is a token.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if text.is_empty() {
            return Err("neither a number nor a token");
        }
        if !text.bytes().all(|byte| byte.is_ascii_digit()) {
            return Ok(Self::Token(text.to_owned()));
        }
        text.parse().map(Self::Number).map_err(|_| "not the number of a revision, which counts from 1")
    }
}

fn most_entries() -> NonZeroU64 {
    NonZeroU64::new(ENTRIES).unwrap_or(NonZeroU64::MIN)
}
