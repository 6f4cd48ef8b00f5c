//! `feed`: the conductor and the fuse of a direct feed, worked out here, without a server.

use dashwright_checks::conductor::{Series, area};
use dashwright_checks::feed::{
    Feed, FeedQuestion, FeedRules, Lack, Laid, NoFeed, Rejected, Return, fuse_factor, size_feed,
};
use dashwright_quantity::{Amperes, Celsius, Fraction, Metres, OutOfRange, Volts};
use serde_json::{Value, json};

use crate::args::{self, FeedReturn, FeedSystem};
use crate::failure::Failure;
use crate::{out, text};

const PERCENT: f64 = 100.0;

/// Sizes a feed and prints it.
pub(crate) fn feed(arguments: &args::Feed) -> Result<(), Failure> {
    let question = question(arguments)?;
    let found = size_feed(&question).map_err(FeedFailure::NoFeed)?;
    out::print(&if arguments.json {
        format!("{:#}\n", as_json(&question, &found))
    } else {
        text::feed(&question, &found, out::columns())
    })
}

fn question(arguments: &args::Feed) -> Result<FeedQuestion, FeedFailure> {
    let args::Feed { amps, watts, volts, length_m, returns, drop_percent, system, .. } = *arguments;
    let supply = above("--volts", volts, Volts::new)?;
    let load = match (amps, watts) {
        (Some(amps), _) => above("--amps", amps, Amperes::new)?,
        (None, watts) => {
            let watts = watts.unwrap_or_default();
            above("--watts", watts, |watts| Amperes::new(watts / supply.get()))?
        }
    };
    Ok(FeedQuestion {
        load,
        supply,
        length: above("--length-m", length_m, Metres::new)?,
        returns: match returns {
            FeedReturn::Wire => Return::Wire,
            FeedReturn::Chassis => Return::Chassis,
        },
        ambient: measured("--ambient-c", arguments.ambient_c, Celsius::new)?,
        series: match system {
            FeedSystem::Awg => Series::Awg,
            FeedSystem::Mm2 => Series::SquareMillimetres,
        },
        rules: FeedRules {
            allowed_drop: measured("--drop-percent", drop_percent / PERCENT, Fraction::new)?,
            fuse_factor: measured("--fuse-factor", arguments.fuse_factor, fuse_factor)?,
            insulation: measured("--insulation-c", arguments.insulation_c, Celsius::new)?,
        },
    })
}

fn measured<T>(
    argument: &'static str,
    number: f64,
    measure: impl FnOnce(f64) -> Result<T, OutOfRange>,
) -> Result<T, FeedFailure> {
    measure(number).map_err(|problem| FeedFailure::Measure { argument, problem })
}

/// A number that is more than nothing.
fn above<T>(
    argument: &'static str,
    number: f64,
    measure: impl FnOnce(f64) -> Result<T, OutOfRange>,
) -> Result<T, FeedFailure> {
    if number == 0.0 {
        return Err(FeedFailure::Nothing { argument });
    }
    measured(argument, number, measure)
}

/// Lengths of decimals that say nothing are left out.
fn rounded(number: f64) -> f64 {
    const DECIMALS: f64 = 1e6;
    (number * DECIMALS).round() / DECIMALS
}

fn as_json(question: &FeedQuestion, feed: &Feed) -> Value {
    let FeedQuestion { load, supply, length, returns, ambient, series: _, rules } = question;
    let Feed { laid, fuse, thinner } = feed;
    let mut answer = conductor(laid);
    let more = json!({
        "fuse_amps": fuse.rating,
        "fuse_colour": fuse.colour,
        "fuse_type": fuse.kind.letter(),
        "thinner": thinner.as_ref().map(rejected),
        "inputs": {
            "amps": load,
            "volts": supply,
            "length_m": length,
            "return": match returns { Return::Wire => "wire", Return::Chassis => "chassis" },
            "ambient_c": ambient,
            "insulation_c": rules.insulation,
            "allowed_drop_percent": rounded(rules.allowed_drop.get() * PERCENT),
            "fuse_factor": rules.fuse_factor,
        },
        "cautions": text::FEED_CAUTIONS,
    });
    if let (Some(answer), Value::Object(more)) = (answer.as_object_mut(), more) {
        answer.extend(more);
    }
    answer
}

fn conductor(laid: &Laid) -> Value {
    let Laid { conductor, resistance, drop, drop_share, limit } = laid;
    json!({
        "conductor": conductor.to_string(),
        "conductor_mm2": rounded(area(*conductor)),
        "resistance_ohms": rounded(resistance.get()),
        "drop_volts": rounded(drop.get()),
        "drop_percent": rounded(drop_share.get() * PERCENT),
        "limit_amps": rounded(limit.get()),
    })
}

fn rejected(rejected: &Rejected) -> Value {
    let mut thinner = conductor(&rejected.laid);
    let lacks: Vec<&str> = rejected
        .lacks
        .iter()
        .map(|lack| match lack {
            Lack::Drop { .. } => "loses too much",
            Lack::Current { .. } => "carries less than the fuse",
        })
        .collect();
    if let Some(thinner) = thinner.as_object_mut() {
        thinner.insert("why_not".to_owned(), lacks.into());
    }
    thinner
}

/// Why no feed was sized.
#[derive(Debug, thiserror::Error)]
pub(crate) enum FeedFailure {
    /// No conductor and fuse will do.
    #[error("there is no such feed: {}", why_not(.0))]
    NoFeed(NoFeed),
    /// A number is none of its unit.
    #[error("{argument}: {problem}")]
    Measure {
        /// The argument.
        argument: &'static str,
        /// What is wrong.
        problem: OutOfRange,
    },
    /// A number has to be more than nothing.
    #[error("{argument} has to be more than 0")]
    Nothing {
        /// The argument.
        argument: &'static str,
    },
}

impl FeedFailure {
    /// What to do next.
    pub(crate) fn next(&self) -> &'static str {
        match self {
            Self::NoFeed(_) => "shorten the way, raise the voltage, or divide the load over several feeds",
            Self::Measure { .. } | Self::Nothing { .. } => "correct it",
        }
    }
}

fn why_not(none: &NoFeed) -> String {
    match none {
        NoFeed::Nothing => "there is nothing to feed".to_owned(),
        NoFeed::NoFuse { needed } => format!("no blade fuse carries {:.1} A", needed.get()),
        NoFeed::NoConductor { thickest } => {
            format!("not even {} will do: {}", thickest.laid.conductor, text::lacks(thickest))
        }
    }
}
