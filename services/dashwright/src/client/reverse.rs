//! `radios` and `vehicles`: the reverse questions.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::{Radios, Vehicles};
use crate::failure::Failure;
use crate::{out, text, wiring};

/// The radios for a vehicle.
pub(crate) fn radios(arguments: Radios) -> Result<(), Failure> {
    let Radios { vehicle, order, page, read_at, client } = arguments;
    let mut request = v1::ListRadiosForVehicleRequest {
        read_at: read_at.message(),
        vehicle: Some(vehicle.question()),
        order: Some(order.message()),
        page_size: page.page_size,
        page_token: page.page_token,
    };
    let layout = layout(page.all);
    wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        loop {
            let answer =
                connection.answer(connection.fitment().list_radios_for_vehicle(request.clone()).await)?;
            request.page_token.clone_from(&answer.next_page_token);
            let last = request.page_token.is_empty() || !page.all;
            out::print(&if client.json {
                json("ListRadiosForVehicleResponse", &answer, layout)?
            } else {
                text::radios(&answer, last, out::columns())
            })?;
            if last {
                return Ok(());
            }
        }
    })
}

/// The vehicles of a part, or of a radio.
pub(crate) fn vehicles(arguments: Vehicles) -> Result<(), Failure> {
    match arguments.part.clone() {
        Some(part) => vehicles_for_part(arguments, part),
        None => vehicles_for_radio(arguments),
    }
}

fn vehicles_for_radio(arguments: Vehicles) -> Result<(), Failure> {
    let Vehicles { part: _, radio, only_fitting, vehicle, order, page, read_at, client } = arguments;
    let mut request = v1::ListVehiclesForRadioRequest {
        read_at: read_at.message(),
        radio_id: radio.unwrap_or_default(),
        vehicle: Some(vehicle.question()),
        order: Some(order.message()),
        only_fitting,
        page_size: page.page_size,
        page_token: page.page_token,
    };
    let layout = layout(page.all);
    wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        loop {
            let answer =
                connection.answer(connection.fitment().list_vehicles_for_radio(request.clone()).await)?;
            request.page_token.clone_from(&answer.next_page_token);
            let last = request.page_token.is_empty() || !page.all;
            out::print(&if client.json {
                json("ListVehiclesForRadioResponse", &answer, layout)?
            } else {
                text::vehicles_for_radio(&answer, last, out::columns())
            })?;
            if last {
                return Ok(());
            }
        }
    })
}

fn vehicles_for_part(arguments: Vehicles, part_id: String) -> Result<(), Failure> {
    let Vehicles { part: _, radio, only_fitting: _, vehicle, order: _, page, read_at, client } = arguments;
    let mut request = v1::ListVehiclesForPartRequest {
        read_at: read_at.message(),
        part_id,
        radio_id: radio.unwrap_or_default(),
        vehicle: Some(vehicle.question()),
        page_size: page.page_size,
        page_token: page.page_token,
    };
    let layout = layout(page.all);
    wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        loop {
            let answer =
                connection.answer(connection.fitment().list_vehicles_for_part(request.clone()).await)?;
            request.page_token.clone_from(&answer.next_page_token);
            let last = request.page_token.is_empty() || !page.all;
            out::print(&if client.json {
                json("ListVehiclesForPartResponse", &answer, layout)?
            } else {
                text::vehicles_for_part(&answer, last, out::columns())
            })?;
            if last {
                return Ok(());
            }
        }
    })
}

/// One answer over many lines, several on a line each.
fn layout(all: bool) -> Layout {
    if all { Layout::OneLine } else { Layout::Wide }
}
