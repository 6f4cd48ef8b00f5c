//! What may be said of drafts, and of the revisions that they become.

use std::num::NonZeroU32;
use std::path::PathBuf;

use clap::{ArgAction, ArgGroup, Args, Subcommand};
use uuid::Uuid;

use super::bulk::{DraftRename, DraftRetire, DraftSplit, DraftSupersede};
use super::exchange::DraftImport;
use super::findings::{DraftCheck, DraftPreview};
use super::{Client, Page};

/// Edit the catalogue.
#[derive(Debug, Subcommand)]
pub(crate) enum Draft {
    /// Begin a draft on the latest revision
    New(DraftNew),
    /// List the open drafts
    List(DraftList),
    /// Show a draft and what is in it
    Show(DraftShow),
    /// Put records into a draft, or mark records for deletion
    Edit(DraftEdit),
    /// Open one record of a draft in your editor (VISUAL or EDITOR), and put what comes of it
    Open(DraftOpen),
    /// Put the records of a file into a draft: all of them, or nothing where the file has a fault
    Import(DraftImport),
    /// Give a record another id or name; whatever names it follows
    Rename(DraftRename),
    /// Say that a part has taken another's place
    Supersede(DraftSupersede),
    /// Make two vehicle lines of one, at a model year or a month of building
    Split(DraftSplit),
    /// Mark a part as discontinued, or take a record of another kind from the catalogue
    Retire(DraftRetire),
    /// Find what is wrong with the catalogue, or with a draft of it
    Check(DraftCheck),
    /// Tell what a draft changes in the plans: verdicts, parts, features and prices, before and after
    Preview(DraftPreview),
    /// Throw a draft away; the trail keeps what was in it
    Discard(DraftDiscard),
    /// Make a draft the next revision
    Publish(DraftPublish),
}

/// What every command that changes something takes.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "The change")]
pub(crate) struct Changing {
    /// Why; kept with the change for good
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
    /// Repeat the change that a failed command named: it is made once, and its first result is told
    #[arg(long, value_name = "UUID")]
    pub(crate) request_id: Option<Uuid>,
}

/// Begin a draft.
#[derive(Args, Debug)]
pub(crate) struct DraftNew {
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// List the open drafts.
#[derive(Args, Debug)]
pub(crate) struct DraftList {
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Show a draft.
#[derive(Args, Debug)]
pub(crate) struct DraftShow {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The records themselves, too
    #[arg(long)]
    pub(crate) full: bool,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Edit a draft.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("edits").required(true).multiple(true))]
pub(crate) struct DraftEdit {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// Put these records: JSON Lines, one record a line; - reads standard input
    #[arg(long, value_name = "FILE.jsonl", group = "edits")]
    pub(crate) put: Option<PathBuf>,
    /// Put new records only: refuse those of which there is one already; otherwise they are replaced
    #[arg(long, requires = "put")]
    pub(crate) only_new: bool,
    /// Check the edit, and do not make it
    #[arg(long)]
    pub(crate) validate_only: bool,
    /// Delete this record; several may follow, and it may be given several times
    #[arg(long, value_name = "KIND/ID", group = "edits", num_args = 1.., action = ArgAction::Append)]
    pub(crate) delete: Vec<dashwright_model::record::RecordKey>,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Open one record in an editor.
#[derive(Args, Debug)]
pub(crate) struct DraftOpen {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The record, as part/kit-7; one that is not there yet is begun
    #[arg(value_name = "KIND/ID")]
    pub(crate) record: dashwright_model::record::RecordKey,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Throw a draft away.
#[derive(Args, Debug)]
pub(crate) struct DraftDiscard {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Make a draft the next revision.
#[derive(Args, Debug)]
pub(crate) struct DraftPublish {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The draft as you have looked at it, by the etag that `draft show` tells: one that was edited since is not published
    #[arg(long, value_name = "ETAG", default_value = "", hide_default_value = true)]
    pub(crate) etag: String,
    /// Check whether it can be published, and do not publish it
    #[arg(long, conflicts_with = "checkpoint_file")]
    pub(crate) validate_only: bool,
    /// Write the checkpoint of the trail to this file as well
    #[arg(long, value_name = "FILE")]
    pub(crate) checkpoint_file: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Make a draft that goes back.
#[derive(Args, Debug)]
pub(crate) struct Revert {
    /// The revision, by its number
    #[arg(value_name = "REVISION")]
    pub(crate) revision: NonZeroU32,
    /// Go back to all that the revision held, whatever was published since; otherwise only what it changed is changed back
    #[arg(long)]
    pub(crate) content: bool,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

impl Draft {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::New(arguments) => arguments.client.json,
            Self::List(arguments) => arguments.client.json,
            Self::Show(arguments) => arguments.client.json,
            Self::Edit(arguments) => arguments.client.json,
            Self::Open(arguments) => arguments.client.json,
            Self::Import(arguments) => arguments.bulk.client.json,
            Self::Rename(arguments) => arguments.bulk.client.json,
            Self::Supersede(arguments) => arguments.bulk.client.json,
            Self::Split(arguments) => arguments.bulk.client.json,
            Self::Retire(arguments) => arguments.bulk.client.json,
            Self::Check(arguments) => arguments.client.json,
            Self::Preview(arguments) => arguments.client.json,
            Self::Discard(arguments) => arguments.client.json,
            Self::Publish(arguments) => arguments.client.json,
        }
    }
}
