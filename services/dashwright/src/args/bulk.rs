//! Edits that touch many records, as they are said on the command line.

use clap::{ArgGroup, Args};
use dashwright_model::record::RecordKey;
use dashwright_quantity::{PartId, TermId, VehicleId, YearMonth};

use super::Client;
use super::curation::Changing;

/// What every change takes that can be tried out.
#[derive(Args, Debug)]
pub(crate) struct Bulk {
    /// Check it and tell what it would do, and do not do it
    #[arg(long)]
    pub(crate) validate_only: bool,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Give a record another id or name.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("renames").required(true).multiple(true))]
pub(crate) struct DraftRename {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The record
    #[arg(value_name = "KIND/ID")]
    pub(crate) record: RecordKey,
    /// The new id; whatever names the record follows
    #[arg(long, value_name = "ID", group = "renames")]
    pub(crate) to: Option<TermId>,
    /// The new name of a vocabulary term; the earlier one becomes an alias
    #[arg(long, value_name = "NAME", group = "renames")]
    pub(crate) name: Option<String>,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

/// Say that a part has taken another's place.
#[derive(Args, Debug)]
pub(crate) struct DraftSupersede {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The id of the earlier part
    #[arg(value_name = "PART")]
    pub(crate) part: PartId,
    /// The id of its successor
    #[arg(long, value_name = "PART")]
    pub(crate) by: PartId,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

/// Make two vehicle lines of one.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("at").required(true))]
pub(crate) struct DraftSplit {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The id of the line, which keeps it and what lies before
    #[arg(value_name = "LINE")]
    pub(crate) line: VehicleId,
    /// The id of the new line, which is what lies after
    #[arg(long, value_name = "LINE")]
    pub(crate) new_line: VehicleId,
    /// Split before this model year
    #[arg(long, value_name = "YEAR", group = "at")]
    pub(crate) at_year: Option<u32>,
    /// Split before this month of building
    #[arg(long, value_name = "YYYY-MM", group = "at")]
    pub(crate) at_month: Option<YearMonth>,
    /// How to tell the month on the car, where the line does not say so yet
    #[arg(long, value_name = "TEXT", requires = "at_month")]
    pub(crate) how_to_tell: Option<String>,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}

/// Mark a part as discontinued, or take a record of another kind from the catalogue.
#[derive(Args, Debug)]
pub(crate) struct DraftRetire {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The record
    #[arg(value_name = "KIND/ID")]
    pub(crate) record: RecordKey,
    #[command(flatten)]
    pub(crate) bulk: Bulk,
}
