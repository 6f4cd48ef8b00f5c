//! Carts: what each line is worth for a vehicle and a radio, and what is still lacking.
//!
//! Statuses refer to the cheapest completion of this very cart: what is in it costs nothing more. A cheaper list from
//! scratch is a hint and changes no status.

use std::collections::BTreeSet;

use dashwright_model::Need;
use dashwright_model::record::Part;
use dashwright_model::record::part::{Contained, CoverSense, Life, Occupancy};
use dashwright_quantity::{Money, PartId};
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};

use crate::answer::{Importance, OpenQuestion, Verdict};
use crate::case_plan::Detail;
use crate::demand::{Demand, demands};
use crate::job::JobView;
use crate::merge::case_of;
use crate::plan::{CasePlan, PlanGroup, Plans, Total};
use crate::plans::plan_in;
use crate::reason::Reason;
use crate::request::{Request, Supply};
use crate::select;

/// What a line of a cart names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CartItem {
    /// A part.
    Part(RecordIx),
    /// A radio.
    Radio(RecordIx),
    /// Nothing that the catalogue knows, or a number that several parts have.
    Unknown {
        /// The parts that have the number, by id.
        known: Vec<PartId>,
    },
}

/// A line of a cart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CartLine {
    /// What it names.
    pub item: CartItem,
    /// How many.
    pub quantity: u32,
}

/// What a line is worth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LineStatus {
    /// The installation does not stand without it.
    Needed,
    /// It keeps something that is wished.
    ForAWish,
    /// It goes here and nothing needs it.
    NotNeeded,
    /// Another line has it in its box.
    InTheBoxOf {
        /// The other line, counted from 0.
        line: u32,
    },
    /// It is not for this vehicle.
    WrongForVehicle,
    /// It is for this vehicle, but not with this radio.
    WrongForRadio,
    /// It can not be used beside another line.
    InConflict {
        /// The other line, counted from 0.
        line: u32,
    },
    /// There are more of it than needed.
    OneTooMany {
        /// How many too many.
        surplus: u32,
    },
    /// The catalogue does not know it.
    UnknownItem,
    /// It depends on what is still open: the vehicle, its audio, or the radio.
    Depends,
}

/// A line with what it is worth, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JudgedLine {
    /// What it is worth.
    pub status: LineStatus,
    /// What it serves.
    pub serves: Vec<Need>,
    /// The part that has taken its place and was weighed instead.
    pub successor: Option<RecordIx>,
    /// Why.
    pub reasons: Vec<Reason>,
}

/// The verdict on a cart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CartVerdict {
    /// Everything is there, and nothing too much.
    Complete,
    /// Everything is there, and lines that are of no use.
    CompleteWithSurplus,
    /// Something is lacking.
    Incomplete,
    /// It depends on what is still open.
    Depends,
    /// Nothing makes an installation of it.
    NoWay,
}

/// What completes a cart for some candidates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Completion {
    /// The candidates, by their number in the answer.
    pub candidates: Vec<u32>,
    /// What their plan's verdict is.
    pub verdict: Verdict,
    /// Why.
    pub verdict_reasons: Vec<Reason>,
    /// The parts that have to be added.
    pub add: Vec<RecordIx>,
    /// What they cost.
    pub total: Option<Total>,
    /// A list from scratch that costs less than cart and additions, where there is one.
    pub cheaper: Option<Cheaper>,
}

/// A list from scratch that costs less.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cheaper {
    /// Its parts.
    pub parts: Vec<RecordIx>,
    /// What it costs.
    pub price: Money,
    /// What the used lines of the cart and the additions cost.
    pub than: Money,
}

/// A cart that was checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckedCart {
    /// The verdict.
    pub verdict: CartVerdict,
    /// The lines, in their order.
    pub lines: Vec<JudgedLine>,
    /// What completes it, for each group of candidates.
    pub completions: Vec<Completion>,
    /// The question that matters, if one does.
    pub question: Option<OpenQuestion>,
    /// The radio that it was checked for: the caller's, or the one in the cart.
    pub radio: Option<RecordIx>,
}

