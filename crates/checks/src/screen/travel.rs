//! The positions that a screen can take.

use dashwright_quantity::{Degrees, Millimetres, Offset};

use super::{Screen, ScreenRefusal, spans};
use crate::result::EXACTNESS;
use crate::surroundings::Span;

/// The most steps of one movement: a mount has a dozen, and a tilt in tenths of a degree over 50° stays within it.
pub const MAX_STEPS: usize = 500;
/// The most positions of one screen: with as much around as may be, so many are examined in about half a second. A mount with steps of
/// 5 mm and 1° has some thousands.
pub const MAX_POSITIONS: usize = 20_000;

/// A height without steps counts as so many of them: a stand-off with a tilt takes about as much work then.
const STEPS_OF_A_RANGE: usize = 20;

/// A movement of the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Up and down.
    UpDown,
    /// Out and in.
    StandOff,
    /// Tilt.
    Tilt,
}

/// A range with legal steps, from its least to its greatest value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Travel<T> {
    /// The least value; steps count from it.
    pub least: T,
    /// The greatest value; no step where the steps do not meet it.
    pub greatest: T,
    /// The step; without it the range is continuous.
    pub step: Option<T>,
}

/// The positions to be examined.
pub(super) struct Positions {
    /// The continuous range of heights.
    pub(super) heights: Span,
    /// The steps of the height; nothing where it has none.
    pub(super) steps: Option<Vec<f64>>,
    stand_offs: Vec<f64>,
    tilts: Vec<f64>,
    /// The range of the tilt; nothing where every tilt of it is among them.
    pub(super) open_tilts: Option<Span>,
}

impl Positions {
    /// Whether some heights hold one that can be taken: a step where there are steps, and any otherwise.
    pub(super) fn can_be_taken(&self, free: &[Span]) -> bool {
        match &self.steps {
            Some(steps) => steps.iter().any(|step| spans::contain(free, *step)),
            None => !free.is_empty(),
        }
    }

    /// The greatest of the stand-offs.
    pub(super) fn greatest_stand_off(&self) -> f64 {
        self.stand_offs.iter().copied().fold(0.0, f64::max)
    }

    /// Every stand-off with every tilt.
    pub(super) fn stations(&self) -> impl Iterator<Item = (f64, f64)> {
        self.stand_offs.iter().flat_map(|stand_off| self.tilts.iter().map(|tilt| (*stand_off, *tilt)))
    }
}

pub(super) fn positions(screen: &Screen) -> Result<Positions, ScreenRefusal> {
    let heights = Range::new(Axis::UpDown, &screen.up_down, Offset::get)?;
    let stand_offs = Range::new(Axis::StandOff, &screen.stand_off, Millimetres::get)?;
    let tilts = Range::new(Axis::Tilt, &screen.tilt, Degrees::get)?;
    let positions = Positions {
        heights: Span { from: heights.least, to: heights.greatest },
        steps: heights.steps()?,
        stand_offs: stand_offs.steps()?.unwrap_or_else(|| vec![stand_offs.least, stand_offs.greatest]),
        tilts: tilts.steps()?.unwrap_or_else(|| tilts.ends_and_zero()),
        open_tilts: tilts.step.is_none().then_some(Span { from: tilts.least, to: tilts.greatest }),
    };
    let heights = positions.steps.as_ref().map_or(STEPS_OF_A_RANGE, Vec::len);
    let found = heights.saturating_mul(positions.stand_offs.len()).saturating_mul(positions.tilts.len());
    let most = MAX_POSITIONS;
    if found > most { Err(ScreenRefusal::TooManyPositions { found, most }) } else { Ok(positions) }
}

struct Range {
    axis: Axis,
    least: f64,
    greatest: f64,
    step: Option<f64>,
}

impl Range {
    fn new<T: Copy>(axis: Axis, travel: &Travel<T>, number: fn(T) -> f64) -> Result<Self, ScreenRefusal> {
        let [least, greatest] = [travel.least, travel.greatest].map(number);
        let step = travel.step.map(number);
        if least > greatest {
            return Err(ScreenRefusal::Backwards { axis });
        }
        if step.is_some_and(|step| step <= 0.0) {
            return Err(ScreenRefusal::NoStep { axis });
        }
        // What does not move has one step, whatever is stated.
        let still = greatest - least <= EXACTNESS;
        Ok(Self { axis, least, greatest, step: if still { Some(1.0) } else { step } })
    }

    /// The steps; nothing where there are none.
    fn steps(&self) -> Result<Option<Vec<f64>>, ScreenRefusal> {
        let Some(step) = self.step else { return Ok(None) };
        let mut steps = Vec::new();
        let mut count = 0.0_f64;
        loop {
            // Not summed up, so that no error of binary adds up.
            let position = self.least + count * step;
            if position > self.greatest + EXACTNESS {
                return Ok(Some(steps));
            }
            if steps.len() == MAX_STEPS {
                return Err(ScreenRefusal::TooManySteps { axis: self.axis, most: MAX_STEPS });
            }
            steps.push(position.min(self.greatest));
            count += 1.0;
        }
    }

    fn ends_and_zero(&self) -> Vec<f64> {
        let zero = (self.least < 0.0 && self.greatest > 0.0).then_some(0.0);
        [Some(self.least), zero, Some(self.greatest)].into_iter().flatten().collect()
    }
}
