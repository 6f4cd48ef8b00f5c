//! Steps: out, bench, in, test with the dash open, close, final test.

use dashwright_model::record::dash::{Fastener, RemovalStep};
use dashwright_model::record::part::Contained;
use dashwright_model::{Feature, Function, Need};
use dashwright_quantity::{Label, Minutes, Prose};
use dashwright_snapshot::RecordIx;

use crate::answer::{Met, Outcome};
use crate::job::JobView;
use crate::plan::{PartSettings, PlannedFeature, PlannedNeed};
use crate::radios;
use crate::select::from_hundredths;
use crate::wiring::Wiring;

/// Where a step is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// At the bench.
    Bench,
    /// In the vehicle.
    Vehicle,
}

/// The part of the job that a step belongs to, in the order of the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// Taking apart.
    Out,
    /// Assembling, joining, setting.
    Bench,
    /// Putting in, before power.
    In,
    /// Testing with the dash open.
    TestOpen,
    /// Closing.
    Close,
    /// Testing again.
    TestClosed,
}

/// A step of the job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Which part of the job.
    pub phase: Phase,
    /// Where.
    pub place: Place,
    /// What is done.
    pub action: Action,
    /// Tools.
    pub tools: Vec<Label>,
    /// Fasteners that are undone or set.
    pub fasteners: Vec<Fastener>,
    /// Time, where it is recorded.
    pub minutes: Option<Minutes>,
    /// What to beware of.
    pub caution: Option<Prose>,
}

/// What is done in a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Action {
    /// Discs out, ignition off, battery negative off, the maker's waiting time.
    PowerOff,
    /// A piece of the dash comes off.
    Remove {
        /// What.
        what: Label,
    },
    /// A restraint plug is passed; unplugged only where that must be.
    PassRestraintPlug {
        /// Where it is.
        location: Label,
        /// How to recognise it.
        how_to_tell: Prose,
        /// Whether it is unplugged.
        unplug: bool,
    },
    /// The factory radio comes out, where the record does not say how.
    TakeOutFactoryRadio,
    /// The factory radio stays connected, hidden: other systems talk through it.
    KeepFactoryRadioConnected,
    /// A part is assembled, with these loose pieces and without those.
    Assemble {
        /// The part.
        part: RecordIx,
        /// Pieces that are used.
        used: Vec<(Label, u8)>,
        /// Pieces that are left out.
        left_out: Vec<(Label, u8)>,
    },
    /// Leads are joined on the bench: soldered and shrunk, crimped or capped; never twisted.
    JoinLeads {
        /// How many joins.
        joins: u32,
        /// How many leads are insulated.
        insulated: u32,
    },
    /// A module is set.
    Set {
        /// The part.
        part: RecordIx,
    },
    /// A wire is fetched elsewhere in the car.
    Fetch {
        /// What.
        function: Function,
        /// Where.
        found_at: Option<Prose>,
    },
    /// A part is plugged in or fixed.
    Place {
        /// The part.
        part: RecordIx,
    },
    /// The radio is put in place, not fixed yet.
    PlaceRadio,
    /// Every restraint plug is reconnected and checked before power.
    ReconnectRestraint,
    /// Battery on.
    PowerOn,
    /// A need that was met is tested.
    TestNeed {
        /// Which.
        need: Need,
    },
    /// A feature that is kept is tested.
    TestFeature {
        /// Which.
        feature: Feature,
    },
    /// The radio is fixed.
    FixRadio,
    /// A piece of the dash goes back.
    Refit {
        /// What.
        what: Label,
    },
    /// Everything is tested once more.
    TestAgain,
}

/// The time of a place, as far as it is recorded.
#[must_use]
pub fn minutes_at(steps: &[Step], place: Place) -> Minutes {
    let times = steps.iter().filter(|step| step.place == place).filter_map(|step| step.minutes);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10,000 minutes")]
    let hundredths = times.map(|time| (time.get() * 100.0).round() as u64).sum();
    from_hundredths(hundredths)
}

/// The steps of a job, in their order.
pub(crate) fn steps(
    job: &JobView<'_>,
    parts: &[RecordIx],
    wiring: &Wiring,
    settings: &[PartSettings],
    needs: &[PlannedNeed],
    features: &[PlannedFeature],
) -> Vec<Step> {
    let mut steps = out(job);
    steps.extend(bench(job, parts, wiring, settings));
    steps.extend(put_in(job, parts, wiring));
    steps.extend(test_open(needs, features));
    steps.extend(close(job));
    steps.push(step(Phase::TestClosed, Place::Vehicle, Action::TestAgain));
    steps
}

fn step(phase: Phase, place: Place, action: Action) -> Step {
    Step { phase, place, action, tools: Vec::new(), fasteners: Vec::new(), minutes: None, caution: None }
}

