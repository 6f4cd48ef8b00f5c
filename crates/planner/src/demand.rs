//! Demands: the needs of one job, each with how much it matters to this caller and what can meet it with this radio.

use std::collections::BTreeMap;

use dashwright_model::record::audio::Presence;
use dashwright_model::record::part::PartKind;
use dashwright_model::record::radio::{Radio, RadioAsk, SocketKind};
use dashwright_model::{Carrier, Feature, Function, Need};
use dashwright_snapshot::{Offer, RecordIx};

use crate::answer::{Importance, Met};
use crate::fit;
use crate::job::JobView;
use crate::needs::{self, Arisen};
use crate::reason::Reason;
use crate::request::{DEFAULT_WEIGHT, may_be_lost};
use crate::wiring;

/// A need of the job.
pub(crate) struct Demand<'a> {
    pub(crate) need: Need,
    pub(crate) importance: Importance,
    /// How much a wish counts; 0 for what is not wished.
    pub(crate) weight: u32,
    /// The caller consented to its loss by name.
    pub(crate) consented: bool,
    /// It arises only with a part that replaces the panel.
    pub(crate) on_panel: bool,
    /// It is met without a part.
    pub(crate) direct: bool,
    /// The catalogue lacks a fact that decides whether it is met.
    pub(crate) unknown: bool,
    /// Why it arises, and why it is met directly or not.
    pub(crate) why: Vec<Reason>,
    /// What meets it here with this radio.
    pub(crate) offers: Vec<&'a Offer>,
    /// What would meet it if the caller did not leave it out.
    pub(crate) left_out: Vec<(&'a Offer, Reason)>,
    /// What says that it meets it and can not here, with the reasons.
    pub(crate) refused: Vec<(RecordIx, Vec<Reason>)>,
    /// Parts that say they are not for this need here.
    pub(crate) not_for: Vec<Reason>,
}

/// The demands of a job, in the order in which needs are told.
pub(crate) fn demands<'a>(job: &JobView<'a>) -> Vec<Demand<'a>> {
    let mut part_refusals = PartRefusals::default();
    let mount = Arisen {
        need: Need::Mount,
        importance: Importance::Must,
        why: vec![Reason::AlwaysNeeded],
        otherwise: Met::ByNothingKnown,
    };
    let mut arisen: Vec<Arisen> = std::iter::once(mount).chain(needs::arisen(&job.view)).collect();
    arisen.extend(on_replaced_panel(job, &arisen));
    arisen.extend(additions(job, &arisen));
    arisen.into_iter().map(|arisen| weigh(job, arisen, &mut part_refusals)).collect()
}

/// What sits in the panel that a kit replaces is missed like any other feature.
fn on_replaced_panel(job: &JobView<'_>, known: &[Arisen]) -> Vec<Arisen> {
    let missed = Feature::ALL.iter().filter_map(|feature| {
        let need = feature.need();
        let on_panel = job.view.on_replaced_panel(*feature)?;
        let sits = job.view.carrier(*feature) == Some(Carrier::DashPanel);
        let new = sits && known.iter().all(|arisen| arisen.need != need);
        let importance = Importance::Wished;
        new.then(|| Arisen { need, importance, why: vec![on_panel], otherwise: Met::ByNothingKnown })
    });
    missed.collect()
}

/// What the caller wants added.
fn additions(job: &JobView<'_>, known: &[Arisen]) -> Vec<Arisen> {
    let named = job.request.wishes.named.iter().filter(|(_, weight)| **weight > 0);
    let new = named.filter(|(need, _)| known.iter().all(|arisen| arisen.need != **need));
    new.map(|(need, _)| Arisen {
        need: *need,
        importance: Importance::Wished,
        why: vec![Reason::Added { need: *need }],
        otherwise: Met::ByNothingKnown,
    })
    .collect()
}

/// Refusals of whole parts, worked out once a part.
#[derive(Default)]
struct PartRefusals(BTreeMap<RecordIx, Vec<Reason>>);

impl PartRefusals {
    fn of(&mut self, job: &JobView<'_>, index: RecordIx) -> &[Reason] {
        self.0
            .entry(index)
            .or_insert_with(|| job.part(index).map(|part| job.part_refusals(part)).unwrap_or_default())
    }
}

