//! The pieces of an answer: opening, mounts, needs, features.

use dashwright_api::v1;

use super::fitment::{Parts, price, reasons, verdict_text};
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
        for mount in mounts {
            page.line(
                2,
                &format!(
                    "{}: {}",
                    terms::chassis_class(mount.chassis_class()),
                    verdict_text(mount.verdict())
                ),
            );
            offers(page, &mount.parts, parts);
            reasons(page, 4, &mount.reasons);
        }
    }
    if !needs.is_empty() {
        page.heading(&format!("Adapters, by need{only}"));
        for it in needs {
            need(page, it, parts);
        }
    }
    if !features.is_empty() {
        page.heading(&format!("Factory features{only}"));
        for (outcome, name) in OUTCOMES {
            let of = features.iter().filter(|feature| feature.outcome() == outcome);
            self::features(page, outcome, name, &of.collect::<Vec<_>>(), parts);
        }
    }
}

fn opening(page: &mut Page, opening: &v1::Opening) {
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
    page.labelled(2, "depth", LABEL, &format!("{} clear behind the face", length(*depth_mm)));
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

fn need(page: &mut Page, need: &v1::NeedFitment, parts: &Parts<'_>) {
    let met = match need.met() {
        v1::Met::ByNothingKnown => bad(terms::met(need.met())),
        v1::Met::Unknown | v1::Met::Unspecified => warning(terms::met(need.met())),
        v1::Met::Directly | v1::Met::ByPart => terms::met(need.met()).to_owned(),
    };
    let name = terms::need(need.need());
    page.line(2, &format!("{name} ({}): {met}", terms::importance(need.importance())));
    offers(page, &need.parts, parts);
    reasons(page, 4, &need.reasons);
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
    page.line(
        2,
        &match outcome {
            v1::Outcome::Kept => good(name),
            v1::Outcome::Lost => bad(name),
            v1::Outcome::KeptWithLimit | v1::Outcome::Unknown => warning(name),
            v1::Outcome::NotPresent | v1::Outcome::Unspecified => name.to_owned(),
        },
    );
    for feature in features {
        let carried = match feature.carrier() {
            v1::Carrier::Unspecified | v1::Carrier::NotPresent => String::new(),
            known => format!(" (by {})", terms::carrier(known)),
        };
        page.line(4, &format!("{}{carried}", terms::feature(feature.feature())));
        offers(page, &feature.kept_by, parts);
        reasons(page, 6, &feature.reasons);
    }
}

/// Parts that meet something: number, brand, price, and why each applies.
fn offers(page: &mut Page, offers: &[v1::PartOffer], parts: &Parts<'_>) {
    for offer in offers {
        let v1::PartOffer { part_id, statement: _, applies_by, limit, radio_condition, evidence } = offer;
        let part = parts.get(part_id.as_str());
        let name =
            part.map_or(part_id.clone(), |part| format!("{} {}, {}", part.number, part.brand, price(part)));
        page.line(6, &format!("{name}: for {applies_by}"));
        if !radio_condition.is_empty() {
            page.line(10, &format!("only with {radio_condition}"));
        }
        if !limit.is_empty() {
            page.line(10, &warning(&format!("limit: {limit}")));
        }
        if let Some(evidence) = evidence {
            page.line(10, &format!("known by {}", terms::evidence(evidence)));
        }
    }
}
