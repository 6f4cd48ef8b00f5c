//! Stub.
use dashwright_model::record::{Part, Radio};
use dashwright_snapshot::{Case, RecordIx, Snapshot};
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingAnswer;
pub struct SettingFault;
pub fn settings(
    _: &Snapshot,
    _: &Case,
    _: &Radio,
    _: RecordIx,
    _: &Part,
) -> Result<Vec<SettingAnswer>, SettingFault> {
    Ok(vec![])
}
