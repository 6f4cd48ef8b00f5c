//! The pieces of an answer: opening, mounts, needs, features.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1;

use super::fitment::{Parts, price};
use super::frame::verdict_text;
use super::page::{Page, bad, good, warning};
use super::terms;

/// The width of labels.
const LABEL: usize = 11;

/// Features by what becomes of them, in the order in which a customer asks.
const OUTCOMES: [(v1::Outcome, &str); 6] = [
    (v1::Outcome::Lost, "lost"),
    (v1::Outcome::KeptWithLimit, "kept, with a limit"),
    (v1::Outcome::Kept, "kept"),
    (v1::Outcome::Unknown, "unknown"),
    (v1::Outcome::Unspecified, "not stated"),
    (v1::Outcome::NotPresent, "not present in this vehicle"),
];

/// The pieces that there are; `only` says of which vehicles they are true.
pub(super) fn facets(page: &mut Page, facets: &v1::Facets, parts: &Parts<'_>, only: &str) {
    let v1::Facets { opening, mounts, needs, features } = facets;
    if let Some(it) = opening {
        page.heading(&format!("Opening{only}"));
        self::opening(page, it);
    }
    if !mounts.is_empty() {
        page.heading(&format!("Mounts, by the radio's chassis{only}"));
        mounts.iter().for_each(|it| mount(page, it, parts));
    }
    if !needs.is_empty() {
        page.heading(&format!("Adapters, by need{only}"));
        grouped(needs).iter().for_each(|it| group(page, it, parts));
    }
    if !features.is_empty() {
        page.heading(&format!("Factory features{only}"));
        for (outcome, name) in OUTCOMES {
            let of = features.iter().filter(|feature| feature.outcome() == outcome);
            self::features(page, outcome, name, &of.collect::<Vec<_>>(), parts);
        }
    }
}

/// What the dash offers.
pub(super) fn opening(page: &mut Page, opening: &v1::Opening) {
    let v1::Opening {
        dash_id,
        dash_title,
        opening_class: _,
        width_mm,
        height_mm,
        depth_mm,
        cavity_width_mm,
        cavity_height_mm,
        held_by: _,
        fasteners,
        evidence,
    } = opening;
    page.labelled(2, "dash", LABEL, &format!("{dash_title} (dash/{dash_id})"));
    page.labelled(2, "class", LABEL, terms::opening_class(opening.opening_class()));
    let face = format!("width {}, height {}", length(*width_mm), length(*height_mm));
    page.labelled(2, "opening", LABEL, &face);
    let depth = depth_mm.map_or("", |_| " clear behind the face");
    page.labelled(2, "depth", LABEL, &format!("{}{depth}", length(*depth_mm)));
    if cavity_width_mm.is_some() || cavity_height_mm.is_some() {
        let cavity = format!("width {}, height {}", length(*cavity_width_mm), length(*cavity_height_mm));
        page.labelled(2, "behind it", LABEL, &cavity);
    }
    let held: Vec<_> = opening.held_by().map(terms::holding).collect();
    if !held.is_empty() {
        page.labelled(2, "held by", LABEL, &held.join(", "));
    }
    for it in fasteners {
        let v1::Fastener { drive: _, size, count, location } = it;
        let what = terms::fastener(it.drive(), *size);
        page.labelled(2, "fasteners", LABEL, &format!("{count} × {what}, {location}"));
    }
    if let Some(evidence) = evidence {
        page.labelled(2, "known by", LABEL, &terms::evidence(evidence));
    }
}

fn length(length_mm: Option<f64>) -> String {
    length_mm.map_or("not recorded".to_owned(), |length| format!("{} mm", terms::number(length)))
}

fn mount(page: &mut Page, mount: &v1::MountFitment, parts: &Parts<'_>) {
    let class = terms::chassis_class(mount.chassis_class());
    page.line(2, &format!("{class}: {}", verdict_text(mount.verdict())));
    why(page, &mount.reasons);
    offers(page, &mount.parts, parts);
}

/// Needs that are met in the same way by the same parts.
struct Group<'a> {
    needs: Vec<&'a v1::NeedFitment>,
    first: &'a v1::NeedFitment,
}

/// The needs, those that the same parts meet together, in the order of the first of each.
fn grouped(needs: &[v1::NeedFitment]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for need in needs {
        match groups.iter_mut().find(|group| alike(group.first, need)) {
            Some(group) => group.needs.push(need),
            None => groups.push(Group { needs: vec![need], first: need }),
        }
    }
    groups
}

/// Whether two needs are told together: as important, and met by the same parts with the same limits. What no part meets
/// is told by itself, because its reasons are all there is to tell.
fn alike(one: &v1::NeedFitment, other: &v1::NeedFitment) -> bool {
    if one.parts.is_empty() {
        return false;
    }
    let told = |need: &v1::NeedFitment| {
        let offers =
            need.parts.iter().map(|offer| v1::PartOffer { statement: String::new(), ..offer.clone() });
        (need.importance, need.met, offers.collect::<Vec<_>>())
    };
    told(one) == told(other)
}

