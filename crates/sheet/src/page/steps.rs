//! Steps, phase by phase, numbered through.

use dashwright_planner::{Phase, Place, Step, minutes_at};

use super::parts::fastener_text;
use super::sentence;
use crate::job::Job;
use crate::svg::num;
use crate::words;

/// The steps of each phase.
#[derive(Default)]
pub(crate) struct Steps {
    pub(super) out: Vec<StepRow>,
    pub(super) bench: Vec<StepRow>,
    pub(super) put_in: Vec<StepRow>,
    pub(super) test_open: Vec<StepRow>,
    pub(super) close: Vec<StepRow>,
    pub(super) test_closed: Vec<StepRow>,
    /// Recorded times in words; empty where none is.
    pub(super) times: String,
}

/// A step.
pub(crate) struct StepRow {
    pub(super) number: usize,
    pub(super) text: String,
    pub(super) expect: &'static str,
    /// Fasteners and tools.
    pub(super) with: Vec<String>,
    pub(super) minutes: String,
    pub(super) caution: String,
}

impl Steps {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let Some(work) = job.work else { return Self::default() };
        let mut steps = Self { times: times(&work.steps), ..Self::default() };
        for (number, step) in work.steps.iter().enumerate() {
            let row = row(job, step, number + 1);
            match step.phase {
                Phase::Out => &mut steps.out,
                Phase::Bench => &mut steps.bench,
                Phase::In => &mut steps.put_in,
                Phase::TestOpen => &mut steps.test_open,
                Phase::Close => &mut steps.close,
                Phase::TestClosed => &mut steps.test_closed,
            }
            .push(row);
        }
        steps
    }
}

fn row(job: &Job<'_>, step: &Step, number: usize) -> StepRow {
    let Step { phase: _, place: _, action, tools, fasteners, minutes, caution } = step;
    let told = words::action(job.snapshot, action);
    let mut with: Vec<String> = fasteners.iter().map(fastener_text).collect();
    with.extend(tools.iter().map(ToString::to_string));
    StepRow {
        number,
        text: sentence(&told.text),
        expect: told.expect,
        with,
        minutes: minutes.map(|minutes| num(minutes.get())).unwrap_or_default(),
        caution: caution.as_ref().map(ToString::to_string).unwrap_or_default(),
    }
}

fn times(steps: &[Step]) -> String {
    let told = [(Place::Bench, "at the bench"), (Place::Vehicle, "in the vehicle")]
        .map(|(place, text)| (minutes_at(steps, place), text));
    let told = told.into_iter().filter(|(time, _)| time.get() > 0.0);
    told.map(|(time, text)| format!("{} min {text}", num(time.get()))).collect::<Vec<_>>().join(", ")
}
