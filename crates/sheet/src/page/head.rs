//! The head of a sheet: whether to begin at all, what it is for, and what to beware of.

use dashwright_planner::{Caution, Met, PlannedNeed, Verdict, cautions};
use dashwright_snapshot::Candidate;

use super::{once, sentence};
use crate::job::Job;
use crate::words::{self, class, spoken};

/// Vehicle lines that are named; the rest is counted.
const MOST_VEHICLES: usize = 6;

/// The head.
pub(crate) struct Head {
    /// Whether there is work to do.
    pub(super) begin: bool,
    /// The first line.
    pub(super) verdict: String,
    /// Losses that were consented to: they belong to the first line.
    pub(super) consented: Vec<String>,
    pub(super) reasons: Vec<String>,
    /// Needs that nothing meets, where there is no way.
    pub(super) lacking: Vec<Lacking>,
    pub(super) title: String,
    pub(super) vehicles: Vec<VehicleView>,
    pub(super) more_vehicles: usize,
    pub(super) radio: String,
    pub(super) radio_model: String,
    pub(super) radio_facts: String,
    pub(super) dash: String,
    pub(super) dash_tell: String,
    pub(super) cautions: Vec<String>,
}

/// A vehicle line with an audio option.
pub(crate) struct VehicleView {
    pub(super) name: String,
    pub(super) audio: String,
    pub(super) how_to_tell: String,
}

/// A need that nothing meets.
pub(crate) struct Lacking {
    pub(super) need: String,
    pub(super) why: Vec<String>,
}

impl Head {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let plan = job.input.plan;
        let begin = job.work.is_some() && may_begin(plan.verdict);
        let vehicles: Vec<VehicleView> =
            job.input.candidates.iter().filter_map(|candidate| vehicle(job, candidate)).collect();
        let more_vehicles = vehicles.len().saturating_sub(MOST_VEHICLES);
        let first = vehicles.first().map(|vehicle| vehicle.name.clone()).unwrap_or_default();
        let told = plan.consented.iter().map(|need| format!("lost by consent: {}", spoken(need.name())));
        let reasons = plan.verdict_reasons.iter().map(words::reason);
        let consented: Vec<String> = told.collect();
        let reasons = once(reasons.filter(|reason| !consented.contains(reason)).map(|it| sentence(&it)));
        Self {
            begin,
            verdict: verdict(plan.verdict).to_owned(),
            reasons,
            lacking: if begin { Vec::new() } else { lacking(&plan.needs) },
            consented,
            title: format!("{} in {first}", job.radio_name()),
            vehicles: vehicles.into_iter().take(MOST_VEHICLES).collect(),
            more_vehicles,
            radio: job.radio_name(),
            radio_model: job.radio.model.to_string(),
            radio_facts: radio_facts(job),
            dash: format!("{}, {}", job.dash.title, class(job.dash.opening.class.name())),
            dash_tell: job.dash.how_to_tell.as_ref().map(ToString::to_string).unwrap_or_default(),
            cautions: told_cautions(job),
        }
    }
}

/// Whether work may begin by a verdict.
const fn may_begin(verdict: Verdict) -> bool {
    match verdict {
        Verdict::FitsAsIs | Verdict::FitsWithParts => true,
        Verdict::CannotFit
        | Verdict::NoKnownWay
        | Verdict::NotWithExclusions
        | Verdict::Unknown
        | Verdict::Depends => false,
    }
}

const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::FitsAsIs => "Fits as it is, without parts",
        Verdict::FitsWithParts => "Fits with the parts below",
        Verdict::CannotFit => "It can not fit: proven by the numbers below",
        Verdict::NoKnownWay => "No way is known: the catalogue has no part for something that must be met",
        Verdict::NotWithExclusions => {
            "Not with what is left out: parts that would do are excluded or not in stock"
        }
        Verdict::Unknown => "Unknown: a fact is missing that decides it",
        Verdict::Depends => "It depends on what is still open",
    }
}

fn vehicle(job: &Job<'_>, candidate: &Candidate) -> Option<VehicleView> {
    let snapshot = job.snapshot;
    let line = snapshot.line(candidate.line)?;
    let (model, make) = (snapshot.model_of(line)?, snapshot.make_of(line)?);
    let option = &snapshot.options_of(line).get(usize::from(*candidate.options.first()?))?.option;
    let (first, last) = (line.years.from().get(), line.years.to().get());
    let years = if first == last { first.to_string() } else { format!("{first}–{last}") };
    let distinction = words::distinction(line);
    let distinction = if distinction.is_empty() { String::new() } else { format!(", {distinction}") };
    Some(VehicleView {
        name: format!("{years} {} {}{distinction}", make.name, model.name),
        audio: format!("{} ({})", option.title, option.code),
        how_to_tell: option.how_to_tell.to_string(),
    })
}

fn radio_facts(job: &Job<'_>) -> String {
    let mut facts = vec![format!("{} chassis", class(job.radio.chassis.class.name()))];
    facts.extend(job.radio.chassis.shallow.then(|| "shallow".to_owned()));
    facts.extend(job.radio.floating_screen.as_ref().map(|screen| {
        format!("floating screen {} × {}", crate::svg::num(screen.width.get()), screen.height)
    }));
    facts.extend(job.radio.electrics.max_current.map(|most| format!("draws up to {most}")));
    facts.extend(job.radio.electrics.fuse.map(|fuse| format!("own fuse {fuse}")));
    facts.join(", ")
}

fn told_cautions(job: &Job<'_>) -> Vec<String> {
    let feigned = job.input.plan.feigns_interlock(job.snapshot).then_some(Caution::InterlockFeigned);
    let all = feigned.into_iter().chain(cautions([job.dash].into_iter()));
    once(all.map(|caution| sentence(&words::caution(&caution))))
}

fn lacking(needs: &[PlannedNeed]) -> Vec<Lacking> {
    let unmet = needs.iter().filter(|need| {
        need.importance == dashwright_planner::Importance::Must
            && matches!(need.met, Met::ByNothingKnown | Met::Unknown)
    });
    unmet
        .map(|need| Lacking {
            need: spoken(need.need.name()),
            why: once(need.reasons.iter().map(|reason| sentence(&words::reason(reason)))),
        })
        .collect()
}