/// The item that a text names: the id of a part or a radio, or a part number that one part alone has.
#[must_use]
pub fn cart_item(snapshot: &Snapshot, text: &str) -> CartItem {
    if let Some((part, _)) = snapshot.parts().find(text) {
        return CartItem::Part(part);
    }
    if let Some((radio, _)) = snapshot.radios().find(text) {
        return CartItem::Radio(radio);
    }
    match snapshot.parts_by_number(text).as_slice() {
        [part] => CartItem::Part(*part),
        several => {
            let known = several.iter().filter_map(|part| Some(snapshot.parts().get(*part)?.id.clone()));
            CartItem::Unknown { known: known.collect() }
        }
    }
}

/// The part that stands for a part now: itself, or the last of those that took its place.
#[must_use]
pub fn successor(snapshot: &Snapshot, part: RecordIx) -> RecordIx {
    let mut seen = BTreeSet::from([part]);
    let mut current = part;
    while let Some(Life::SupersededBy(next)) = snapshot.parts().get(current).map(|part| &part.life) {
        match snapshot.parts().find(next.as_str()) {
            // A ring of successors has no end: the catalogue's error, and the part stands for itself.
            Some((next, _)) if seen.insert(next) => current = next,
            _ => return part,
        }
    }
    current
}

/// What a group's plan was made for.
struct Judged<'a> {
    job: JobView<'a>,
    demands: Vec<Demand<'a>>,
}

/// A cart while it is checked.
struct Cart<'a> {
    snapshot: &'a Snapshot,
    lines: &'a [CartLine],
    radio: Option<RecordIx>,
    request: Request,
}

/// Checks a cart for candidates as [`crate::one_by_one`] gives them.
#[must_use]
pub fn check_cart(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    radio: Option<RecordIx>,
    request: &Request,
    lines: &[CartLine],
) -> CheckedCart {
    let in_cart = lines.iter().find_map(|line| match line.item {
        CartItem::Radio(radio) => Some(radio),
        CartItem::Part(_) | CartItem::Unknown { .. } => None,
    });
    let radio = radio.or(in_cart);
    let parts = lines.iter().filter_map(|line| weighed(snapshot, line));
    let supply = Supply { in_hand: parts.collect(), ..request.supply.clone() };
    let cart = Cart { snapshot, lines, radio, request: Request { supply, ..request.clone() } };
    let Some(radio) = radio else { return cart.without_radio(candidates) };
    let plans = plan_in(snapshot, candidates, radio, &cart.request, Detail::PartsOnly);
    cart.judge(candidates, radio, plans, request)
}

/// The part that a line is weighed as.
fn weighed(snapshot: &Snapshot, line: &CartLine) -> Option<RecordIx> {
    match line.item {
        CartItem::Part(part) => Some(successor(snapshot, part)),
        CartItem::Radio(_) | CartItem::Unknown { .. } => None,
    }
}

