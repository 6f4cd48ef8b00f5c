//! Questions that settle: the year, make, model and audio option of lines spread over the dataset.

use dashwright_api::v1;
use dashwright_model::record::{Record, Vehicle};
use prost::Message as _;

use crate::Outcome;

/// How many different questions are asked in turns.
const QUESTIONS: usize = 256;

/// Encoded requests about lines spread evenly over a dataset of this size.
pub(crate) fn sample(lines: usize) -> Outcome<Vec<Vec<u8>>> {
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
        let question = v1::VehicleQuestion {
            model_year: vehicle.years.from().get().into(),
            make: names.get(vehicle.make.as_str()).map(|name| (*name).to_owned()).unwrap_or_default(),
            model: vehicle.model.to_string(),
            audio_option: option,
            ..v1::VehicleQuestion::default()
        };
        v1::LookUpFitmentRequest { read_at: None, vehicle: Some(question) }.encode_to_vec()
    });
    Ok(requests.collect())
}
