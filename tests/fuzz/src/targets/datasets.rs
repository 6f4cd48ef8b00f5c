//! Datasets as somebody might publish them: records that are each valid, compiled together, planned and printed.

use std::collections::BTreeSet;
use std::sync::Arc;

use dashwright_model::exchange::{Reader, to_line};
use dashwright_planner::{Request, gist, plan, split};
use dashwright_sheet::{Paper, PictureKind, Revision, SheetInput, bench_sheet, pictures};
use dashwright_snapshot::identify::YearSet;
use dashwright_snapshot::{Candidate, LineIx, RecordIx, Snapshot, SourceRecord};

/// How many vehicle lines, and radios for each, are planned: every rule sees every record of a small dataset.
const MOST_PLANNED: usize = 3;

/// A dataset is compiled or refused with words; what is compiled is planned and printed, whatever its records say.
pub(crate) fn hold(bytes: &[u8]) {
    let mut keys = BTreeSet::new();
    let records = Reader::new(bytes).filter_map(Result::ok).map(|(_, record)| record);
    let sources = records
        .filter(|record| keys.insert((record.kind().to_string(), record.id().to_owned())))
        .map(|record| SourceRecord { text: Arc::from(to_line(&record).expect("a line")), revision: 1 });
    match Snapshot::build(sources.collect()) {
        Ok(snapshot) => planned(&snapshot),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn planned(snapshot: &Snapshot) {
    for (number, line) in (0..).zip(snapshot.lines()).take(MOST_PLANNED) {
        let options = u16::try_from(snapshot.options_of(line).len()).expect("few options");
        for (radio, _) in snapshot.radios().iter().take(MOST_PLANNED) {
            let options = (0..options).collect();
            let candidate =
                Candidate { line: LineIx::new(number), years: YearSet::default(), options, likeness: 100 };
            job(snapshot, candidate, radio);
        }
    }
}

fn job(snapshot: &Snapshot, candidate: Candidate, radio: RecordIx) {
    let candidates = dashwright_planner::one_by_one(&[candidate]);
    let plans = plan(snapshot, &candidates, radio, &Request::default());
    let _ =
        (split(&plans), gist(snapshot, radio, &plans), dashwright_planner::look_up(snapshot, &candidates));
    for group in plans.groups.iter().take(1) {
        let input = SheetInput {
            snapshot,
            candidates: &candidates,
            radio,
            plan: &group.plan,
            weakest: plans.weakest.as_ref(),
            revision: Revision { number: 1, token: "token", content_hash: "ab12" },
            fingerprint: "0123abcd",
            paper: Paper::A4,
        };
        let page = bench_sheet(&input).expect("a plan of this dataset");
        harmless(&page);
        for kind in [PictureKind::Dash, PictureKind::Side, PictureKind::Switches, PictureKind::Plug] {
            pictures(&input, kind).iter().for_each(|picture| harmless(&picture.document()));
        }
    }
}

/// No text of a record became an element: the templates have no script, and no attribute that runs one.
fn harmless(page: &str) {
    let page = page.to_ascii_lowercase();
    for raw in ["<script", "<iframe", "<img", "javascript:", "nan\"", "inf\""] {
        assert!(!page.contains(raw), "{raw:?} in {page}");
    }
    assert!(!page.chars().any(|it| it.is_control() && !"\t\n\r".contains(it)), "a control character");
}
