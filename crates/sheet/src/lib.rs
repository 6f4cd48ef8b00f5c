//! Plans on paper: the bench sheet as one HTML page, its pictures as SVG, and the words of every answer.
//!
//! ```text
//! plan + records ─▶ job ─▶ page/ (rows of text) ─▶ templates/ ─▶ one HTML page
//!                    └──▶ picture/ (to scale)   ─▶ svg ────────▶ in the page, or alone
//! ```
//!
//! Pure: the same input gives the same bytes. A sheet has no script, loads nothing, and every text of the catalogue goes
//! through one escaper (`escape.rs`). It knows nothing of the service that asks for it.

mod colour;
mod escape;
mod input;
mod job;
mod page;
mod picture;
mod svg;
pub mod words;

#[cfg(test)]
mod tests;

pub use input::{Paper, Revision, SheetInput};
pub use picture::{LegendRow, Picture, PictureKind, pictures};

use std::fmt;

/// Why there is no sheet: never because of what a record says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SheetError {
    /// The plan is not of this snapshot.
    OtherSnapshot,
    /// The template did not come to its end.
    Template,
}

impl fmt::Display for SheetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OtherSnapshot => write!(f, "the plan names records that the dataset does not have"),
            Self::Template => write!(f, "the template of the sheet did not come to its end"),
        }
    }
}

impl std::error::Error for SheetError {}

/// The bench sheet of a plan, as one HTML page.
///
/// # Errors
/// When the plan is of another snapshot.
pub fn bench_sheet(input: &SheetInput<'_>) -> Result<String, SheetError> {
    let job = job::Job::of(input).ok_or(SheetError::OtherSnapshot)?;
    askama::Template::render(&page::Page::of(&job)).map_err(|_| SheetError::Template)
}
