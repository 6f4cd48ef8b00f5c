//! Pictures of a plan: the dash from the front, the radio from the side, switch banks, and plugs.
//!
//! Dash and side are to scale; their bodies have marks, and the names stand in a legend beside the picture, so that no
//! label covers another. Switches and plugs are schematic and say so.

mod dash;
mod label;
mod plug;
mod side;
mod switches;

use dashwright_quantity::Millimetres;

use crate::input::SheetInput;
use crate::job::Job;
use crate::svg::Svg;

/// What a picture shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PictureKind {
    #[default]
    /// The dash from the front: opening, surroundings, and where the radio and its screen come to lie.
    Dash,
    /// The radio from the side: depth.
    Side,
    /// The banks of switches of a module, one picture a bank.
    Switches,
    /// The plugs at the factory radio, one picture a plug that is used.
    Plug,
}

/// A picture on its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// What it is of: the id of the dash or the radio, of the part with the bank's name, or of the plug family.
    pub subject: String,
    /// What it shows, in a line.
    pub title: String,
    /// The same for whoever does not see it, with the numbers.
    pub description: String,
    /// The marks in it and what they stand for.
    pub legend: Vec<LegendRow>,
    /// What has to be known when it is read.
    pub notes: Vec<String>,
    pub(crate) svg: Svg,
}

impl Picture {
    /// The picture as an SVG document of its own.
    #[must_use]
    pub fn document(&self) -> String {
        self.svg.alone()
    }

    /// The picture as part of a page.
    pub(crate) fn inline(&self) -> String {
        self.svg.inline()
    }
}

/// A mark of a picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LegendRow {
    /// The mark, as it stands in the picture.
    pub mark: String,
    /// What it is.
    pub name: String,
    /// Its size and what is to be heeded.
    pub detail: String,
}

/// The pictures of one kind that a plan has; none where nothing of the kind is recorded.
#[must_use]
pub fn pictures(input: &SheetInput<'_>, kind: PictureKind) -> Vec<Picture> {
    let Some(job) = Job::of(input) else { return Vec::new() };
    of_job(&job, kind)
}

pub(crate) fn of_job(job: &Job<'_>, kind: PictureKind) -> Vec<Picture> {
    match kind {
        PictureKind::Dash => dash::front(job).into_iter().collect(),
        PictureKind::Side => side::side(job).into_iter().collect(),
        PictureKind::Switches => switches::banks(job),
        PictureKind::Plug => plug::plugs(job),
    }
}

/// Width and height of a piece, where both are recorded.
pub(crate) fn size(width: Option<Millimetres>, height: Option<Millimetres>) -> Option<(f64, f64)> {
    Some((width?.get(), height?.get()))
}

/// A text cut to a cell of a picture, with a sign that it was; the whole of it stands in a table.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(most.saturating_sub(1)).collect();
    cut.push('…');
    cut
}
