//! `choices`: what can be chosen next of a vehicle.

use dashwright_api::v1;

use super::connection::Connection;
use super::pages::{Printed, each_page};
use crate::args::Choices;
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks and prints the choices.
pub(crate) fn choices(arguments: Choices) -> Result<(), Failure> {
    let Choices { vehicle, page, source } = arguments;
    let question = v1::ListChoicesRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.question()),
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListChoicesResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::choices(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        let ask = async |page_token| {
            let request = v1::ListChoicesRequest { page_token, ..question.clone() };
            connection.answer(connection.fitment().list_choices(request).await)
        };
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}