fn out(job: &JobView<'_>) -> Vec<Step> {
    let dash = job.view.dash;
    let here = |action| step(Phase::Out, Place::Vehicle, action);
    let mut steps = vec![here(Action::PowerOff)];
    steps.extend(dash.restraint_plugs.iter().map(|plug| {
        here(Action::PassRestraintPlug {
            location: plug.location.clone(),
            how_to_tell: plug.how_to_tell.clone(),
            unplug: plug.must_be_unplugged,
        })
    }));
    steps.extend(dash.removal.iter().map(|removal| {
        undone(Phase::Out, removal, Action::Remove { what: removal.what.clone() }, removal.caution.clone())
    }));
    if dash.removal.is_empty() {
        steps.push(Step { fasteners: dash.fasteners.clone(), ..here(Action::TakeOutFactoryRadio) });
    }
    if !job.view.audio.gateway_for.is_empty() {
        steps.push(here(Action::KeepFactoryRadioConnected));
    }
    steps
}

fn undone(phase: Phase, removal: &RemovalStep, action: Action, caution: Option<Prose>) -> Step {
    Step {
        phase,
        place: Place::Vehicle,
        action,
        tools: removal.tools.clone(),
        fasteners: removal.fasteners.clone(),
        minutes: Some(removal.minutes),
        caution,
    }
}

fn bench(job: &JobView<'_>, parts: &[RecordIx], wiring: &Wiring, settings: &[PartSettings]) -> Vec<Step> {
    let here = |action| step(Phase::Bench, Place::Bench, action);
    let assemble = parts.iter().filter_map(|index| {
        let part = job.part(*index)?;
        let (used, left_out) = pieces(job, &part.contains);
        let action = Action::Assemble { part: *index, used, left_out };
        Some(Step { minutes: part.bench_time, ..here(action) })
    });
    let mut steps: Vec<Step> = assemble.collect();
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let (joins, insulated) = (count(wiring.joins.len()), count(wiring.insulated.len()));
    if joins + insulated > 0 {
        steps.push(here(Action::JoinLeads { joins, insulated }));
    }
    steps.extend(settings.iter().map(|settings| here(Action::Set { part: settings.part })));
    steps
}

/// Loose pieces, each with how many.
type Pieces = Vec<(Label, u8)>;

/// The loose pieces that are used with this radio, and those that are left out.
fn pieces(job: &JobView<'_>, contains: &[Contained]) -> (Pieces, Pieces) {
    let (mut used, mut left_out) = (Vec::new(), Vec::new());
    for contained in contains {
        let Contained::Piece { name, count, used_with, when: _ } = contained else { continue };
        let is_used = used_with.as_ref().is_none_or(|condition| radios::radio_matches(condition, job.radio));
        if is_used { &mut used } else { &mut left_out }.push((name.clone(), *count));
    }
    (used, left_out)
}

fn put_in(job: &JobView<'_>, parts: &[RecordIx], wiring: &Wiring) -> Vec<Step> {
    let here = |action| step(Phase::In, Place::Vehicle, action);
    let fetch = wiring
        .fetched
        .iter()
        .map(|fetch| here(Action::Fetch { function: fetch.function, found_at: fetch.found_at.clone() }));
    let place = parts.iter().filter(|index| job.part(**index).is_some_and(|part| !part.occupies.is_empty()));
    let mut steps: Vec<Step> = fetch.collect();
    steps.extend(place.map(|index| here(Action::Place { part: *index })));
    steps.push(here(Action::PlaceRadio));
    // Every restraint plug is back before power is: nothing of the restraint system may find a circuit open.
    steps.push(here(Action::ReconnectRestraint));
    steps.push(here(Action::PowerOn));
    steps
}

fn test_open(needs: &[PlannedNeed], features: &[PlannedFeature]) -> Vec<Step> {
    let here = |action| step(Phase::TestOpen, Place::Vehicle, action);
    let kept = |feature: &&PlannedFeature| matches!(feature.outcome, Outcome::Kept | Outcome::KeptWithLimit);
    let kept: Vec<Feature> = features.iter().filter(kept).map(|feature| feature.feature).collect();
    let by_feature = |need: Need| kept.iter().any(|feature| feature.need() == need);
    let met = needs
        .iter()
        .filter(|need| matches!(need.met, Met::Directly | Met::ByPart) && need.need != Need::Mount)
        .filter(|need| !by_feature(need.need));
    let mut steps: Vec<Step> = met.map(|need| here(Action::TestNeed { need: need.need })).collect();
    steps.extend(kept.iter().map(|feature| here(Action::TestFeature { feature: *feature })));
    steps
}

/// What came off goes back, the last first. The way back takes as long as the way out (common practice, no source).
fn close(job: &JobView<'_>) -> Vec<Step> {
    let Some((unit, panels)) = job.view.dash.removal.split_last() else {
        return vec![step(Phase::Close, Place::Vehicle, Action::FixRadio)];
    };
    let fix = undone(Phase::Close, unit, Action::FixRadio, None);
    let refit = |removal: &RemovalStep| {
        undone(Phase::Close, removal, Action::Refit { what: removal.what.clone() }, None)
    };
    std::iter::once(fix).chain(panels.iter().rev().map(refit)).collect()
}
