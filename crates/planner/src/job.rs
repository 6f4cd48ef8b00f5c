//! One job: a case, a radio and a caller's request, and which parts can be used for it at all.

use dashwright_model::record::audio::{AntennaRole, Presence};
use dashwright_model::record::part::{CoverSense, Occupied, Resource};
use dashwright_model::record::radio::SocketKind;
use dashwright_model::record::{Part, Radio};
use dashwright_model::{Feature, Function, Need};
use dashwright_quantity::{PartId, TermId};
use dashwright_snapshot::{CaseIx, Offer, RecordIx, Snapshot};

use crate::fitment::{CaseView, feigns_interlock};
use crate::reason::Reason;
use crate::request::Request;
use crate::wiring::{self, Bench};
use crate::{fit, radios};

/// What a plan is made for.
pub(crate) struct JobView<'a> {
    pub(crate) view: CaseView<'a>,
    pub(crate) radio: &'a Radio,
    pub(crate) request: &'a Request,
}

impl<'a> JobView<'a> {
    pub(crate) fn of(
        snapshot: &'a Snapshot,
        case: CaseIx,
        radio: RecordIx,
        request: &'a Request,
    ) -> Option<Self> {
        Some(Self { view: CaseView::of(snapshot, case)?, radio: snapshot.radios().get(radio)?, request })
    }

    pub(crate) fn bench(&self) -> Bench<'a> {
        Bench { audio: self.view.audio, system_voltage: self.view.case.system_voltage, radio: self.radio }
    }

    pub(crate) fn part(&self, part: RecordIx) -> Option<&'a Part> {
        self.view.part(part)
    }

    pub(crate) fn find(&self, id: &PartId) -> Option<(RecordIx, &'a Part)> {
        self.view.snapshot.parts().find(id.as_str())
    }

    pub(crate) fn in_hand(&self, part: RecordIx) -> bool {
        self.request.supply.in_hand.contains(&part)
    }

    /// Whether the radio does by itself what a need stands for.
    pub(crate) fn served_by_radio(&self, need: Need) -> Option<Feature> {
        self.radio.serves.iter().copied().find(|feature| feature.need() == need)
    }

    /// Whether the caller leaves a part out.
    pub(crate) fn left_out(&self, index: RecordIx, part: &Part) -> Option<Reason> {
        let supply = &self.request.supply;
        let out_of_stock = || supply.stock.as_ref().is_some_and(|stock| !stock.contains(&index));
        if supply.excluded.contains(&index) {
            return Some(Reason::LeftOut { part: part.id.clone(), by_name: true });
        }
        (!self.in_hand(index) && out_of_stock())
            .then(|| Reason::LeftOut { part: part.id.clone(), by_name: false })
    }

    /// Why a part can not be used here at all, whatever it is for; empty when it can. What the caller leaves out is not
    /// looked at.
    pub(crate) fn part_refusals(&self, part: &Part) -> Vec<Reason> {
        let id = || part.id.clone();
        let mut refusals = Vec::new();
        let side = part.variant.as_ref().and_then(|variant| variant.drive_side);
        if let (Some(side), Some(own)) = (side, self.view.case.drive_side)
            && side != own
        {
            refusals.push(Reason::OtherDriveSide { part: id() });
        }
        if self.refused_with_radio(part, None) {
            refusals.push(Reason::NotForRadio { part: id(), need: None });
        }
        if feigns_interlock(part) && !self.may_feign_interlock() {
            refusals.push(Reason::FeignsInterlock { part: id() });
        }
        refusals.extend(part.occupies.iter().filter_map(|occupied| self.missing_place(part, occupied)));
        refusals.extend(fit::kit_refusals(self, part));
        refusals
    }

    /// A lead that feigns the parking brake is used only where it is asked for and the real circuit is not at hand.
    fn may_feign_interlock(&self) -> bool {
        let real = self.view.audio.circuit(Function::ParkingBrake);
        let at_hand =
            real.is_some_and(|circuit| matches!(circuit.presence, Presence::Discrete | Presence::Elsewhere));
        self.request.feign_parking_brake && !at_hand
    }

    /// The plug of the main antenna, where the radio's socket is of the same family: it goes in without an adapter.
    pub(crate) fn same_antenna_plug(&self) -> Option<TermId> {
        let main = self.view.audio.antennas.iter().find(|antenna| antenna.role == AntennaRole::Main)?;
        let socket = self.radio.sockets.iter().find(|socket| socket.kind == SocketKind::Antenna)?;
        let same = !main.tuner_outside && socket.family.as_ref() == Some(&main.family);
        same.then(|| main.family.clone())
    }

    /// Why an offer does not meet its need with this radio; empty when it does.
    pub(crate) fn offer_refusals(&self, offer: &Offer, part: &Part) -> Vec<Reason> {
        let need = offer.need;
        let condition = part.covers.get(usize::from(offer.cover)).and_then(|cover| cover.radio.as_ref());
        let matches = condition.is_none_or(|condition| radios::radio_matches(condition, self.radio));
        if !matches || self.refused_with_radio(part, Some(need)) {
            return vec![Reason::NotForRadio { part: part.id.clone(), need: Some(need) }];
        }
        if need == Need::Mount && !crate::mount::takes(&self.view, offer, self.radio.chassis.class) {
            return vec![Reason::NotForRadio { part: part.id.clone(), need: Some(need) }];
        }
        let part_of = |id: &PartId| self.find(id).map(|(_, part)| part);
        let mismatches = wiring::refusals(&self.bench(), part, need, &part_of);
        let unjoinable = |mismatch| Reason::Unjoinable { part: Some(part.id.clone()), mismatch };
        mismatches.into_iter().map(unjoinable).collect()
    }

    /// Whether a statement that is limited to some radios says that the part is not for this one.
    fn refused_with_radio(&self, part: &Part, need: Option<Need>) -> bool {
        let said = self.view.case.exclusions.iter().filter(|said| {
            self.view.part(said.part).is_some_and(|own| own.id == part.id) && said.need == need
        });
        let mut conditions = said.filter_map(|said| part.covers.get(usize::from(said.cover)));
        conditions.any(|cover| {
            cover.says == CoverSense::NotFor
                && cover.radio.as_ref().is_some_and(|condition| radios::radio_matches(condition, self.radio))
        })
    }

    /// That a plug or a socket which the part uses is not there.
    fn missing_place(&self, part: &Part, occupied: &Occupied) -> Option<Reason> {
        if self.capacity(&occupied.what) > 0 {
            return None;
        }
        let part = part.id.clone();
        Some(match &occupied.what {
            Resource::FactoryPlug(family) => Reason::PlugMissing { part, family: family.clone() },
            Resource::RadioSocket(socket) => Reason::SocketMissing { part, socket: *socket },
        })
    }

    /// How many of a plug or a socket there are.
    pub(crate) fn capacity(&self, resource: &Resource) -> u16 {
        match resource {
            Resource::FactoryPlug(family) => {
                let count = self.view.audio.plug_families().filter(|own| *own == family).count();
                u16::try_from(count).unwrap_or(u16::MAX)
            }
            Resource::RadioSocket(kind) => {
                let socket = self.radio.sockets.iter().find(|socket| socket.kind == *kind);
                socket.map_or(0, |socket| u16::from(socket.count))
            }
        }
    }
}
