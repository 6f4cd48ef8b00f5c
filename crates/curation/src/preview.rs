//! Previews: what a draft changes in the plans, for every vehicle line and radio that it touches.
//!
//! A plan is touched where something that it may rest on differs: its vehicle line, dash, factory audio or radio, a part that says
//! something of the case or that such a part names, or a plug family. Which plans differ is told by making both.

mod plans;
mod touched;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use dashwright_model::{Feature, Need};
use dashwright_planner::Verdict;
use dashwright_quantity::PartId;
use dashwright_snapshot::Snapshot;

use plans::{Outline, Outlines};
use touched::{Pair, Touched};

/// Plans of one case with one radio that are made at most, before and after: 20 seconds of one processor, at about half a
/// millisecond each. Beyond it, evenly spread ones are made, and the preview says so.
pub const MAX_PREVIEWED: usize = 20_000;
/// Examples of each group.
pub const MAX_EXAMPLES: usize = 5;

/// What a draft changes in the plans. A plan is one vehicle line with one of its audio options and one radio, asked for without
/// any wish, at the lowest price.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Preview {
    /// Plans that may be other ones.
    pub touched: u64,
    /// Those of them that were made, before and after; fewer than touched where it is a sample.
    pub looked_at: u64,
    /// Those that came out the same.
    pub unchanged: u64,
    /// How many of those that were looked at changed in what.
    pub counts: BTreeMap<PlanChange, u64>,
    /// Plans that change in the same way, those that a person should see first before the others.
    pub groups: Vec<ChangeGroup>,
}

/// What may change in a plan, in the order in which a person should see it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlanChange {
    /// It fitted, and does not any longer.
    NoLongerFits,
    /// A feature is kept less well or not at all, or a need that was met is not.
    LosesFeature,
    /// It costs more.
    Dearer,
    /// It has no longer a price, a price in another currency, or other parts without a price.
    OtherPricing,
    /// It did not fit and does not, for another reason; or it is not known.
    OtherVerdict,
    /// It did not fit, and does.
    NewlyFits,
    /// A feature is kept better, or a need is met that was not.
    GainsFeature,
    /// It costs less.
    Cheaper,
    /// Other parts.
    OtherParts,
    /// The vehicle line, its audio option or the radio is new.
    Added,
    /// The vehicle line, its audio option or the radio is gone.
    Gone,
}

/// Plans that change in the same way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangeGroup {
    /// In what they change; never empty.
    pub changes: BTreeSet<PlanChange>,
    /// How.
    pub difference: Difference,
    /// How many there are of those that were looked at.
    pub plans: u64,
    /// The first of them, in the order of make, model and year.
    pub examples: Vec<Example>,
}

/// How a plan changes.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Difference {
    /// The verdict before; none for a plan that is new.
    pub verdict_before: Option<Verdict>,
    /// The verdict after; none for a plan that is gone.
    pub verdict_after: Option<Verdict>,
    /// Parts that are no longer in it.
    pub parts_gone: Vec<PartId>,
    /// Parts that are in it now.
    pub parts_new: Vec<PartId>,
    /// Features that are kept less well, or not at all.
    pub features_lost: Vec<Feature>,
    /// Features that are kept better, or kept at all.
    pub features_kept: Vec<Feature>,
    /// Needs that were met and are not.
    pub needs_lost: Vec<Need>,
    /// Needs that were not met and are.
    pub needs_met: Vec<Need>,
    /// What it costs more, in minor units; less where negative. None where it can not be said.
    pub dearer_by: Option<i64>,
}

/// A plan, by what it is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Example {
    /// The id of the vehicle line.
    pub line: String,
    /// The code of the audio option.
    pub option: String,
    /// The id of the radio.
    pub radio: String,
}

/// How far a preview has come: pairs of plans that were made, of how many.
pub type Progress = (usize, usize);

