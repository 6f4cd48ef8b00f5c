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

/// Questions about lines spread evenly over a dataset of this size.
pub(crate) fn sample(lines: usize) -> Outcome<Vec<v1::VehicleQuestion>> {
    let records: Vec<Record> = dashwright_demo::scaled(lines).collect();
    let generated: Vec<&Vehicle> = records
        .iter()
        .filter_map(|record| match record {
            Record::Vehicle(vehicle) if vehicle.id.as_str().starts_with("gen-") => Some(&**vehicle),
            _ => None,
        })
        .collect();
    let step = (generated.len() / QUESTIONS).max(1);
    let names: std::collections::BTreeMap<&str, &str> = records
        .iter()
        .filter_map(|record| match record {
            Record::Vocabulary(term) => Some((term.id.as_str(), term.name.as_str())),
            _ => None,
        })
        .collect();
    let chosen = generated.iter().step_by(step).take(QUESTIONS);
    let requests = chosen.map(|vehicle| {
        let option = vehicle.audio_options.first().map(|option| option.code.to_string()).unwrap_or_default();
        v1::VehicleQuestion {
            model_year: vehicle.years.from().get().into(),
            make: names.get(vehicle.make.as_str()).map(|name| (*name).to_owned()).unwrap_or_default(),
            model: vehicle.model.to_string(),
            audio_option: option,
            ..v1::VehicleQuestion::default()
        }
    });
    Ok(requests.collect())
}
