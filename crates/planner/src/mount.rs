//! Mounts: for each chassis class, whether the dash takes it, with what, or the proof that it can not.

use dashwright_model::Need;
use dashwright_model::record::Part;
use dashwright_model::record::dash::{Dash, OpeningClass};
use dashwright_model::record::radio::ChassisClass;
use dashwright_quantity::Millimetres;
use dashwright_snapshot::Offer;

use crate::answer::{MountFitment, Verdict};
use crate::fitment::CaseView;
use crate::reason::{Reason, Side};

/// The least body of a class, in millimetres, width first.
///
/// ISO 7736 gives a front of 180 × 50 mm; the trade says 178 × 50, and 100 high for two (common practice, no source).
/// The smaller figure is used, because it has to prove that a body can not go in: what stops the least body of a class
/// stops every one.
const LEAST_BODY: &[(ChassisClass, f64, f64)] = &[
    (ChassisClass::OneDin, 178.0, 50.0),
    (ChassisClass::TwoDin, 178.0, 100.0),
    (ChassisClass::TwoDinWide, 200.0, 100.0),
];

/// Mounts of every class, in the order of the classes.
pub(crate) fn mounts(view: &CaseView<'_>) -> Vec<MountFitment> {
    ChassisClass::ALL.iter().map(|chassis| mount(view, *chassis)).collect()
}

fn mount(view: &CaseView<'_>, chassis: ChassisClass) -> MountFitment {
    let stopped = cavity_proof(view.dash, chassis);
    if !stopped.is_empty() {
        return MountFitment { chassis, verdict: Verdict::CannotFit, parts: Vec::new(), reasons: stopped };
    }
    let offers = view.offers_for(Need::Mount).filter(|offer| takes(view, offer, chassis));
    let parts: Vec<_> = offers.map(|offer| view.part_offer(offer)).collect();
    let obstacles = obstacles(view.dash, chassis);
    let (verdict, reasons) = match (obstacles.is_empty(), parts.is_empty()) {
        (true, _) => {
            let (dash, opening) = (view.dash.id.clone(), view.dash.opening.class);
            (Verdict::FitsAsIs, vec![Reason::OpeningTakesChassis { dash, opening }])
        }
        (false, false) => (Verdict::FitsWithParts, obstacles),
        (false, true) => {
            let mut reasons = obstacles;
            reasons.push(Reason::NoPartMeets { need: Need::Mount });
            reasons.extend(view.refusals(Need::Mount));
            (Verdict::NoKnownWay, reasons)
        }
    };
    MountFitment { chassis, verdict, parts, reasons }
}

/// Whether an offer of a mount is for radios of the class.
fn takes(view: &CaseView<'_>, offer: &Offer, chassis: ChassisClass) -> bool {
    let Some(part) = view.part(offer.part) else { return false };
    let condition = part.covers.get(usize::from(offer.cover)).and_then(|cover| cover.radio.as_ref());
    let by_condition = condition.map(|condition| &condition.chassis).filter(|classes| !classes.is_empty());
    by_condition.is_none_or(|classes| classes.contains(&chassis)) && by_geometry(view.dash, part, chassis)
}

/// A part that says which classes its frame takes is believed; one that changes no opening takes the opening's own.
fn by_geometry(dash: &Dash, part: &Part, chassis: ChassisClass) -> bool {
    match &part.kit {
        Some(kit) => kit.takes.contains(&chassis),
        None => own_class(dash.opening.class) == Some(chassis),
    }
}

/// The class that an opening takes without a part.
const fn own_class(opening: OpeningClass) -> Option<ChassisClass> {
    match opening {
        OpeningClass::OneDin => Some(ChassisClass::OneDin),
        OpeningClass::TwoDin => Some(ChassisClass::TwoDin),
        OpeningClass::TwoDinWide => Some(ChassisClass::TwoDinWide),
        OpeningClass::OneAndAHalfDin | OpeningClass::Shaped => None,
    }
}

/// What keeps a class from going into the opening as it is.
fn obstacles(dash: &Dash, chassis: ChassisClass) -> Vec<Reason> {
    let mut obstacles = Vec::new();
    if own_class(dash.opening.class) != Some(chassis) {
        let (dash, opening) = (dash.id.clone(), dash.opening.class);
        obstacles.push(Reason::OpeningOfAnotherClass { dash, opening, chassis });
    }
    for (side, least, opening) in sides(chassis, dash.opening.width, dash.opening.height) {
        if opening < least {
            let dash = dash.id.clone();
            obstacles.push(Reason::OpeningSmallerThanChassis { dash, side, chassis: least, opening });
        }
    }
    obstacles
}

/// The sides on which the space behind the panel is smaller than the least body of the class.
fn cavity_proof(dash: &Dash, chassis: ChassisClass) -> Vec<Reason> {
    let Some(cavity) = dash.opening.cavity else { return Vec::new() };
    let sides = sides(chassis, Some(cavity.width), Some(cavity.height));
    let smaller = sides.into_iter().filter(|(_, least, cavity)| cavity < least);
    smaller
        .map(|(side, chassis, cavity)| {
            let dash = dash.id.clone();
            Reason::CavitySmallerThanChassis { dash, side, chassis, cavity }
        })
        .collect()
}

/// The sides of a class's least body beside those of a hole, where the hole's are known.
fn sides(
    chassis: ChassisClass,
    width: Option<Millimetres>,
    height: Option<Millimetres>,
) -> Vec<(Side, Millimetres, Millimetres)> {
    let Some((_, least_width, least_height)) = LEAST_BODY.iter().find(|(class, ..)| *class == chassis) else {
        return Vec::new();
    };
    let side = |side: Side, least: f64, hole: Option<Millimetres>| {
        Some((side, Millimetres::new(least).ok()?, hole?))
    };
    [side(Side::Width, *least_width, width), side(Side::Height, *least_height, height)]
        .into_iter()
        .flatten()
        .collect()
}
