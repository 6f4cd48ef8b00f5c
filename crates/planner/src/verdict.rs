//! Why there is no plan: which need is left over, and whether it is proof, a gap, or the caller's own exclusions.

use dashwright_quantity::Currency;
use dashwright_snapshot::RecordIx;

use crate::answer::{Importance, Verdict};
use crate::demand::{Demand, missing_facts};
use crate::job::JobView;
use crate::reason::Reason;
use crate::request::{DEFAULT_WEIGHT, MAX_WEIGHT, Request, Supply};
use crate::select::{Selected, Selection};

/// A verdict that there is no plan, with its reasons.
pub(crate) struct NoWay {
    pub(crate) verdict: Verdict,
    pub(crate) reasons: Vec<Reason>,
}

/// The verdict where no choice of parts meets what must be met.
pub(crate) fn no_way(job: &JobView<'_>, demands: &[Demand<'_>], currency: Option<Currency>) -> NoWay {
    if let Some(reasons) = lifted(job) {
        return NoWay { verdict: Verdict::NotWithExclusions, reasons };
    }
    let uncovered: Vec<&Demand<'_>> = demands
        .iter()
        .filter(|demand| demand.importance == Importance::Must && demand.counts() && !demand.on_panel)
        .filter(|demand| demand.offers.is_empty())
        .collect();
    let gaps = |demand: &&Demand<'_>| demand.lacks_facts_only();
    if !uncovered.is_empty() && uncovered.iter().all(gaps) {
        let reasons = uncovered.iter().flat_map(|demand| missing_facts(demand)).cloned().collect();
        return NoWay { verdict: Verdict::Unknown, reasons };
    }
    let mut reasons: Vec<Reason> = Vec::new();
    let without_gaps = uncovered.iter().filter(|demand| !gaps(demand));
    for demand in without_gaps {
        if !demand.radio_lacks() {
            reasons.push(Reason::NoPartMeets { need: demand.need });
        }
        reasons.extend(demand.why.iter().filter(|reason| tells_why_not(reason)).cloned());
        reasons.extend(demand.refusal_reasons().cloned());
    }
    if reasons.is_empty() {
        reasons = left_over(job, demands, currency);
    }
    NoWay { verdict: Verdict::NoKnownWay, reasons }
}

/// Of the reasons why a need arises, those that also say why it is not met directly.
const fn tells_why_not(reason: &Reason) -> bool {
    !matches!(reason, Reason::AlwaysNeeded)
}

/// What the caller would have to allow for there to be a plan; nothing when that would not help.
fn lifted(job: &JobView<'_>) -> Option<Vec<Reason>> {
    let supply = &job.request.supply;
    if supply.excluded.is_empty() && supply.stock.is_none() {
        return None;
    }
    let open = Request {
        supply: Supply { excluded: std::collections::BTreeSet::new(), stock: None, ..supply.clone() },
        ..job.request.clone()
    };
    let lifted = JobView { view: job.view, radio: job.radio, request: &open };
    let demands = crate::demand::demands(&lifted);
    let all: Vec<&Demand<'_>> =
        demands.iter().filter(|demand| demand.importance == Importance::Must).collect();
    let selected = Selection::of(&lifted, &all, crate::select::currency(&lifted)).best().found()?;
    let left_out = |index: &RecordIx| job.left_out(*index, job.part(*index)?);
    Some(selected.parts.iter().filter_map(left_out).collect())
}

/// Each need can be met and not all together: the needs that the best choice leaves over.
fn left_over(job: &JobView<'_>, demands: &[Demand<'_>], currency: Option<Currency>) -> Vec<Reason> {
    let relaxed: Vec<Demand<'_>> = demands
        .iter()
        .filter(|demand| demand.importance == Importance::Must)
        .map(|demand| Demand {
            importance: Importance::Wished,
            // What sits in the panel is given up first: a kit that drops it is the reason, not that nothing holds the radio.
            weight: if demand.on_panel { DEFAULT_WEIGHT } else { MAX_WEIGHT },
            need: demand.need,
            consented: demand.consented,
            on_panel: demand.on_panel,
            direct: demand.direct,
            unknown: demand.unknown,
            why: Vec::new(),
            offers: demand.offers.clone(),
            left_out: Vec::new(),
            refused: Vec::new(),
            not_for: Vec::new(),
        })
        .collect();
    let relaxed: Vec<&Demand<'_>> = relaxed.iter().collect();
    let Some(Selected { missed, .. }) = Selection::of(job, &relaxed, currency).best().found() else {
        return Vec::new();
    };
    let of = |need| demands.iter().find(move |demand| demand.need == need);
    let mut reasons = Vec::new();
    for demand in missed.iter().filter_map(|need| of(*need)) {
        if !demand.offers.is_empty() {
            reasons.push(Reason::NotTogether { need: demand.need });
        } else if !demand.radio_lacks() {
            reasons.push(Reason::NoPartMeets { need: demand.need });
        }
        reasons.extend(demand.why.iter().filter(|reason| tells_why_not(reason)).cloned());
        reasons.extend(demand.refusal_reasons().cloned());
    }
    reasons
}
