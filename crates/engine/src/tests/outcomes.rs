//! Outcomes: what they make of records, once and only where a curator says so, over restarts, kills and lost stores.

use dashwright_model::outcome::{JobResult, Wrong};
use dashwright_model::record::golden::PlanVerdict;
use dashwright_quantity::Prose;

use super::kills::beginning;
use super::*;
use crate::{
    Acceptance, Conditions, MAX_ACCEPTED_IN_DRAFT, MAX_OPEN_OUTCOMES, OutcomeError, OutcomeFacts,
    OutcomeFilter, OutcomePlace, OutcomeReport, OutcomeState, WrongRecord,
};

const RESTS_ON: [&str; 3] = ["dash/d", "factory_audio/a", "vehicle/v1"];

pub(super) fn report(result: JobResult, wrong: &[&str], note: &str) -> OutcomeReport {
    let wrong = wrong.iter().map(|record| WrongRecord {
        record: (*record).to_owned(),
        wrong: Wrong::WrongLead,
        text: Prose::new("the grey one is rear").ok(),
    });
    OutcomeReport {
        fingerprint: "ab12".to_owned(),
        revision: 1,
        vehicles: vec!["v1 B".to_owned()],
        radio: "r".to_owned(),
        verdict: PlanVerdict::FitsAsIs,
        result,
        rests_on: RESTS_ON.map(str::to_owned).to_vec(),
        wrong: wrong.collect(),
        note: Prose::new(note).ok(),
    }
}

fn worked(note: &str) -> OutcomeReport {
    report(JobResult::Worked, &[], note)
}

fn begun() -> (Bench, Engine, String) {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let draft = engine.create_draft(&origin(None)).unwrap().id;
    (bench, engine, draft)
}

fn queue(engine: &Engine, report: OutcomeReport) -> u64 {
    engine.report_outcome(&origin(None), report).unwrap().number
}

fn accepting(outcome: u64, draft: &str) -> Acceptance {
    Acceptance { outcome, draft: draft.to_owned(), records: None }
}

fn accept(engine: &Engine, outcome: u64, draft: &str) {
    engine.accept_outcome(&origin(None), accepting(outcome, draft), false).unwrap();
}

fn everything(engine: &Engine) -> Vec<OutcomeFacts> {
    engine.outcomes(&OutcomeFilter::default(), None, usize::MAX).unwrap().outcomes
}

fn states(engine: &Engine) -> Vec<(u64, OutcomeState)> {
    everything(engine).iter().map(|facts| (facts.number, facts.state())).collect()
}

/// Grade, confirmed and contradicted jobs of a record's line, read as plain JSON.
fn evidence(line: &str) -> (String, u64, u64) {
    let record: serde_json::Value = serde_json::from_str(line).unwrap();
    let evidence = &record.as_object().unwrap().values().next().unwrap()["evidence"];
    let count = |field: &str| evidence[field].as_u64().unwrap_or(0);
    (evidence["grade"].as_str().unwrap().to_owned(), count("confirmed_jobs"), count("contradicted_jobs"))
}

fn drafted(engine: &Engine, draft: &str) -> Vec<(String, (String, u64, u64))> {
    let items = engine.items_of(&engine.open_draft(draft).unwrap(), None, usize::MAX).unwrap();
    items.into_iter().map(|item| (item.record, evidence(&item.line.unwrap()))).collect()
}

fn moved(record: &str, grade: &str, confirmed: u64, contradicted: u64) -> (String, (String, u64, u64)) {
    (record.to_owned(), (grade.to_owned(), confirmed, contradicted))
}

