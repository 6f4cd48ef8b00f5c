//! Golden texts of outcomes.

use dashwright_api::v1;

use super::tests::{COLUMNS, check, revision, text};
use super::{outcome_reported, outcome_resolved, outcomes};

fn outcome() -> v1::JobOutcome {
    v1::JobOutcome {
        outcome: 42,
        reported_at: text("2026-01-31T09:05:00.123Z"),
        reporter: text("till-1"),
        revision: revision(),
        fingerprint: text("ab12"),
        vehicles: vec![text("line-7 base")],
        radio_id: text("radio-1"),
        verdict: v1::Verdict::FitsWithParts.into(),
        result: v1::JobResult::DidNotWork.into(),
        wrong: vec![
            v1::WrongRecord {
                record: text("part/hw-1"),
                kind: v1::WrongKind::WrongLead.into(),
                text: text("the grey one is rear"),
            },
            v1::WrongRecord {
                record: text("dash/one-1"),
                kind: v1::WrongKind::DoesNotFit.into(),
                text: String::new(),
            },
        ],
        note: text("an hour lost"),
        rests_on: vec![text("dash/one-1"), text("part/hw-1")],
        state: v1::OutcomeState::Open.into(),
        ..v1::JobOutcome::default()
    }
}

fn accepted() -> v1::JobOutcome {
    let resolution = v1::Resolution {
        resolved_at: text("2026-02-01T10:00:00Z"),
        curator: text("Ada"),
        reason: text("seen on the bench"),
        draft_id: text("d-1"),
        counted: vec![text("part/hw-1")],
        published_in_revision: 0,
    };
    let (result, wrong, note) = (v1::JobResult::Worked.into(), Vec::new(), String::new());
    let resolution = Some(resolution);
    v1::JobOutcome { outcome: 43, reason: text("asked to"), result, wrong, note, resolution, ..outcome() }
}

#[test]
fn outcomes_are_told_with_what_was_wrong_and_what_became_of_them() {
    let answer =
        v1::ListOutcomesResponse { outcomes: vec![outcome(), accepted()], next_page_token: text("NEXT") };
    check(
        &outcomes(&answer, true, COLUMNS),
        "
Outcome 42: did not work
  job        radio-1 in line-7 base
  plan       fits with parts; revision 7, fingerprint ab12
  reported   2026-01-31T09:05:00Z by till-1
  wrong      part/hw-1, wrong lead: the grey one is rear
  wrong      dash/one-1, does not fit
  note       an hour lost
  rests on   dash/one-1, part/hw-1

Outcome 43: worked
  job        radio-1 in line-7 base
  plan       fits with parts; revision 7, fingerprint ab12
  reported   2026-01-31T09:05:00Z by till-1: asked to
  rests on   dash/one-1, part/hw-1
  accepted   2026-02-01T10:00:00Z by Ada: seen on the bench
  counts     in the draft d-1, which is not published, for part/hw-1
there are more: say --all, or --page-token NEXT",
    );
    let none = outcomes(&v1::ListOutcomesResponse::default(), true, COLUMNS);
    check(&none, "no outcome is like that");
}

#[test]
fn a_report_and_a_decision_say_what_comes_next() {
    let answer =
        v1::ReportOutcomeResponse { outcome: 42, rests_on: vec![text("part/hw-1")], repeated: false };
    let expected = "Outcome 42\n  rests on   part/hw-1\nit counts once a curator accepts it";
    check(&outcome_reported(&answer, COLUMNS), expected);

    let rejected = v1::Resolution { draft_id: String::new(), ..accepted().resolution.unwrap_or_default() };
    let rejected = v1::JobOutcome { resolution: Some(rejected), ..accepted() };
    let answer = v1::ResolveOutcomeResponse { outcome: Some(rejected), ..Default::default() };
    check(
        &outcome_resolved(&answer, false, COLUMNS),
        "
Outcome 43: worked
  job        radio-1 in line-7 base
  plan       fits with parts; revision 7, fingerprint ab12
  reported   2026-01-31T09:05:00Z by till-1: asked to
  rests on   dash/one-1, part/hw-1
  rejected   2026-02-01T10:00:00Z by Ada: seen on the bench",
    );
}
