//! Cases: what of a vehicle line a part's scope can see, and what the parts offer for it.

use dashwright_model::Need;
use dashwright_model::record::vehicle::{DriveSide, SystemVoltage};

use crate::line::index;
use crate::records::RecordIx;

index!(/// The place of a case.
    CaseIx);

/// A dash with a factory audio behind it, and the parts that say something about it.
#[derive(Clone, Debug)]
pub struct Case {
    /// The dash, as a place in the table of dashes.
    pub dash: RecordIx,
    /// The factory audio, as a place in the table of factory audios.
    pub audio: RecordIx,
    /// The nominal voltage of the supply; unknown without it.
    pub system_voltage: Option<SystemVoltage>,
    /// The side the driver sits on; both without it.
    pub drive_side: Option<DriveSide>,
    /// The numbers of the vehicle scopes that describe its lines.
    pub(crate) signature: Vec<u32>,
    /// What the parts that can be had offer, in the order of need and part.
    pub offers: Vec<Offer>,
    /// What the parts offer that can no longer be had, in the same order: for those that still lie on a shelf.
    pub former: Vec<Offer>,
    /// What parts say that they are not for.
    pub exclusions: Vec<Exclusion>,
}

/// A part says that it meets a need.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Offer {
    /// The need.
    pub need: Need,
    /// The part, as a place in the table of parts.
    pub part: RecordIx,
    /// Which of the part's statements says so.
    pub cover: u16,
    /// By what the statement applies here.
    pub via: Via,
}

/// A part says that it is not for this case.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Exclusion {
    /// The part, as a place in the table of parts.
    pub part: RecordIx,
    /// The need; the whole part without one.
    pub need: Option<Need>,
    /// Which of the part's statements says so. One that is limited to some radios excludes with those only.
    pub cover: u16,
    /// By what the statement applies here.
    pub via: Via,
}

/// By what a scope describes a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Via {
    /// It is universal.
    Any,
    /// By one of its alternatives.
    Item(u16),
}

impl Case {
    /// What the parts offer for a need.
    pub fn offers_for(&self, need: Need) -> impl Iterator<Item = &Offer> {
        let start = self.offers.partition_point(|offer| offer.need < need);
        self.offers.iter().skip(start).take_while(move |offer| offer.need == need)
    }
}
