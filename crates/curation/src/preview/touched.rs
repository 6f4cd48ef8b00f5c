//! Which plans may differ between two datasets, found by what they rest on.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::record::vocabulary::TermKind;
use dashwright_model::record::{RecordKind, References};
use dashwright_snapshot::{Case, CaseIx, Offer, RecordIx, Snapshot, Via};

use super::MAX_EXAMPLES;

/// Vehicle lines with an audio option that have the same case before, and the same after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Pair {
    pub(super) before: Option<CaseIx>,
    pub(super) after: Option<CaseIx>,
    /// How many there are.
    pub(super) plans: u64,
    /// The first of them: the id of the line, and the code of the option.
    pub(super) first: Vec<(String, String)>,
    /// Whether it may differ with every radio.
    every_radio: bool,
}

/// Every pair with every radio whose plans may differ.
pub(super) struct Touched {
    pairs: Vec<Pair>,
    /// The ids of the radios.
    radios: Vec<String>,
    /// Those that differ: touched in every pair.
    other_radios: Vec<String>,
}

impl Touched {
    pub(super) fn between(before: &Snapshot, after: &Snapshot) -> Self {
        let ids = |snapshot: &Snapshot| -> BTreeSet<String> {
            snapshot.radios().iter().map(|(_, radio)| radio.id.to_string()).collect()
        };
        let radios: Vec<String> = ids(before).union(&ids(after)).cloned().collect();
        let differs = |id: &&String| !same(before, after, RecordKind::Radio, id);
        let other_radios = radios.iter().filter(differs).cloned().collect();
        let (one, other) = (Tainted::of(before, after), Tainted::of(after, before));
        let terms = terms_differ(before, after);
        let mut pairs = pairs(before, after);
        for (key, pair) in &mut pairs {
            let cases = pair.before.zip(pair.after);
            let cases = cases.and_then(|(one, other)| Some((before.case(one)?, after.case(other)?)));
            let same_case = cases.is_some_and(|(case, now)| {
                same_case((before, case), (after, now)) && !one.touches(case) && !other.touches(now)
            });
            pair.every_radio = terms || !key.same_line || !same_case;
        }
        Self { pairs: pairs.into_values().collect(), radios, other_radios }
    }

    /// How many plans of a pair with a radio there are.
    pub(super) fn len(&self) -> usize {
        self.pairs.iter().map(|pair| self.radios_of(pair).len()).sum()
    }

    /// How many plans of a vehicle line with an audio option and a radio there are.
    pub(super) fn plans(&self) -> u64 {
        self.pairs.iter().map(|pair| pair.plans * self.radios_of(pair).len() as u64).sum()
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = (&Pair, &str)> {
        self.pairs
            .iter()
            .flat_map(|pair| self.radios_of(pair).iter().map(move |radio| (pair, radio.as_str())))
    }

    fn radios_of(&self, pair: &Pair) -> &[String] {
        if pair.every_radio { &self.radios } else { &self.other_radios }
    }
}

/// What tells one pair from another.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct PairKey {
    before: Option<usize>,
    after: Option<usize>,
    /// The record of the vehicle line is the same: what a rule of a part says of the line is the same then.
    same_line: bool,
}

/// Every vehicle line of either dataset with each of its audio options, those with the same cases together.
fn pairs(before: &Snapshot, after: &Snapshot) -> BTreeMap<PairKey, Pair> {
    let mut pairs = BTreeMap::new();
    for line in after.lines() {
        let id = after.line_id(line);
        let earlier = options(before, id);
        let same_line = same(before, after, RecordKind::Vehicle, id);
        for option in after.options_of(line) {
            let code = option.option.code.to_string();
            let was = earlier.iter().find(|(other, _)| *other == code).map(|(_, case)| *case);
            add(&mut pairs, (was, Some(option.case), same_line), id, code);
        }
    }
    for line in before.lines() {
        let id = before.line_id(line);
        let later = options(after, id);
        for option in before.options_of(line) {
            let code = option.option.code.to_string();
            if later.iter().all(|(other, _)| *other != code) {
                add(&mut pairs, (Some(option.case), None, false), id, code);
            }
        }
    }
    pairs
}

fn options(snapshot: &Snapshot, id: &str) -> Vec<(String, CaseIx)> {
    let line = snapshot.line_by_id(id).and_then(|line| snapshot.line(line));
    let options = line.map(|line| snapshot.options_of(line)).unwrap_or_default();
    options.iter().map(|option| (option.option.code.to_string(), option.case)).collect()
}

