//! Floating screen: where it may stand before the dash, over its whole travel.
//!
//! Conventions:
//! - Dash-face coordinates: origin at the opening's centre, x to the right, y up, z out of the dash towards the driver. The zero of
//!   the screen's height is the centre of the kit's frame; without a kit that is the opening's centre.
//! - What is covered is told in the orthographic front view, as a driver straight before the dash sees it.
//! - Margins are Euclidean distances in the dash plane: past a corner less room is needed than past an edge. Touching is allowed: a
//!   margin that is just met is kept, and with a margin of zero edges may lie on each other.
//! - The tilt axis lies in the plane of the screen's back, by default at the middle of its height. A positive tilt leans the upper edge
//!   back towards the dash. The thickness counts: a point of the body `v` along the height from the axis and `w` out of the back is at
//!   y = axis + v cos a + w sin a and z = stand-off - v sin a + w cos a.
//! - The height is that of the screen's centre at tilt 0, and the stand-off that of its back at the axis.
//!
//! Rules, each for one stand-off and one tilt, and each exact over the continuous height:
//! - The body never goes behind the dash face, and keeps [`ScreenRules::collision_margin`] from what stands proud, with its part that is
//!   no further out than that.
//! - What may never be covered keeps [`ScreenRules::cover_margin`] from the whole screen in the front view.
//! - What has to be reached keeps [`ScreenRules::reach_margin`] from the part of the screen behind which less than
//!   [`ScreenRules::reach_gap`] is left for a hand; the part further out may cover it.
//! - What may be shaded is covered by no more than its share.
//!
//! Every step of the stand-off and of the tilt is examined. Of a stand-off without a step both ends are, which loses nothing: a screen
//! further out is never less free. Of a tilt without a step both ends are, and 0 where it is inside; only where nothing is free at
//! those, the tilts in between are searched, see [`ScreenReport::complete`]. Heights are exact in either case; the steps that can be
//! reached decide, and without a step the intervals do.

mod between;
mod body;
mod choose;
mod forbid;
mod proof;
mod report;
mod spans;
mod travel;

use dashwright_quantity::{Degrees, Millimetres, Offset};

pub use choose::{Covered, Front, NearestProud, Recommended};
pub use forbid::{ClearRule, Forbidden};
pub use proof::{Barrier, BlockedStation, BlockingPair, Proof};
pub use report::FORMULA;
pub use travel::{Axis, MAX_POSITIONS, MAX_STEPS, Travel};

use crate::result::CheckResult;
use crate::surroundings::{Obstacle, Span};
use between::Between;
use body::Body;

/// What is around the opening.
pub const SURROUNDINGS: &str = "surroundings";

/// The step of the tilt; only missed where it would decide.
pub const TILT_STEP: &str = "step of the tilt";

/// The most surroundings that are examined: half as many again as a dash may have, for what a kit adds.
pub const MAX_OBSTACLES: usize = 90;

/// How far a screen stays from what stands proud where nothing is stated, in mm.
const USUAL_COLLISION_MARGIN: f64 = 2.0;
/// The room behind a screen for a hand where nothing is stated, in mm.
const USUAL_REACH_GAP: f64 = 40.0;
/// How far a screen stays from what a hand has to reach where nothing is stated, in mm.
const USUAL_REACH_MARGIN: f64 = 10.0;

/// The thresholds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ScreenRules {
    /// The room between the screen and what stands proud: 2 mm, as the mount gives when it is touched. Common practice, no source.
    pub collision_margin: Millimetres,
    /// The room between the screen and what may never be covered, in the front view: 0 mm, as what is not covered is seen, and what has
    /// to have air around it is recorded with it.
    pub cover_margin: Millimetres,
    /// The room behind the screen for a hand: 40 mm. Common practice, no source.
    pub reach_gap: Millimetres,
    /// The room beside what a hand has to reach where there is no such gap: 10 mm. Common practice, no source.
    pub reach_margin: Millimetres,
}

impl ScreenRules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            collision_margin: Millimetres::nearest(USUAL_COLLISION_MARGIN),
            cover_margin: Millimetres::ZERO,
            reach_gap: Millimetres::nearest(USUAL_REACH_GAP),
            reach_margin: Millimetres::nearest(USUAL_REACH_MARGIN),
        }
    }
}

/// A screen that floats before the dash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
    /// Thickness.
    pub thickness: Millimetres,
    /// Height of the tilt axis over the screen's lower edge; half of the screen's height where it is not stated.
    pub pivot_over_lower_edge: Option<Millimetres>,
    /// Up and down.
    pub up_down: Travel<Offset>,
    /// Out and in.
    pub stand_off: Travel<Millimetres>,
    /// Tilt.
    pub tilt: Travel<Degrees>,
}

impl Screen {
    /// Height of the tilt axis over the lower edge, in mm.
    fn pivot(&self) -> f64 {
        self.pivot_over_lower_edge.map_or(self.height.get() / 2.0, Millimetres::get)
    }
}

/// A screen, where it is mounted and what is around.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ScreenQuestion<'a> {
    /// The screen.
    pub screen: &'a Screen,
    /// The centre of the kit's frame to the right of the opening's, which the screen is centred on; zero without a kit.
    pub x: Offset,
    /// The centre of the kit's frame above the opening's, which heights count from; zero without a kit.
    pub y: Offset,
    /// What is around the opening once the kit is in; nothing where that is not known.
    pub surroundings: Option<&'a [Obstacle]>,
}

