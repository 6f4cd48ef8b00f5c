//! The answer to a plan question.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_model::record::Radio;
use dashwright_planner::{
    Alternative, Caution, PlanPieces, PlanVariant, PlannedFeature, PlannedMount, PlannedNeed, PlannedPart,
    Plans, Total, cautions, split,
};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::common::{evidence, money, price};
use super::fitment::{self, FitmentText, open_question};
use super::{caution, check, reason, step, terms, wiring};

/// A plan with everything but what is the call's own: revision, candidates, matches.
pub(crate) fn plan(snapshot: &Snapshot, radio: &Radio, plans: &Plans) -> v1::PlanInstallResponse {
    let text = PlanText { snapshot };
    let (settled, variants) = split(plans);
    let mut named: BTreeSet<RecordIx> = parts_of(&settled).collect();
    named.extend(variants.iter().flat_map(|variant| parts_of(&variant.pieces)));
    v1::PlanInstallResponse {
        verdict: terms::verdict(plans.verdict).into(),
        verdict_reasons: reason::reasons(&plans.verdict_reasons),
        settled: Some(text.pieces(&settled)),
        depends: variants.iter().map(|variant| text.variant(variant)).collect(),
        question: plans.question.as_ref().map(open_question),
        parts: FitmentText { snapshot }.summaries(&named),
        cautions: told(snapshot, plans),
        radio: Some(radio_summary(snapshot, radio)),
        ..v1::PlanInstallResponse::default()
    }
}

/// A radio, in a line.
pub(crate) fn radio_summary(snapshot: &Snapshot, radio: &Radio) -> v1::RadioSummary {
    v1::RadioSummary {
        id: radio.id.to_string(),
        brand: snapshot.term_name(radio.brand.as_str()).to_owned(),
        model: radio.model.to_string(),
        chassis_class: terms::chassis_class(radio.chassis.class).into(),
        floating_screen: radio.floating_screen.is_some(),
        price: radio.price.as_ref().map(price),
        brings: radio.brings.iter().map(ToString::to_string).collect(),
        evidence: Some(evidence(&radio.evidence)),
    }
}

/// What parts come to.
pub(crate) fn total(total: &Total) -> v1::Total {
    let Total { price, unpriced, count, minutes, untimed } = total;
    v1::Total {
        price: price.map(money),
        unpriced: *unpriced,
        parts: *count,
        bench_minutes: minutes.get(),
        untimed: *untimed,
    }
}

/// The ids of parts.
pub(crate) fn part_ids(snapshot: &Snapshot, parts: &[RecordIx]) -> Vec<String> {
    parts.iter().filter_map(|part| Some(snapshot.parts().get(*part)?.id.to_string())).collect()
}

/// Every part that some pieces name.
fn parts_of(pieces: &PlanPieces) -> impl Iterator<Item = RecordIx> {
    let planned =
        pieces.parts.iter().flat_map(|planned| planned.variants.iter().copied().chain([planned.part]));
    let needs = pieces.needs.iter().flat_map(|need| need.by.iter().copied());
    let features =
        pieces.features.iter().flat_map(|feature| feature.by.iter().chain(&feature.would_keep).copied());
    let lists = pieces.alternatives.iter().chain(&pieces.musts_only);
    planned.chain(needs).chain(features).chain(lists.flat_map(|list| list.parts.iter().copied()))
}

fn told(snapshot: &Snapshot, plans: &Plans) -> Vec<v1::Caution> {
    let dashes = plans.groups.iter().filter_map(|group| snapshot.dashes().get(group.plan.dash));
    let mut all: Vec<v1::Caution> = Vec::new();
    let feigns = plans.groups.iter().any(|group| group.plan.feigns_interlock(snapshot));
    let feigned = feigns.then_some(Caution::InterlockFeigned);
    for each in feigned.into_iter().chain(cautions(dashes)) {
        let message = caution::caution(&each);
        if !all.contains(&message) {
            all.push(message);
        }
    }
    all
}

struct PlanText<'a> {
    snapshot: &'a Snapshot,
}