#[test]
fn a_report_moves_nothing_and_its_acceptance_counts_the_job_in_a_draft() {
    let (_bench, engine, draft) = begun();
    let before = seen(&engine);
    let number = queue(&engine, worked("no trouble"));
    assert_eq!(states(&engine), [(number, OutcomeState::Open)]);
    assert_eq!(drafted(&engine, &draft), []);

    let looked = engine.accept_outcome(&origin(None), accepting(number, &draft), true).unwrap();
    assert_eq!((looked.outcome.state(), looked.drafted.draft.edits), (OutcomeState::Open, 1));
    assert_eq!(drafted(&engine, &draft), []);

    let accepted = engine.accept_outcome(&origin(None), accepting(number, &draft), false).unwrap();
    assert_eq!((accepted.outcome.state(), accepted.gone.len()), (OutcomeState::Accepted, 0));
    // What is measured is not lifted by a job.
    let expected = RESTS_ON.map(|record| moved(record, "MEASURED", 1, 0));
    assert_eq!(drafted(&engine, &draft), expected);
    assert_eq!(seen(&engine), before);
    engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap();
    let view = engine.view();
    let kept = view.snapshot().record(RecordKind::Dash, "d").unwrap();
    assert_eq!((evidence(&kept.text), kept.revision), (("MEASURED".to_owned(), 1, 0), 2));
    assert_eq!(engine.published_as(&draft).unwrap(), Some(2));
    assert_eq!(states(&engine), [(number, OutcomeState::Accepted)]);
}

#[test]
fn a_job_that_did_not_work_counts_against_what_was_called_wrong_and_nothing_else() {
    let (_bench, engine, draft) = begun();
    let number = queue(&engine, report(JobResult::DidNotWork, &["factory_audio/a"], ""));
    accept(&engine, number, &draft);
    assert_eq!(drafted(&engine, &draft), [moved("factory_audio/a", "ASSUMED", 0, 1)]);
    // One that worked with a wrong record confirms the others; the second edit builds on the first.
    let number = queue(&engine, report(JobResult::Worked, &["factory_audio/a"], ""));
    accept(&engine, number, &draft);
    let expected = [
        moved("dash/d", "MEASURED", 1, 0),
        moved("factory_audio/a", "ASSUMED", 0, 2),
        moved("vehicle/v1", "MEASURED", 1, 0),
    ];
    assert_eq!(drafted(&engine, &draft), expected);

    let nothing = queue(&engine, report(JobResult::DidNotWork, &[], "it hums"));
    let refused = engine.accept_outcome(&origin(None), accepting(nothing, &draft), false).unwrap_err();
    assert!(
        matches!(refused, WriteError::Outcome(OutcomeError::CountsNothing { outcome }) if outcome == nothing)
    );
    // Which record it was is for the curator to say.
    let records = Some(["vehicle/v1".parse().unwrap()].into());
    let named = Acceptance { records, ..accepting(nothing, &draft) };
    engine.accept_outcome(&origin(None), named, false).unwrap();
    assert_eq!(drafted(&engine, &draft)[2], moved("vehicle/v1", "ASSUMED", 1, 1));
}

#[test]
fn what_is_gone_is_told_and_the_rest_counts() {
    let (_bench, engine, draft) = begun();
    let number = queue(&engine, worked(""));
    let gone = crate::Delete::over("vehicle/v1".parse().unwrap());
    engine.edit_draft(&origin(None), &draft, vec![], vec![gone], false).unwrap();
    let accepted = engine.accept_outcome(&origin(None), accepting(number, &draft), false).unwrap();
    assert_eq!(accepted.gone, ["vehicle/v1"]);
    let counted = accepted.outcome.resolution.unwrap().accepted.unwrap();
    assert_eq!(counted.records, ["dash/d", "factory_audio/a"]);
}

#[test]
fn a_draft_that_is_thrown_away_opens_again_what_was_accepted_in_it() {
    let (bench, engine, draft) = begun();
    let (first, second) = (queue(&engine, worked("first")), queue(&engine, worked("second")));
    let reported = everything(&engine);
    let other = engine.create_draft(&origin(None)).unwrap().id;
    accept(&engine, first, &draft);
    accept(&engine, second, &other);
    engine.publish_draft(&origin(None), &other, &Conditions::default()).unwrap();
    engine.discard_draft(&origin(None), &draft).unwrap();
    assert_eq!(states(&engine), [(first, OutcomeState::Open), (second, OutcomeState::Accepted)]);
    assert_eq!(everything(&engine)[0], reported[0]);
    drop(engine);
    let engine = bench.start();
    assert_eq!(states(&engine), [(first, OutcomeState::Open), (second, OutcomeState::Accepted)]);
    let again = engine.create_draft(&origin(None)).unwrap().id;
    accept(&engine, first, &again);
    assert_eq!(drafted(&engine, &again)[0], moved("dash/d", "MEASURED", 2, 0));
}

