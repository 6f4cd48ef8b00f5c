//! The answer to a plan question: the essentials for the counter, and the whole of it for the bench.

use dashwright_api::v1;

use super::facets::{joined, why};
use super::fitment::Parts;
use super::frame::{self, Asked, LABEL, names, verdict_text};
use super::page::{Page, bad, good, warning};
use super::{terms, work};

/// How much of a plan is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Shown {
    /// Joins, settings, steps and everything else.
    pub(crate) full: bool,
    /// Why: need, rule, record and evidence of each part and outcome.
    pub(crate) explain: bool,
}

/// The cautions that stand in a short plan; the others are in the full one.
const SHORT_CAUTIONS: [v1::CautionCode; 3] = [
    v1::CautionCode::InterlockFeigned,
    v1::CautionCode::MakersInformationPrevails,
    v1::CautionCode::RestraintSystem,
];

/// The answer to a plan question.
pub(crate) fn plan(
    question: &v1::VehicleQuestion,
    answer: &v1::PlanInstallResponse,
    shown: Shown,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let v1::PlanInstallResponse { matches, vin_concerns, candidates, remaining_lines, .. } = answer;
    let remaining_lines = *remaining_lines;
    let parts: Parts<'_> = answer.parts.iter().map(|part| (part.id.as_str(), part)).collect();
    let writer = Writer { parts, shown, currency: currency(answer) };
    frame::asked(&mut page, &Asked { question, matches, vin_concerns, candidates, remaining_lines });
    writer.radio(&mut page, answer.radio.as_ref());
    page.heading("Plan");
    consents(&mut page, &answer.verdict_reasons);
    page.line(2, &verdict_text(answer.verdict()));
    why(&mut page, &others(&answer.verdict_reasons));
    if let Some(question) = &answer.question {
        frame::open_question(&mut page, question);
    }
    let several = candidates.len() > 1;
    if let Some(settled) = &answer.settled {
        writer.pieces(&mut page, settled, if several { ", whichever it is" } else { "" });
    }
    for variant in &answer.depends {
        let only = format!(", only for {}", names(&variant.candidates, candidates));
        if let Some(pieces) = &variant.pieces {
            page.heading(&format!("Plan{only}"));
            consents(&mut page, &variant.verdict_reasons);
            page.line(2, &verdict_text(variant.verdict()));
            why(&mut page, &others(&variant.verdict_reasons));
            writer.pieces(&mut page, pieces, &only);
        }
    }
    writer.cautions(&mut page, &answer.cautions);
    frame::rests_on(&mut page, answer.weakest_evidence.as_ref(), answer.revision.as_ref());
    page.finish()
}

/// Losses by consent come first, and loud.
fn consents(page: &mut Page, reasons: &[v1::Reason]) {
    for reason in reasons.iter().filter(|reason| reason.code() == v1::ReasonCode::LossConsented) {
        page.line(2, &bad(&reason.text));
    }
}

fn others(reasons: &[v1::Reason]) -> Vec<v1::Reason> {
    reasons.iter().filter(|reason| reason.code() != v1::ReasonCode::LossConsented).cloned().collect()
}

pub(super) struct Writer<'a> {
    pub(super) parts: Parts<'a>,
    pub(super) shown: Shown,
    /// An amount in the currency of the plan, for differences of prices.
    currency: Option<v1::Money>,
}

/// Some amount of an answer.
fn currency(answer: &v1::PlanInstallResponse) -> Option<v1::Money> {
    let variants = answer.depends.iter().filter_map(|variant| variant.pieces.as_ref());
    let totals = answer.settled.iter().chain(variants).filter_map(|pieces| pieces.total.as_ref());
    totals.filter_map(|total| total.price.clone()).next()
}