fn weigh<'a>(job: &JobView<'a>, arisen: Arisen, parts: &mut PartRefusals) -> Demand<'a> {
    let Arisen { need, importance, why, otherwise } = arisen;
    let mut demand = Demand {
        need,
        importance,
        weight: 0,
        consented: false,
        on_panel: sits_on_panel(job, need),
        direct: false,
        unknown: otherwise == Met::Unknown,
        why,
        offers: Vec::new(),
        left_out: Vec::new(),
        refused: Vec::new(),
        not_for: job.view.refusals(need),
    };
    demand.matter(job);
    if !radio_can(job.radio, need) {
        demand.unknown = false;
        demand.why.push(Reason::RadioLacks { radio: job.radio.id.clone(), need });
        return demand;
    }
    demand.gather(job, parts);
    demand.meet_directly(job, otherwise);
    demand
}

impl Demand<'_> {
    /// Whether the radio can not be served with it at all, so that no part was looked at: nothing is said of parts then.
    pub(crate) fn radio_lacks(&self) -> bool {
        self.why.iter().any(|reason| matches!(reason, Reason::RadioLacks { .. }))
    }

    /// Says how much it matters to the caller.
    fn matter(&mut self, job: &JobView<'_>) {
        let radio_asks = asks(job.radio, self.need);
        if radio_asks {
            self.why.push(Reason::RadioAsks { radio: job.radio.id.clone(), need: self.need });
        }
        let wished = job.request.wishes.weight(self.need);
        let named = job.request.wishes.named.contains_key(&self.need);
        (self.importance, self.weight) = match self.importance {
            Importance::Must if job.request.consents.contains(&self.need) && may_be_lost(self.need) => {
                self.consented = true;
                (Importance::Wished, wished.max(DEFAULT_WEIGHT))
            }
            Importance::Must => (Importance::Must, 0),
            // What the radio can use and does not ask for is joined where it is at hand, and nothing is bought for it.
            Importance::Offered if !radio_asks && !named => (Importance::Offered, 0),
            Importance::Offered | Importance::Wished if wished == 0 => {
                self.why.push(Reason::NotWished { need: self.need });
                (Importance::Offered, 0)
            }
            Importance::Offered | Importance::Wished => (Importance::Wished, wished),
        };
    }
}

impl<'a> Demand<'a> {
    /// Sorts what the parts say: usable, left out by the caller, refused.
    fn gather(&mut self, job: &JobView<'a>, parts: &mut PartRefusals) {
        let need = self.need;
        let former = job.view.case.former.iter();
        let former = former.filter(|offer| offer.need == need && job.in_hand(offer.part));
        let mut said: Vec<&Offer> = job.view.case.offers_for(need).chain(former).collect();
        said.sort();
        for offer in said {
            let Some(part) = job.part(offer.part) else { continue };
            let mut reasons = parts.of(job, offer.part).to_vec();
            if reasons.is_empty() {
                reasons = job.offer_refusals(offer, part);
            }
            if !reasons.is_empty() {
                self.refused.push((offer.part, reasons));
            } else if let Some(reason) = job.left_out(offer.part, part) {
                self.left_out.push((offer, reason));
            } else {
                self.offers.push(offer);
            }
        }
        // A part may say the same need twice, for different scopes.
        self.offers.dedup_by_key(|offer| offer.part);
        self.left_out.dedup_by_key(|(offer, _)| offer.part);
        let usable = |index: RecordIx| self.offers.iter().any(|offer| offer.part == index);
        let refused = std::mem::take(&mut self.refused);
        self.refused = refused.into_iter().filter(|(index, _)| !usable(*index)).collect();
        self.refused.dedup_by_key(|(index, _)| *index);
    }

    /// Finds out whether it is met without a part.
    fn meet_directly(&mut self, job: &JobView<'_>, otherwise: Met) {
        let need = self.need;
        if need == Need::Mount {
            match fit::without_part(job) {
                Ok(()) => {
                    self.direct = true;
                    let (dash, opening) = (job.view.dash.id.clone(), job.view.dash.opening.class);
                    self.why.push(Reason::OpeningTakesChassis { dash, opening });
                }
                Err(obstacles) => self.why.extend(obstacles),
            }
            return;
        }
        if need == Need::Antenna
            && let Some(family) = job.same_antenna_plug()
        {
            self.direct = true;
            self.why.push(Reason::AntennaPlugFits { radio: job.radio.id.clone(), family });
            return;
        }
        if let Some(feature) = job.served_by_radio(need) {
            self.direct = true;
            // What the radio does by itself no part has to do as well.
            self.offers.clear();
            self.why.push(Reason::RadioServes { radio: job.radio.id.clone(), feature });
            return;
        }
        // Nobody cuts the factory plug off where there is a part for it.
        let part_is_better = at_plug(job, need) && !self.offers.is_empty();
        if self.on_panel || otherwise != Met::Directly || part_is_better {
            return;
        }
        let mismatches = wiring::direct_refusals(&job.bench(), need);
        self.direct = mismatches.is_empty();
        self.why.extend(mismatches.into_iter().map(|mismatch| Reason::Unjoinable { part: None, mismatch }));
    }

