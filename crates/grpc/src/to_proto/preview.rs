//! What a draft changes in the plans.

use dashwright_api::v1;
use dashwright_curation::{ChangeGroup, Difference, Example, Preview};
use dashwright_engine::{DraftPreview, Engine};

use super::{dataset_revision, draft, terms};
use crate::Refusal;
use crate::limits::GOLDEN_ACCEPTED;

/// What a preview comes to.
pub(crate) fn preview_end(engine: &Engine, id: &str, it: &DraftPreview) -> Result<v1::PreviewEnd, Refusal> {
    let DraftPreview { draft: facts, onto, preview, golden_wrong } = it;
    let Preview { touched, looked_at, unchanged, counts, groups } = preview;
    let count = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
    let counts = counts.iter().map(|(change, plans)| v1::PlanChangeCount {
        change: terms::plan_change(*change).into(),
        plans: *plans,
    });
    Ok(v1::PreviewEnd {
        draft: Some(draft(engine, id, facts)?),
        onto: Some(dataset_revision(onto)),
        touched: *touched,
        looked_at: *looked_at,
        unchanged: *unchanged,
        counts: counts.collect(),
        groups_total: count(groups.len()),
        golden_ids_wrong: golden_wrong.iter().take(GOLDEN_ACCEPTED).map(ToString::to_string).collect(),
        golden_wrong_total: count(golden_wrong.len()),
    })
}

/// Plans that change in the same way.
pub(crate) fn plan_change_group(it: &ChangeGroup) -> v1::PlanChangeGroup {
    let ChangeGroup { changes, difference, plans, examples } = it;
    let Difference {
        verdict_before,
        verdict_after,
        parts_gone,
        parts_new,
        features_lost,
        features_kept,
        needs_lost,
        needs_met,
        dearer_by,
    } = difference;
    let verdict = |it: &Option<_>| it.map_or(v1::Verdict::Unspecified, terms::verdict).into();
    let ids = |ids: &[dashwright_quantity::PartId]| ids.iter().map(ToString::to_string).collect();
    let features = |list: &[dashwright_model::Feature]| {
        list.iter().map(|feature| terms::feature(*feature).into()).collect()
    };
    let needs = |list: &[dashwright_model::Need]| list.iter().map(|need| terms::need(*need).into()).collect();
    v1::PlanChangeGroup {
        changes: changes.iter().map(|change| terms::plan_change(*change).into()).collect(),
        verdict_before: verdict(verdict_before),
        verdict_after: verdict(verdict_after),
        part_ids_gone: ids(parts_gone),
        part_ids_new: ids(parts_new),
        features_lost: features(features_lost),
        features_kept: features(features_kept),
        needs_lost: needs(needs_lost),
        needs_met: needs(needs_met),
        dearer_by_minor_units: *dearer_by,
        plans: *plans,
        examples: examples.iter().map(example).collect(),
    }
}

fn example(it: &Example) -> v1::PlanExample {
    let Example { line, option, radio } = it;
    v1::PlanExample { vehicle_id: line.clone(), audio_option: option.clone(), radio_id: radio.clone() }
}
