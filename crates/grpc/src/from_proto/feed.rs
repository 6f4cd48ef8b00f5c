//! Feeds to be sized.

use dashwright_api::v1;
use dashwright_checks::conductor::Series;
use dashwright_checks::feed::{self, FeedQuestion, FeedRules, Return, USUAL_AMBIENT};
use dashwright_quantity::{Amperes, Celsius, Fraction, Metres, OutOfRange, Volts};
use v1::size_feed_request::Load;

use super::{FieldFaults, FieldProblem};

pub(super) const PERCENT: f64 = 100.0;

/// A load to be fed.
pub(crate) fn feed(request: v1::SizeFeedRequest, faults: &mut FieldFaults) -> Option<FeedQuestion> {
    let v1::SizeFeedRequest {
        load,
        volts,
        length_metres,
        returns,
        system,
        ambient_celsius,
        allowed_drop_percent,
        fuse_factor,
        insulation_celsius,
    } = request;
    let usual = FeedRules::usual();
    let supply = faults.take("volts", some(volts, Volts::new));
    let load = match load {
        None => faults.take("load", Err(FieldProblem::Missing)),
        Some(Load::Amperes(amperes)) => faults.take("amperes", some(amperes, Amperes::new)),
        Some(Load::Watts(watts)) => {
            let amperes = |watts| Amperes::new(watts / supply.map_or(1.0, Volts::get));
            faults.take("watts", some(watts, amperes))
        }
    };
    let length = faults.take("length_metres", some(length_metres, Metres::new));
    let returns = faults.take("returns", way_back(returns));
    let series = faults.take("system", series(system));
    let ambient = measured(ambient_celsius.unwrap_or(USUAL_AMBIENT), Celsius::new);
    let ambient = faults.take("ambient_celsius", ambient);
    let drop =
        allowed_drop_percent.map_or(Ok(usual.allowed_drop), |it| measured(it / PERCENT, Fraction::new));
    let allowed_drop = faults.take("allowed_drop_percent", drop);
    let fuse_factor = faults
        .take("fuse_factor", fuse_factor.map_or(Ok(usual.fuse_factor), |it| measured(it, feed::fuse_factor)));
    let insulation = insulation_celsius.map_or(Ok(usual.insulation), |it| measured(it, Celsius::new));
    let insulation = faults.take("insulation_celsius", insulation);
    let rules = FeedRules { allowed_drop: allowed_drop?, fuse_factor: fuse_factor?, insulation: insulation? };
    Some(FeedQuestion {
        load: load?,
        supply: supply?,
        length: length?,
        returns: returns?,
        ambient: ambient?,
        series: series?,
        rules,
    })
}

/// A number of a unit that is more than nothing.
fn some<T>(number: f64, measure: impl FnOnce(f64) -> Result<T, OutOfRange>) -> Result<T, FieldProblem> {
    if number == 0.0 { Err(FieldProblem::Missing) } else { measured(number, measure) }
}

fn measured<T>(number: f64, measure: impl FnOnce(f64) -> Result<T, OutOfRange>) -> Result<T, FieldProblem> {
    measure(number).map_err(FieldProblem::Measure)
}

pub(super) fn way_back(number: i32) -> Result<Return, FieldProblem> {
    match v1::FeedReturn::try_from(number) {
        Ok(v1::FeedReturn::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::FeedReturn::Wire) => Ok(Return::Wire),
        Ok(v1::FeedReturn::Chassis) => Ok(Return::Chassis),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

pub(super) fn series(number: i32) -> Result<Series, FieldProblem> {
    match v1::ConductorSystem::try_from(number) {
        Ok(v1::ConductorSystem::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::ConductorSystem::Awg) => Ok(Series::Awg),
        Ok(v1::ConductorSystem::SquareMillimetres) => Ok(Series::SquareMillimetres),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}
