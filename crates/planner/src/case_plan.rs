//! The plan for one case with one radio: demands, the exact choice, what becomes of everything, the work.

use std::collections::BTreeSet;

use dashwright_model::Need;
use dashwright_model::record::part::Cover;
use dashwright_model::record::{Part, RecordKind};
use dashwright_quantity::Currency;
use dashwright_snapshot::{CaseIx, Offer, RecordIx, Snapshot};

use crate::answer::{Importance, Met, Verdict, WeakestEvidence};
use crate::demand::{Demand, demands};
use crate::evidence::{weak, weaker};
use crate::fit::{self, Depth};
use crate::job::JobView;
use crate::plan::{
    Alternative, CasePlan, Chosen, PartSettings, PlannedFeature, PlannedMount, PlannedNeed, PlannedPart, Work,
};
use crate::reason::Reason;
use crate::request::Request;
use crate::select::{self, Best, Selected, Selection};
use crate::settings::settings;
use crate::verdict::{self, NoWay};
use crate::{checks, outcome, steps, wiring};

/// How much of a plan is worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Detail {
    /// Everything.
    Whole,
    /// The verdict and the parts, for lists of many; no joins, steps and alternatives.
    PartsOnly,
}

/// The plan for a case; nothing for a case or a radio that the snapshot does not have.
#[must_use]
pub fn plan_case(snapshot: &Snapshot, case: CaseIx, radio: RecordIx, request: &Request) -> Option<CasePlan> {
    plan_case_in(snapshot, case, radio, request, Detail::Whole)
}

/// The verdict, parts and features of a plan, without joins, settings, steps and alternatives; nothing for a case or a radio that
/// the snapshot does not have.
#[must_use]
pub fn plan_case_parts(
    snapshot: &Snapshot,
    case: CaseIx,
    radio: RecordIx,
    request: &Request,
) -> Option<CasePlan> {
    plan_case_in(snapshot, case, radio, request, Detail::PartsOnly)
}

/// The plan for a case, in as much detail as asked.
pub(crate) fn plan_case_in(
    snapshot: &Snapshot,
    case: CaseIx,
    radio: RecordIx,
    request: &Request,
    detail: Detail,
) -> Option<CasePlan> {
    let job = JobView::of(snapshot, case, radio, request)?;
    let proof = fit::proof(&job);
    let demands = demands(&job);
    let currency = select::currency(&job);
    let all: Vec<&Demand<'_>> = demands.iter().collect();
    if !proof.is_empty() {
        return Some(without_way(
            &job,
            &demands,
            currency,
            NoWay { verdict: Verdict::CannotFit, reasons: proof },
        ));
    }
    let selection = Selection::of(&job, &all, currency);
    Some(match selection.best() {
        Best::Found(selected, solution) => {
            let found = Found { job: &job, demands: &demands, selection: &selection, currency, detail };
            let alternatives =
                if detail == Detail::Whole { selection.alternatives(&solution) } else { Vec::new() };
            found.plan(selected, alternatives)
        }
        Best::None => without_way(&job, &demands, currency, verdict::no_way(&job, &demands, currency)),
        Best::Unsettled => {
            let unsettled = NoWay { verdict: Verdict::Unknown, reasons: vec![Reason::NotProven] };
            without_way(&job, &demands, currency, unsettled)
        }
    })
}