impl Writer<'_> {
    fn radio(&self, page: &mut Page, radio: Option<&v1::RadioSummary>) {
        let Some(radio) = radio else { return };
        let price = radio.price.as_ref().and_then(|price| price.amount.as_ref());
        let price = price.map(|amount| format!(", {}", amount.text)).unwrap_or_default();
        let screen = if radio.floating_screen { ", floating screen" } else { "" };
        let class = terms::chassis_class(radio.chassis_class());
        let text = format!("{} {}, {class}{screen}{price} (radio/{})", radio.brand, radio.model, radio.id);
        page.labelled(2, "radio", LABEL, &text);
        if !radio.brings.is_empty() && self.shown.full {
            page.labelled(2, "brings", LABEL, &radio.brings.join(", "));
        }
    }

    fn pieces(&self, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
        self.needs_without_plan(page, pieces, only);
        self.part_list(page, pieces, only);
        self.money(page, pieces);
        self.features(page, pieces, only);
        if self.shown.full {
            work::work(self, page, pieces, only);
        } else {
            work::in_brief(page, pieces);
        }
    }

    /// Needs that nothing meets, where they are musts: without them there is no plan.
    fn needs_without_plan(&self, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
        let lacking = |need: &&v1::PlannedNeed| {
            need.importance() == v1::Importance::Must
                && matches!(need.met(), v1::Met::ByNothingKnown | v1::Met::Unknown)
        };
        let lacking: Vec<_> = pieces.needs.iter().filter(lacking).collect();
        if lacking.is_empty() {
            return;
        }
        page.heading(&format!("Not met{only}"));
        for need in lacking {
            page.line(2, &bad(&terms::need(need.need())));
            why(page, &need.reasons);
        }
    }

    fn part_list(&self, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
        if pieces.parts.is_empty() {
            return;
        }
        page.heading(&format!("Parts{only}"));
        let rows = pieces.parts.iter().map(|planned| {
            let summary = self.parts.get(planned.part_id.as_str());
            let price = match (&planned.price, planned.in_hand) {
                (_, true) => "in hand".to_owned(),
                (Some(price), false) => price.text.clone(),
                (None, false) => "no price".to_owned(),
            };
            vec![
                self.number(&planned.part_id),
                summary.map(|part| part.brand.clone()).unwrap_or_default(),
                summary.map(|part| part.title.clone()).unwrap_or_default(),
                price,
                self.purpose(planned),
            ]
        });
        page.table(&["number", "brand", "part", "price", "for"], rows.collect());
        for planned in &pieces.parts {
            self.beside_part(page, planned);
        }
    }

    /// What a part is for: its needs, or the part that needs it.
    fn purpose(&self, planned: &v1::PlannedPart) -> String {
        let needs: Vec<String> = planned.serves.iter().map(|served| terms::need(served.need())).collect();
        if !needs.is_empty() {
            return needs.join(", ");
        }
        let by: Vec<String> = planned.required_by.iter().map(|id| self.number(id)).collect();
        format!("needed by {}", by.join(", "))
    }

    fn beside_part(&self, page: &mut Page, planned: &v1::PlannedPart) {
        let number = self.number(&planned.part_id);
        for limit in planned.serves.iter().filter(|served| !served.limit.is_empty()) {
            let need = terms::need(limit.need());
            page.line(2, &warning(&format!("{number}, {need}: {}", limit.limit)));
        }
        if !planned.variant_part_ids.is_empty() {
            let others: Vec<String> = planned.variant_part_ids.iter().map(|id| self.variant(id)).collect();
            page.line(2, &format!("{number} instead: {}", others.join("; ")));
        }
        if self.shown.explain {
            self.explain_part(page, planned);
        }
    }

    fn variant(&self, id: &str) -> String {
        let text = self.parts.get(id).map(|part| part.variant.clone()).unwrap_or_default();
        format!("{} ({text})", self.number(id))
    }

    /// Need, statement, record and evidence of a part.
    fn explain_part(&self, page: &mut Page, planned: &v1::PlannedPart) {
        let id = &planned.part_id;
        let evidence = self.parts.get(id.as_str()).and_then(|part| part.evidence.as_ref());
        let evidence = evidence.map(terms::evidence).unwrap_or_default();
        page.line(4, &format!("part/{id}, known by {evidence}"));
        for served in &planned.serves {
            page.line(6, &format!("{} by its statement {}", terms::need(served.need()), served.statement));
        }
    }

    fn money(&self, page: &mut Page, pieces: &v1::PlanPieces) {
        if let Some(total) = &pieces.total {
            page.labelled(2, "parts", LABEL, &good(&total_text(total)));
        }
        let minutes = |minutes: f64| format!("{} min", terms::number(minutes));
        if let (Some(bench), Some(vehicle)) = (pieces.bench_minutes, pieces.vehicle_minutes) {
            let text =
                format!("{} at the bench, {} in the vehicle, as recorded", minutes(bench), minutes(vehicle));
            page.labelled(2, "time", LABEL, &text);
        }
        if pieces.proven_best == Some(false) {
            page.labelled(2, "", LABEL, &warning("not proven: a better list may exist"));
        }
        if let Some(musts) = &pieces.musts_only {
            let missed: Vec<String> = musts.missed().map(terms::need).collect();
            let text = format!("{}, without {}", self.list(musts), missed.join(", "));
            page.labelled(2, "musts alone", LABEL, &text);
        }
        let adding = pieces.needs.iter().filter_map(|need| {
            let adds = need.adds_minor_units.filter(|adds| *adds != 0)?;
            Some(format!("{} {}", terms::need(need.need()), signed(self.currency.as_ref()?, adds)))
        });
        let adding: Vec<String> = adding.collect();
        if !adding.is_empty() {
            page.labelled(2, "keeping", LABEL, &adding.join(", "));
        }
        if self.shown.full {
            for list in &pieces.alternatives {
                let missed: Vec<String> = list.missed().map(terms::need).collect();
                let without = if missed.is_empty() {
                    String::new()
                } else {
                    format!(", without {}", missed.join(", "))
                };
                page.labelled(2, "or", LABEL, &format!("{}{without}", self.list(list)));
            }
        }
    }

    fn list(&self, list: &v1::Alternative) -> String {
        let numbers: Vec<String> = list.part_ids.iter().map(|id| self.number(id)).collect();
        let numbers = if numbers.is_empty() { "no parts".to_owned() } else { numbers.join(" + ") };
        match &list.total {
            Some(total) => format!("{numbers}: {}", total_text(total)),
            None => numbers,
        }
    }

    fn features(&self, page: &mut Page, pieces: &v1::PlanPieces, only: &str) {
        let of = |outcome: v1::Outcome| -> Vec<&v1::PlannedFeature> {
            pieces.features.iter().filter(|feature| feature.outcome() == outcome).collect()
        };
        let told = [
            (v1::Outcome::Lost, bad("lost")),
            (v1::Outcome::KeptWithLimit, warning("with limit")),
            (v1::Outcome::Unknown, warning("unknown")),
        ];
        let kept = of(v1::Outcome::Kept);
        if kept.is_empty() && told.iter().all(|(outcome, _)| of(*outcome).is_empty()) {
            return;
        }
        page.heading(&format!("Factory features{only}"));
        for (outcome, label) in told {
            let (alike, special): (Vec<_>, Vec<_>) =
                of(outcome).into_iter().partition(|feature| !self.shown.explain && needs_no_word(feature));
            special.into_iter().for_each(|feature| self.feature(page, &label, feature));
            if !alike.is_empty() {
                let names: Vec<String> = alike.iter().map(|it| terms::feature(it.feature())).collect();
                let why = if outcome == v1::Outcome::Lost {
                    "nothing known keeps it"
                } else {
                    "nothing is recorded"
                };
                page.line(2, &format!("{label}, {why}: {}", names.join(", ")));
            }
        }
        if !kept.is_empty() {
            let names: Vec<String> = kept.iter().map(|feature| terms::feature(feature.feature())).collect();
            page.line(2, &format!("{}: {}", good("kept"), names.join(", ")));
        }
        if self.shown.explain {
            for feature in kept {
                self.explain_feature(page, feature);
            }
        }
    }

    fn feature(&self, page: &mut Page, label: &str, feature: &v1::PlannedFeature) {
        let name = terms::feature(feature.feature());
        let numbers = |ids: &[String]| -> String {
            ids.iter().map(|id| self.number(id)).collect::<Vec<_>>().join(", ")
        };
        let mut text = format!("{label}: {name}");
        if !feature.kept_by.is_empty() {
            text.push_str(&format!(", by {}", numbers(&feature.kept_by)));
        }
        for limit in &feature.limits {
            text.push_str(&format!("; {limit}"));
        }
        if !feature.would_keep.is_empty() {
            text.push_str(&format!("; {} would keep it", numbers(&feature.would_keep)));
        }
        page.line(2, &text);
        if feature.outcome() != v1::Outcome::KeptWithLimit || self.shown.explain {
            why(page, &feature.reasons);
        }
    }

    fn explain_feature(&self, page: &mut Page, feature: &v1::PlannedFeature) {
        let numbers: Vec<String> = feature.kept_by.iter().map(|id| self.number(id)).collect();
        let by = if numbers.is_empty() { "no part".to_owned() } else { numbers.join(", ") };
        page.line(
            4,
            &format!("{}: kept by {by}: {}", terms::feature(feature.feature()), joined(&feature.reasons)),
        );
        let records: Vec<String> =
            feature.reasons.iter().flat_map(|reason| &reason.records).map(terms::record).collect();
        if !records.is_empty() {
            page.line(6, &format!("from {}", records.join(", ")));
        }
    }

    fn cautions(&self, page: &mut Page, cautions: &[v1::Caution]) {
        if self.shown.full {
            return frame::cautions(page, cautions);
        }
        let short: Vec<v1::Caution> =
            cautions.iter().filter(|caution| SHORT_CAUTIONS.contains(&caution.code())).cloned().collect();
        frame::cautions(page, &short);
        if cautions.len() > short.len() {
            page.line(2, "- all cautions, joins, settings and steps: say --full");
        }
    }

    /// A part by its number.
    pub(super) fn number(&self, id: &str) -> String {
        self.parts.get(id).map_or_else(|| id.to_owned(), |part| part.number.clone())
    }
}

