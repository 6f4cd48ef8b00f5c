//! Depth, face and screen: the lengths of the radio, the kit and the dash.

use dashwright_checks::depth::{self, DepthQuestion, check_depth};
use dashwright_checks::face::{self, FaceQuestion, LiesOver, Size, check_face};
use dashwright_checks::result::Outcome;
use dashwright_checks::screen::{
    self, Barrier, BlockingPair, Finding, Screen, ScreenQuestion, ScreenReport, Travel, check_screen,
};
use dashwright_checks::surroundings::{Frame, Obstacle, Strictness};
use dashwright_model::record::dash::{Clearance, Dash, Surrounding};
use dashwright_model::record::part::KitGeometry;
use dashwright_model::record::radio::{self, FloatingScreen, Radio};
use dashwright_model::record::{Part, RecordKind};
use dashwright_quantity::{Label, Millimetres, Offset};

use super::{Planned, PlannedCheck, PlannedScreen, ScreenNeighbour, Subject};
use crate::demand::replaces_panel;
use crate::job::JobView;
use crate::reason::{NarrowPair, Reason, ScreenObstruction};

/// The field that an input of the depth is.
pub(super) fn field_of_depth(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        depth::CHASSIS_DEPTH => (RecordKind::Radio, "chassis.depth"),
        depth::PLUG_CLEARANCE => (RecordKind::Radio, "chassis.rear_clearance"),
        depth::CAVITY_DEPTH => (RecordKind::Dash, "opening.depth"),
        _ => return None,
    })
}

/// The field that an input of the face is. With a kit the chassis goes through its frame and not through the opening.
pub(super) fn field_of_face(input: &str, kit: Option<&Part>) -> Option<(RecordKind, &'static str)> {
    Some(match (input, kit) {
        (face::CHASSIS_WIDTH, _) => (RecordKind::Radio, "chassis.width"),
        (face::CHASSIS_HEIGHT, _) => (RecordKind::Radio, "chassis.height"),
        (face::OPENING_WIDTH | face::OPENING_HEIGHT, Some(_)) => (RecordKind::Part, "kit.frame"),
        (face::OPENING_WIDTH, None) => (RecordKind::Dash, "opening.width"),
        (face::OPENING_HEIGHT, None) => (RecordKind::Dash, "opening.height"),
        (face::SURROUNDINGS, _) => (RecordKind::Dash, "surroundings"),
        _ => return None,
    })
}

/// The field that an input of the screen is.
pub(super) fn field_of_screen(input: &str) -> Option<(RecordKind, &'static str)> {
    Some(match input {
        screen::SURROUNDINGS => (RecordKind::Dash, "surroundings"),
        screen::TILT_STEP => (RecordKind::Radio, "floating_screen.tilt.step"),
        _ => return None,
    })
}

/// What is around the opening with a kit in it or without one.
struct Around<'a> {
    /// What keeps its place; where nothing at all is recorded it is not known.
    stays: Option<Vec<(usize, &'a Surrounding)>>,
    /// What a kit carries over to a place of its own, which is not recorded.
    carried: Vec<&'a Label>,
}

impl<'a> Around<'a> {
    fn of(dash: &'a Dash, kit: Option<&Part>) -> Self {
        let replaced = kit.is_some_and(|kit| replaces_panel(kit.kind));
        let moves = |surrounding: &Surrounding| replaced && surrounding.on_replaced_panel;
        let all = || dash.surroundings.iter().enumerate();
        let stays = all().filter(|(_, surrounding)| !moves(surrounding)).collect();
        let minded = |surrounding: &Surrounding| {
            matches!(surrounding.clearance, Clearance::NeverCover | Clearance::KeepReachable)
        };
        let carried = all().filter(|(_, surrounding)| moves(surrounding) && minded(surrounding));
        Self {
            stays: (!dash.surroundings.is_empty()).then_some(stays),
            carried: carried.map(|(_, surrounding)| &surrounding.name).collect(),
        }
    }

    fn obstacles(&self) -> Option<Vec<Obstacle>> {
        Some(self.stays.as_ref()?.iter().map(|(_, surrounding)| obstacle(surrounding)).collect())
    }