/// The answer where there is no plan.
fn without_way(
    job: &JobView<'_>,
    demands: &[Demand<'_>],
    currency: Option<Currency>,
    no_way: NoWay,
) -> CasePlan {
    let needs: Vec<PlannedNeed> = demands.iter().map(|demand| unplanned(demand)).collect();
    let features = outcome::features(job, demands, None);
    let weakest = own_evidence(job).reduce(weaker);
    CasePlan {
        verdict: no_way.verdict,
        verdict_reasons: no_way.reasons,
        consented: Vec::new(),
        dash: job.view.case.dash,
        chosen: None,
        needs,
        features,
        currency,
        weakest,
    }
}

/// How a need could be met where there is no plan.
fn unplanned(demand: &Demand<'_>) -> PlannedNeed {
    let met = if demand.direct {
        Met::Directly
    } else if !demand.offers.is_empty() {
        Met::ByPart
    } else if demand.lacks_facts_only() {
        Met::Unknown
    } else {
        Met::ByNothingKnown
    };
    let mut reasons = demand.why.clone();
    reasons.extend(why_not(demand, met));
    let by = demand.offers.iter().map(|offer| offer.part).collect();
    PlannedNeed { need: demand.need, importance: demand.importance, met, by, adds: None, reasons }
}

/// Why nothing meets a need.
fn why_not(demand: &Demand<'_>, met: Met) -> Vec<Reason> {
    if !matches!(met, Met::ByNothingKnown | Met::Unknown) {
        return Vec::new();
    }
    let mut reasons: Vec<Reason> = demand.refusal_reasons().cloned().collect();
    if reasons.is_empty() && met == Met::ByNothingKnown && !demand.radio_lacks() {
        reasons.push(Reason::NoPartMeets { need: demand.need });
    }
    reasons
}

/// A choice was found; what becomes of everything with it.
struct Found<'j, 'a> {
    job: &'j JobView<'a>,
    demands: &'j [Demand<'a>],
    selection: &'j Selection<'j, 'a>,
    currency: Option<Currency>,
    detail: Detail,
}

/// Whether a need that sits in the panel arises with the chosen parts.
pub(crate) fn arises(job: &JobView<'_>, demand: &Demand<'_>, parts: &[RecordIx]) -> bool {
    let replaces =
        |index: &RecordIx| job.part(*index).is_some_and(|part| crate::demand::replaces_panel(part.kind));
    !demand.on_panel || parts.iter().any(replaces)
}

impl Found<'_, '_> {
    fn plan(&self, selected: Selected, alternatives: Vec<Selected>) -> CasePlan {
        let Self { job, demands, currency, selection: _, detail: _ } = self;
        let Selected { parts, proven, missed } = selected;
        let needs: Vec<PlannedNeed> = demands.iter().map(|demand| self.need(demand, &parts)).collect();
        let features = outcome::features(job, demands, Some(&parts));
        let consented = self.consented(&needs, &parts);
        let (settings, faults) = self.settings(&parts);
        let fits = if parts.is_empty() { Verdict::FitsAsIs } else { Verdict::FitsWithParts };
        // Parts whose settings contradict each other can not be set right: the catalogue has to be mended first.
        let verdict = if faults.is_empty() { fits } else { Verdict::Unknown };
        let mut verdict_reasons: Vec<Reason> =
            consented.iter().map(|need| Reason::LossConsented { need: *need }).collect();
        verdict_reasons.extend((!proven).then_some(Reason::NotProven));
        verdict_reasons.extend(faults);
        // What nothing keeps is missed by every list.
        let alternative = |other: Selected| {
            let own = other.missed.into_iter().filter(|need| !missed.contains(need)).collect();
            select::alternative(job, Selected { missed: own, ..other }, *currency)
        };
        let chosen = Chosen {
            parts: parts.iter().filter_map(|part| self.part(*part, &parts)).collect(),
            total: select::total(job, &parts, *currency),
            proven,
            alternatives: alternatives.into_iter().map(alternative).collect(),
            musts_only: self.whole().and_then(|()| self.musts_only(&parts, &missed)),
            work: self.whole().map(|()| self.work(&parts, settings, &needs, &features)),
        };
        CasePlan {
            verdict,
            verdict_reasons,
            consented,
            dash: job.view.case.dash,
            weakest: weakest(job, &chosen.parts),
            chosen: Some(chosen),
            needs,
            features,
            currency: *currency,
        }
    }

    fn whole(&self) -> Option<()> {
        (self.detail == Detail::Whole).then_some(())
    }

