//! Files of records, and what is wrong with them.

use std::path::Path;

use dashwright_api::v1;

use super::curation::{about, repeated};
use super::lists::count;
use super::page::{Page, bad};

/// The width of labels.
const LABEL: usize = 11;

/// What an import has come to.
pub(crate) fn imported(end: &v1::ImportEnd, file: &Path, validate_only: bool, columns: usize) -> String {
    let v1::ImportEnd { draft, records, put, unchanged, kept, faults, faults_total, repeated: again } = end;
    let mut page = Page::new(columns);
    let draft = draft.clone().unwrap_or_default();
    about(&mut page, &draft);
    repeated(&mut page, *again);
    if *faults_total > 0 {
        page.heading(&bad(&format!(
            "Nothing is imported: {} in `{}`",
            count(*faults_total, "fault"),
            file.display()
        )));
        let row = |it: &v1::ImportFault| vec![it.row.to_string(), it.column.clone(), it.text.clone()];
        page.table(&["row", "column", "what is wrong"], faults.iter().map(row).collect());
        let told = faults.len() as u64;
        if *faults_total > told {
            page.line(2, &format!("and {} more", faults_total - told));
        }
        return page.finish();
    }
    if !again {
        page.labelled(2, "file", LABEL, &format!("{} in `{}`", count(*records, "record"), file.display()));
        let would = if validate_only { "would be put" } else { "put" };
        page.labelled(2, would, LABEL, &count(*put, "record"));
        page.labelled(2, "unchanged", LABEL, &count(*unchanged, "record"));
        if *kept > 0 {
            page.labelled(2, "kept", LABEL, &format!("{}, other than in the file", count(*kept, "record")));
        }
    }
    let id = &draft.draft_id;
    page.line(0, &if validate_only {
        "nothing is changed; the same without --validate-only imports it".to_owned()
    } else {
        format!("next: `dashwright draft check {id}`, `dashwright draft preview {id}`, `dashwright draft publish {id} --reason TEXT`")
    });
    page.finish()
}
