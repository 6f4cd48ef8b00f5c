//! `radios` and `vehicles`: the reverse questions.

use dashwright_api::v1;

use super::connection::Connection;
use super::pages::{Printed, each_page};
use crate::args::{Radios, Vehicles};
use crate::failure::Failure;
use crate::{out, text, wiring};

/// The radios for a vehicle.
pub(crate) fn radios(arguments: Radios) -> Result<(), Failure> {
    let Radios { vehicle, order, page, source } = arguments;
    let question = v1::ListRadiosForVehicleRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.question()),
        order: Some(order.message()),
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListRadiosForVehicleResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::radios(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        let ask = async |page_token| {
            let request = v1::ListRadiosForVehicleRequest { page_token, ..question.clone() };
            connection.answer(connection.fitment().list_radios_for_vehicle(request).await)
        };
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}

/// The vehicles of a part, or of a radio.
pub(crate) fn vehicles(mut arguments: Vehicles) -> Result<(), Failure> {
    match arguments.part.take() {
        Some(part) => vehicles_for_part(arguments, part),
        None => vehicles_for_radio(arguments),
    }
}

fn vehicles_for_radio(arguments: Vehicles) -> Result<(), Failure> {
    let Vehicles { part: _, radio, only_fitting, vehicle, order, page, source } = arguments;
    let question = v1::ListVehiclesForRadioRequest {
        read_at: source.read_at.message(),
        radio_id: radio.unwrap_or_default(),
        vehicle: Some(vehicle.question()),
        order: Some(order.message()),
        only_fitting,
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListVehiclesForRadioResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::vehicles_for_radio(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        let ask = async |page_token| {
            let request = v1::ListVehiclesForRadioRequest { page_token, ..question.clone() };
            connection.answer(connection.fitment().list_vehicles_for_radio(request).await)
        };
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}

/// The order says nothing here; the command line takes none with a part.
fn vehicles_for_part(arguments: Vehicles, part_id: String) -> Result<(), Failure> {
    let Vehicles { part: _, radio, only_fitting: _, vehicle, order: _, page, source } = arguments;
    let question = v1::ListVehiclesForPartRequest {
        read_at: source.read_at.message(),
        part_id,
        radio_id: radio.unwrap_or_default(),
        vehicle: Some(vehicle.question()),
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListVehiclesForPartResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::vehicles_for_part(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        let ask = async |page_token| {
            let request = v1::ListVehiclesForPartRequest { page_token, ..question.clone() };
            connection.answer(connection.fitment().list_vehicles_for_part(request).await)
        };
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}
