//! Face: whether the chassis goes through the opening, and what the face before the dash covers.

use dashwright_quantity::{Millimetres, Offset};

use crate::result::{CheckKind, CheckResult, EXACTNESS, Margin, Outcome, Value, spare};
use crate::surroundings::{Frame, Obstacle, Span, Strictness};

/// The formula.
pub const FORMULA: &str =
    "chassis width <= opening width, chassis height <= opening height; face against surroundings";
/// Width of the chassis.
pub const CHASSIS_WIDTH: &str = "chassis width";
/// Height of the chassis.
pub const CHASSIS_HEIGHT: &str = "chassis height";
/// Width of the opening.
pub const OPENING_WIDTH: &str = "opening width";
/// Height of the opening.
pub const OPENING_HEIGHT: &str = "opening height";
/// What is around the opening.
pub const SURROUNDINGS: &str = "surroundings";

/// Two lengths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
}

/// A chassis, its face and where they go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FaceQuestion<'a> {
    /// Width of the chassis.
    pub chassis_width: Option<Millimetres>,
    /// Height of the chassis.
    pub chassis_height: Option<Millimetres>,
    /// Width of the hole in the dash; with a frame only what the kit leaves as it is.
    pub opening_width: Option<Millimetres>,
    /// Height of the hole in the dash; with a frame only what the kit leaves as it is.
    pub opening_height: Option<Millimetres>,
    /// The frame of the kit, where there is one.
    pub frame: Option<Frame>,
    /// The face or trim ring, where it is larger than the chassis.
    pub face: Option<Size>,
    /// What is around the opening once the kit is in; nothing where that is not known.
    pub surroundings: Option<&'a [Obstacle]>,
}

/// A side of a chassis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// From left to right.
    Width,
    /// From bottom to top.
    Height,
}

/// What a chassis goes through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hole {
    /// The opening of the dash.
    Opening,
    /// The frame of the kit.
    Frame,
}

/// A side that does not go through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLarge {
    /// The side.
    pub side: Side,
    /// Through what.
    pub hole: Hole,
    /// The chassis.
    pub found: Millimetres,
    /// The hole.
    pub limit: Millimetres,
}

/// Something that the face lies over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LiesOver {
    /// Its place in the list of surroundings.
    pub obstacle: usize,
    /// Whether it may never be covered.
    pub never_cover: bool,
    /// Whether it stands proud, so that the face can not lie flat.
    pub proud: bool,
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaceReport {
    /// In figures.
    pub result: CheckResult,
    /// The sides that do not go through.
    pub too_large: Vec<TooLarge>,
    /// What the face lies over and should not, in the order of the surroundings.
    pub lies_over: Vec<LiesOver>,
}

/// Checks the chassis and its face. A chassis that just goes through passes; a face larger than the hole is normal.
#[must_use]
pub fn check_face(question: &FaceQuestion<'_>) -> FaceReport {
    let mut result = CheckResult::begin(CheckKind::Face, FORMULA);
    let sides = [
        (Side::Width, result.input(CHASSIS_WIDTH, question.chassis_width)),
        (Side::Height, result.input(CHASSIS_HEIGHT, question.chassis_height)),
    ];
    let holes = holes(question, &mut result);
    let mut too_large = Vec::new();
    let mut least: Option<f64> = None;
    for (side, found) in sides {
        let Some(found) = found else { continue };
        for (hole, _, limit) in holes.iter().filter(|(_, of, _)| *of == side) {
            let spare = spare(limit.get(), found.get());
            least = Some(least.map_or(spare, |other| other.min(spare)));
            if spare < 0.0 {
                too_large.push(TooLarge { side, hole: *hole, found, limit: *limit });
            }
        }
    }
    let lies_over = lies_over(question, &mut result);
    result.margin = least.map(|spare| Margin::of("spare on the tightest side", spare, Millimetres::nearest));
    result.result("surroundings under the face", Value::count(lies_over.len()));
    result.outcome = if !too_large.is_empty() {
        Outcome::Fail
    } else if !result.missing.is_empty() {
        Outcome::NoData
    } else if lies_over.is_empty() {
        Outcome::Pass
    } else {
        Outcome::Advise
    };
    FaceReport { result, too_large, lies_over }
}

