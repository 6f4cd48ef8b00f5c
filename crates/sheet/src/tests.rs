//! Sheets of the demo catalogue, and of records that mean harm.

mod access;
mod harm;
mod shown;

use std::sync::{Arc, LazyLock};

use dashwright_model::exchange;
use dashwright_planner::{CasePlan, Request, WeakestEvidence, plan};
use dashwright_snapshot::identify::YearSet;
use dashwright_snapshot::{Candidate, LineIx, RecordIx, Snapshot, SourceRecord};

use crate::{Paper, Revision, SheetInput, bench_sheet};

static DEMO: LazyLock<Snapshot> = LazyLock::new(|| snapshot(|line| line.to_owned()));

/// The demo catalogue with every line changed.
fn snapshot(change: impl Fn(&str) -> String) -> Snapshot {
    let sources = dashwright_demo::lines().zip(1_u64..).map(|((_, _, text), number)| {
        let record = exchange::parse_line(change(text).as_bytes(), number).unwrap();
        SourceRecord { text: Arc::from(exchange::to_line(&record).unwrap()), revision: 1 }
    });
    Snapshot::build(sources.collect()).unwrap()
}

/// A vehicle line with one audio option, a radio, and their plan.
struct Case<'s> {
    snapshot: &'s Snapshot,
    candidates: Vec<Candidate>,
    radio: RecordIx,
    plan: CasePlan,
    weakest: Option<WeakestEvidence>,
}

impl<'s> Case<'s> {
    fn of(snapshot: &'s Snapshot, vehicle: &str, option: u16, radio: &str) -> Self {
        let line = snapshot.line_by_id(vehicle).unwrap();
        let (radio, _) = snapshot.radios().find(radio).unwrap();
        Self::at(snapshot, line, option, radio)
    }

    fn at(snapshot: &'s Snapshot, line: LineIx, option: u16, radio: RecordIx) -> Self {
        let candidate = Candidate { line, years: YearSet::default(), options: vec![option], likeness: 100 };
        let candidates = vec![candidate];
        let mut plans = plan(snapshot, &candidates, radio, &Request::default());
        let plan = plans.groups.remove(0).plan;
        Self { snapshot, candidates, radio, plan, weakest: plans.weakest }
    }

    fn input(&self) -> SheetInput<'_> {
        SheetInput {
            snapshot: self.snapshot,
            candidates: &self.candidates,
            radio: self.radio,
            plan: &self.plan,
            weakest: self.weakest.as_ref(),
            revision: Revision { number: 7, token: "demo.7", content_hash: "ab12" },
            fingerprint: "0123abcd",
            paper: Paper::A4,
        }
    }

    fn sheet(&self) -> String {
        bench_sheet(&self.input()).unwrap()
    }
}

/// Every eleventh pair of vehicle line with option and radio of the demo catalogue: some of everything.
fn some_cases() -> Vec<Case<'static>> {
    let snapshot = &*DEMO;
    let lines = (0..).zip(snapshot.lines()).flat_map(|(number, line)| {
        let options = u16::try_from(snapshot.options_of(line).len()).unwrap();
        (0..options).map(move |option| (LineIx::new(number), option))
    });
    let all = lines
        .flat_map(|(line, option)| snapshot.radios().iter().map(move |(radio, _)| (line, option, radio)));
    all.step_by(11).map(|(line, option, radio)| Case::at(snapshot, line, option, radio)).collect()
}

/// A page without its style sheet and its tags, white space made one: what is read out.
fn text_of(page: &str) -> String {
    let (_, body) = page.split_once("<body>").unwrap();
    let mut text = String::new();
    for piece in body.split('<') {
        let (_, said) = piece.split_once('>').unwrap_or(("", piece));
        text.push_str(said);
        text.push(' ');
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
