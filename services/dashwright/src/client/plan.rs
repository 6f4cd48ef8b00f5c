//! `plan`: a radio in a vehicle.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::Plan;
use crate::failure::Failure;
use crate::text::Shown;
use crate::{out, text, wiring};

/// Asks and prints the plan.
pub(crate) fn plan(arguments: Plan) -> Result<(), Failure> {
    let Plan { radio, vehicle, order, full, explain, read_at, client } = arguments;
    let vehicle = vehicle.question();
    let request = v1::PlanInstallRequest {
        read_at: read_at.message(),
        vehicle: Some(vehicle.clone()),
        radio_id: radio,
        order: Some(order.message()),
    };
    let answer = wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        ask_plan(&connection, request).await
    })?;
    out::print(&printed_plan(&vehicle, &answer, Shown { full, explain }, client.json)?)
}

/// Asks a server.
pub(crate) async fn ask_plan(
    connection: &Connection,
    request: v1::PlanInstallRequest,
) -> Result<v1::PlanInstallResponse, Failure> {
    connection.answer(connection.fitment().plan_install(request).await)
}

/// The plan as it is printed.
pub(crate) fn printed_plan(
    vehicle: &v1::VehicleQuestion,
    answer: &v1::PlanInstallResponse,
    shown: Shown,
    as_json: bool,
) -> Result<String, Failure> {
    if as_json {
        json("PlanInstallResponse", answer, Layout::Wide)
    } else {
        Ok(text::plan(vehicle, answer, shown, out::columns()))
    }
}