impl Cart<'_> {
    fn judge(
        &self,
        candidates: &[Candidate],
        radio: RecordIx,
        plans: Plans,
        from_scratch: &Request,
    ) -> CheckedCart {
        let Plans { groups, question, .. } = plans;
        let jobs: Vec<Option<Judged<'_>>> =
            groups.iter().map(|group| self.job(candidates, radio, group)).collect();
        let judged = |line: usize| {
            let per_group = groups
                .iter()
                .zip(&jobs)
                .filter_map(|(group, job)| Some(self.line(line, job.as_ref()?, &group.plan)));
            agreed(per_group.collect())
        };
        let lines: Vec<JudgedLine> = (0..self.lines.len()).map(judged).collect();
        let completions: Vec<Completion> = groups
            .iter()
            .zip(&jobs)
            .filter_map(|(group, job)| Some(self.completion(&job.as_ref()?.job, group, from_scratch)))
            .collect();
        let verdict = verdict(&lines, &completions);
        CheckedCart { verdict, lines, completions, question, radio: Some(radio) }
    }

    fn job<'b>(&'b self, candidates: &[Candidate], radio: RecordIx, group: &PlanGroup) -> Option<Judged<'b>> {
        let first = candidates.get(*group.candidates.first()? as usize)?;
        let job = JobView::of(self.snapshot, case_of(self.snapshot, first)?, radio, &self.request)?;
        let demands = demands(&job);
        Some(Judged { job, demands })
    }

    /// Without a radio only what is wrong for the vehicle in any case can be told.
    fn without_radio(&self, candidates: &[Candidate]) -> CheckedCart {
        let cases: BTreeSet<_> = candidates.iter().filter_map(|one| case_of(self.snapshot, one)).collect();
        let goes = |part: RecordIx| {
            cases
                .iter()
                .filter_map(|case| self.snapshot.case(*case))
                .any(|case| case.offers.iter().any(|offer| offer.part == part))
        };
        let lines = self.lines.iter().map(|line| {
            let part = weighed(self.snapshot, line);
            let says = part.and_then(|part| self.snapshot.parts().get(part)).is_some_and(promises);
            let status = match part {
                None => LineStatus::UnknownItem,
                Some(part) if says && !goes(part) => LineStatus::WrongForVehicle,
                Some(_) => LineStatus::Depends,
            };
            bare(status, self.successor_of(line))
        });
        CheckedCart {
            verdict: CartVerdict::Depends,
            lines: lines.collect(),
            completions: Vec::new(),
            question: None,
            radio: None,
        }
    }

    fn successor_of(&self, line: &CartLine) -> Option<RecordIx> {
        let CartItem::Part(named) = line.item else { return None };
        weighed(self.snapshot, line).filter(|weighed| *weighed != named)
    }

    /// What a line is worth for one plan.
    fn line(&self, number: usize, judged: &Judged<'_>, plan: &CasePlan) -> JudgedLine {
        let Some(line) = self.lines.get(number) else { return bare(LineStatus::UnknownItem, None) };
        let index = match &line.item {
            CartItem::Unknown { .. } => return bare(LineStatus::UnknownItem, None),
            CartItem::Radio(radio) => return self.radio_line(number, line, *radio),
            CartItem::Part(_) => weighed(self.snapshot, line),
        };
        let Some((index, part)) = index.and_then(|index| Some((index, self.snapshot.parts().get(index)?)))
        else {
            return bare(LineStatus::UnknownItem, None);
        };
        let successor = self.successor_of(line);
        let earlier = self.lines.iter().take(number);
        let already = earlier.filter(|other| weighed(self.snapshot, other) == Some(index)).count() > 0;
        let Some(chosen) = &plan.chosen else {
            let (status, reasons) = self.unused(judged, index, part);
            let status = if status == LineStatus::NotNeeded { LineStatus::Depends } else { status };
            return JudgedLine { status, serves: Vec::new(), successor, reasons };
        };
        let used = chosen.parts.iter().find(|planned| planned.part == index);
        let Some(used) = used else {
            let parts: Vec<RecordIx> = chosen.parts.iter().map(|planned| planned.part).collect();
            let beside = self.beside(part, &parts, &judged.job);
            let (status, reasons) =
                beside.map_or_else(|| self.unused(judged, index, part), |status| (status, Vec::new()));
            return JudgedLine { status, serves: Vec::new(), successor, reasons };
        };
        let serves: Vec<Need> = used.serves.iter().map(|(need, _)| *need).collect();
        let surplus = if already { line.quantity } else { line.quantity.saturating_sub(1) };
        let status = if surplus > 0 {
            LineStatus::OneTooMany { surplus }
        } else if is_needed(plan, index) {
            LineStatus::Needed
        } else {
            LineStatus::ForAWish
        };
        JudgedLine { status, serves, successor, reasons: Vec::new() }
    }

    fn radio_line(&self, number: usize, line: &CartLine, radio: RecordIx) -> JudgedLine {
        let same = |other: &CartLine| other.item == CartItem::Radio(radio);
        let chosen = |other: &CartLine| self.radio.is_some_and(|own| other.item == CartItem::Radio(own));
        let already = self.lines.iter().take(number).any(same);
        let surplus = if already { line.quantity } else { line.quantity.saturating_sub(1) };
        let status = if self.radio == Some(radio) {
            if surplus > 0 { LineStatus::OneTooMany { surplus } } else { LineStatus::Needed }
        } else {
            match self.lines.iter().position(chosen).and_then(|line| u32::try_from(line).ok()) {
                Some(line) => LineStatus::InConflict { line },
                None => LineStatus::NotNeeded,
            }
        };
        bare(status, None)
    }

    /// What stands against a part that is not used: a line that has it in its box, or that takes its place.
    fn beside(&self, part: &Part, chosen: &[RecordIx], job: &JobView<'_>) -> Option<LineStatus> {
        let line_of = |index: RecordIx| {
            let line = self.lines.iter().position(|line| weighed(self.snapshot, line) == Some(index))?;
            u32::try_from(line).ok()
        };
        let used =
            || chosen.iter().filter_map(|index| Some((line_of(*index)?, self.snapshot.parts().get(*index)?)));
        let boxed = used().find(|(_, other)| has_in_box(other, part));
        if let Some((line, _)) = boxed {
            return Some(LineStatus::InTheBoxOf { line });
        }
        let clash = used().find(|(_, other)| clash(job, part, other));
        clash.map(|(line, _)| LineStatus::InConflict { line })
    }

    /// Why a part is not used.
    fn unused(&self, judged: &Judged<'_>, index: RecordIx, part: &Part) -> (LineStatus, Vec<Reason>) {
        if !promises(part) {
            return (LineStatus::NotNeeded, Vec::new());
        }
        let Judged { job, demands } = judged;
        let whole = job.part_refusals(part);
        let offers = |index: RecordIx| {
            demands.iter().any(|demand| demand.offers.iter().any(|offer| offer.part == index))
        };
        if offers(index) {
            return (LineStatus::NotNeeded, Vec::new());
        }
        let for_vehicle = job.view.case.offers.iter().any(|offer| offer.part == index);
        if !for_vehicle {
            let exclusions = job.view.case.exclusions.iter().filter(|exclusion| exclusion.part == index);
            let reasons = exclusions
                .map(|exclusion| Reason::PartIsNotFor { part: part.id.clone(), need: exclusion.need });
            return (LineStatus::WrongForVehicle, reasons.collect());
        }
        let mut reasons = whole;
        let refused = demands.iter().flat_map(|demand| &demand.refused).filter(|(own, _)| *own == index);
        for reason in refused.flat_map(|(_, reasons)| reasons) {
            if !reasons.contains(reason) {
                reasons.push(reason.clone());
            }
        }
        let of_radio = |reason: &Reason| {
            matches!(
                reason,
                Reason::NotForRadio { .. }
                    | Reason::SocketMissing { .. }
                    | Reason::FrameTooSmall { .. }
                    | Reason::TooDeep { .. }
                    | Reason::Unjoinable { .. }
            )
        };
        // What serves a need that does not arise here goes and is not needed.
        let status = match reasons.as_slice() {
            [] => LineStatus::NotNeeded,
            reasons if reasons.iter().any(of_radio) => LineStatus::WrongForRadio,
            _ => LineStatus::WrongForVehicle,
        };
        (status, reasons)
    }

    fn completion(&self, job: &JobView<'_>, group: &PlanGroup, from_scratch: &Request) -> Completion {
        let plan = &group.plan;
        let chosen = plan.chosen.as_ref();
        let parts: Vec<RecordIx> = chosen
            .map(|chosen| chosen.parts.iter().map(|planned| planned.part).collect())
            .unwrap_or_default();
        let add: Vec<RecordIx> = parts.iter().copied().filter(|part| !job.in_hand(*part)).collect();
        Completion {
            candidates: group.candidates.clone(),
            verdict: plan.verdict,
            verdict_reasons: plan.verdict_reasons.clone(),
            total: chosen.map(|_| select::total(job, &add, plan.currency)),
            cheaper: chosen.and_then(|_| cheaper(job, plan, &parts, from_scratch)),
            add,
        }
    }
}

