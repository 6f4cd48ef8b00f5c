//! What is around the opening: rectangles on the dash face.
//!
//! Dash-face coordinates: origin at the opening's centre, x to the right, y up, z out of the dash towards the driver, in millimetres.

use dashwright_quantity::{Fraction, Millimetres, Offset};

/// How strictly something must stay clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strictness {
    /// May never be covered.
    NeverCover,
    /// A hand has to reach it.
    KeepReachable,
    /// May be covered up to a share of its area.
    MayShade {
        /// The share that may be covered; just so much is allowed.
        up_to: Fraction,
    },
}

/// A rectangle on the dash face. One whose edges are the wrong way round covers nothing, and is refused where it would decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Obstacle {
    /// Left edge.
    pub left: Offset,
    /// Right edge.
    pub right: Offset,
    /// Lower edge.
    pub bottom: Offset,
    /// Upper edge.
    pub top: Offset,
    /// How far it stands out of the dash face.
    pub proud: Millimetres,
    /// How strictly it must stay clear.
    pub strictness: Strictness,
}

/// The hole of a kit that a chassis goes through, its centre in dash-face coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Width.
    pub width: Millimetres,
    /// Height.
    pub height: Millimetres,
    /// Its centre, to the right of the opening's.
    pub x: Offset,
    /// Its centre, above the opening's.
    pub y: Offset,
}

/// From one coordinate to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Span {
    pub(crate) from: f64,
    pub(crate) to: f64,
}

impl Span {
    pub(crate) fn around(middle: f64, length: f64) -> Self {
        Self { from: middle - length / 2.0, to: middle + length / 2.0 }
    }

    pub(crate) fn length(self) -> f64 {
        self.to - self.from
    }

    pub(crate) fn moved(self, by: f64) -> Self {
        Self { from: self.from + by, to: self.to + by }
    }

    /// What lies between two of them; negative by how much they overlap.
    pub(crate) fn gap(self, other: Self) -> f64 {
        (other.from - self.to).max(self.from - other.to)
    }

    /// How much they overlap; nothing where they only touch.
    pub(crate) fn overlap(self, other: Self) -> f64 {
        (self.to.min(other.to) - self.from.max(other.from)).max(0.0)
    }
}

impl Obstacle {
    pub(crate) fn across(&self) -> Span {
        Span { from: self.left.get(), to: self.right.get() }
    }

    pub(crate) fn upright(&self) -> Span {
        Span { from: self.bottom.get(), to: self.top.get() }
    }

    pub(crate) fn area(&self) -> f64 {
        self.across().length() * self.upright().length()
    }

    pub(crate) fn is_backwards(&self) -> bool {
        self.left > self.right || self.bottom > self.top
    }
}
