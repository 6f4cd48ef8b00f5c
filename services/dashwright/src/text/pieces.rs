//! The pieces of a plan that the counter asks for: parts, money, minutes, and what becomes of each feature.

use dashwright_api::v1;
use dashwright_quantity::Money;

use super::facets::{opening, why};
use super::frame::LABEL;
use super::page::{Page, bad, good, strong, warning};
use super::plan::{Place, Writer};
use super::{checks, terms, work};

/// The pieces that there are, in the order in which they are asked for.
pub(super) fn pieces(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    not_met(page, pieces, place);
    parts(writer, page, pieces, place);
    money(writer, page, pieces);
    if place.planned || writer.shown.full {
        features(writer, page, pieces, place);
    }
    if writer.shown.full {
        seat(writer, page, pieces, place);
        needs_without_parts(page, pieces, place);
        work::work(writer, page, pieces, place);
        checks::checks(page, pieces, place);
        alternatives(writer, page, pieces, place);
    } else {
        work::in_brief(writer, page, pieces, place);
        checks::in_brief(page, pieces, place);
    }
}

/// What parts come to.
pub(super) fn total_text(total: &v1::Total) -> String {
    let v1::Total { price, unpriced, parts, bench_minutes: _, untimed: _ } = total;
    let price = price.as_ref().map_or("no price known", |price| price.text.as_str());
    let parts = if *parts == 1 { "1 part".to_owned() } else { format!("{parts} parts") };
    let unpriced = match unpriced {
        0 => String::new(),
        count => format!(", {count} of them without a known price"),
    };
    format!("{price} for {parts}{unpriced}")
}

/// Needs without which the installation does not stand, and additions, that nothing meets.
pub(super) fn lacking(pieces: &v1::PlanPieces) -> Vec<&v1::PlannedNeed> {
    let added =
        |need: &v1::PlannedNeed| need.reasons.iter().any(|reason| reason.code() == v1::ReasonCode::Added);
    let lacking = |need: &&v1::PlannedNeed| {
        matches!(need.met(), v1::Met::ByNothingKnown | v1::Met::Unknown)
            && (need.importance() == v1::Importance::Must || added(need))
    };
    pieces.needs.iter().filter(lacking).collect()
}

fn not_met(page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let lacking = lacking(pieces);
    if !lacking.is_empty() {
        place.heading(page, "Not met");
    }
    for need in lacking {
        let importance = terms::importance(need.importance());
        page.line(
            2,
            &bad(&format!("{} ({importance}): {}", terms::need(need.need()), terms::met(need.met()))),
        );
        why(page, &need.reasons);
    }
}

fn parts(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if !pieces.parts.is_empty() {
        place.heading(page, "Parts");
    }
    for planned in &pieces.parts {
        part(writer, page, planned);
        for served in planned.serves.iter().filter(|served| counts(pieces, served)) {
            let text = format!("{}: {}", terms::need(served.need()), served.limit);
            page.labelled(4, "", LABEL, &warning(&text));
        }
        let jobs = writer.part(&planned.part_id).and_then(|part| part.evidence.as_ref());
        let jobs = jobs.map(|it| terms::jobs(it.confirmed_jobs, it.contradicted_jobs));
        if let Some(jobs) = jobs.filter(|jobs| !jobs.is_empty()) {
            page.labelled(4, "", LABEL, &jobs);
        }
        let variants: Vec<String> = planned.variant_part_ids.iter().map(|id| variant(writer, id)).collect();
        if !variants.is_empty() {
            page.labelled(4, "", LABEL, &format!("or {}", variants.join(" or ")));
        }
    }
}

/// Whether the limit of a part counts: not where the need is met without it or by another part of the plan, too.
fn counts(pieces: &v1::PlanPieces, limited: &v1::ServedNeed) -> bool {
    let mut needs = pieces.needs.iter().filter(|need| need.need == limited.need);
    let direct = needs.any(|need| need.met() == v1::Met::Directly);
    let mut serves = pieces.parts.iter().flat_map(|part| &part.serves);
    let free = serves.any(|served| served.need == limited.need && served.limit.is_empty());
    !limited.limit.is_empty() && !direct && !free
}

