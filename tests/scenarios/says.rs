//! What a plan says, as lines that a scenario can name.

use std::collections::BTreeMap;

use dashwright_checks::screen::Finding;
use dashwright_planner::{Action, CasePlan, Checks, Place, Reason, Step, Subject, minutes_at};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::{leads, reason_name, term};

/// A plan in words.
#[derive(Default)]
pub(super) struct Says {
    pub(super) parts: Vec<String>,
    pub(super) price: Option<u64>,
    pub(super) consented: Vec<String>,
    pub(super) musts_only: Vec<String>,
    pub(super) musts_price: Option<u64>,
    pub(super) spare_depth: Option<f64>,
    pub(super) joins: Vec<String>,
    pub(super) insulated: Vec<String>,
    pub(super) fetched: Vec<String>,
    pub(super) undecided: Vec<String>,
    pub(super) traps: Vec<String>,
    pub(super) refused: Vec<String>,
    pub(super) settings: Vec<String>,
    pub(super) features: Vec<String>,
    pub(super) needs: Vec<String>,
    pub(super) checks: Vec<String>,
    pub(super) steps: Vec<String>,
    pub(super) minutes: BTreeMap<String, f64>,
    pub(super) adds: BTreeMap<String, i64>,
    pub(super) alternatives: Vec<Vec<String>>,
    pub(super) variants_of: BTreeMap<String, Vec<String>>,
    reasons: Vec<Reason>,
}

/// Checks as `KIND about OUTCOME margin unit`, then where the screen is best, then the direct feed.
fn checks(checks: &Checks) -> Vec<String> {
    let told = checks.checks.iter().map(|own| {
        let about = match own.subject {
            Subject::Job => String::new(),
            Subject::Speaker(position) => format!(" {position}"),
            Subject::Buttons(wire) => format!(" {wire}"),
        };
        let margin = own.result.margin.as_ref();
        let margin = margin.map(|it| format!(" {:.3} {}", it.signed(), it.amount.value.unit()));
        let (kind, outcome) = (term(&own.result.check), term(&own.result.outcome));
        format!("{kind}{about} {outcome}{}", margin.unwrap_or_default())
    });
    let mut told: Vec<String> = told.collect();
    let free = checks.screen.as_ref().and_then(|screen| match &screen.report.finding {
        Finding::Free(best) => Some((screen, best)),
        _ => None,
    });
    if let Some((screen, best)) = free {
        let covered = best.covered.iter().map(|own| {
            let name = screen.neighbours.get(own.obstacle).map_or("?", |neighbour| neighbour.name.as_str());
            format!("; covers {:.1} mm² of {name}", own.area.get())
        });
        let (height, stand_off, tilt) = (best.height.get(), best.stand_off.get(), best.tilt.get());
        told.push(format!(
            "BEST height {height} stand-off {stand_off} tilt {tilt}{}",
            covered.collect::<String>()
        ));
    }
    if let Some(Ok(feed)) = &checks.feed {
        told.push(format!("FEED {} fuse {}", feed.laid.conductor, feed.fuse.rating));
    }
    told
}

impl Says {
    pub(super) fn of(snapshot: &Snapshot, plan: &CasePlan) -> Self {
        let ids = |parts: &[RecordIx]| part_ids(snapshot, parts);
        let mut says = Self {
            consented: plan.consented.iter().map(ToString::to_string).collect(),
            reasons: plan.verdict_reasons.clone(),
            ..Self::default()
        };
        for need in &plan.needs {
            let by = ids(&need.by);
            says.needs
                .push(with(format!("{} {} {}", need.need, term(&need.importance), term(&need.met)), &by));
            says.adds.extend(need.adds.map(|adds| (need.need.to_string(), adds)));
        }
        says.features = plan
            .features
            .iter()
            .map(|one| with(format!("{} {}", one.feature, term(&one.outcome)), &ids(&one.by)))
            .collect();
        if let Some(chosen) = &plan.chosen {
            says.parts = chosen.parts.iter().flat_map(|planned| ids(&[planned.part])).collect();
            says.price = chosen.total.price.map(|price| price.minor_units);
            says.alternatives = chosen.alternatives.iter().map(|other| ids(&other.parts)).collect();
            says.musts_only = chosen.musts_only.iter().flat_map(|other| ids(&other.parts)).collect();
            let musts = chosen.musts_only.as_ref().and_then(|other| other.total.price);
            says.musts_price = musts.map(|price| price.minor_units);
            says.variants_of = chosen
                .parts
                .iter()
                .map(|planned| (ids(&[planned.part]).concat(), ids(&planned.variants)))
                .collect();
        }
        says.add_work(snapshot, plan);
        says
    }

    fn add_work(&mut self, snapshot: &Snapshot, plan: &CasePlan) {
        let Some(work) = plan.chosen.as_ref().and_then(|chosen| chosen.work.as_ref()) else { return };
        self.spare_depth = work.mount.spare_depth.map(|spare| spare.get());
        self.joins = work.wiring.joins.iter().map(leads::join).collect();
        self.insulated = work.wiring.insulated.iter().map(leads::loose).collect();
        self.fetched = work.wiring.fetched.iter().map(leads::fetched).collect();
        self.undecided = work.wiring.undecided.iter().map(leads::loose).collect();
        self.traps = work.wiring.traps.iter().map(leads::trap).collect();
        self.refused = work.wiring.refused.iter().map(leads::refused).collect();
        self.settings = work
            .settings
            .iter()
            .flat_map(|own| leads::settings(&part_ids(snapshot, &[own.part]).concat(), &own.settings))
            .collect();
        self.checks = checks(&work.checks);
        self.steps = work.steps.iter().map(|own| step(snapshot, own)).collect();
        for (name, place) in [("BENCH", Place::Bench), ("VEHICLE", Place::Vehicle)] {
            self.minutes.insert(name.to_owned(), minutes_at(&work.steps, place).get());
        }
    }

