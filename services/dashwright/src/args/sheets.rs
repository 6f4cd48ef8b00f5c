//! What may be said of bench sheets.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use dashwright_api::v1;

use super::plans::Order;
use super::{Source, Vehicle};

/// What a sheet is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 inches.
    Letter,
}

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Picture {
    /// The dash from the front.
    Dash,
    /// The radio from the side: depth.
    Side,
    /// The banks of switches.
    Switches,
    /// The plugs that are used.
    Plug,
}

/// Put a plan on paper.
#[derive(Args, Debug)]
pub(crate) struct Sheet {
    /// The radio, by its id
    #[arg(long, value_name = "RADIO")]
    pub(crate) radio: String,
    /// The file to write; standard output without it
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// Replace the file if it is there
    #[arg(long, requires = "out")]
    pub(crate) force: bool,
    /// What it is printed on
    #[arg(long, value_name = "PAPER", default_value = "a4")]
    pub(crate) paper: Paper,
    /// One picture as SVG instead of the sheet
    #[arg(long, value_name = "KIND", conflicts_with = "paper")]
    pub(crate) picture: Option<Picture>,
    /// Which one, where there are several: a subject that the refusal or --json names
    #[arg(long, value_name = "SUBJECT", requires = "picture", default_value = "", hide_default_value = true)]
    pub(crate) subject: String,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) source: Source,
}

impl Paper {
    /// As the schema has it.
    pub(crate) const fn message(self) -> v1::Paper {
        match self {
            Self::A4 => v1::Paper::A4,
            Self::Letter => v1::Paper::Letter,
        }
    }
}

impl Picture {
    /// As the schema has it.
    pub(crate) const fn message(self) -> v1::PictureKind {
        match self {
            Self::Dash => v1::PictureKind::Dash,
            Self::Side => v1::PictureKind::Side,
            Self::Switches => v1::PictureKind::Switches,
            Self::Plug => v1::PictureKind::Plug,
        }
    }
}