/// The sides of what the chassis goes through. With a frame the opening counts where it is given, and is not missed otherwise.
fn holes(question: &FaceQuestion<'_>, result: &mut CheckResult) -> Vec<(Hole, Side, Millimetres)> {
    let mut holes = Vec::new();
    let opening = [
        (OPENING_WIDTH, Side::Width, question.opening_width),
        (OPENING_HEIGHT, Side::Height, question.opening_height),
    ];
    for (name, side, length) in opening {
        if length.is_some() || question.frame.is_none() {
            holes.extend(result.input(name, length).map(|length| (Hole::Opening, side, length)));
        }
    }
    if let Some(Frame { width, height, x, y }) = question.frame {
        result.input("frame width", Some(width));
        result.input("frame height", Some(height));
        result.input("frame centre to the right", Some(x));
        result.input("frame centre above", Some(y));
        holes.extend([(Hole::Frame, Side::Width, width), (Hole::Frame, Side::Height, height)]);
    }
    holes
}

fn lies_over(question: &FaceQuestion<'_>, result: &mut CheckResult) -> Vec<LiesOver> {
    let Some(Size { width, height }) = question.face else { return Vec::new() };
    result.input("face width", Some(width));
    result.input("face height", Some(height));
    let Some(surroundings) = question.surroundings else {
        result.missing.push(SURROUNDINGS);
        return Vec::new();
    };
    let (x, y) = question.frame.map_or((Offset::ZERO, Offset::ZERO), |frame| (frame.x, frame.y));
    let across = Span::around(x.get(), width.get());
    let upright = Span::around(y.get(), height.get());
    let mut over = Vec::new();
    for (obstacle, it) in surroundings.iter().enumerate() {
        // Touching is allowed.
        let covered = !it.is_backwards()
            && across.gap(it.across()) < -EXACTNESS
            && upright.gap(it.upright()) < -EXACTNESS;
        let never_cover = it.strictness == Strictness::NeverCover;
        let proud = it.proud > Millimetres::ZERO;
        if covered && (never_cover || proud) {
            over.push(LiesOver { obstacle, never_cover, proud });
        }
    }
    over
}

#[cfg(test)]
mod tests {
    use dashwright_quantity::Fraction;

    use super::*;

    fn mm(length: f64) -> Millimetres {
        Millimetres::new(length).unwrap()
    }

    fn size(width: f64, height: f64) -> Size {
        Size { width: mm(width), height: mm(height) }
    }

