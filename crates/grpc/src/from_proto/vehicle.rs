//! What a caller knows of a vehicle.

use dashwright_api::v1;
use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::DriveSide;
use dashwright_model::vin::Vin;
use dashwright_quantity::{Label, ModelYear};

use super::{FieldFaults, FieldProblem};

/// A question about a vehicle; a missing message says nothing.
pub(crate) fn vehicle_question(
    message: Option<v1::VehicleQuestion>,
    faults: &mut FieldFaults,
) -> VehicleQuestion {
    let Some(message) = message else { return VehicleQuestion::default() };
    let v1::VehicleQuestion {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side: side,
        body,
        drivetrain,
        audio_option,
        words,
    } = message;
    VehicleQuestion {
        vin: optional(&vin, "vehicle.vin", faults, |text| Vin::parse(text).map_err(FieldProblem::Vin)),
        model_year: year(model_year, faults),
        make: label(&make, "vehicle.make", faults),
        model: label(&model, "vehicle.model", faults),
        trim: label(&trim, "vehicle.trim", faults),
        build_month: optional(&build_month, "vehicle.build_month", faults, |text| {
            text.parse().map_err(FieldProblem::Date)
        }),
        market: label(&market, "vehicle.market", faults),
        drive_side: drive_side(side, faults),
        body: label(&body, "vehicle.body", faults),
        drivetrain: label(&drivetrain, "vehicle.drivetrain", faults),
        audio_option: label(&audio_option, "vehicle.audio_option", faults),
        words: label(&words, "vehicle.words", faults),
    }
}

/// A text that says nothing when it is empty.
fn optional<T>(
    text: &str,
    path: &str,
    faults: &mut FieldFaults,
    read: impl FnOnce(&str) -> Result<T, FieldProblem>,
) -> Option<T> {
    if text.is_empty() { None } else { faults.take(path, read(text)) }
}

/// Words as a person types them: white space at the ends is not the caller's meaning.
fn label(text: &str, path: &str, faults: &mut FieldFaults) -> Option<Label> {
    optional(text, path, faults, |text| Label::new(text.trim()).map_err(FieldProblem::Text))
}

fn year(year: u32, faults: &mut FieldFaults) -> Option<ModelYear> {
    match year {
        0 => None,
        year => faults.take("vehicle.model_year", ModelYear::new(year.into()).map_err(FieldProblem::Date)),
    }
}

fn drive_side(number: i32, faults: &mut FieldFaults) -> Option<DriveSide> {
    match v1::DriveSide::try_from(number) {
        Ok(v1::DriveSide::Unspecified) => None,
        Ok(v1::DriveSide::Left) => Some(DriveSide::Left),
        Ok(v1::DriveSide::Right) => Some(DriveSide::Right),
        Err(_) => faults.take("vehicle.drive_side", Err(FieldProblem::UnknownTerm { found: number })),
    }
}
