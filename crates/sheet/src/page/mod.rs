//! The rows of a page, one file a group of sections, in the order of the page. Text only: markup is in `templates/`.

mod head;
mod leads;
mod parts;
mod proof;
mod settings;
mod steps;

use askama::Template;

use crate::input::Paper;
use crate::job::Job;
use crate::picture::{self, Picture, PictureKind};

use head::Head;
use leads::{Colours, Leads};
use parts::Parts;
use proof::Proof;
use settings::Settings;
use steps::Steps;

/// A bench sheet.
#[derive(Template)]
#[template(path = "sheet.html")]
pub(crate) struct Page {
    /// The word of the style sheet for the paper.
    paper: &'static str,
    /// What stands at the foot of every printed page: letters, digits and spaces only.
    foot: String,
    head: Head,
    parts: Parts,
    front: Vec<Picture>,
    side: Vec<Picture>,
    plugs: Vec<Picture>,
    leads: Leads,
    settings: Settings,
    steps: Steps,
    proof: Proof,
}

impl Page {
    pub(crate) fn of(job: &Job<'_>) -> Self {
        Self {
            paper: match job.input.paper {
                Paper::A4 => "A4",
                Paper::Letter => "letter",
            },
            foot: foot(job),
            head: Head::of(job),
            parts: Parts::of(job),
            front: picture::of_job(job, PictureKind::Dash),
            side: picture::of_job(job, PictureKind::Side),
            plugs: picture::of_job(job, PictureKind::Plug),
            leads: Leads::of(job),
            settings: Settings::of(job),
            steps: Steps::of(job),
            proof: Proof::of(job),
        }
    }
}

/// The foot goes into the style sheet, so that nothing of a record gets into it.
fn foot(job: &Job<'_>) -> String {
    let plain = |text: &str| text.chars().filter(char::is_ascii_alphanumeric).collect::<String>();
    let fingerprint = plain(job.input.fingerprint);
    let named = if fingerprint.is_empty() { String::new() } else { format!(" - plan {fingerprint}") };
    format!("Bench sheet - revision {}{named}", job.input.revision.number)
}

/// A lead colour: how it is drawn, its letters and its name.
pub(crate) struct ColourView {
    /// Markup of this crate, without any text of a record.
    swatch: String,
    code: String,
    name: String,
}

impl ColourView {
    fn of(colour: dashwright_quantity::LeadColour) -> Self {
        Self { swatch: crate::colour::swatch(colour), code: colour.to_string(), name: colour.name() }
    }
}

/// A sentence out of a fragment: a capital at its beginning.
fn sentence(fragment: &str) -> String {
    let mut letters = fragment.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Texts, each once, in their order.
fn once(texts: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for text in texts {
        if !told.contains(&text) {
            told.push(text);
        }
    }
    told
}
