//! What may be said of serving: what to do once, and the settings, which a file or the environment may say as well.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use crate::config::Given;

/// What stands below the help of `serve`.
pub(super) const LEVELS: &str = "Settings are taken from flags, else from the environment, else from the file, else as they are \
                                 by default. In the file, which is TOML, each stands under the name of its flag: `listen = \
                                 \"127.0.0.1:61761\"`. `dashwright config print` tells what is in force and who said it; \
                                 `dashwright config check` whether serve would begin with it.";

/// Serve the dataset of a directory.
#[derive(Args, Clone, Debug, Default)]
pub(crate) struct Serve {
    /// Begin a dataset in DIR, which is missing or empty
    #[arg(long)]
    pub(crate) init: bool,
    /// Load these records as revision 1: JSON Lines, one record a line
    #[arg(long, value_name = "FILE.jsonl")]
    pub(crate) load: Option<PathBuf>,
    /// Take what flags and the environment do not say from this file; relative paths in it are relative to its directory
    /// [env: DASHWRIGHT_SERVE_CONFIG]
    #[arg(long, value_name = "FILE.toml")]
    pub(crate) config: Option<PathBuf>,
    #[command(flatten, next_help_heading = "Settings")]
    pub(crate) given: Given,
}

/// The form of a log line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LogFormat {
    /// For a person.
    Text,
    /// One JSON object a line.
    Json,
}

/// Show and check the settings of `serve`.
#[derive(Debug, Subcommand)]
pub(crate) enum Config {
    /// Print every setting with its value and who said it; secrets are left out
    #[command(after_help = LEVELS)]
    Print(ConfigShow),
    /// Say whether `serve` would begin: every fault at once, and nothing is started or changed
    #[command(after_help = LEVELS)]
    Check(ConfigShow),
}

/// The settings of `serve` as they would be.
#[derive(Args, Debug)]
pub(crate) struct ConfigShow {
    /// Print the result as JSON
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) serve: Serve,
}

impl Config {
    /// Whether the answer is wanted as JSON.
    pub(crate) fn json(&self) -> bool {
        match self {
            Self::Print(show) | Self::Check(show) => show.json,
        }
    }
}
