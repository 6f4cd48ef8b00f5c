//! What an import has come to.

use dashwright_api::v1;
use dashwright_engine::{Engine, ImportCounts, ImportProgress, Imported};
use dashwright_model::table::RowFault;

use super::trail::draft;
use crate::Refusal;
use crate::status::cut_at;

/// Characters of a text of a fault: what a row holds may be far longer, and all faults go into one answer.
const FAULT_CHARS: usize = 300;

/// How far an import is.
pub(crate) fn import_progress(progress: ImportProgress) -> v1::ImportProgress {
    match progress {
        ImportProgress::Read(rows) => v1::ImportProgress { rows, written: 0, total: 0 },
        ImportProgress::Written { rows, done, total } => v1::ImportProgress { rows, written: done, total },
    }
}

/// What an import has come to.
pub(crate) fn import_end(engine: &Engine, imported: &Imported) -> Result<v1::ImportEnd, Refusal> {
    let Imported { drafted, counts, faults, faults_total } = imported;
    let ImportCounts { records, put, unchanged, kept } = *counts;
    let fault = |fault: &RowFault| {
        let RowFault { row, column, text } = fault;
        let cut = |text: &str| cut_at(text, FAULT_CHARS).into_owned();
        v1::ImportFault { row: *row, column: cut(column), text: cut(text) }
    };
    Ok(v1::ImportEnd {
        draft: Some(draft(engine, &drafted.id, &drafted.draft)?),
        records,
        put,
        unchanged,
        kept,
        faults: faults.iter().map(fault).collect(),
        faults_total: *faults_total,
        repeated: drafted.repeated,
    })
}
