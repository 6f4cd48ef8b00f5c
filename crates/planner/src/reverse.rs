//! Reverse questions: radios that go into a vehicle, vehicles that a radio goes into, vehicles that a part serves.
//!
//! Every answer is that of the plan: the same functions are asked, for less detail.

use std::collections::BTreeMap;

use dashwright_model::Need;
use dashwright_snapshot::{Candidate, CaseIx, LineIx, RecordIx, Snapshot};

use crate::answer::Verdict;
use crate::case_plan::{Detail, plan_case_in};
use crate::demand::demands;
use crate::job::JobView;
use crate::plan::{CasePlan, Total};
use crate::plans::plan_in;
use crate::request::Request;

/// A radio and what becomes of it in a vehicle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RadioForVehicle {
    /// The radio.
    pub radio: RecordIx,
    /// The verdict over all candidates.
    pub verdict: Verdict,
    /// The cheapest total of a candidate's plan.
    pub least: Option<Total>,
    /// The dearest.
    pub most: Option<Total>,
    /// The parts of the cheapest.
    pub parts: Vec<RecordIx>,
}

/// Every radio of the catalogue for some candidates: those that fit first, then by their totals, then by id.
#[must_use]
pub fn radios_for_vehicle(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    request: &Request,
) -> Vec<RadioForVehicle> {
    let radios = snapshot.radios().iter().map(|(radio, _)| {
        let plans = plan_in(snapshot, candidates, radio, request, Detail::PartsOnly);
        let mut chosen: Vec<_> = plans.groups.iter().filter_map(|group| group.plan.chosen.as_ref()).collect();
        chosen.sort_by_key(|chosen| rank_total(&chosen.total));
        let parts = chosen.first().map(|chosen| chosen.parts.iter().map(|planned| planned.part).collect());
        RadioForVehicle {
            radio,
            verdict: plans.verdict,
            least: chosen.first().map(|chosen| chosen.total),
            most: chosen.last().map(|chosen| chosen.total),
            parts: parts.unwrap_or_default(),
        }
    });
    let mut radios: Vec<RadioForVehicle> = radios.collect();
    radios.sort_by_key(|one| {
        (rank(one.verdict), one.least.as_ref().map_or((u32::MAX, u64::MAX), rank_total), one.radio)
    });
    radios
}

/// The order in which verdicts are listed: what fits first, what can not last.
const fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::FitsAsIs | Verdict::FitsWithParts => 0,
        Verdict::Depends => 1,
        Verdict::NotWithExclusions => 2,
        Verdict::Unknown => 3,
        Verdict::NoKnownWay => 4,
        Verdict::CannotFit => 5,
    }
}

fn rank_total(total: &Total) -> (u32, u64) {
    (total.unpriced, total.price.map_or(0, |price| price.minor_units))
}

/// A vehicle line with one of its audio options, and what becomes of a radio there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VehicleForRadio {
    /// The line.
    pub line: LineIx,
    /// The place of the audio option among the line's.
    pub option: u16,
    /// The verdict.
    pub verdict: Verdict,
    /// What the parts come to.
    pub total: Option<Total>,
}

/// Plans of a radio by case: thousands of lines share a few hundred cases.
pub struct VehiclesForRadio<'a> {
    snapshot: &'a Snapshot,
    radio: RecordIx,
    request: &'a Request,
    known: BTreeMap<CaseIx, Option<CasePlan>>,
}

impl<'a> VehiclesForRadio<'a> {
    /// For a radio and a caller's request.
    #[must_use]
    pub fn new(snapshot: &'a Snapshot, radio: RecordIx, request: &'a Request) -> Self {
        Self { snapshot, radio, request, known: BTreeMap::new() }
    }

    /// What becomes of the radio in a line, with each of its audio options.
    pub fn of(&mut self, line: LineIx) -> Vec<VehicleForRadio> {
        let Some(options) = self.snapshot.line(line).map(|line| self.snapshot.options_of(line)) else {
            return Vec::new();
        };
        let mut found = Vec::new();
        for (option, number) in options.iter().zip(0_u16..) {
            let plan = self.known.entry(option.case).or_insert_with(|| {
                plan_case_in(self.snapshot, option.case, self.radio, self.request, Detail::PartsOnly)
            });
            if let Some(plan) = plan {
                let total = plan.chosen.as_ref().map(|chosen| chosen.total);
                found.push(VehicleForRadio { line, option: number, verdict: plan.verdict, total });
            }
        }
        found
    }
}

/// The needs that a part meets in a case: of any radio, or of the one that is named.
#[must_use]
pub fn needs_served(snapshot: &Snapshot, case: CaseIx, part: RecordIx, radio: Option<RecordIx>) -> Vec<Need> {
    let Some(radio) = radio else {
        let offers = snapshot.case(case).map_or(&[][..], |case| case.offers.as_slice());
        let can_be_had = snapshot.parts().get(part).is_some_and(dashwright_model::record::Part::can_be_had);
        let mut needs: Vec<Need> =
            offers.iter().filter(|offer| offer.part == part && can_be_had).map(|offer| offer.need).collect();
        needs.dedup();
        return needs;
    };
    let request = Request::default();
    let Some(job) = JobView::of(snapshot, case, radio, &request) else { return Vec::new() };
    let demands = demands(&job);
    let serves = demands.iter().filter(|demand| demand.offers.iter().any(|offer| offer.part == part));
    serves.map(|demand| demand.need).collect()
}