    /// The losses that the caller consented to and that happen.
    fn consented(&self, needs: &[PlannedNeed], parts: &[RecordIx]) -> Vec<Need> {
        let lost = |need: Need| {
            needs.iter().any(|planned| planned.need == need && planned.met == Met::ByNothingKnown)
        };
        let taken = self
            .demands
            .iter()
            .filter(|demand| demand.consented && lost(demand.need) && arises(self.job, demand, parts));
        taken.map(|demand| demand.need).collect()
    }

    /// A need and how the chosen parts meet it.
    fn need(&self, demand: &Demand<'_>, parts: &[RecordIx]) -> PlannedNeed {
        let offers = demand.offers.iter().map(|offer| offer.part);
        let by: Vec<RecordIx> = offers.filter(|part| parts.contains(part)).collect();
        let met = if !by.is_empty() {
            Met::ByPart
        } else if demand.direct || !arises(self.job, demand, parts) {
            Met::Directly
        } else if demand.offers.is_empty() && demand.lacks_facts_only() {
            Met::Unknown
        } else {
            Met::ByNothingKnown
        };
        let mut reasons = demand.why.clone();
        reasons.extend(why_not(demand, met));
        if met == Met::ByNothingKnown && !demand.offers.is_empty() && demand.counts() {
            reasons.push(Reason::NotTogether { need: demand.need });
        }
        let costs = met == Met::ByPart && demand.importance == Importance::Wished && !demand.direct;
        let adds = if costs { self.whole().and_then(|()| self.adds(demand.need, parts)) } else { None };
        PlannedNeed { need: demand.need, importance: demand.importance, met, by, adds, reasons }
    }

    /// What a wish adds to the price: the plan's price less that of the best plan without the wish.
    fn adds(&self, wish: Need, parts: &[RecordIx]) -> Option<i64> {
        let without = self.selection.best_without(wish)?;
        let price = |parts: &[RecordIx]| {
            let total = select::total(self.job, parts, self.currency);
            let price = total.price.filter(|_| total.unpriced == 0)?;
            i64::try_from(price.minor_units).ok()
        };
        price(parts)?.checked_sub(price(&without.parts)?)
    }

