//! Holes: what must be met for a class of radio and nothing in the catalogue meets, and how many vehicles that leaves out.

use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use dashwright_model::Need;
use dashwright_model::record::radio::ChassisClass;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_planner::{CaseFitment, Importance, Met, NeedFitment, Verdict, fit_case};
use dashwright_snapshot::{Case, CaseIx, LineIx, Snapshot};

use crate::findings::{Finding, FindingKind};

/// Vehicle lines of a hole that are named; the rest is counted.
pub const MAX_LINES_NAMED: usize = 20;

/// A need that nothing meets for some classes of radio, behind one dash or factory audio.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hole {
    /// The need.
    pub need: Need,
    /// The classes of radio, all with the same vehicle lines.
    pub chassis: Vec<ChassisClass>,
    /// The dash or the factory audio that it arises from.
    pub record: RecordKey,
    /// Whether the catalogue lacks the fact that decides it, rather than a part.
    pub unknown: bool,
    /// The ids of the first vehicle lines that it leaves out, in the order of make, model and year; at most [`MAX_LINES_NAMED`].
    pub lines: Vec<String>,
    /// How many vehicle lines it leaves out, with any of their audio options.
    pub total_lines: u32,
}

/// Every hole, the one that leaves out most vehicle lines first.
#[must_use]
pub fn holes(snapshot: &Snapshot) -> Vec<Hole> {
    let mut of_case: Vec<Vec<Gap>> = Vec::with_capacity(snapshot.cases().len());
    for (case, number) in snapshot.cases().iter().zip(0_u32..) {
        let fitment = fit_case(snapshot, CaseIx::new(number));
        of_case.push(fitment.map(|fitment| gaps(snapshot, case, &fitment)).unwrap_or_default());
    }
    let mut of_gap: BTreeMap<Gap, LeftOut> = BTreeMap::new();
    for (line, number) in snapshot.lines().iter().zip(0_u32..) {
        // One option with the hole is enough, and several do not count twice.
        let options = snapshot.options_of(line).iter();
        let gaps: BTreeSet<&Gap> =
            options.filter_map(|option| of_case.get(option.case.get())).flatten().collect();
        for gap in gaps {
            // Cloned for the first line of a hole only: there are thousands of lines to one.
            let left_out = match of_gap.get_mut(gap) {
                Some(known) => known,
                None => of_gap.entry(gap.clone()).or_default(),
            };
            left_out.add(LineIx::new(number));
        }
    }
    let mut holes: Vec<(Hole, LeftOut)> = Vec::new();
    for (Gap { need, record, unknown, chassis }, left_out) in of_gap {
        let same = holes.iter_mut().find(|(hole, other)| {
            (hole.need, &hole.record, hole.unknown) == (need, &record, unknown) && *other == left_out
        });
        match same {
            Some((hole, _)) => hole.chassis.push(chassis),
            None => {
                let lines = left_out.first.iter().filter_map(|line| snapshot.line(*line));
                let lines = lines.map(|line| snapshot.line_id(line).to_owned()).collect();
                let total_lines = left_out.total;
                let hole = Hole { need, chassis: vec![chassis], record, unknown, lines, total_lines };
                holes.push((hole, left_out));
            }
        }
    }
    let mut holes: Vec<Hole> = holes.into_iter().map(|(hole, _)| hole).collect();
    holes.sort_by_key(|hole| std::cmp::Reverse(hole.total_lines));
    holes
}

/// The vehicle lines that a gap leaves out: the first of them, how many, and what tells whether two gaps leave out the same.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct LeftOut {
    first: Vec<LineIx>,
    total: u32,
    digest: u64,
}

impl LeftOut {
    fn add(&mut self, line: LineIx) {
        self.total += 1;
        if self.first.len() < MAX_LINES_NAMED {
            self.first.push(line);
        }
        let mut hasher = DefaultHasher::new();
        (self.digest, line.get()).hash(&mut hasher);
        self.digest = hasher.finish();
    }
}

/// A need of a case that nothing meets for a class of radio.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Gap {
    need: Need,
    record: RecordKey,
    unknown: bool,
    chassis: ChassisClass,
}

/// What must be met and is not, for each class that is not proven to be too large anyway.
fn gaps(snapshot: &Snapshot, case: &Case, fitment: &CaseFitment) -> Vec<Gap> {
    let mut gaps = Vec::new();
    for mount in fitment.mounts.iter().filter(|mount| mount.verdict != Verdict::CannotFit) {
        let chassis = mount.chassis;
        let mut add = |need: Need, unknown: bool| {
            if let Some(record) = arises_from(snapshot, case, need) {
                gaps.push(Gap { need, record, unknown, chassis });
            }
        };
        if mount.verdict == Verdict::NoKnownWay {
            add(Need::Mount, false);
        }
        for need in fitment.needs.iter().filter(|need| need.importance == Importance::Must) {
            match need.met {
                Met::ByNothingKnown => add(need.need, false),
                Met::Unknown => add(need.need, true),
                Met::ByPart if !some_part_is_for(snapshot, need, chassis) => add(need.need, false),
                Met::ByPart | Met::Directly => {}
            }
        }
    }
    gaps
}

/// Whether a part that meets the need is for radios of the class.
fn some_part_is_for(snapshot: &Snapshot, need: &NeedFitment, chassis: ChassisClass) -> bool {
    need.parts.iter().any(|offer| {
        let part = snapshot.parts().get(offer.part);
        let cover = part.and_then(|part| part.covers.get(usize::from(offer.cover)));
        let classes = cover.and_then(|cover| cover.radio.as_ref()).map_or(&[][..], |radio| &radio.chassis);
        classes.is_empty() || classes.contains(&chassis)
    })
}

/// What sits in the panel arises from the dash, everything else from the factory audio.
fn arises_from(snapshot: &Snapshot, case: &Case, need: Need) -> Option<RecordKey> {
    Some(match need {
        Need::Mount | Need::HazardSwitch | Need::AirbagLamp => {
            RecordKey { kind: RecordKind::Dash, id: snapshot.dashes().get(case.dash)?.id.as_term() }
        }
        _ => {
            RecordKey { kind: RecordKind::FactoryAudio, id: snapshot.audios().get(case.audio)?.id.as_term() }
        }
    })
}

impl From<&Hole> for Finding {
    fn from(hole: &Hole) -> Self {
        let Hole { need, chassis, record, unknown, lines: _, total_lines } = hole;
        let lacks = if *unknown { "a fact that decides" } else { "a part that meets" };
        let classes: Vec<String> = chassis.iter().map(|class| format!("`{class}`")).collect();
        let lines = if *total_lines == 1 { "vehicle line" } else { "vehicle lines" };
        let text = format!(
            "`{record}` lacks {lacks} `{need}` with radios of {}: {total_lines} {lines} left out",
            classes.join(", ")
        );
        // A hole is in no field: it is named by its need.
        let path = need.to_string();
        Self { record: record.clone(), path, kind: FindingKind::Hole, other: None, text }
    }
}
