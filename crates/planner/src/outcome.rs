//! Outcomes: what becomes of each factory feature under a plan, by what, with which limit, and what would keep it.

use dashwright_model::record::RecordKind;
use dashwright_model::{Carrier, Feature};
use dashwright_quantity::Prose;
use dashwright_snapshot::{Offer, RecordIx};

use crate::answer::Outcome;
use crate::case_plan::arises;
use crate::demand::Demand;
use crate::job::JobView;
use crate::plan::PlannedFeature;
use crate::reason::Reason;

/// Every feature, in the order of the vocabulary; without a plan, what would keep it.
pub(crate) fn features(
    job: &JobView<'_>,
    demands: &[Demand<'_>],
    parts: Option<&[RecordIx]>,
) -> Vec<PlannedFeature> {
    Feature::ALL.iter().map(|feature| outcome(job, demands, parts, *feature)).collect()
}

fn outcome(
    job: &JobView<'_>,
    demands: &[Demand<'_>],
    parts: Option<&[RecordIx]>,
    feature: Feature,
) -> PlannedFeature {
    let audio = || job.view.audio.id.clone();
    let bare = |carrier, outcome, reasons| PlannedFeature {
        feature,
        carrier,
        outcome,
        by: Vec::new(),
        limits: Vec::new(),
        would_keep: Vec::new(),
        reasons,
    };
    let demand = demands.iter().find(|demand| demand.need == feature.need());
    let Some(carrier) = job.view.carrier(feature) else {
        let missing = job.view.missing(RecordKind::FactoryAudio, &format!("features.{feature}"));
        return bare(None, Outcome::Unknown, vec![missing]);
    };
    if carrier == Carrier::NotPresent {
        let reason = Reason::FeatureNotPresent { audio: audio(), feature };
        return bare(Some(carrier), Outcome::NotPresent, vec![reason]);
    }
    let chosen = parts.unwrap_or_default();
    let stays = carrier == Carrier::DashPanel && demand.is_none_or(|demand| !arises(job, demand, chosen));
    if stays {
        let reason = Reason::StaysInDash { dash: job.view.dash.id.clone(), feature };
        return bare(Some(carrier), Outcome::Kept, vec![reason]);
    }
    let Some(demand) = demand else {
        return bare(
            Some(carrier),
            Outcome::Kept,
            vec![Reason::FeaturePresent { audio: audio(), feature, carrier }],
        );
    };
    under_demand(job, demand, chosen, bare(Some(carrier), Outcome::Lost, demand.why.clone()))
}

/// What becomes of a feature whose need arises.
fn under_demand(
    job: &JobView<'_>,
    demand: &Demand<'_>,
    chosen: &[RecordIx],
    lost: PlannedFeature,
) -> PlannedFeature {
    let used: Vec<&Offer> =
        demand.offers.iter().copied().filter(|offer| chosen.contains(&offer.part)).collect();
    if demand.direct {
        return PlannedFeature { outcome: Outcome::Kept, ..lost };
    }
    if !used.is_empty() {
        // With a limit only if no chosen part keeps it without one.
        let limits: Vec<Option<&Prose>> = used.iter().map(|offer| limit(job, offer)).collect();
        let free = limits.iter().any(Option::is_none);
        let outcome = if free { Outcome::Kept } else { Outcome::KeptWithLimit };
        let limits = if free { Vec::new() } else { limits.into_iter().flatten().cloned().collect() };
        return PlannedFeature { outcome, by: used.iter().map(|offer| offer.part).collect(), limits, ..lost };
    }
    let offers = demand.offers.iter().chain(demand.left_out.iter().map(|(offer, _)| offer));
    let mut would_keep: Vec<RecordIx> = offers.map(|offer| offer.part).collect();
    would_keep.sort_unstable();
    let mut reasons = lost.reasons;
    reasons.extend(demand.refusal_reasons().cloned());
    if would_keep.is_empty() && reasons.iter().all(|reason| !matches!(reason, Reason::RadioLacks { .. })) {
        reasons.push(Reason::NoPartMeets { need: demand.need });
    }
    let unknown = would_keep.is_empty() && demand.lacks_facts_only();
    let outcome = if unknown { Outcome::Unknown } else { Outcome::Lost };
    PlannedFeature { outcome, would_keep, reasons, ..lost }
}

fn limit<'a>(job: &JobView<'a>, offer: &Offer) -> Option<&'a Prose> {
    job.part(offer.part)?.covers.get(usize::from(offer.cover))?.limit.as_ref()
}
