//! What plans rest on: which records, what jobs have said of them, and the gist by which one plan is told from another.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use dashwright_model::Evidence;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_quantity::TermId;
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};

use crate::answer::Verdict;
use crate::merge::case_of;
use crate::plan::{CasePlan, Plans};

/// What jobs have said of the records that an answer rests on, at its weakest.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobCounts {
    /// The fewest jobs that confirmed one of the records, and which; the first of equals.
    pub least_confirmed: Option<(u32, RecordKey)>,
    /// The most jobs that contradicted one of the records, and which; nothing where no job contradicted any.
    pub most_contradicted: Option<(u32, RecordKey)>,
}

impl JobCounts {
    /// Counts another record.
    pub fn add(&mut self, evidence: &Evidence, record: impl FnOnce() -> Option<RecordKey>) {
        let (confirmed, contradicted) = (evidence.confirmed_jobs, evidence.contradicted_jobs);
        let fewer = self.least_confirmed.as_ref().is_none_or(|(least, _)| confirmed < *least);
        let more = contradicted > self.most_contradicted.as_ref().map_or(0, |(most, _)| *most);
        if !fewer && !more {
            return;
        }
        let Some(record) = record() else { return };
        if fewer {
            self.least_confirmed = Some((confirmed, record.clone()));
        }
        if more {
            self.most_contradicted = Some((contradicted, record));
        }
    }
}

/// What jobs have said of the radio, and of the dashes, factory audios and parts of every plan; the vehicle lines are not in it.
#[must_use]
pub fn job_counts(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    radio: RecordIx,
    plans: &Plans,
) -> JobCounts {
    let mut counts = JobCounts::default();
    let mut add = |kind, id: TermId, evidence: &Evidence| {
        counts.add(evidence, || Some(RecordKey { kind, id }));
    };
    if let Some(radio) = snapshot.radios().get(radio) {
        add(RecordKind::Radio, radio.id.as_term(), &radio.evidence);
    }
    let cases: BTreeSet<_> = candidates.iter().filter_map(|candidate| case_of(snapshot, candidate)).collect();
    for case in cases.into_iter().filter_map(|case| snapshot.case(case)) {
        if let Some(dash) = snapshot.dashes().get(case.dash) {
            add(RecordKind::Dash, dash.id.as_term(), &dash.evidence);
        }
        if let Some(audio) = snapshot.audios().get(case.audio) {
            add(RecordKind::FactoryAudio, audio.id.as_term(), &audio.evidence);
        }
    }
    for index in plans.groups.iter().flat_map(|group| parts_of(&group.plan)) {
        if let Some(part) = snapshot.parts().get(index) {
            add(RecordKind::Part, part.id.as_term(), &part.evidence);
        }
    }
    counts
}

/// The records that the plan of a job rests on, where the question leaves one plan alone: the radio, its parts, and of the
/// vehicle what every candidate has. Which of several vehicle lines, dashes or factory audios the job has seen nobody knows.
#[must_use]
pub fn rests_on(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    radio: RecordIx,
    plan: &CasePlan,
) -> BTreeSet<RecordKey> {
    let mut records = BTreeSet::new();
    let radio = snapshot.radios().get(radio).map(|radio| radio.id.as_term());
    records.extend(radio.map(|id| RecordKey { kind: RecordKind::Radio, id }));
    let parts = parts_of(plan).filter_map(|part| Some(snapshot.parts().get(part)?.id.as_term()));
    records.extend(parts.map(|id| RecordKey { kind: RecordKind::Part, id }));
    let seen = candidates.iter().map(|candidate| of_vehicle(snapshot, candidate));
    records.extend(seen.reduce(|one, other| &one & &other).unwrap_or_default());
    records
}

fn of_vehicle(snapshot: &Snapshot, candidate: &Candidate) -> BTreeSet<RecordKey> {
    let line = snapshot.line(candidate.line).and_then(|line| snapshot.line_id(line).parse().ok());
    let case = case_of(snapshot, candidate).and_then(|case| snapshot.case(case));
    let dash = case.and_then(|case| Some(snapshot.dashes().get(case.dash)?.id.as_term()));
    let audio = case.and_then(|case| Some(snapshot.audios().get(case.audio)?.id.as_term()));
    let ids = [(RecordKind::Vehicle, line), (RecordKind::Dash, dash), (RecordKind::FactoryAudio, audio)];
    ids.into_iter().filter_map(|(kind, id)| Some(RecordKey { kind, id: id? })).collect()
}

/// The gist of plans, as text: the radio, and of each plan its candidates, verdict, dash and parts. What is said beside that (joins,
/// settings, steps) follows from these and from the dataset, and may be said better by a later version of this program.
#[must_use]
pub fn gist(snapshot: &Snapshot, radio: RecordIx, plans: &Plans) -> String {
    let mut text = String::new();
    let radio = snapshot.radios().get(radio).map_or("", |radio| radio.id.as_str());
    line(&mut text, &format!("radio {radio}, {}", verdict_name(plans.verdict)));
    for group in &plans.groups {
        let candidates = group.candidates.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
        let dash = snapshot.dashes().get(group.plan.dash).map_or("", |dash| dash.id.as_str());
        line(&mut text, &format!("plan of {candidates}: {}, dash {dash}", verdict_name(group.plan.verdict)));
        for part in parts_of(&group.plan).filter_map(|part| snapshot.parts().get(part)) {
            line(&mut text, &format!("part {}", part.id));
        }
    }
    text
}

fn line(text: &mut String, line: &str) {
    // Writing to a text never fails.
    let _ = writeln!(text, "{line}");
}

/// Never another one, or every fingerprint that was given out would be unknown.
const fn verdict_name(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::FitsAsIs => "fits as is",
        Verdict::FitsWithParts => "fits with parts",
        Verdict::Depends => "depends",
        Verdict::CannotFit => "can not fit",
        Verdict::NoKnownWay => "no known way",
        Verdict::Unknown => "unknown",
        Verdict::NotWithExclusions => "not with exclusions",
    }
}

fn parts_of(plan: &CasePlan) -> impl Iterator<Item = RecordIx> {
    plan.chosen.iter().flat_map(|chosen| &chosen.parts).map(|planned| planned.part)
}