    /// Whether a part has to be bought for it, or it is lost.
    pub(crate) fn counts(&self) -> bool {
        !self.direct && matches!(self.importance, Importance::Must | Importance::Wished)
    }

    /// Everything that says it could meet the need: for a person who wants to know what was looked at.
    pub(crate) fn refusal_reasons(&self) -> impl Iterator<Item = &Reason> {
        let left_out = self.left_out.iter().map(|(_, reason)| reason);
        self.not_for.iter().chain(self.refused.iter().flat_map(|(_, reasons)| reasons)).chain(left_out)
    }

    /// Whether only facts are missing: nothing says that it can not be met.
    pub(crate) fn lacks_facts_only(&self) -> bool {
        let lacks = |reason: &Reason| reason.lacks_fact();
        let refused_for_facts =
            || self.refused.iter().any(|(_, reasons)| !reasons.is_empty() && reasons.iter().all(lacks));
        self.unknown
            || refused_for_facts()
            || self
                .why
                .iter()
                .any(|reason| matches!(reason, Reason::Unjoinable { part: None, .. }) && reason.lacks_fact())
    }
}

fn sits_on_panel(job: &JobView<'_>, need: Need) -> bool {
    let mut features = Feature::ALL.iter().filter(|feature| feature.need() == need);
    features.any(|feature| {
        job.view.on_replaced_panel(*feature).is_some()
            && matches!(job.view.carrier(*feature), None | Some(Carrier::DashPanel))
    })
}

/// Whether a part replaces the panel, and what sits in it with it.
pub(crate) fn replaces_panel(kind: PartKind) -> bool {
    kind == PartKind::DashKit
}

fn asks(radio: &Radio, need: Need) -> bool {
    let ask = match need {
        Need::ParkingBrake => RadioAsk::ParkingBrake,
        Need::Reverse => RadioAsk::Reverse,
        Need::SpeedPulse => RadioAsk::SpeedPulse,
        _ => return false,
    };
    radio.asks_for.contains(&ask)
}

/// Whether one of the wires of a need is at the factory radio's plug.
fn at_plug(job: &JobView<'_>, need: Need) -> bool {
    wiring::functions_of(need).iter().any(|function| {
        job.view.audio.circuit(*function).is_some_and(|circuit| circuit.presence == Presence::Discrete)
    })
}

/// Whether the radio has an input or output for what a need stands for.
fn radio_can(radio: &Radio, need: Need) -> bool {
    let socket =
        |kind: SocketKind| radio.sockets.iter().any(|socket| socket.kind == kind && socket.count > 0);
    let lead = |function: Function| radio.leads.iter().any(|lead| lead.function == function);
    match need {
        Need::Antenna => socket(SocketKind::Antenna),
        Need::AntennaPower => lead(Function::PowerAntenna) || lead(Function::AmpOn),
        Need::Illumination => lead(Function::Illumination) || lead(Function::Dimmer),
        Need::Steering | Need::VoiceButton => {
            radio.steering_input.is_some()
                || socket(SocketKind::SteeringRemote)
                || socket(SocketKind::SerialData)
        }
        Need::Camera => socket(SocketKind::CameraInput),
        Need::Usb => socket(SocketKind::Usb),
        Need::Aux => socket(SocketKind::Aux) || lead(Function::AuxLeft),
        Need::Microphone => socket(SocketKind::Microphone) || lead(Function::MicrophonePlus),
        Need::Satellite => socket(SocketKind::SatelliteTuner),
        Need::DigitalRadio => socket(SocketKind::DigitalRadioAntenna),
        Need::Reverse => lead(Function::Reverse),
        Need::ParkingBrake => lead(Function::ParkingBrake),
        Need::SpeedPulse => lead(Function::SpeedPulse),
        _ => true,
    }
}

/// The record that lacks the fact which decides a demand, for the reasons of a verdict.
pub(crate) fn missing_facts<'r>(demand: &'r Demand<'_>) -> impl Iterator<Item = &'r Reason> {
    demand.why.iter().chain(demand.refusal_reasons()).filter(|reason| reason.lacks_fact())
}