/// Why a question can not be examined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScreenRefusal {
    /// The screen has no width or no height.
    NoSize,
    /// A range ends before it begins.
    Backwards {
        /// Of which movement.
        axis: Axis,
    },
    /// A step leads nowhere or backwards.
    NoStep {
        /// Of which movement.
        axis: Axis,
    },
    /// A range has too many steps.
    TooManySteps {
        /// Of which movement.
        axis: Axis,
        /// The most that are examined.
        most: usize,
    },
    /// Heights, stand-offs and tilts make too many positions.
    TooManyPositions {
        /// How many.
        found: usize,
        /// The most that are examined.
        most: usize,
    },
    /// There are too many surroundings.
    TooManyObstacles {
        /// How many.
        found: usize,
        /// The most that are examined.
        most: usize,
    },
    /// The edges of one are the wrong way round.
    ObstacleBackwards {
        /// Its place in the list.
        obstacle: usize,
    },
}

/// Heights of the screen's centre over the zero height, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heights {
    /// The least.
    pub from: Offset,
    /// The greatest.
    pub to: Offset,
}

/// One stand-off with one tilt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Station {
    /// The stand-off.
    pub stand_off: Millimetres,
    /// The tilt.
    pub tilt: Degrees,
    /// The body would reach behind the dash face, so that no height is free.
    pub behind_dash: bool,
    /// The heights that are free, over the continuous travel; a single height has equal ends.
    pub free: Vec<Heights>,
    /// The steps among them; empty for a height without steps.
    pub steps: Vec<Offset>,
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finding {
    /// What is around is not known.
    NotExamined,
    /// There are positions, and this one is recommended.
    Free(Recommended),
    /// Heights are free, but only in between the steps; the stations tell which.
    BetweenSteps,
    /// Nothing is free.
    Blocked(Proof),
}

/// How the check came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreenReport {
    /// In figures.
    pub result: CheckResult,
    /// Every stand-off with every tilt, in the order of both; last the one that was found between the tilts.
    pub stations: Vec<Station>,
    /// What was found.
    pub finding: Finding,
    /// What was found is so at every tilt. Where it is not, the range of the tilt has no step, and a tilt that was not examined may cover
    /// less than the recommended one, or may be free where nothing was found; the latter is then no failure, and the step is missing.
    pub complete: bool,
}

/// Examines the whole travel of a screen.
///
/// # Errors
/// When the question makes no sense or asks for too much work.
pub fn check_screen(
    question: &ScreenQuestion<'_>,
    rules: &ScreenRules,
) -> Result<ScreenReport, ScreenRefusal> {
    let ScreenQuestion { screen, surroundings, .. } = question;
    if screen.width <= Millimetres::ZERO || screen.height <= Millimetres::ZERO {
        return Err(ScreenRefusal::NoSize);
    }
    let positions = travel::positions(screen)?;
    let Some(obstacles) = surroundings else {
        return Ok(report::report(question, rules, &positions, &[], Finding::NotExamined, false));
    };
    check_obstacles(obstacles)?;
    let mut examined: Vec<_> = positions
        .stations()
        .map(|(stand_off, tilt)| Examined::new(question, obstacles, rules, &positions, stand_off, tilt))
        .collect();
    let mut recommended = choose::choose(question, obstacles, &positions, &examined);
    let mut complete = positions.open_tilts.is_none();
    if let (None, Some(tilts)) = (&recommended, positions.open_tilts) {
        match between::search(question, obstacles, rules, &positions, tilts, between::MAX_RANGES) {
            Between::Never => complete = true,
            Between::Open => {}
            Between::Free(found) => {
                examined.push(found);
                recommended = choose::choose(question, obstacles, &positions, &examined);
            }
        }
    }
    let finding = if let Some(recommended) = recommended {
        Finding::Free(recommended)
    } else if examined.iter().any(|it| !it.free.is_empty()) {
        Finding::BetweenSteps
    } else {
        Finding::Blocked(proof::prove(obstacles, positions.heights, &examined))
    };
    Ok(report::report(question, rules, &positions, &examined, finding, complete))
}

fn check_obstacles(obstacles: &[Obstacle]) -> Result<(), ScreenRefusal> {
    let (found, most) = (obstacles.len(), MAX_OBSTACLES);
    if found > most {
        return Err(ScreenRefusal::TooManyObstacles { found, most });
    }
    match obstacles.iter().position(Obstacle::is_backwards) {
        Some(obstacle) => Err(ScreenRefusal::ObstacleBackwards { obstacle }),
        None => Ok(()),
    }
}

/// One stand-off with one tilt, examined.
struct Examined {
    stand_off: f64,
    tilt: f64,
    body: Body,
    behind_dash: bool,
    /// Open intervals.
    forbidden: Vec<(usize, ClearRule, Span)>,
    /// Closed intervals.
    free: Vec<Span>,
    steps: Vec<f64>,
}

impl Examined {
    fn new(
        question: &ScreenQuestion<'_>,
        obstacles: &[Obstacle],
        rules: &ScreenRules,
        positions: &travel::Positions,
        stand_off: f64,
        tilt: f64,
    ) -> Self {
        let body = Body::new(question.screen, stand_off, tilt);
        let behind_dash = body.is_behind_dash();
        let forbidden = forbid::all(&body, question, obstacles, rules);
        let free = if behind_dash {
            Vec::new()
        } else {
            spans::free(positions.heights, forbidden.iter().map(|(_, _, heights)| *heights))
        };
        let steps = positions.steps.iter().flatten().copied();
        let steps = steps.filter(|height| spans::contain(&free, *height)).collect();
        Self { stand_off, tilt, body, behind_dash, forbidden, free, steps }
    }
}

#[cfg(test)]
mod tests;
