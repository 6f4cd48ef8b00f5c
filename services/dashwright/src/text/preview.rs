//! What a draft changes in the plans.

use dashwright_api::v1;

use super::findings::head;
use super::lists::count;
use super::page::{Page, bad, good, strong, warning};
use super::terms;

/// The width of labels.
const LABEL: usize = 11;

/// A preview, with so many of its groups.
pub(crate) fn preview(
    end: &v1::PreviewEnd,
    groups: &[v1::PlanChangeGroup],
    shown: usize,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    head(&mut page, end.draft.as_ref(), end.onto.as_ref());
    let mut touched = format!("{} may change", count(end.touched, "plan"));
    if end.looked_at < end.touched {
        touched.push_str(&format!("; this is a sample of {}, evenly spread", end.looked_at));
    }
    page.labelled(2, "touched", LABEL, &touched);
    page.labelled(2, "summary", LABEL, &summary(end));
    if end.golden_wrong_total > 0 {
        let text = format!(
            "{} answered otherwise: {}",
            count(end.golden_wrong_total.into(), "golden question"),
            end.golden_ids_wrong.join(", ")
        );
        page.labelled(2, "golden", LABEL, &bad(&text));
    }
    for group in groups.iter().take(shown) {
        one(&mut page, group);
    }
    let total = usize::try_from(end.groups_total).unwrap_or(usize::MAX);
    if let Some(more @ 1..) = total.checked_sub(groups.len().min(shown)) {
        let more = count(more as u64, "more group");
        page.line(0, &format!("and {more} of plans that change alike: say --groups {total}, or --json"));
    }
    page.finish()
}

/// "3 no longer fit, 42 get cheaper, 7 stay the same".
fn summary(end: &v1::PreviewEnd) -> String {
    let mut parts: Vec<String> = Vec::new();
    for it in &end.counts {
        let text = format!("{} {}", it.plans, phrase(it.change(), it.plans == 1));
        parts.push(match tone(it.change()) {
            Tone::Bad => bad(&text),
            Tone::Look => warning(&text),
            Tone::Good => good(&text),
        });
    }
    let stay = if end.unchanged == 1 { "stays" } else { "stay" };
    parts.push(format!("{} {stay} the same", end.unchanged));
    parts.join(", ")
}

fn one(page: &mut Page, group: &v1::PlanChangeGroup) {
    let singular = group.plans == 1;
    let phrases: Vec<&str> = group.changes().map(|change| phrase(change, singular)).collect();
    page.heading(&format!("{}: {}", count(group.plans, "plan"), strong(&phrases.join(", "))));
    let (before, after) = (group.verdict_before(), group.verdict_after());
    if before != after {
        page.labelled(2, "verdict", LABEL, &format!("{} → {}", verdict(before), verdict(after)));
    }
    if let Some(more) = group.dearer_by_minor_units {
        page.labelled(2, "price", LABEL, &format!("{more:+} minor units"));
    }
    let gone = group.part_ids_gone.iter().map(|id| format!("-{id}"));
    let parts: Vec<String> = gone.chain(group.part_ids_new.iter().map(|id| format!("+{id}"))).collect();
    if !parts.is_empty() {
        page.labelled(2, "parts", LABEL, &parts.join(" "));
    }
    let features =
        |list: Vec<v1::Feature>| list.into_iter().map(terms::feature).collect::<Vec<_>>().join(", ");
    if !group.features_lost.is_empty() {
        page.labelled(2, "loses", LABEL, &bad(&features(group.features_lost().collect())));
    }
    let needs = |list: Vec<v1::Need>| list.into_iter().map(terms::need).collect::<Vec<_>>().join(", ");
    if !group.needs_lost.is_empty() {
        page.labelled(2, "unmet", LABEL, &bad(&needs(group.needs_lost().collect())));
    }
    if !group.features_kept.is_empty() {
        page.labelled(2, "keeps", LABEL, &good(&features(group.features_kept().collect())));
    }
    if !group.needs_met.is_empty() {
        page.labelled(2, "meets", LABEL, &good(&needs(group.needs_met().collect())));
    }
    for (place, it) in group.examples.iter().enumerate() {
        let v1::PlanExample { vehicle_id, audio_option, radio_id } = it;
        let label = if place == 0 { "such as" } else { "" };
        page.labelled(2, label, LABEL, &format!("{radio_id} in {vehicle_id}, audio {audio_option}"));
    }
}

fn verdict(verdict: v1::Verdict) -> &'static str {
    if verdict == v1::Verdict::Unspecified { "none" } else { terms::verdict(verdict) }
}

enum Tone {
    Bad,
    Look,
    Good,
}

fn tone(change: v1::PlanChange) -> Tone {
    use v1::PlanChange as C;
    match change {
        C::NoLongerFits | C::LosesFeature => Tone::Bad,
        C::NewlyFits | C::GainsFeature | C::Cheaper => Tone::Good,
        C::Dearer
        | C::OtherPricing
        | C::OtherVerdict
        | C::OtherParts
        | C::Added
        | C::Gone
        | C::Unspecified => Tone::Look,
    }
}

fn phrase(change: v1::PlanChange, singular: bool) -> &'static str {
    use v1::PlanChange as C;
    match (change, singular) {
        (C::Unspecified, _) => "",
        (C::NoLongerFits, true) => "no longer fits",
        (C::NoLongerFits, false) => "no longer fit",
        (C::LosesFeature, true) => "keeps less",
        (C::LosesFeature, false) => "keep less",
        (C::Dearer, true) => "gets dearer",
        (C::Dearer, false) => "get dearer",
        (C::OtherPricing, true) => "has another kind of price",
        (C::OtherPricing, false) => "have another kind of price",
        (C::OtherVerdict, true) => "does not fit for another reason",
        (C::OtherVerdict, false) => "do not fit for another reason",
        (C::NewlyFits, true) => "fits newly",
        (C::NewlyFits, false) => "fit newly",
        (C::GainsFeature, true) => "keeps more",
        (C::GainsFeature, false) => "keep more",
        (C::Cheaper, true) => "gets cheaper",
        (C::Cheaper, false) => "get cheaper",
        (C::OtherParts, true) => "has other parts",
        (C::OtherParts, false) => "have other parts",
        (C::Added, true) => "is new",
        (C::Added, false) => "are new",
        (C::Gone, true) => "is gone",
        (C::Gone, false) => "are gone",
    }
}
