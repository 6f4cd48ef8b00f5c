//! `look-up`: what a vehicle's dash takes.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::LookUp;
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks and prints the answer.
pub(crate) fn look_up(arguments: LookUp) -> Result<(), Failure> {
    let LookUp { vehicle, source } = arguments;
    let vehicle = vehicle.question();
    let answer = wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        ask(&connection, vehicle.clone(), source.read_at.message()).await
    })?;
    out::print(&printed(&vehicle, &answer, source.client.json)?)
}

/// Asks a server.
async fn ask(
    connection: &Connection,
    vehicle: v1::VehicleQuestion,
    read_at: Option<v1::ReadAt>,
) -> Result<v1::LookUpFitmentResponse, Failure> {
    let request = v1::LookUpFitmentRequest { read_at, vehicle: Some(vehicle) };
    connection.answer(connection.fitment().look_up_fitment(request).await)
}

/// The answer as it is printed.
fn printed(
    vehicle: &v1::VehicleQuestion,
    answer: &v1::LookUpFitmentResponse,
    as_json: bool,
) -> Result<String, Failure> {
    if as_json {
        json("LookUpFitmentResponse", answer, Layout::Wide)
    } else {
        Ok(text::fitment(vehicle, answer, out::columns()))
    }
}