/// Whether all that can be said of a feature is that nothing is known: such features stand in one line.
fn needs_no_word(feature: &v1::PlannedFeature) -> bool {
    let plain = |reason: &v1::Reason| {
        matches!(
            reason.code(),
            v1::ReasonCode::FeaturePresent | v1::ReasonCode::NoPartMeets | v1::ReasonCode::FactMissing
        )
    };
    let outcome = matches!(feature.outcome(), v1::Outcome::Lost | v1::Outcome::Unknown);
    outcome && feature.would_keep.is_empty() && feature.reasons.iter().all(plain)
}

/// What parts come to.
pub(super) fn total_text(total: &v1::Total) -> String {
    let price = total.price.as_ref().map_or("no price known".to_owned(), |price| price.text.clone());
    let parts = if total.parts == 1 { "1 part".to_owned() } else { format!("{} parts", total.parts) };
    let unpriced = match total.unpriced {
        0 => String::new(),
        count => format!(", and {count} without a known price"),
    };
    format!("{price} for {parts}{unpriced}")
}

/// A difference of prices, written like a price of the same currency.
fn signed(like: &v1::Money, minor_units: i64) -> String {
    let sign = if minor_units < 0 { '-' } else { '+' };
    let digits = like.text.split(' ').next().unwrap_or_default();
    let decimals = digits.split_once('.').map_or(0, |(_, minor)| minor.len());
    let scale = 10_u64.pow(u32::try_from(decimals).unwrap_or(0));
    let amount = minor_units.unsigned_abs();
    match decimals {
        0 => format!("{sign}{amount} {}", like.currency),
        _ => format!("{sign}{}.{:0decimals$} {}", amount / scale, amount % scale, like.currency),
    }
}
