//! Outcomes of jobs: as they were reported, and what became of them.

use dashwright_api::v1;

use super::curation::{about, repeated};
use super::lists::more;
use super::page::{Page, bad, good, warning};
use super::terms;

/// The width of labels.
const LABEL: usize = 9;

/// An outcome that was reported.
pub(crate) fn outcome_reported(answer: &v1::ReportOutcomeResponse, columns: usize) -> String {
    let v1::ReportOutcomeResponse { outcome, rests_on, repeated: again } = answer;
    let mut page = Page::new(columns);
    page.heading(&format!("Outcome {outcome}"));
    page.labelled(2, "rests on", LABEL, &rests_on.join(", "));
    repeated(&mut page, *again);
    page.line(0, "it counts once a curator accepts it");
    page.finish()
}

/// Outcomes.
pub(crate) fn outcomes(answer: &v1::ListOutcomesResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    for outcome in &answer.outcomes {
        one(&mut page, outcome);
    }
    if answer.outcomes.is_empty() && answer.next_page_token.is_empty() && last {
        page.line(0, "no outcome is like that");
    }
    more(&mut page, &answer.next_page_token, last);
    page.finish()
}

/// An outcome that was accepted or rejected.
pub(crate) fn outcome_resolved(
    answer: &v1::ResolveOutcomeResponse,
    validate_only: bool,
    columns: usize,
) -> String {
    let v1::ResolveOutcomeResponse { outcome, draft, gone, repeated: again } = answer;
    let mut page = Page::new(columns);
    one(&mut page, &outcome.clone().unwrap_or_default());
    if !gone.is_empty() {
        page.labelled(2, "gone", LABEL, &warning(&gone.join(", ")));
    }
    if let Some(draft) = draft {
        about(&mut page, draft);
    }
    repeated(&mut page, *again);
    match draft {
        _ if validate_only => {
            page.line(0, "nothing is changed; the same without --validate-only makes it");
        }
        Some(v1::Draft { draft_id: id, .. }) => {
            page.line(
                0,
                &format!("next: `dashwright draft show {id}`, `dashwright draft publish {id} --reason TEXT`"),
            );
        }
        None => {}
    }
    page.finish()
}

fn one(page: &mut Page, it: &v1::JobOutcome) {
    let v1::JobOutcome {
        outcome,
        reported_at,
        reporter,
        reason,
        revision,
        fingerprint,
        vehicles,
        radio_id,
        verdict: _,
        result: _,
        wrong,
        note,
        rests_on,
        state: _,
        resolution,
    } = it;
    let result = match it.result() {
        v1::JobResult::Unspecified => "not stated".to_owned(),
        v1::JobResult::Worked => good("worked"),
        v1::JobResult::DidNotWork => bad("did not work"),
    };
    page.heading(&format!("Outcome {outcome}: {result}"));
    page.labelled(2, "job", LABEL, &format!("{radio_id} in {}", vehicles.join(" or ")));
    let number = revision.as_ref().map_or(0, |revision| revision.number);
    let verdict = terms::verdict(it.verdict());
    page.labelled(2, "plan", LABEL, &format!("{verdict}; revision {number}, fingerprint {fingerprint}"));
    page.labelled(2, "reported", LABEL, &by(reported_at, reporter, reason));
    for it in wrong {
        let v1::WrongRecord { record, kind: _, text } = it;
        let text = if text.is_empty() { String::new() } else { format!(": {text}") };
        let words = format!("{record}, {}{text}", terms::wrong_kind(it.kind()));
        page.labelled(2, "wrong", LABEL, &warning(&words));
    }
    if !note.is_empty() {
        page.labelled(2, "note", LABEL, note);
    }
    page.labelled(2, "rests on", LABEL, &rests_on.join(", "));
    if let Some(resolution) = resolution {
        resolved(page, resolution);
    }
}

fn resolved(page: &mut Page, it: &v1::Resolution) {
    let v1::Resolution { resolved_at, curator, reason, draft_id, counted, published_in_revision } = it;
    let label = if draft_id.is_empty() { "rejected" } else { "accepted" };
    page.labelled(2, label, LABEL, &by(resolved_at, curator, reason));
    if draft_id.is_empty() {
        return;
    }
    let place = match published_in_revision {
        0 => format!("in the draft {draft_id}, which is not published"),
        revision => format!("in revision {revision}"),
    };
    page.labelled(2, "counts", LABEL, &format!("{place}, for {}", counted.join(", ")));
}

fn by(instant: &str, who: &str, why: &str) -> String {
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    format!("{} by {who}{why}", terms::to_the_second(instant))
}