impl PlanText<'_> {
    fn variant(&self, variant: &PlanVariant) -> v1::PlanVariant {
        let PlanVariant { candidates, verdict, verdict_reasons, pieces } = variant;
        v1::PlanVariant {
            candidates: candidates.clone(),
            verdict: terms::verdict(*verdict).into(),
            verdict_reasons: reason::reasons(verdict_reasons),
            pieces: Some(self.pieces(pieces)),
        }
    }

    fn pieces(&self, pieces: &PlanPieces) -> v1::PlanPieces {
        let PlanPieces {
            dash,
            mount,
            parts,
            total: sum,
            proven,
            needs,
            features,
            joins,
            insulated,
            fetched,
            undecided,
            sockets,
            traps,
            refused,
            settings,
            steps,
            bench_time,
            vehicle_time,
            alternatives,
            musts_only,
            checks,
            screen,
            feed,
        } = pieces;
        let dash = dash.and_then(|dash| self.snapshot.dashes().get(dash));
        v1::PlanPieces {
            opening: dash.map(fitment::opening),
            mount: mount.as_ref().map(|mount| self.mount(mount)),
            parts: parts.iter().filter_map(|part| self.part(part)).collect(),
            total: sum.as_ref().map(total),
            needs: needs.iter().map(|need| self.need(need)).collect(),
            features: features.iter().map(|feature| self.feature(feature)).collect(),
            joins: joins.iter().map(wiring::join).collect(),
            insulated: insulated.iter().map(wiring::loose).collect(),
            fetched: fetched.iter().map(wiring::fetched).collect(),
            undecided: undecided.iter().map(wiring::loose).collect(),
            plugs: sockets.iter().map(wiring::plugged).collect(),
            colour_traps: traps.iter().map(wiring::trap).collect(),
            refused_joins: reason::mismatches(refused),
            settings: settings.iter().filter_map(|own| wiring::settings(self.snapshot, own)).collect(),
            steps: steps.iter().map(|one| step::step(self.snapshot, one)).collect(),
            bench_minutes: bench_time.map(dashwright_quantity::Minutes::get),
            vehicle_minutes: vehicle_time.map(dashwright_quantity::Minutes::get),
            alternatives: alternatives.iter().map(|list| self.alternative(list)).collect(),
            musts_only: musts_only.as_ref().map(|list| self.alternative(list)),
            proven_best: *proven,
            checks: checks.iter().map(check::check).collect(),
            screen: screen.as_ref().and_then(check::screen),
            direct_feed: feed.as_ref().map(check::direct_feed),
        }
    }

    fn mount(&self, mount: &PlannedMount) -> v1::PlannedMount {
        let PlannedMount { chassis, by, spare_depth, reasons } = mount;
        v1::PlannedMount {
            chassis_class: terms::chassis_class(*chassis).into(),
            part_ids: part_ids(self.snapshot, by),
            spare_depth_mm: spare_depth.map(dashwright_quantity::Offset::get),
            reasons: reason::reasons(reasons),
        }
    }

    fn part(&self, planned: &PlannedPart) -> Option<v1::PlannedPart> {
        let PlannedPart { part: index, serves, required_by, in_hand, price, variants } = planned;
        let part = self.snapshot.parts().get(*index)?;
        let limit = |number: u16| part.covers.get(usize::from(number))?.limit.as_ref();
        let serves = serves.iter().map(|(need, number)| v1::ServedNeed {
            need: terms::need(*need).into(),
            statement: format!("covers.{number}"),
            limit: limit(*number).map(ToString::to_string).unwrap_or_default(),
        });
        Some(v1::PlannedPart {
            part_id: part.id.to_string(),
            serves: serves.collect(),
            required_by: part_ids(self.snapshot, required_by),
            in_hand: *in_hand,
            price: price.map(money),
            variant_part_ids: part_ids(self.snapshot, variants),
        })
    }

    fn need(&self, need: &PlannedNeed) -> v1::PlannedNeed {
        let PlannedNeed { need, importance, met, by, adds, reasons } = need;
        v1::PlannedNeed {
            need: terms::need(*need).into(),
            importance: terms::importance(*importance).into(),
            met: terms::met(*met).into(),
            part_ids: part_ids(self.snapshot, by),
            adds_minor_units: *adds,
            reasons: reason::reasons(reasons),
        }
    }

    fn feature(&self, feature: &PlannedFeature) -> v1::PlannedFeature {
        let PlannedFeature { feature, carrier, outcome, by, limits, would_keep, reasons } = feature;
        v1::PlannedFeature {
            feature: terms::feature(*feature).into(),
            carrier: carrier.map(terms::carrier).unwrap_or_default().into(),
            outcome: terms::outcome(*outcome).into(),
            kept_by: part_ids(self.snapshot, by),
            limits: limits.iter().map(ToString::to_string).collect(),
            would_keep: part_ids(self.snapshot, would_keep),
            reasons: reason::reasons(reasons),
        }
    }

    fn alternative(&self, list: &Alternative) -> v1::Alternative {
        let Alternative { parts, total: sum, missed } = list;
        v1::Alternative {
            part_ids: part_ids(self.snapshot, parts),
            total: Some(total(sum)),
            missed: missed.iter().map(|need| terms::need(*need).into()).collect(),
        }
    }
}