/// A list from scratch, if it costs less than the parts at their full prices.
fn cheaper(
    job: &JobView<'_>,
    plan: &CasePlan,
    parts: &[RecordIx],
    from_scratch: &Request,
) -> Option<Cheaper> {
    let fresh = JobView { view: job.view, radio: job.radio, request: from_scratch };
    let demands = demands(&fresh);
    let all: Vec<_> = demands.iter().collect();
    let best = select::Selection::of(&fresh, &all, plan.currency).best().found()?;
    let known = |parts: &[RecordIx]| {
        let total = select::total(&fresh, parts, plan.currency);
        total.price.filter(|_| total.unpriced == 0)
    };
    let (price, than) = (known(&best.parts)?, known(parts)?);
    (price.minor_units < than.minor_units).then_some(Cheaper { parts: best.parts, price, than })
}

/// Whether the plan needs a part for what must be: by itself, or for a part that is needed.
fn is_needed(plan: &CasePlan, part: RecordIx) -> bool {
    let (mut open, mut seen) = (vec![part], BTreeSet::new());
    while let Some(index) = open.pop() {
        if !seen.insert(index) {
            continue;
        }
        let must =
            |need: &crate::plan::PlannedNeed| need.importance == Importance::Must && need.by.contains(&index);
        if plan.needs.iter().any(must) {
            return true;
        }
        let planned = plan.chosen.iter().flat_map(|chosen| &chosen.parts).find(|own| own.part == index);
        open.extend(planned.iter().flat_map(|planned| planned.required_by.iter().copied()));
    }
    false
}