/// A part with its price before it and what it is for behind it.
fn part(writer: &Writer<'_>, page: &mut Page, planned: &v1::PlannedPart) {
    let v1::PlannedPart { part_id, serves, required_by, in_hand, price, variant_part_ids: _ } = planned;
    let price = match price {
        _ if *in_hand => "in hand",
        Some(price) => price.text.as_str(),
        None => "no price",
    };
    let needs: Vec<String> = serves.iter().map(|served| terms::need(served.need())).collect();
    let purpose = if needs.is_empty() {
        format!("needed by {}", writer.numbers(required_by, ", "))
    } else {
        needs.join(", ")
    };
    let described = writer.part(part_id).map(|part| format!(" {}, {}", part.brand, part.title));
    let text = format!("{}{}: {purpose}", strong(&writer.number(part_id)), described.unwrap_or_default());
    page.labelled(2, &format!("{price:>LABEL$}"), LABEL, &text);
}

/// A part that differs from the chosen one in finish and the like only.
fn variant(writer: &Writer<'_>, id: &str) -> String {
    let text = writer.part(id).map(|part| part.variant.as_str()).filter(|text| !text.is_empty());
    let text = text.map(|text| format!(" ({text})")).unwrap_or_default();
    format!("{}{text}", writer.number(id))
}

fn money(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces) {
    let minutes = minutes(pieces);
    match &pieces.total {
        Some(total) => {
            let total = [good(&total_text(total))].into_iter().chain(minutes);
            page.labelled(2, "in all", LABEL, &total.collect::<Vec<_>>().join(", "));
        }
        None if minutes.is_empty() => {}
        None => page.labelled(2, "time", LABEL, &minutes.join(", ")),
    }
    if pieces.proven_best == Some(false) {
        page.labelled(2, "", LABEL, &warning("not proven: a better list may exist"));
    }
    if let Some(musts) = &pieces.musts_only {
        let in_brief = musts.total.as_ref().filter(|_| !writer.shown.full).map(total_text);
        page.labelled(2, "musts alone", LABEL, &in_brief.unwrap_or_else(|| list(writer, musts)));
    }
    let adding = |need: &v1::PlannedNeed| {
        let adds = need.adds_minor_units.filter(|adds| *adds != 0)?;
        Some(format!("{} {}", terms::need(need.need()), signed(writer, adds)?))
    };
    let adding: Vec<String> = pieces.needs.iter().filter_map(adding).collect();
    if !adding.is_empty() {
        page.labelled(2, "to keep", LABEL, &adding.join(", "));
    }
}

/// The minutes that are recorded, and whether they are all.
fn minutes(pieces: &v1::PlanPieces) -> Vec<String> {
    let place = |minutes: Option<f64>, place: &str| {
        minutes.map(|minutes| format!("{} min {place}", terms::number(minutes)))
    };
    let untimed = pieces.total.as_ref().map_or(0, |total| total.untimed);
    let untimed = match untimed {
        0 => None,
        1 => Some("1 part has no recorded time".to_owned()),
        count => Some(format!("{count} parts have no recorded time")),
    };
    let places = [
        place(pieces.bench_minutes, "at the bench"),
        place(pieces.vehicle_minutes, "in the vehicle"),
        untimed,
    ];
    places.into_iter().flatten().collect()
}

/// A list of parts with what it comes to and what it leaves out.
fn list(writer: &Writer<'_>, list: &v1::Alternative) -> String {
    let numbers = writer.numbers(&list.part_ids, " + ");
    let numbers = if numbers.is_empty() { "no parts".to_owned() } else { numbers };
    let total = list.total.as_ref().map(|total| format!(": {}", total_text(total))).unwrap_or_default();
    let missed: Vec<String> = list.missed().map(terms::need).collect();
    let missed = if missed.is_empty() { String::new() } else { format!(", without {}", missed.join(", ")) };
    format!("{numbers}{total}{missed}")
}

/// A difference of prices, in the currency of the plan.
fn signed(writer: &Writer<'_>, minor_units: i64) -> Option<String> {
    let sign = if minor_units < 0 { '-' } else { '+' };
    let currency = writer.currency?.parse().ok()?;
    Some(format!("{sign}{}", Money { currency, minor_units: minor_units.unsigned_abs() }))
}

