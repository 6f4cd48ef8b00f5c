//! What may be said of a direct feed.

use clap::{ArgGroup, Args, ValueEnum};

/// The way back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FeedReturn {
    /// A second conductor of the same size
    Wire,
    /// The body, whose resistance is not counted
    Chassis,
}

/// Sizes of conductors.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FeedSystem {
    /// American wire gauge
    Awg,
    /// Square millimetres
    Mm2,
}

/// Size a direct feed.
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("load").required(true))]
pub(crate) struct Feed {
    /// What the load draws at most, in amperes
    #[arg(long, value_name = "A", group = "load")]
    pub(crate) amps: Option<f64>,
    /// What the load draws at most, in watts
    #[arg(long, value_name = "W", group = "load")]
    pub(crate) watts: Option<f64>,
    /// The supply, in volts
    #[arg(long, value_name = "V", default_value_t = 12.0)]
    pub(crate) volts: f64,
    /// One way from the battery, in metres
    #[arg(long, value_name = "M")]
    pub(crate) length_m: f64,
    /// How the current comes back
    #[arg(long = "return", value_name = "WAY", value_enum)]
    pub(crate) returns: FeedReturn,
    /// The share of the supply that may be lost on the way, in percent
    #[arg(long, value_name = "PERCENT", default_value_t = 3.0)]
    pub(crate) drop_percent: f64,
    /// The sizes to choose from
    #[arg(long, value_name = "SYSTEM", value_enum, default_value_t = FeedSystem::Mm2)]
    pub(crate) system: FeedSystem,
    /// The air around the conductor, in °C
    #[arg(long, value_name = "C", default_value_t = 20.0, allow_negative_numbers = true)]
    pub(crate) ambient_c: f64,
    /// What the insulation takes for good, in °C: 70 is PVC
    #[arg(long, value_name = "C", default_value_t = 70.0)]
    pub(crate) insulation_c: f64,
    /// The fuse carries so many times the load
    #[arg(long, value_name = "FACTOR", default_value_t = 1.25)]
    pub(crate) fuse_factor: f64,
    /// Print the answer as JSON
    #[arg(long)]
    pub(crate) json: bool,
}
