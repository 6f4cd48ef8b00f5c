//! Questions about vehicles, and the cascade that leads from no word to one vehicle line.

use std::collections::BTreeMap;

use dashwright_api::v1::{Attribute, DriveSide, ListChoicesRequest, ListChoicesResponse, VehicleQuestion};

use crate::service::{Outcome, Running};

/// The question with one more attribute answered.
///
/// # Errors
/// When the attribute is none, or the value is not one of it.
pub fn answered(question: &VehicleQuestion, attribute: Attribute, value: &str) -> Outcome<VehicleQuestion> {
    let mut question = question.clone();
    let text = value.to_owned();
    match attribute {
        Attribute::Unspecified => return Err("there is no such attribute to answer".into()),
        Attribute::ModelYear => question.model_year = value.parse()?,
        Attribute::Make => question.make = text,
        Attribute::Model => question.model = text,
        Attribute::Trim => question.trim = text,
        Attribute::BuildMonth => question.build_month = text,
        Attribute::Market => question.market = text,
        Attribute::DriveSide => {
            let side = DriveSide::from_str_name(&format!("DRIVE_SIDE_{}", value.to_uppercase()));
            question.drive_side = side.ok_or_else(|| format!("`{value}` is no side"))?.into();
        }
        Attribute::Body => question.body = text,
        Attribute::Drivetrain => question.drivetrain = text,
        Attribute::AudioOption => question.audio_option = text,
    }
    Ok(question)
}

/// One place of the cascade: what is known there, and what ListChoices says.
pub struct Place {
    /// What is known.
    pub question: VehicleQuestion,
    /// The next choice.
    pub next: ListChoicesResponse,
}

impl Place {
    /// The attribute that is asked for; unspecified at an end.
    #[must_use]
    pub fn attribute(&self) -> Attribute {
        self.next.attribute()
    }
}

/// Every place of the cascade below a question, reached by answering with each choice.
///
/// # Errors
/// When a call is refused.
pub async fn cascade(running: &Running, begin: VehicleQuestion) -> Outcome<Vec<Place>> {
    let mut client = running.fitment.clone();
    let mut places = Vec::new();
    let mut open = vec![begin];
    while let Some(question) = open.pop() {
        let request = ListChoicesRequest { vehicle: Some(question.clone()), ..Default::default() };
        let next = client.list_choices(request).await?.into_inner();
        for choice in &next.choices {
            open.push(answered(&question, next.attribute(), &choice.value)?);
        }
        places.push(Place { question, next });
    }
    Ok(places)
}

/// For every vehicle line of the dataset a question that leaves this line alone, without its audio option.
///
/// # Errors
/// When a call is refused.
pub async fn questions_of_lines(running: &Running) -> Outcome<BTreeMap<String, VehicleQuestion>> {
    let mut client = running.fitment.clone();
    let mut questions = BTreeMap::new();
    for place in cascade(running, VehicleQuestion::default()).await? {
        if place.next.remaining_lines != 1 || !place.question.audio_option.is_empty() {
            continue;
        }
        let request = dashwright_api::v1::ResolveVehicleRequest {
            vehicle: Some(place.question.clone()),
            ..Default::default()
        };
        let found = client.resolve_vehicle(request).await?.into_inner();
        let line = found.candidates.first().ok_or("one line remains and none is told")?;
        questions.entry(line.vehicle_id.clone()).or_insert(place.question);
    }
    Ok(questions)
}