    fn name(&self, place: usize) -> Option<Label> {
        Some(self.stays.as_ref()?.get(place)?.1.name.clone())
    }

    /// Says of a check that it does not know where the kit has what it carries over.
    fn hedge(&self, dash: &Dash, outcome: &mut Outcome, reasons: &mut Vec<Reason>) {
        if self.carried.is_empty() {
            return;
        }
        if *outcome == Outcome::Pass {
            *outcome = Outcome::Advise;
        }
        let names = self.carried.iter().copied().cloned();
        reasons.extend(names.map(|name| Reason::PlaceNotRecorded { dash: dash.id.clone(), name }));
    }
}

fn obstacle(surrounding: &Surrounding) -> Obstacle {
    let Surrounding { left, right, bottom, top, proud, clearance, .. } = surrounding;
    let strictness = match clearance {
        Clearance::NeverCover => Strictness::NeverCover,
        Clearance::KeepReachable => Strictness::KeepReachable,
        Clearance::MayShade { up_to } => Strictness::MayShade { up_to: *up_to },
    };
    Obstacle { left: *left, right: *right, bottom: *bottom, top: *top, proud: *proud, strictness }
}

fn frame(kit: &KitGeometry) -> Option<Frame> {
    kit.frame.map(|frame| Frame { width: frame.width, height: frame.height, x: frame.x, y: frame.y })
}

/// The part's kit, where it is one.
fn geometry(kit: Option<&Part>) -> Option<&KitGeometry> {
    kit.and_then(|part| part.kit.as_ref())
}

/// How far a kit sets the radio forward; one that says nothing leaves it where it is.
fn set_forward(kit: Option<&Part>) -> Millimetres {
    geometry(kit).and_then(|kit| kit.set_forward).unwrap_or(Millimetres::ZERO)
}

impl Planned<'_, '_> {
    pub(super) fn depth(&self) -> PlannedCheck {
        let chassis = &self.job.radio.chassis;
        let question = DepthQuestion {
            chassis_depth: chassis.depth,
            plug_clearance: chassis.rear_clearance,
            cavity_depth: self.job.view.dash.opening.depth,
            set_forward: Some(set_forward(self.kit())),
        };
        self.told(Subject::Job, check_depth(&question, &self.job.request.rules.depth), Vec::new())
    }

    pub(super) fn face(&self) -> PlannedCheck {
        let (chassis, opening) = (&self.job.radio.chassis, &self.job.view.dash.opening);
        let kit = geometry(self.kit());
        let through = |length: Option<Millimetres>| length.filter(|_| kit.is_none());
        let around = Around::of(self.job.view.dash, self.kit());
        let obstacles = around.obstacles();
        let report = check_face(&FaceQuestion {
            chassis_width: chassis.width,
            chassis_height: chassis.height,
            opening_width: through(opening.width),
            opening_height: through(opening.height),
            frame: kit.and_then(frame),
            face: self.job.radio.face.map(|face| Size { width: face.width, height: face.height }),
            surroundings: obstacles.as_deref(),
        });
        let mut result = report.result;
        let over = report.lies_over.iter().filter_map(|LiesOver { obstacle, .. }| around.name(*obstacle));
        let dash = self.job.view.dash;
        let mut reasons: Vec<Reason> =
            over.map(|name| Reason::FaceLiesOver { dash: dash.id.clone(), name }).collect();
        if self.job.radio.face.is_some() {
            around.hedge(dash, &mut result.outcome, &mut reasons);
        }
        self.told(Subject::Job, result, reasons)
    }

    pub(super) fn screen(&self) -> Option<(PlannedCheck, PlannedScreen)> {
        let (placed, around) = examine(self.job, self.kit())?;
        let mut result = placed.report.result.clone();
        let mut reasons: Vec<Reason> = not_free(self.job, self.kit(), &placed).into_iter().collect();
        around.hedge(self.job.view.dash, &mut result.outcome, &mut reasons);
        Some((self.told(Subject::Job, result, reasons), placed))
    }
}