fn add(
    pairs: &mut BTreeMap<PairKey, Pair>,
    (before, after, same_line): (Option<CaseIx>, Option<CaseIx>, bool),
    id: &str,
    code: String,
) {
    let key = PairKey { before: before.map(CaseIx::get), after: after.map(CaseIx::get), same_line };
    let pair = pairs.entry(key).or_insert_with(|| Pair {
        before,
        after,
        plans: 0,
        first: Vec::new(),
        every_radio: true,
    });
    pair.plans += 1;
    if pair.first.len() < MAX_EXAMPLES {
        pair.first.push((id.to_owned(), code));
    }
}

/// Whether both datasets have the record, and the same.
fn same(before: &Snapshot, after: &Snapshot, kind: RecordKind, id: &str) -> bool {
    let texts = before.record(kind, id).zip(after.record(kind, id));
    texts.is_some_and(|(one, other)| *one.text == *other.text)
}

/// Whether dash, audio and what the parts say of them are the same; the parts themselves are not looked at.
fn same_case((before, case): (&Snapshot, &Case), (after, now): (&Snapshot, &Case)) -> bool {
    let dash = |snapshot: &Snapshot, case: &Case| Some(snapshot.dashes().get(case.dash)?.id.to_string());
    let audio = |snapshot: &Snapshot, case: &Case| Some(snapshot.audios().get(case.audio)?.id.to_string());
    let (dash, other_dash) = (dash(before, case), dash(after, now));
    let (audio, other_audio) = (audio(before, case), audio(after, now));
    let same_record = |kind, id: &Option<String>| id.as_ref().is_some_and(|id| same(before, after, kind, id));
    dash == other_dash
        && audio == other_audio
        && same_record(RecordKind::Dash, &dash)
        && same_record(RecordKind::FactoryAudio, &audio)
        && (case.system_voltage, case.drive_side) == (now.system_voltage, now.drive_side)
        && said(before, &case.offers) == said(after, &now.offers)
        && said(before, &case.former) == said(after, &now.former)
        && excluded(before, case) == excluded(after, now)
}

fn said<'s>(snapshot: &'s Snapshot, offers: &[Offer]) -> Vec<(String, &'s str, u16, Via)> {
    let offers = offers.iter().filter_map(|it| Some((it, snapshot.parts().get(it.part)?)));
    offers.map(|(it, part)| (it.need.to_string(), part.id.as_str(), it.cover, it.via)).collect()
}

fn excluded<'s>(snapshot: &'s Snapshot, case: &Case) -> Vec<(&'s str, Option<String>, u16, Via)> {
    let parts = case.exclusions.iter().filter_map(|it| Some((it, snapshot.parts().get(it.part)?)));
    let need = |need: Option<dashwright_model::Need>| need.map(|need| need.to_string());
    parts.map(|(it, part)| (part.id.as_str(), need(it.need), it.cover, it.via)).collect()
}

/// The parts of a dataset that the other does not have or has otherwise, and those that name one of them.
struct Tainted(BTreeSet<RecordIx>);

impl Tainted {
    fn of(snapshot: &Snapshot, other: &Snapshot) -> Self {
        let mut names: BTreeMap<RecordIx, Vec<RecordIx>> = BTreeMap::new();
        let mut tainted = BTreeSet::new();
        let mut next: Vec<RecordIx> = Vec::new();
        for (index, part) in snapshot.parts().iter() {
            if !same(snapshot, other, RecordKind::Part, part.id.as_str()) {
                next.push(index);
            }
            for reference in References::of(|references| part.references(references)) {
                let found = snapshot.parts().find(reference.target.id.as_str());
                if let Some((target, _)) = found.filter(|_| reference.target.kind == RecordKind::Part) {
                    names.entry(target).or_default().push(index);
                }
            }
        }
        while let Some(part) = next.pop() {
            if tainted.insert(part) {
                next.extend(names.get(&part).into_iter().flatten());
            }
        }
        Self(tainted)
    }

    fn touches(&self, case: &Case) -> bool {
        let offers = case.offers.iter().chain(&case.former).map(|offer| offer.part);
        offers.chain(case.exclusions.iter().map(|it| it.part)).any(|part| self.0.contains(&part))
    }
}

/// Whether any plug family or model differs: what mates what, or what a rule says of a model, may be otherwise anywhere then.
fn terms_differ(before: &Snapshot, after: &Snapshot) -> bool {
    let matters = |term: &TermKind| matches!(term, TermKind::PlugFamily { .. } | TermKind::Model { .. });
    let differ = |one: &Snapshot, other: &Snapshot| {
        let terms = one.terms().iter().filter(|(_, term)| matters(&term.of));
        terms.map(|(_, term)| term.id.as_str()).any(|id| !same(one, other, RecordKind::Vocabulary, id))
    };
    differ(before, after) || differ(after, before)
}
