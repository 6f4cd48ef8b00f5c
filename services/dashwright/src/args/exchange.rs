//! What may be said of files of records, in and out.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use dashwright_api::v1;

use super::{Bulk, Client, ReadAt};

/// The records of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Table {
    /// Vehicle lines
    Vehicle,
    /// Parts
    Part,
}

/// The form of a file.
pub(crate) fn format(table: Option<Table>) -> v1::ExchangeFormat {
    match table {
        None => v1::ExchangeFormat::JsonLines,
        Some(Table::Vehicle) => v1::ExchangeFormat::VehicleTable,
        Some(Table::Part) => v1::ExchangeFormat::PartTable,
    }
}

/// What becomes of a record when there is another one of its key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum OnConflict {
    /// It is a fault of the file, and nothing is imported
    Refuse,
    /// It takes the place of the other
    Replace,
    /// The other stays
    Keep,
}

impl OnConflict {
    /// As the service takes it.
    pub(crate) fn message(self) -> v1::OnConflict {
        match self {
            Self::Refuse => v1::OnConflict::Refuse,
            Self::Replace => v1::OnConflict::Replace,
            Self::Keep => v1::OnConflict::Keep,
        }
    }
}

/// Put the records of a file into a draft.
#[derive(Args, Debug)]
pub(crate) struct DraftImport {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The file: JSON Lines, one record of any kind a line, unless --table says otherwise
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// The file is a table of these records: CSV, its first row naming the columns
    #[arg(long, value_name = "KIND", value_enum)]
    pub(crate) table: Option<Table>,
    /// What becomes of a record when there is another one of its key; one that is there the same is left alone
    #[arg(long, value_name = "HOW", value_enum, default_value_t = OnConflict::Refuse)]
    pub(crate) on_conflict: OnConflict,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

/// Write every record of a revision to a file.
#[derive(Args, Debug)]
pub(crate) struct Export {
    /// Where to: a file, which is replaced once the export is whole; - is standard output. Beside JSON Lines stands
    /// FILE.checkpoint, against which `audit verify` checks them
    #[arg(long, value_name = "FILE")]
    pub(crate) to: PathBuf,
    /// Write these records alone, as a table: CSV, its first row naming the columns
    #[arg(long, value_name = "KIND", value_enum)]
    pub(crate) table: Option<Table>,
    #[command(flatten)]
    pub(crate) read_at: ReadAt,
    #[command(flatten)]
    pub(crate) client: Client,
}