#[test]
fn a_repeated_request_leads_to_its_first_result_and_another_one_is_refused() {
    let (bench, engine, draft) = begun();
    let reported = engine.report_outcome(&origin(Some("r")), worked("a")).unwrap();
    let other = queue(&engine, worked("b"));
    let accepted = engine.accept_outcome(&origin(Some("s")), accepting(reported.number, &draft), false);
    let accepted = accepted.unwrap();
    let rejected = engine.reject_outcome(&origin(Some("t")), other, false).unwrap();
    assert!(!reported.repeated && !accepted.drafted.repeated && !rejected.repeated);
    drop(engine);
    let engine = bench.start();
    let entries = engine.trail_size();
    let again = engine.report_outcome(&origin(Some("r")), worked("a")).unwrap();
    assert_eq!((again.number, again.repeated), (reported.number, true));
    let again = engine.accept_outcome(&origin(Some("s")), accepting(reported.number, &draft), false).unwrap();
    assert_eq!((again.outcome, again.drafted.repeated), (accepted.outcome, true));
    let again = engine.reject_outcome(&origin(Some("t")), other, false).unwrap();
    assert_eq!((again.outcome, again.repeated), (rejected.outcome, true));
    let reused = |outcome: Result<(), WriteError>| {
        assert!(matches!(outcome, Err(WriteError::RequestReused { .. })), "{outcome:?}");
    };
    reused(engine.report_outcome(&origin(Some("r")), worked("b")).map(drop));
    reused(engine.accept_outcome(&origin(Some("s")), accepting(other, &draft), false).map(drop));
    reused(engine.reject_outcome(&origin(Some("t")), reported.number, false).map(drop));
    reused(engine.reject_outcome(&origin(Some("r")), other, false).map(drop));
    assert_eq!(engine.trail_size(), entries);
}

#[test]
fn what_is_resolved_or_unknown_is_not_resolved_again() {
    let (_bench, engine, draft) = begun();
    let (first, second) = (queue(&engine, worked("")), queue(&engine, worked("")));
    accept(&engine, first, &draft);
    engine.reject_outcome(&origin(None), second, false).unwrap();
    let entries = engine.trail_size();
    for (outcome, found) in [(first, OutcomeState::Accepted), (second, OutcomeState::Rejected)] {
        for validate_only in [false, true] {
            let accepted =
                engine.accept_outcome(&origin(None), accepting(outcome, &draft), validate_only).map(drop);
            let rejected = engine.reject_outcome(&origin(None), outcome, validate_only).map(drop);
            for refused in [accepted, rejected] {
                assert!(
                    matches!(refused, Err(WriteError::Outcome(OutcomeError::Resolved { outcome: of, state })) if of == outcome && state == found),
                    "{refused:?}"
                );
            }
        }
    }
    let unknown = engine.reject_outcome(&origin(None), 1, false);
    assert!(
        matches!(unknown, Err(WriteError::Outcome(OutcomeError::NotFound { outcome: 1 }))),
        "{unknown:?}"
    );
    let no_draft = queue(&engine, worked(""));
    let refused = engine.accept_outcome(&origin(None), accepting(no_draft, "none"), false);
    assert!(matches!(refused, Err(WriteError::NoOpenDraft { .. })), "{refused:?}");
    assert_eq!(engine.trail_size(), entries + 1);
}