fn group(page: &mut Page, group: &Group<'_>, parts: &Parts<'_>) {
    let Group { needs, first } = group;
    let met = match (first.met(), first.parts.as_slice()) {
        (v1::Met::ByPart, [_]) => "only by",
        (met, _) => terms::met(met),
    };
    let met = match first.met() {
        v1::Met::ByNothingKnown => bad(met),
        v1::Met::Unknown | v1::Met::Unspecified => warning(met),
        v1::Met::Directly | v1::Met::ByPart => met.to_owned(),
    };
    let names: Vec<_> = needs.iter().map(|need| terms::need(need.need())).collect();
    let importance = terms::importance(first.importance());
    page.line(2, &format!("{} ({importance}): {met}", names.join(", ")));
    let reasons: Vec<_> = needs.iter().flat_map(|need| need.reasons.iter().cloned()).collect();
    why(page, &reasons);
    offers(page, &first.parts, parts);
}

fn features(
    page: &mut Page,
    outcome: v1::Outcome,
    name: &str,
    features: &[&v1::FeatureFitment],
    parts: &Parts<'_>,
) {
    if features.is_empty() {
        return;
    }
    let name = match outcome {
        v1::Outcome::Kept => good(name),
        v1::Outcome::Lost => bad(name),
        v1::Outcome::KeptWithLimit | v1::Outcome::Unknown => warning(name),
        v1::Outcome::NotPresent | v1::Outcome::Unspecified => name.to_owned(),
    };
    page.line(2, &name);
    features.iter().for_each(|it| feature(page, it, parts));
}

/// A feature: the parts that keep it are described among the needs, so that their numbers are enough here.
fn feature(page: &mut Page, feature: &v1::FeatureFitment, parts: &Parts<'_>) {
    let numbers: Vec<_> = feature.kept_by.iter().map(|offer| number(offer, parts)).collect();
    let by = if numbers.is_empty() { String::new() } else { format!(" by {}", numbers.join(", ")) };
    let reasons = joined(&feature.reasons);
    let why = if reasons.is_empty() { String::new() } else { format!(": {reasons}") };
    page.line(4, &format!("{}{by}{why}", terms::feature(feature.feature())));
    for offer in feature.kept_by.iter().filter(|offer| !offer.limit.is_empty()) {
        page.line(6, &warning(&format!("limit of {}: {}", number(offer, parts), offer.limit)));
    }
}

/// Parts that meet something: number, brand, price, and why each applies.
fn offers(page: &mut Page, offers: &[v1::PartOffer], parts: &Parts<'_>) {
    for offer in offers {
        let v1::PartOffer { part_id, statement: _, applies_by, limit, radio_condition, evidence } = offer;
        let described = parts.get(part_id.as_str()).map(|part| format!(" {}, {}", part.brand, price(part)));
        let described = described.unwrap_or_default();
        page.line(6, &format!("{}{described}; made for {applies_by} (part/{part_id})", number(offer, parts)));
        for (text, limits) in [(radio_condition, false), (limit, true)] {
            match (text.is_empty(), limits) {
                (true, _) => {}
                (false, false) => page.line(8, text),
                (false, true) => page.line(8, &warning(&format!("limit: {text}"))),
            }
        }
        if let Some(evidence) = evidence {
            page.line(8, &format!("known by {}", terms::evidence(evidence)));
        }
    }
}

fn number(offer: &v1::PartOffer, parts: &Parts<'_>) -> String {
    parts.get(offer.part_id.as_str()).map_or(offer.part_id.clone(), |part| part.number.clone())
}

/// Why something is so.
pub(super) fn why(page: &mut Page, reasons: &[v1::Reason]) {
    if !reasons.is_empty() {
        page.line(4, &format!("why: {}", joined(reasons)));
    }
}

/// Reasons, each said once: several vehicles often have one from records of their own.
pub(super) fn joined(reasons: &[v1::Reason]) -> String {
    let (missing, others): (Vec<_>, Vec<_>) =
        reasons.iter().partition(|reason| reason.code() == v1::ReasonCode::FactMissing);
    let mut texts: Vec<String> = Vec::new();
    for reason in others {
        if !texts.contains(&reason.text) {
            texts.push(reason.text.clone());
        }
    }
    let mut fields: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for reason in missing {
        fields.entry(&reason.field).or_default().extend(reason.records.iter().map(terms::record));
    }
    for (field, records) in fields {
        let records: Vec<_> = records.into_iter().collect();
        texts.push(format!("nothing is recorded in `{field}` of {}", records.join(", ")));
    }
    texts.join("; ")
}