    /// The best list for what must be met alone, where it is another one.
    fn musts_only(&self, parts: &[RecordIx], lost: &[Need]) -> Option<Alternative> {
        let musts: Vec<&Demand<'_>> =
            self.demands.iter().filter(|demand| demand.importance == Importance::Must).collect();
        let selected = Selection::of(self.job, &musts, self.currency).best().found()?;
        if selected.parts == parts {
            return None;
        }
        let kept = |demand: &&Demand<'_>| {
            demand.importance != Importance::Wished
                || lost.contains(&demand.need)
                || demand.direct
                || !arises(self.job, demand, &selected.parts)
                || demand.offers.iter().any(|offer| selected.parts.contains(&offer.part))
        };
        let missed = self.demands.iter().filter(|demand| !kept(demand)).map(|demand| demand.need).collect();
        Some(select::alternative(self.job, Selected { missed, ..selected }, self.currency))
    }

    fn part(&self, index: RecordIx, parts: &[RecordIx]) -> Option<PlannedPart> {
        let part = self.job.part(index)?;
        let requires = |other: &&RecordIx| {
            let other = self.job.part(**other);
            other.is_some_and(|other| other.requires.iter().flatten().any(|id| *id == part.id))
        };
        Some(PlannedPart {
            part: index,
            serves: self
                .offers()
                .filter(|offer| offer.part == index)
                .map(|offer| (offer.need, offer.cover))
                .collect(),
            required_by: parts.iter().filter(requires).copied().collect(),
            in_hand: self.job.in_hand(index),
            price: select::price(self.job, index, part, self.currency),
            variants: self.variants(index, part),
        })
    }

    fn offers(&self) -> impl Iterator<Item = &Offer> {
        self.demands.iter().flat_map(|demand| demand.offers.iter().copied())
    }

    /// Usable parts that meet the same needs and differ from a part in finish and the like only.
    fn variants(&self, index: RecordIx, part: &Part) -> Vec<RecordIx> {
        if part.variant.is_none() {
            return Vec::new();
        }
        let needs = |index: RecordIx| -> Vec<Need> {
            self.offers().filter(|offer| offer.part == index).map(|offer| offer.need).collect()
        };
        let own = needs(index);
        let others: BTreeSet<RecordIx> = self.offers().map(|offer| offer.part).collect();
        let alike = |other: &RecordIx| {
            let twin = |other: &Part| {
                (&other.brand, other.kind, &other.contains) == (&part.brand, part.kind, &part.contains)
                    && other.variant.is_some()
                    && other.variant != part.variant
            };
            *other != index && self.job.part(*other).is_some_and(twin) && needs(*other) == own
        };
        others.into_iter().filter(alike).collect()
    }

    /// The settings of the chosen parts, and those that contradict each other.
    fn settings(&self, parts: &[RecordIx]) -> (Vec<PartSettings>, Vec<Reason>) {
        let (mut settled, mut faults) = (Vec::new(), Vec::new());
        for (index, part) in parts.iter().filter_map(|index| Some((*index, self.job.part(*index)?))) {
            match settings(self.job.view.snapshot, self.job.view.case, self.job.radio, part) {
                Ok(own) if own.is_empty() => {}
                Ok(own) => settled.push(PartSettings { part: index, settings: own }),
                Err(_) => faults.push(Reason::SettingsContradict { part: part.id.clone() }),
            }
        }
        (settled, faults)
    }

    fn work(
        &self,
        indexes: &[RecordIx],
        settings: Vec<PartSettings>,
        needs: &[PlannedNeed],
        features: &[PlannedFeature],
    ) -> Work {
        let parts: Vec<&Part> = indexes.iter().filter_map(|index| self.job.part(*index)).collect();
        let direct: Vec<Need> =
            needs.iter().filter(|need| need.met == Met::Directly).map(|need| need.need).collect();
        let wiring = wiring::wire(&self.job.bench(), &parts, &direct);
        let steps = steps::steps(self.job, indexes, &wiring, &settings, needs, features);
        let checks = checks::checks(self.job, &parts, &wiring);
        Work { mount: self.mount(indexes), wiring, settings, steps, checks }
    }

    fn mount(&self, parts: &[RecordIx]) -> PlannedMount {
        let offers = self.offers().filter(|offer| offer.need == Need::Mount);
        let by: Vec<RecordIx> = offers.map(|offer| offer.part).filter(|part| parts.contains(part)).collect();
        let kit = by.first().and_then(|index| self.job.part(*index));
        let (spare_depth, reasons) = match fit::depth(self.job, kit) {
            Depth::Spare(spare) => (Some(spare), Vec::new()),
            Depth::TooDeep(reason) => (None, vec![reason]),
            Depth::NoData(missing) => (None, missing),
        };
        PlannedMount { chassis: self.job.radio.chassis.class, by, spare_depth, reasons }
    }
}

fn own_evidence(job: &JobView<'_>) -> impl Iterator<Item = WeakestEvidence> {
    let (dash, audio, radio) = (job.view.dash, job.view.audio, job.radio);
    [
        weak(dash.evidence.grade, RecordKind::Dash, dash.id.as_term()),
        weak(audio.evidence.grade, RecordKind::FactoryAudio, audio.id.as_term()),
        weak(radio.evidence.grade, RecordKind::Radio, radio.id.as_term()),
    ]
    .into_iter()
}

/// The weakest evidence of dash, audio, radio and every statement that the plan uses.
fn weakest(job: &JobView<'_>, parts: &[PlannedPart]) -> Option<WeakestEvidence> {
    let of_parts = parts.iter().filter_map(|planned| {
        let part = job.part(planned.part)?;
        let cover = |number: u16| -> Option<&Cover> { part.covers.get(usize::from(number)) };
        let said = planned.serves.iter().filter_map(|(_, number)| cover(*number)?.evidence.as_ref());
        let grade = said.map(|evidence| evidence.grade).chain([part.evidence.grade]).max()?;
        Some(weak(grade, RecordKind::Part, part.id.as_term()))
    });
    own_evidence(job).chain(of_parts).reduce(weaker)
}