    /// That no reason of the verdict has the name and mentions the words.
    pub(super) fn because_lacks(&self, wanted: &str) -> Option<String> {
        let found = self.reasons.iter().any(|reason| mentions(reason, wanted));
        (!found).then(|| format!("no reason `{wanted}`; there is: {:?}", self.reasons))
    }

    /// The first statement that contains a forbidden text; each begins with what it is.
    pub(super) fn forbidden(&self, text: &str) -> Option<String> {
        if let Some(reason) = text.strip_prefix("BECAUSE ") {
            let found = self.reasons.iter().find(|own| mentions(own, reason));
            return found.map(|own| format!("never `{text}`, but {own:?}"));
        }
        let lists = [
            ("PART", &self.parts),
            ("JOIN", &self.joins),
            ("INSULATED", &self.insulated),
            ("FETCH", &self.fetched),
            ("UNDECIDED", &self.undecided),
            ("TRAP", &self.traps),
            ("SETTING", &self.settings),
            ("FEATURE", &self.features),
            ("NEED", &self.needs),
            ("CHECK", &self.checks),
            ("STEP", &self.steps),
        ];
        let all = lists.iter().flat_map(|(what, list)| list.iter().map(move |own| format!("{what} {own}")));
        let found = all.into_iter().find(|own| match text.strip_prefix("PART ") {
            Some(_) => own == text,
            None => own.contains(text),
        });
        found.map(|own| format!("never `{text}`, but `{own}`"))
    }

    /// Steps that are not there, or that come first before one that should come before them.
    pub(super) fn out_of_order(&self, wanted: &[String]) -> Vec<String> {
        let (mut wrong, mut reached) = (Vec::new(), 0);
        for text in wanted {
            let is = |own: &String| match text.strip_suffix('…') {
                Some(start) => own.starts_with(start),
                None => own == text,
            };
            match self.steps.iter().position(is) {
                Some(place) if place >= reached => reached = place + 1,
                Some(_) => wrong.push(format!("step `{text}` comes too early in {:#?}", self.steps)),
                None => wrong.push(format!("no step `{text}` in {:#?}", self.steps)),
            }
        }
        wrong
    }
}

/// Whether a reason has the name, or any for `*`, and mentions each of the words, whatever their spelling.
fn mentions(reason: &Reason, wanted: &str) -> bool {
    let plain = |text: &str| text.replace('_', "").to_lowercase();
    let mut words = wanted.split(' ');
    let name = words.next().unwrap_or_default();
    let text = plain(&format!("{reason:?}"));
    (name == "*" || name == reason_name(reason)) && words.all(|word| text.contains(&plain(word)))
}

pub(super) fn part_ids(snapshot: &Snapshot, parts: &[RecordIx]) -> Vec<String> {
    parts.iter().map(|part| snapshot.parts().get(*part).unwrap().id.to_string()).collect()
}

fn with(text: String, parts: &[String]) -> String {
    if parts.is_empty() { text } else { format!("{text}: {}", parts.join(" ")) }
}

/// A step as `PHASE ACTION what`.
fn step(snapshot: &Snapshot, step: &Step) -> String {
    let part = |index: &RecordIx| part_ids(snapshot, &[*index]).concat();
    let action = match &step.action {
        Action::Remove { what } => format!("REMOVE {what}"),
        Action::Refit { what } => format!("REFIT {what}"),
        Action::PassRestraintPlug { location, how_to_tell: _, unplug } => {
            let unplug = if *unplug { "unplug" } else { "leave" };
            format!("PASS_RESTRAINT_PLUG {location}; {unplug}")
        }
        Action::Assemble { part: own, used, left_out } => assemble(&part(own), used, left_out),
        Action::JoinLeads { joins, insulated } => {
            format!("JOIN_LEADS {joins} joins, {insulated} insulated")
        }
        Action::Set { part: own } => format!("SET {}", part(own)),
        Action::Fetch { function, found_at: _ } => format!("FETCH {function}"),
        Action::Place { part: own } => format!("PLACE {}", part(own)),
        Action::TestNeed { need } => format!("TEST_NEED {need}"),
        Action::TestFeature { feature } => format!("TEST_FEATURE {feature}"),
        Action::PowerOff
        | Action::TakeOutFactoryRadio
        | Action::KeepFactoryRadioConnected
        | Action::PlaceRadio
        | Action::ReconnectRestraint
        | Action::PowerOn
        | Action::FixRadio
        | Action::TestAgain => term(&step.action),
    };
    format!("{} {action}", term(&step.phase))
}

fn assemble<L: std::fmt::Display>(part: &str, used: &[(L, u8)], left_out: &[(L, u8)]) -> String {
    let pieces = |pieces: &[(L, u8)]| {
        pieces.iter().map(|(name, count)| format!("{count} {name}")).collect::<Vec<_>>().join(", ")
    };
    let mut text = format!("ASSEMBLE {part}");
    if !used.is_empty() {
        text = format!("{text} with {}", pieces(used));
    }
    if !left_out.is_empty() {
        text = format!("{text}; without {}", pieces(left_out));
    }
    text
}