/// After every entry a kill: what the store has, and what a store that is filled anew has, is what was told at that entry.
#[test]
fn a_kill_between_any_two_steps_parts_no_acceptance_from_its_edit() {
    let (bench, engine, draft) = begun();
    let mut told = Vec::new();
    let mut step = |what: &dyn Fn()| {
        what();
        let items = engine.open_draft(&draft).map(|_| drafted(&engine, &draft)).unwrap_or_default();
        told.push((bench.log.head().sequence.0, everything(&engine), items));
    };
    let number = std::cell::Cell::new((0, 0));
    step(&|| number.set((queue(&engine, worked("first")), 0)));
    step(&|| number.set((number.get().0, queue(&engine, report(JobResult::DidNotWork, &["dash/d"], "")))));
    let (first, second) = number.get();
    step(&|| accept(&engine, first, &draft));
    step(&|| accept(&engine, second, &draft));
    step(&|| assert!(!engine.discard_draft(&origin(None), &draft).unwrap()));
    step(&|| drop(engine.reject_outcome(&origin(None), second, false).unwrap()));
    drop(engine);
    assert_eq!(told.len(), 6);
    for (durable, outcomes, items) in &told {
        for applied in told[0].0 - 1..=*durable {
            let root = tempfile::tempdir().unwrap();
            drop(start_on(beginning(&bench.log, applied), root.path()).unwrap());
            let (engine, report) = start_on(beginning(&bench.log, *durable), root.path()).unwrap();
            assert_eq!(report.replayed, durable - applied);
            assert_eq!(everything(&engine), *outcomes, "{applied} applied, {durable} durable");
            let found = engine.open_draft(&draft).map(|_| drafted(&engine, &draft)).unwrap_or_default();
            assert_eq!(found, *items, "{applied} applied, {durable} durable");
        }
    }
}

#[test]
fn outcomes_are_listed_by_state_and_record_page_by_page() {
    let (_bench, engine, draft) = begun();
    let numbers: Vec<u64> = (0..9).map(|_| queue(&engine, worked(""))).collect();
    for number in &numbers[..3] {
        engine.reject_outcome(&origin(None), *number, false).unwrap();
    }
    accept(&engine, numbers[4], &draft);
    let expected: Vec<u64> = [3, 5, 6, 7, 8, 4, 0, 1, 2].map(|place| numbers[place]).to_vec();
    let all: Vec<u64> = states(&engine).into_iter().map(|(number, _)| number).collect();
    assert_eq!(all, expected);
    for size in 1..=10 {
        let (mut found, mut after, mut pages): (Vec<u64>, Option<OutcomePlace>, usize) =
            (Vec::new(), None, 0);
        loop {
            let page = engine.outcomes(&OutcomeFilter::default(), after, size).unwrap();
            found.extend(page.outcomes.iter().map(|facts| facts.number));
            (after, pages) = (page.last, pages + 1);
            if after.is_none() {
                break;
            }
        }
        assert_eq!((&found, pages), (&expected, expected.len().div_ceil(size)), "pages of {size}");
    }
    let open = OutcomeFilter { state: Some(OutcomeState::Open), record: None };
    assert_eq!(engine.outcomes(&open, None, 100).unwrap().outcomes.len(), 5);
    let of = |record: &str| OutcomeFilter { state: None, record: Some(record.parse().unwrap()) };
    assert_eq!(engine.outcomes(&of("dash/d"), None, 100).unwrap().outcomes.len(), 9);
    assert_eq!(engine.outcomes(&of("vehicle/v2"), None, 100).unwrap().outcomes.len(), 0);
}

#[test]
fn the_queue_and_a_draft_take_no_more_than_their_limits() {
    let (bench, engine, draft) = begun();
    let numbers: Vec<u64> = (0..=MAX_ACCEPTED_IN_DRAFT).map(|_| queue(&engine, worked(""))).collect();
    let (last, taken) = numbers.split_last().unwrap();
    for number in taken {
        accept(&engine, *number, &draft);
    }
    let refused = engine.accept_outcome(&origin(None), accepting(*last, &draft), false);
    assert!(
        matches!(refused, Err(WriteError::Outcome(OutcomeError::DraftTakesNoMore { .. }))),
        "{refused:?}"
    );
    engine.discard_draft(&origin(None), &draft).unwrap();
    drop(engine);
    let engine = bench.start();
    assert!(everything(&engine).iter().all(|facts| facts.state() == OutcomeState::Open));
    let open = engine.ask(|writer| Ok(writer.state.open_outcomes)).unwrap();
    assert_eq!(open, numbers.len() as u64);

    let full = engine.ask(|writer| {
        writer.state.open_outcomes = MAX_OPEN_OUTCOMES;
        Ok(())
    });
    full.unwrap();
    let refused = engine.report_outcome(&origin(None), worked("one more"));
    assert!(matches!(refused, Err(WriteError::Outcome(OutcomeError::QueueFull))), "{refused:?}");
    engine.reject_outcome(&origin(None), *last, false).unwrap();
    engine.report_outcome(&origin(None), worked("one more")).unwrap();
}