fn features(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let of = |outcome: v1::Outcome| -> Vec<&v1::PlannedFeature> {
        pieces.features.iter().filter(|feature| feature.outcome() == outcome).collect()
    };
    let told = [
        (v1::Outcome::Lost, bad("lost"), "nothing known keeps it"),
        (v1::Outcome::KeptWithLimit, warning("with a limit"), ""),
        (v1::Outcome::Unknown, warning("unknown"), "nothing is recorded"),
    ];
    let kept = kept_names(writer, &of(v1::Outcome::Kept), place);
    if kept.is_empty() && told.iter().all(|(outcome, ..)| of(*outcome).is_empty()) {
        return;
    }
    place.heading(page, "Factory features");
    for (outcome, label, why) in told {
        let (alike, special): (Vec<_>, Vec<_>) = of(outcome).into_iter().partition(|it| needs_no_word(it));
        special.into_iter().for_each(|it| feature(writer, page, &label, it));
        if !alike.is_empty() {
            let names: Vec<String> = alike.iter().map(|it| terms::feature(it.feature())).collect();
            page.line(2, &format!("{label}, {why}: {}", names.join(", ")));
        }
    }
    if !kept.is_empty() {
        page.line(2, &format!("{}: {}", good("kept"), kept.join(", ")));
    }
}

/// The features that are kept. A short plan tells those that every candidate keeps where it tells what is settled.
fn kept_names(writer: &Writer<'_>, kept: &[&v1::PlannedFeature], place: &Place<'_>) -> Vec<String> {
    let name = |number: i32| terms::feature(v1::Feature::try_from(number).unwrap_or_default());
    let numbers = kept.iter().map(|it| it.feature);
    match (writer.shown.full, place.settled) {
        (true, _) => numbers.map(name).collect(),
        (false, true) => numbers.chain(writer.kept_by_each.iter().copied()).map(name).collect(),
        (false, false) => numbers.filter(|it| !writer.kept_by_each.contains(it)).map(name).collect(),
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

fn feature(writer: &Writer<'_>, page: &mut Page, label: &str, feature: &v1::PlannedFeature) {
    let mut text = format!("{label}: {}", terms::feature(feature.feature()));
    if !feature.kept_by.is_empty() {
        text.push_str(&format!(", by {}", writer.numbers(&feature.kept_by, ", ")));
    }
    for limit in &feature.limits {
        text.push_str(&format!("; {limit}"));
    }
    if !feature.would_keep.is_empty() {
        text.push_str(&format!("; {} would keep it", writer.numbers(&feature.would_keep, " or ")));
    }
    page.line(2, &text);
    if feature.outcome() != v1::Outcome::KeptWithLimit {
        why(page, &feature.reasons);
    }
}

/// What the radio goes into, and how it sits there.
fn seat(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if let Some(it) = &pieces.opening {
        place.heading(page, "Opening");
        opening(page, it);
    }
    let Some(mount) = &pieces.mount else { return };
    place.heading(page, "Mount");
    let by = if mount.part_ids.is_empty() {
        "no part is needed".to_owned()
    } else {
        format!("held by {}", writer.numbers(&mount.part_ids, ", "))
    };
    page.line(2, &format!("{} chassis: {by}", terms::chassis_class(mount.chassis_class())));
    if let Some(spare) = mount.spare_depth_mm {
        page.line(2, &format!("{} mm are left behind its plugs", terms::number(spare)));
    }
    why(page, &mount.reasons);
}

/// Needs that are met without a part, and how.
fn needs_without_parts(page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    let direct: Vec<_> = pieces.needs.iter().filter(|need| need.met() == v1::Met::Directly).collect();
    if direct.is_empty() {
        return;
    }
    place.heading(page, "Needs that are met without a part");
    for need in direct {
        page.line(2, &terms::need(need.need()));
        why(page, &need.reasons);
    }
}

fn alternatives(writer: &Writer<'_>, page: &mut Page, pieces: &v1::PlanPieces, place: &Place<'_>) {
    if pieces.alternatives.is_empty() {
        return;
    }
    place.heading(page, "Next best lists of parts");
    for it in &pieces.alternatives {
        page.line(2, &format!("- {}", list(writer, it)));
    }
}