    fn question(chassis: Size, opening: Size) -> FaceQuestion<'static> {
        FaceQuestion {
            chassis_width: Some(chassis.width),
            chassis_height: Some(chassis.height),
            opening_width: Some(opening.width),
            opening_height: Some(opening.height),
            frame: None,
            face: None,
            surroundings: Some(&[]),
        }
    }

    fn frame(width: f64, height: f64, x: f64, y: f64) -> Option<Frame> {
        let [x, y] = [x, y].map(|it| Offset::new(it).unwrap());
        Some(Frame { width: mm(width), height: mm(height), x, y })
    }

    fn obstacle(sides: [f64; 4], proud: f64, strictness: Strictness) -> Obstacle {
        let [left, right, bottom, top] = sides.map(|it| Offset::new(it).unwrap());
        Obstacle { left, right, bottom, top, proud: mm(proud), strictness }
    }

    /// ISO 7736: a front part of 180 × 50 mm through an opening of 182 × 53 mm (from memory).
    #[test]
    fn a_chassis_of_the_standard_goes_through_the_opening_of_the_standard() {
        let found = check_face(&question(size(180.0, 50.0), size(182.0, 53.0)));
        assert_eq!((found.result.outcome, found.result.margin.unwrap().signed()), (Outcome::Pass, 2.0));
    }

    #[test]
    fn a_side_that_is_too_large_is_told_with_its_numbers() {
        let check = |asked: FaceQuestion<'_>, expected: &[(Side, Hole, f64, f64)], margin: f64| {
            let found = check_face(&asked);
            let told: Vec<_> =
                found.too_large.iter().map(|it| (it.side, it.hole, it.found.get(), it.limit.get())).collect();
            assert_eq!(told, expected);
            assert_eq!(found.result.margin.unwrap().signed(), margin);
            assert_eq!(found.result.outcome == Outcome::Fail, !expected.is_empty());
        };
        let double = question(size(180.0, 100.0), size(180.0, 100.0));
        check(double, &[], 0.0);
        check(
            FaceQuestion { opening_height: Some(mm(53.0)), ..double },
            &[(Side::Height, Hole::Opening, 100.0, 53.0)],
            -47.0,
        );
        // With a frame both count.
        check(
            FaceQuestion { frame: frame(178.0, 101.0, 0.0, 0.0), ..double },
            &[(Side::Width, Hole::Frame, 180.0, 178.0)],
            -2.0,
        );
        check(
            FaceQuestion { frame: frame(182.0, 101.0, 0.0, 0.0), opening_width: Some(mm(179.5)), ..double },
            &[(Side::Width, Hole::Opening, 180.0, 179.5)],
            -0.5,
        );
        // A frame alone is enough.
        let alone = FaceQuestion {
            opening_width: None,
            opening_height: None,
            frame: frame(182.0, 101.0, 0.0, 0.0),
            ..double
        };
        check(alone, &[], 1.0);
    }

    #[test]
    fn what_is_missing_is_named_and_never_hides_a_failure() {
        let known = question(size(180.0, 100.0), size(182.0, 103.0));
        let check = |asked: FaceQuestion<'_>, missing: &[&str], outcome: Outcome| {
            let found = check_face(&asked).result;
            assert_eq!((found.missing.as_slice(), found.outcome), (missing, outcome));
        };
        check(FaceQuestion { chassis_width: None, ..known }, &[CHASSIS_WIDTH], Outcome::NoData);
        check(FaceQuestion { opening_height: None, ..known }, &[OPENING_HEIGHT], Outcome::NoData);
        let low = FaceQuestion { chassis_width: None, opening_height: Some(mm(53.0)), ..known };
        check(low, &[CHASSIS_WIDTH], Outcome::Fail);
        // Without a face of its own nothing around is touched.
        check(FaceQuestion { surroundings: None, ..known }, &[], Outcome::Pass);
        let faced = FaceQuestion { face: Some(size(190.0, 110.0)), surroundings: None, ..known };
        check(faced, &[SURROUNDINGS], Outcome::NoData);
    }

    /// A face of 200 × 120 mm around (0, 5) reaches from -100 to 100 and from -55 to 65.
    #[test]
    fn a_face_tells_what_it_lies_over() {
        let shade = Strictness::MayShade { up_to: Fraction::nearest(0.5) };
        let check = |sides: [f64; 4], proud: f64, strictness: Strictness, expected: Option<(bool, bool)>| {
            let around = [obstacle(sides, proud, strictness)];
            let asked = FaceQuestion {
                frame: frame(182.0, 103.0, 0.0, 5.0),
                face: Some(size(200.0, 120.0)),
                surroundings: Some(&around),
                ..question(size(180.0, 100.0), size(182.0, 103.0))
            };
            let found = check_face(&asked);
            let told: Vec<_> = found.lies_over.iter().map(|it| (it.never_cover, it.proud)).collect();
            assert_eq!(told, expected.into_iter().collect::<Vec<_>>(), "{sides:?}");
            let outcome = if expected.is_some() { Outcome::Advise } else { Outcome::Pass };
            assert_eq!(found.result.outcome, outcome);
        };
        check([-20.0, 20.0, 64.0, 90.0], 0.0, Strictness::NeverCover, Some((true, false)));
        check([-20.0, 20.0, 65.0, 90.0], 0.0, Strictness::NeverCover, None);
        check([-20.0, 20.0, 64.0, 90.0], 3.0, shade, Some((false, true)));
        check([-20.0, 20.0, 64.0, 90.0], 0.0, shade, None);
        check([20.0, -20.0, 0.0, 10.0], 3.0, Strictness::NeverCover, None);
        check([99.0, 120.0, -80.0, -54.0], 1.0, Strictness::KeepReachable, Some((false, true)));
        check([100.0, 120.0, -80.0, -54.0], 1.0, Strictness::KeepReachable, None);
    }
}
