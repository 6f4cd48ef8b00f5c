//! What may be said of golden questions.

use clap::{ArgAction, Args, Subcommand};
use dashwright_api::v1;
use dashwright_model::Grade;
use dashwright_quantity::{Date, GoldenId, RadioId};

use super::curation::Changing;
use super::plans::{Aim, need, wish};
use super::{Client, Page, ReadAt, Source, Vehicle};

/// Keep questions with the answers that are right.
#[derive(Debug, Subcommand)]
pub(crate) enum Golden {
    /// Put a question into a draft, with the answer that the draft gives it; look whether it is right
    Add(Box<GoldenAdd>),
    /// List the questions that are kept
    List(GoldenList),
    /// Ask them all, of the catalogue or of a draft
    Run(GoldenRun),
    /// Say that the answers that a draft gives are right, question by question
    Accept(GoldenAccept),
}

/// Put a question into a draft. Other parts, prices and stock of a caller are no part of it.
#[derive(Args, Debug)]
pub(crate) struct GoldenAdd {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The id of the question
    #[arg(value_name = "QUESTION")]
    pub(crate) id: GoldenId,
    #[command(flatten)]
    pub(crate) question: AskedQuestion,
    #[command(flatten)]
    pub(crate) changing: Changing,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// What is asked.
#[derive(Args, Debug)]
pub(crate) struct AskedQuestion {
    /// What it is kept for
    #[arg(long, value_name = "TEXT")]
    pub(crate) title: String,
    /// The radio, by its id
    #[arg(long, value_name = "RADIO")]
    pub(crate) radio: RadioId,
    /// How well it is known that the answer is right
    #[arg(long, value_name = "GRADE", ignore_case = true, default_value = "REPORTED")]
    pub(crate) grade: Grade,
    /// Where that is known from
    #[arg(long, value_name = "TEXT")]
    pub(crate) source: String,
    /// Since when
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(crate) date: Date,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    /// What counts, after the wishes
    #[arg(long, value_name = "AIM", default_value = "lowest-price")]
    pub(crate) aim: Aim,
    /// Keep or add this, with a weight of 1 to 1000 (1 without it; 0: not wished); may be given several times
    #[arg(long, value_name = "NEED[=WEIGHT]", value_parser = wish, action = ArgAction::Append)]
    pub(crate) wish: Vec<(v1::Need, u32)>,
    /// Nothing but the named wishes counts; otherwise everything that the car has now
    #[arg(long)]
    pub(crate) only_named_wishes: bool,
    /// Consent to losing this, by name
    #[arg(long, value_name = "NEED", value_parser = need, action = ArgAction::Append)]
    pub(crate) consent: Vec<v1::Need>,
}

/// List the questions that are kept.
#[derive(Args, Debug)]
pub(crate) struct GoldenList {
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// Ask every question. The exit status is 1 where an answer is not the one that is right.
#[derive(Args, Debug)]
pub(crate) struct GoldenRun {
    /// The draft, put onto the latest revision; without one the catalogue as it is
    #[arg(value_name = "ID", conflicts_with = "ReadAt")]
    pub(crate) draft: Option<String>,
    /// Only those that are answered otherwise
    #[arg(long)]
    pub(crate) wrong_only: bool,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) read_at: ReadAt,
    #[command(flatten)]
    pub(crate) client: Client,
}

/// Accept answers by the names of their questions.
#[derive(Args, Debug)]
pub(crate) struct GoldenAccept {
    /// The draft
    #[arg(value_name = "ID")]
    pub(crate) draft: String,
    /// The questions
    #[arg(value_name = "QUESTION", required = true)]
    pub(crate) questions: Vec<GoldenId>,
    #[command(flatten)]
    pub(crate) bulk: super::Bulk,
}

impl Golden {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::Add(arguments) => arguments.client.json,
            Self::List(arguments) => arguments.source.client.json,
            Self::Run(arguments) => arguments.client.json,
            Self::Accept(arguments) => arguments.bulk.client.json,
        }
    }
}