/// Where the screen of the radio may stand, and around what; nothing without a screen. Records whose screen can not be examined are refused before
/// they are published.
fn examine<'a>(job: &JobView<'a>, kit: Option<&Part>) -> Option<(PlannedScreen, Around<'a>)> {
    let set_forward = set_forward(kit);
    let screen = set_out(job.radio, set_forward)?;
    let around = Around::of(job.view.dash, kit);
    let obstacles = around.obstacles();
    let frame = geometry(kit).and_then(frame);
    let (x, zero) = frame.map_or((Offset::ZERO, Offset::ZERO), |frame| (frame.x, frame.y));
    let question = ScreenQuestion { screen: &screen, x, y: zero, surroundings: obstacles.as_deref() };
    let report = check_screen(&question, &job.request.rules.screen).ok()?;
    let neighbours = around.stays.iter().flatten();
    let neighbours = neighbours
        .map(|(place, surrounding)| ScreenNeighbour { name: surrounding.name.clone(), surrounding: *place });
    let placed = PlannedScreen { x, zero, set_forward, report, neighbours: neighbours.collect() };
    Some((placed, around))
}

/// The screen of a radio that a kit sets forward: it stands off from the dash by so much more.
fn set_out(radio: &Radio, set_forward: Millimetres) -> Option<Screen> {
    let FloatingScreen { width, height, thickness, pivot_over_lower_edge, up_down, stand_off, tilt } =
        radio.floating_screen.as_ref()?;
    let further = |length: Millimetres| Millimetres::nearest(length.get() + set_forward.get());
    Some(Screen {
        width: *width,
        height: *height,
        thickness: *thickness,
        pivot_over_lower_edge: *pivot_over_lower_edge,
        up_down: travel(up_down),
        stand_off: Travel {
            least: further(stand_off.least),
            greatest: further(stand_off.greatest),
            step: stand_off.step,
        },
        tilt: travel(tilt),
    })
}

fn travel<T: Copy>(travel: &radio::Travel<T>) -> Travel<T> {
    let radio::Travel { least, greatest, step } = travel;
    Travel { least: *least, greatest: *greatest, step: *step }
}

/// That the floating screen of the radio finds no place with a kit or without one, where that is proven.
pub(crate) fn screen_refusal(job: &JobView<'_>, kit: Option<&Part>) -> Option<Reason> {
    not_free(job, kit, &examine(job, kit)?.0)
}

fn not_free(job: &JobView<'_>, kit: Option<&Part>, placed: &PlannedScreen) -> Option<Reason> {
    let why = obstruction(placed)?;
    let (dash, radio) = (job.view.dash.id.clone(), job.radio.id.clone());
    Some(Reason::ScreenNotFree { dash, radio, part: kit.map(|part| part.id.clone()), why })
}

fn obstruction(placed: &PlannedScreen) -> Option<ScreenObstruction> {
    let PlannedScreen { report: ScreenReport { finding, complete, .. }, neighbours, .. } = placed;
    if !complete {
        return None;
    }
    let name = |place: &usize| neighbours.get(*place).map(|neighbour| neighbour.name.clone());
    let names = |places: &[usize]| places.iter().filter_map(name).collect();
    match finding {
        Finding::NotExamined | Finding::Free(_) => None,
        Finding::BetweenSteps => Some(ScreenObstruction::BetweenSteps),
        Finding::Blocked(proof) => Some(match &proof.barrier {
            Barrier::DashFace => ScreenObstruction::DashFace,
            Barrier::Alone(places) => ScreenObstruction::EachOf(names(places)),
            Barrier::Together(places) => ScreenObstruction::Together(names(places)),
            Barrier::Pairs(pairs) => {
                let pair = |pair: &BlockingPair| {
                    let BlockingPair { lower, upper, leaves, needs } = pair;
                    let (lower, upper) = (name(lower)?, name(upper)?);
                    Some(NarrowPair { lower, upper, leaves: *leaves, needs: *needs })
                };
                ScreenObstruction::Between(pairs.iter().filter_map(pair).collect())
            }
        }),
    }
}
