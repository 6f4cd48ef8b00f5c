//! What may be said of keys, backups and what is made from them.

use std::path::PathBuf;

use clap::{ArgAction, Args, Subcommand, ValueEnum};
use dashwright_api::v1;

use super::{Changing, Client, instant};

/// Say who may call.
#[derive(Debug, Subcommand)]
pub(crate) enum Key {
    /// Make a key; its text is told once
    New(Box<KeyNew>),
    /// List the keys, without their texts
    List(KeyList),
    /// End a key at once
    Revoke(KeyRevoke),
}

/// Make a key.
#[derive(Args, Debug)]
pub(crate) struct KeyNew {
    /// Who is to hold it
    #[arg(long, value_name = "NAME")]
    pub(crate) holder: String,
    /// What they may do; several may follow
    #[arg(long, required = true, num_args = 1.., action = ArgAction::Append)]
    pub(crate) role: Vec<Role>,
    /// When it ends by itself: a day (its start) or RFC 3339, in UTC; never without it
    #[arg(long, value_name = "TIME", value_parser = instant)]
    pub(crate) expires: Option<String>,
    /// Make it in this data directory, which no server has open: the way back when every operator's key is lost
    #[arg(long, value_name = "DIR")]
    pub(crate) data: Option<PathBuf>,
    /// Write the text to this new file, which only its owner can read; otherwise it is printed
    #[arg(long, value_name = "FILE")]
    pub(crate) to: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// What the holder of a key may do. Every role may read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, ValueEnum)]
pub(crate) enum Role {
    /// Ask and read.
    Reader,
    /// Edit drafts.
    Curator,
    /// Publish drafts.
    Publisher,
    /// Read the trail.
    Auditor,
    /// Make and revoke keys, take backups.
    Operator,
}

/// List the keys.
#[derive(Args, Debug)]
pub(crate) struct KeyList {
    #[command(flatten)]
    pub(crate) client: Client,
}

/// End a key.
#[derive(Args, Debug)]
pub(crate) struct KeyRevoke {
    /// The key, by its id
    #[arg(value_name = "ID")]
    pub(crate) key: String,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Write the whole trail to a file, from which a dataset is restored.
#[derive(Args, Debug)]
pub(crate) struct Backup {
    /// The new file, which is there once the backup is whole and verified
    #[arg(long, value_name = "FILE")]
    pub(crate) to: PathBuf,
    /// Why; kept in the trail
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Make a data directory from a backup.
#[derive(Args, Debug)]
pub(crate) struct Restore {
    /// The backup
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// The new data directory, which is missing or empty
    #[arg(long, value_name = "DIR")]
    pub(crate) data: PathBuf,
    /// A checkpoint that was kept elsewhere, which the backup must agree with
    #[arg(long, value_name = "FILE")]
    pub(crate) checkpoint: Option<PathBuf>,
    /// Why; kept in the trail
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
    /// Print the result as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

impl Key {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::New(arguments) => arguments.client.json,
            Self::List(arguments) => arguments.client.json,
            Self::Revoke(arguments) => arguments.client.json,
        }
    }
}

impl Role {
    /// The role as the service takes it.
    pub(crate) fn message(self) -> v1::Role {
        match self {
            Self::Reader => v1::Role::Reader,
            Self::Curator => v1::Role::Curator,
            Self::Publisher => v1::Role::Publisher,
            Self::Auditor => v1::Role::Auditor,
            Self::Operator => v1::Role::Operator,
        }
    }
}
