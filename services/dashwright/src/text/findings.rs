//! Findings and holes, of a draft or of a revision.

use dashwright_api::v1;

use super::curation::about;
use super::lists::{count, more};
use super::page::{Page, bad, good, strong, warning};
use super::{terms, what_was_read};

/// The width of labels.
const LABEL: usize = 11;
/// Vehicle lines of a hole that are named; `--json` names more.
const LINES_NAMED: usize = 3;

/// What is found in a draft.
pub(crate) fn draft_findings(answer: &v1::ValidateDraftResponse, last: bool, columns: usize) -> String {
    let v1::ValidateDraftResponse { draft, onto, found, next_page_token } = answer;
    let mut page = Page::new(columns);
    head(&mut page, draft.as_ref(), onto.as_ref());
    list(&mut page, found.as_ref());
    more(&mut page, next_page_token, last);
    page.finish()
}

/// What is found in a revision.
pub(crate) fn findings(answer: &v1::ListFindingsResponse, last: bool, columns: usize) -> String {
    let v1::ListFindingsResponse { revision, found, next_page_token } = answer;
    let mut page = Page::new(columns);
    head(&mut page, None, revision.as_ref());
    list(&mut page, found.as_ref());
    more(&mut page, next_page_token, last);
    page.finish()
}

/// What nothing covers with a draft.
pub(crate) fn draft_holes(answer: &v1::ListDraftHolesResponse, last: bool, columns: usize) -> String {
    let v1::ListDraftHolesResponse { draft, onto, holes, total, complete, next_page_token } = answer;
    let mut page = Page::new(columns);
    head(&mut page, draft.as_ref(), onto.as_ref());
    if *complete {
        gaps(&mut page, holes, *total);
    } else {
        let id = draft.as_ref().map_or("", |draft| draft.draft_id.as_str());
        page.line(0, "the records contradict each other, so that holes were not looked for:");
        page.line(0, &format!("mend what `dashwright draft check {id}` tells first"));
    }
    more(&mut page, next_page_token, last);
    page.finish()
}

/// What nothing covers in a revision.
pub(crate) fn holes(answer: &v1::ListHolesResponse, last: bool, columns: usize) -> String {
    let v1::ListHolesResponse { revision, holes, total, next_page_token } = answer;
    let mut page = Page::new(columns);
    head(&mut page, None, revision.as_ref());
    gaps(&mut page, holes, *total);
    more(&mut page, next_page_token, last);
    page.finish()
}

pub(super) fn head(page: &mut Page, draft: Option<&v1::Draft>, revision: Option<&v1::DatasetRevision>) {
    let label = if let Some(draft) = draft {
        about(page, draft);
        "put onto"
    } else {
        "dataset"
    };
    page.labelled(2, label, LABEL, &what_was_read(revision));
}

fn list(page: &mut Page, found: Option<&v1::Findings>) {
    let v1::Findings { findings, errors, warnings, complete } = found.cloned().unwrap_or_default();
    let numbers = format!("{}, {}", count(errors, "error"), count(warnings, "warning"));
    page.labelled(2, "found", LABEL, &if errors == 0 { good(&numbers) } else { bad(&numbers) });
    if !complete {
        page.line(2, "the records contradict each other, and only this was looked for: there may be more");
    }
    let mut told = v1::Severity::Unspecified;
    for finding in &findings {
        if finding.severity() != told {
            told = finding.severity();
            page.heading(&heading(told));
        }
        let place = if finding.field.is_empty() { String::new() } else { format!(" ({})", finding.field) };
        page.line(2, &format!("{}{place}", finding.text));
    }
}

fn heading(severity: v1::Severity) -> String {
    match severity {
        v1::Severity::Error => bad("Errors: a draft that brings one in is not published"),
        v1::Severity::Warning => warning("Warnings: for you to look at"),
        v1::Severity::Unspecified => strong("Of a kind that this program does not know"),
    }
}

fn gaps(page: &mut Page, holes: &[v1::Hole], total: u64) {
    page.labelled(2, "holes", LABEL, &total.to_string());
    for hole in holes {
        let v1::Hole { need: _, chassis: _, record, fact_missing, vehicle_ids, vehicles_total } = hole;
        let lacks = if *fact_missing { "the fact that decides it" } else { "a part that meets it" };
        let left_out = count((*vehicles_total).into(), "vehicle line");
        page.heading(&format!("{}: {left_out} left out", terms::need(hole.need())));
        page.labelled(2, "lacks", LABEL, &format!("{lacks}, behind {record}"));
        let radios: Vec<_> = hole.chassis().map(terms::chassis_class).collect();
        page.labelled(2, "with", LABEL, &format!("radios of {}", radios.join(", ")));
        let named = vehicle_ids.iter().take(LINES_NAMED).cloned().collect::<Vec<_>>();
        let others = usize::try_from(*vehicles_total).unwrap_or(usize::MAX).saturating_sub(named.len());
        let others = if others == 0 { String::new() } else { format!(" and {others} more") };
        page.labelled(2, "such as", LABEL, &format!("{}{others}", named.join(", ")));
    }
}
