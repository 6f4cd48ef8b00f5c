//! Questions that settle: the year, make, model and audio option of lines spread over the dataset.

use dashwright_api::v1;
use dashwright_model::record::{Record, Vehicle};
use prost::Message as _;

use crate::Outcome;

/// How many different questions are asked in turns.
const QUESTIONS: usize = 256;

/// Radios that plans are asked for, in turns.
const RADIOS: [&str; 4] = ["sonquill-rowan-2", "sonquill-larch-1", "kelvora-tern-2", "nordvale-loom-2"];
/// Parts that lie in a cart.
const CART: [&str; 3] = ["hwk-210", "mw-12", "qm-7.214"];

/// Encoded look-ups.
pub(crate) fn look_ups(vehicles: &[v1::VehicleQuestion]) -> Vec<Vec<u8>> {
    let request = |vehicle: &v1::VehicleQuestion| v1::LookUpFitmentRequest {
        read_at: None,
        vehicle: Some(vehicle.clone()),
    };
    vehicles.iter().map(|vehicle| request(vehicle).encode_to_vec()).collect()
}

/// Encoded questions for plans.
pub(crate) fn plans(vehicles: &[v1::VehicleQuestion]) -> Vec<Vec<u8>> {
    let plans = vehicles.iter().zip(RADIOS.iter().cycle()).map(|(vehicle, radio)| v1::PlanInstallRequest {
        vehicle: Some(vehicle.clone()),
        radio_id: (*radio).to_owned(),
        ..v1::PlanInstallRequest::default()
    });
    plans.map(|plan| plan.encode_to_vec()).collect()
}

/// Carts of three lines.
pub(crate) fn carts(vehicles: &[v1::VehicleQuestion]) -> Vec<v1::CheckCartRequest> {
    let carts = vehicles.iter().zip(RADIOS.iter().cycle()).map(|(vehicle, radio)| v1::CheckCartRequest {
        vehicle: Some(vehicle.clone()),
        radio_id: (*radio).to_owned(),
        lines: CART.iter().map(|item| v1::CartLine { item: (*item).to_owned(), quantity: 1 }).collect(),
        ..v1::CheckCartRequest::default()
    });
    carts.collect()
}

/// A generated line as a caller may ask for it.
pub(crate) struct Generated {
    /// The question that leaves this line with one audio option.
    pub(crate) question: v1::VehicleQuestion,
    /// The record.
    pub(crate) vehicle_id: String,
    /// Its last model year.
    pub(crate) last_year: u32,
}

/// Questions about lines spread evenly over a dataset of this size.
pub(crate) fn sample(lines: usize) -> Outcome<Vec<v1::VehicleQuestion>> {
    let step = (lines / QUESTIONS).max(1);
    let mut chosen = Vec::new();
    generated(lines, |number, line| {
        if number % step == 0 && chosen.len() < QUESTIONS {
            chosen.push(line()?.question);
        }
        Ok(())
    })?;
    Ok(chosen)
}

/// Every generated line of a dataset of this size with its number, made where it is asked for.
pub(crate) fn generated(
    lines: usize,
    mut each: impl FnMut(usize, &dyn Fn() -> Outcome<Generated>) -> Outcome<()>,
) -> Outcome<()> {
    let (mut names, mut number) = (std::collections::BTreeMap::new(), 0);
    for record in dashwright_demo::scaled(lines) {
        match record {
            // The makes stand before the lines.
            Record::Vocabulary(term) => {
                names.insert(term.id.to_string(), term.name.to_string());
            }
            Record::Vehicle(vehicle) if vehicle.id.as_str().starts_with("gen-") => {
                each(number, &|| {
                    let make = names.get(vehicle.make.as_str()).ok_or("a make without a name")?;
                    as_asked(&vehicle, make)
                })?;
                number += 1;
            }
            _ => {}
        }
    }
    Ok(())
}

fn as_asked(vehicle: &Vehicle, make: &str) -> Outcome<Generated> {
    let option = vehicle.audio_options.first().ok_or("a line without audio")?;
    let question = v1::VehicleQuestion {
        model_year: vehicle.years.from().get().into(),
        make: make.to_owned(),
        model: vehicle.model.to_string(),
        audio_option: option.code.to_string(),
        ..v1::VehicleQuestion::default()
    };
    let last_year = vehicle.years.to().get().into();
    Ok(Generated { question, vehicle_id: vehicle.id.to_string(), last_year })
}
