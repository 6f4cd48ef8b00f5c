//! One case: what is true of a dash with a factory audio behind it, before a radio is chosen.

use dashwright_model::record::dash::Surrounding;
use dashwright_model::record::{Dash, FactoryAudio, Part, RecordKey, RecordKind};
use dashwright_model::{Carrier, Feature, Need};
use dashwright_snapshot::{Case, CaseIx, Offer, RecordIx, Snapshot};

use crate::answer::{CaseFitment, Importance, Met, MountFitment, NeedFitment, PartOffer, Verdict};
use crate::reason::Reason;
use crate::{evidence, features, mount, needs};

/// What the rules look at.
#[derive(Clone, Copy)]
pub(crate) struct CaseView<'a> {
    pub(crate) snapshot: &'a Snapshot,
    pub(crate) case: &'a Case,
    pub(crate) dash: &'a Dash,
    pub(crate) audio: &'a FactoryAudio,
    mounts_without_kit: bool,
}

/// What is true of a case; nothing for a case that the snapshot does not have.
#[must_use]
pub fn fit_case(snapshot: &Snapshot, case: CaseIx) -> Option<CaseFitment> {
    let mut view = CaseView::of(snapshot, case)?;
    let mounts = mount::mounts(&view);
    view.mounts_without_kit = mounts.iter().any(|mount| mount.verdict == Verdict::FitsAsIs);
    let needs = needs::needs(&view);
    let features = features::features(&view);
    let weakest = evidence::weakest(&view, &mounts, &needs);
    let (verdict, verdict_reasons) = verdict(&mounts, &needs);
    let dash = view.case.dash;
    Some(CaseFitment { verdict, verdict_reasons, dash, mounts, needs, features, weakest })
}

/// The strongest statement that is true of some radio in this case.
fn verdict(mounts: &[MountFitment], needs: &[NeedFitment]) -> (Verdict, Vec<Reason>) {
    let mount_reasons = || mounts.iter().flat_map(|mount| mount.reasons.iter().cloned()).collect();
    if mounts.iter().all(|mount| mount.verdict == Verdict::CannotFit) {
        return (Verdict::CannotFit, mount_reasons());
    }
    let must =
        |met: Met| needs.iter().filter(move |need| need.importance == Importance::Must && need.met == met);
    let reasons = |met: Met| must(met).flat_map(|need| need.reasons.iter().cloned()).collect::<Vec<_>>();
    let fits = |mount: &&MountFitment| matches!(mount.verdict, Verdict::FitsAsIs | Verdict::FitsWithParts);
    let Some(best) = mounts.iter().filter(fits).map(|mount| mount.verdict).max() else {
        return (Verdict::NoKnownWay, mount_reasons());
    };
    if must(Met::ByNothingKnown).next().is_some() {
        return (Verdict::NoKnownWay, reasons(Met::ByNothingKnown));
    }
    if must(Met::Unknown).next().is_some() {
        return (Verdict::Unknown, reasons(Met::Unknown));
    }
    let parts = must(Met::ByPart).next().is_some();
    (if parts { Verdict::FitsWithParts } else { best }, Vec::new())
}

impl<'a> CaseView<'a> {
    pub(crate) fn of(snapshot: &'a Snapshot, case: CaseIx) -> Option<Self> {
        let case = snapshot.case(case)?;
        let (dash, audio) = (snapshot.dashes().get(case.dash)?, snapshot.audios().get(case.audio)?);
        Some(Self { snapshot, case, dash, audio, mounts_without_kit: false })
    }

    pub(crate) fn part(&self, part: RecordIx) -> Option<&'a Part> {
        self.snapshot.parts().get(part)
    }

    /// What the parts offer for a need. A lead that only feigns the parking brake is never offered: it is there for a
    /// caller who asks for exactly that.
    pub(crate) fn offers_for(&self, need: Need) -> impl Iterator<Item = &'a Offer> + use<'a, '_> {
        let feigns = move |offer: &&Offer| {
            need == Need::ParkingBrake && self.part(offer.part).is_some_and(feigns_interlock)
        };
        self.case.offers_for(need).filter(move |offer| !feigns(offer))
    }

    pub(crate) fn part_offer(&self, offer: &Offer) -> PartOffer {
        let part = self.part(offer.part);
        let cover = part.and_then(|part| part.covers.get(usize::from(offer.cover)));
        let limited = cover.is_some_and(|cover| cover.limit.is_some() || cover.radio.is_some());
        PartOffer { part: offer.part, cover: offer.cover, via: offer.via, limited }
    }

    /// How a feature is carried, if that is recorded. What sits in the dash is the dash's to say where the factory audio,
    /// which may be behind several dashes, says nothing.
    pub(crate) fn carrier(&self, feature: Feature) -> Option<Carrier> {
        let by_dash = || {
            let sits = self.dash.surroundings.iter().any(|surrounding| surrounding.feature == Some(feature));
            sits.then_some(Carrier::DashPanel)
        };
        self.audio.features.get(&feature).copied().or_else(by_dash)
    }

    /// Whether some radio goes in without a part that replaces the panel.
    pub(crate) fn mounts_without_kit(&self) -> bool {
        self.mounts_without_kit
    }

    /// That something of a feature sits in the panel which a kit replaces.
    pub(crate) fn on_replaced_panel(&self, feature: Feature) -> Option<Reason> {
        let sits = |surrounding: &&Surrounding| {
            surrounding.on_replaced_panel && surrounding.feature == Some(feature)
        };
        let surrounding = self.dash.surroundings.iter().find(sits)?;
        Some(Reason::OnReplacedPanel { dash: self.dash.id.clone(), name: surrounding.name.clone() })
    }

    /// The parts that say they are not for this need here.
    pub(crate) fn refusals(&self, need: Need) -> Vec<Reason> {
        let said =
            self.case.exclusions.iter().filter(|exclusion| exclusion.need.is_none_or(|own| own == need));
        let refusing = said.filter_map(|exclusion| {
            let part = self.part(exclusion.part)?;
            let would_meet = part.covers.iter().any(|cover| cover.need == Some(need));
            would_meet.then(|| Reason::PartIsNotFor { part: part.id.clone(), need: exclusion.need })
        });
        refusing.collect()
    }

    /// That a field of the dash or of the factory audio is not recorded.
    pub(crate) fn missing(&self, kind: RecordKind, field: &str) -> Reason {
        let id = if kind == RecordKind::Dash { self.dash.id.as_term() } else { self.audio.id.as_term() };
        Reason::FactMissing { record: RecordKey { kind, id }, field: field.to_owned() }
    }
}

/// Whether a part only feigns a circuit.
pub(crate) fn feigns_interlock(part: &Part) -> bool {
    part.leads.iter().any(|lead| lead.defeats_interlock)
}
