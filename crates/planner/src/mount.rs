//! Mounts: for each chassis class, whether the dash takes it, with what, or the proof that it can not.

use dashwright_model::Need;
use dashwright_model::record::Part;
use dashwright_model::record::dash::{Dash, OpeningClass};
use dashwright_model::record::radio::{Chassis, ChassisClass};
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
    let stopped = cavity_proof(view.dash, least_body(chassis));
    if !stopped.is_empty() {
        return MountFitment { chassis, verdict: Verdict::CannotFit, parts: Vec::new(), reasons: stopped };
    }
    let offers = view.offers_for(Need::Mount).filter(|offer| takes(view, offer, chassis));
    let parts: Vec<_> = offers.map(|offer| view.part_offer(offer)).collect();
    let obstacles = obstacles(view.dash, chassis, least_body(chassis));
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
pub(crate) fn takes(view: &CaseView<'_>, offer: &Offer, chassis: ChassisClass) -> bool {
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

/// A body: its width and its height, as far as they are known.
pub(crate) type Body = [(Side, Option<Millimetres>); 2];

/// The body of a radio; where a side is not recorded, the least of its class.
pub(crate) fn body(chassis: &Chassis) -> Body {
    let [(_, width), (_, height)] = least_body(chassis.class);
    [(Side::Width, chassis.width.or(width)), (Side::Height, chassis.height.or(height))]
}

/// The least body of a class.
#[must_use]
pub fn least_body(chassis: ChassisClass) -> Body {
    let least = LEAST_BODY.iter().find(|(class, ..)| *class == chassis);
    let side = |length: f64| Millimetres::new(length).ok();
    [
        (Side::Width, least.and_then(|(_, width, _)| side(*width))),
        (Side::Height, least.and_then(|(.., height)| side(*height))),
    ]
}

/// What keeps a body of a class from going into the opening as it is.
pub(crate) fn obstacles(dash: &Dash, chassis: ChassisClass, body: Body) -> Vec<Reason> {
    let mut obstacles = Vec::new();
    if own_class(dash.opening.class) != Some(chassis) {
        let (dash, opening) = (dash.id.clone(), dash.opening.class);
        obstacles.push(Reason::OpeningOfAnotherClass { dash, opening, chassis });
    }
    for (side, chassis, opening) in larger(body, dash.opening.width, dash.opening.height) {
        let dash = dash.id.clone();
        obstacles.push(Reason::OpeningSmallerThanChassis { dash, side, chassis, opening });
    }
    obstacles
}

/// The sides on which the space behind the panel is smaller than a body.
pub(crate) fn cavity_proof(dash: &Dash, body: Body) -> Vec<Reason> {
    let Some(cavity) = dash.opening.cavity else { return Vec::new() };
    let smaller = larger(body, Some(cavity.width), Some(cavity.height));
    smaller
        .map(|(side, chassis, cavity)| {
            let dash = dash.id.clone();
            Reason::CavitySmallerThanChassis { dash, side, chassis, cavity }
        })
        .collect()
}

/// The sides on which a body is larger than a hole, with both lengths, where they are known.
fn larger(
    body: Body,
    width: Option<Millimetres>,
    height: Option<Millimetres>,
) -> impl Iterator<Item = (Side, Millimetres, Millimetres)> {
    let sides = body.into_iter().zip([width, height]);
    sides.filter_map(|((side, body), hole)| {
        let (body, hole) = (body?, hole?);
        (body > hole).then_some((side, body, hole))
    })
}
