//! What may be asked of findings and holes.

use clap::Args;
use dashwright_model::record::RecordKey;

use super::{Client, Page, ReadAt};

/// Tell what a draft changes in the plans. With --json each group of plans that change alike is a line, and the last line is what it
/// comes to.
#[derive(Args, Debug)]
pub(crate) struct DraftPreview {
    /// The draft, put onto the latest revision
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// Show so many groups of plans that change alike
    #[arg(long, value_name = "NUMBER", default_value_t = 20)]
    pub(crate) groups: usize,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Find what is wrong with the catalogue, or with a draft of it. The exit status is 1 where there are errors.
#[derive(Args, Debug)]
pub(crate) struct DraftCheck {
    /// The draft, put onto the latest revision; without one the catalogue as it is
    #[arg(value_name = "ID", conflicts_with = "ReadAt")]
    pub(crate) draft: Option<String>,
    /// Only what is about this record, as part/kit-7
    #[arg(long, value_name = "KIND/ID")]
    pub(crate) record: Option<RecordKey>,
    /// Only errors
    #[arg(long)]
    pub(crate) errors_only: bool,
    /// List what nothing covers instead: which need, for which radios, and how many vehicle lines that leaves out
    #[arg(long, conflicts_with_all = ["record", "errors_only"])]
    pub(crate) holes: bool,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) read_at: ReadAt,
    #[command(flatten)]
    pub(crate) client: Client,
}