/// Whether two parts can not be used together: one says so, or both want the same plug or socket for themselves.
fn clash(job: &JobView<'_>, one: &Part, other: &Part) -> bool {
    if one.conflicts.contains(&other.id) || other.conflicts.contains(&one.id) {
        return true;
    }
    let takes = |part: &'_ Part| -> Vec<_> {
        let taken = part.occupies.iter().filter(|occupied| occupied.mode == Occupancy::Takes);
        taken.map(|occupied| occupied.what.clone()).collect()
    };
    let theirs = takes(other);
    takes(one).iter().any(|resource| theirs.contains(resource) && job.capacity(resource) < 2)
}

fn has_in_box(bundle: &Part, part: &Part) -> bool {
    bundle.contains.iter().any(|contained| match contained {
        Contained::Part { part: id, .. } => *id == part.id,
        Contained::Piece { .. } => false,
    })
}

/// Whether a part says that it meets anything: a loose item is right for every vehicle.
fn promises(part: &Part) -> bool {
    part.covers.iter().any(|cover| cover.says == CoverSense::Meets)
}

fn bare(status: LineStatus, successor: Option<RecordIx>) -> JudgedLine {
    JudgedLine { status, serves: Vec::new(), successor, reasons: Vec::new() }
}

/// What all plans say of a line.
fn agreed(mut judged: Vec<JudgedLine>) -> JudgedLine {
    let Some(first) = judged.first().cloned() else { return bare(LineStatus::Depends, None) };
    if judged.iter().any(|line| line.status != first.status) {
        return JudgedLine { status: LineStatus::Depends, ..first };
    }
    judged.swap_remove(0)
}

fn verdict(lines: &[JudgedLine], completions: &[Completion]) -> CartVerdict {
    let fits =
        |completion: &Completion| matches!(completion.verdict, Verdict::FitsAsIs | Verdict::FitsWithParts);
    let Some(first) = completions.first() else { return CartVerdict::Depends };
    if !completions.iter().any(fits) {
        return CartVerdict::NoWay;
    }
    let differ =
        |other: &Completion| fits(other) != fits(first) || other.add.is_empty() != first.add.is_empty();
    if completions.iter().any(differ) || lines.iter().any(|line| line.status == LineStatus::Depends) {
        return CartVerdict::Depends;
    }
    if !first.add.is_empty() {
        return CartVerdict::Incomplete;
    }
    let useful = |line: &JudgedLine| matches!(line.status, LineStatus::Needed | LineStatus::ForAWish);
    if lines.iter().all(useful) { CartVerdict::Complete } else { CartVerdict::CompleteWithSurplus }
}