/// What changes between two datasets, or nothing where it was told to stop.
pub fn preview(
    before: &Snapshot,
    after: &Snapshot,
    most: usize,
    mut progress: impl FnMut(Progress) -> ControlFlow<()>,
) -> Option<Preview> {
    let touched = Touched::between(before, after);
    let step = touched.len().div_ceil(most.max(1)).max(1);
    let mut preview = Preview { touched: touched.plans(), ..Preview::default() };
    let outlines = Outlines::new(before, after);
    let mut groups: BTreeMap<(BTreeSet<PlanChange>, Difference), ChangeGroup> = BTreeMap::new();
    let total = touched.len().div_ceil(step);
    for (done, (pair, radio)) in touched.iter().step_by(step).enumerate() {
        if progress((done, total)).is_break() {
            return None;
        }
        let (one, other) = outlines.of(pair, radio);
        preview.looked_at += pair.plans;
        let Some((changes, difference)) = compared(one.as_ref(), other.as_ref()) else {
            preview.unchanged += pair.plans;
            continue;
        };
        for change in &changes {
            *preview.counts.entry(*change).or_default() += pair.plans;
        }
        let key = (changes, difference);
        let group = groups.entry(key).or_insert_with_key(|(changes, difference)| ChangeGroup {
            changes: changes.clone(),
            difference: difference.clone(),
            plans: 0,
            examples: Vec::new(),
        });
        group.add(pair, radio);
    }
    preview.groups = groups.into_values().collect();
    preview.groups.sort_by_key(|group| (group.changes.first().copied(), std::cmp::Reverse(group.plans)));
    Some(preview)
}

impl ChangeGroup {
    fn add(&mut self, pair: &Pair, radio: &str) {
        self.plans += pair.plans;
        for (line, option) in &pair.first {
            if self.examples.len() < MAX_EXAMPLES {
                let (line, option) = (line.clone(), option.clone());
                self.examples.push(Example { line, option, radio: radio.to_owned() });
            }
        }
    }
}

/// In what two plans differ, if in anything that counts.
fn compared(before: Option<&Outline>, after: Option<&Outline>) -> Option<(BTreeSet<PlanChange>, Difference)> {
    let mut difference = Difference {
        verdict_before: before.map(|it| it.verdict),
        verdict_after: after.map(|it| it.verdict),
        ..Difference::default()
    };
    let (before, after) = match (before, after) {
        (Some(before), Some(after)) => (before, after),
        (Some(_), None) => return Some((BTreeSet::from([PlanChange::Gone]), difference)),
        (None, Some(_)) => return Some((BTreeSet::from([PlanChange::Added]), difference)),
        (None, None) => return None,
    };
    difference.parts_gone = before.parts.difference(&after.parts).cloned().collect();
    difference.parts_new = after.parts.difference(&before.parts).cloned().collect();
    let mut changes = BTreeSet::new();
    let both = before.fits() && after.fits();
    if before.verdict != after.verdict && !both {
        changes.insert(match (before.fits(), after.fits()) {
            (true, _) => PlanChange::NoLongerFits,
            (false, true) => PlanChange::NewlyFits,
            (false, false) => PlanChange::OtherVerdict,
        });
    }
    if both {
        difference.features_lost = before.worse_in(after);
        difference.features_kept = after.worse_in(before);
        difference.needs_lost = before.unmet_in(after);
        difference.needs_met = after.unmet_in(before);
        let loses = !difference.features_lost.is_empty() || !difference.needs_lost.is_empty();
        let gains = !difference.features_kept.is_empty() || !difference.needs_met.is_empty();
        changes.extend(loses.then_some(PlanChange::LosesFeature));
        changes.extend(gains.then_some(PlanChange::GainsFeature));
        match before.dearer_by(after) {
            Some(0) => {}
            Some(more) => {
                difference.dearer_by = Some(more);
                changes.insert(if more > 0 { PlanChange::Dearer } else { PlanChange::Cheaper });
            }
            None => {
                changes.extend((before.total != after.total).then_some(PlanChange::OtherPricing));
            }
        }
        if before.parts != after.parts {
            changes.insert(PlanChange::OtherParts);
        }
    }
    (!changes.is_empty()).then_some((changes, difference))
}

#[cfg(test)]
#[path = "preview/tests.rs"]
mod tests;
