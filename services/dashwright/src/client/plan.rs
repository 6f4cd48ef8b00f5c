//! `plan`: a radio in a vehicle.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::Plan;
use crate::failure::Failure;
use crate::text::{self, Records, Shown};
use crate::{out, wiring};

/// Asks and prints the plan.
pub(crate) fn plan(arguments: Plan) -> Result<(), Failure> {
    let Plan { radio, vehicle, order, full, explain, source } = arguments;
    let vehicle = vehicle.question();
    let request = v1::PlanInstallRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.clone()),
        radio_id: radio,
        order: Some(order.message()),
    };
    let text = wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        let answer = ask_plan(&connection, request).await?;
        if source.client.json {
            return plan_as_json(&answer);
        }
        let records = if explain { records_of(&connection, &answer).await? } else { Records::default() };
        Ok(text::plan(&vehicle, &answer, &records, Shown { full, explain }, out::columns()))
    })?;
    out::print(&text)
}

/// Asks a server.
pub(crate) async fn ask_plan(
    connection: &Connection,
    request: v1::PlanInstallRequest,
) -> Result<v1::PlanInstallResponse, Failure> {
    connection.answer(connection.fitment().plan_install(request).await)
}

/// The plan as JSON.
pub(crate) fn plan_as_json(answer: &v1::PlanInstallResponse) -> Result<String, Failure> {
    json("PlanInstallResponse", answer, Layout::Wide)
}

/// The records that the reasons of a plan rest on, as they were in the revision that the plan was made from.
async fn records_of(connection: &Connection, answer: &v1::PlanInstallResponse) -> Result<Records, Failure> {
    let exactly = answer.revision.as_ref().map(|revision| v1::read_at::At::Exactly(revision.token.clone()));
    let mut records = Records::new();
    for (name, key) in text::records_of(answer) {
        let read_at = Some(v1::ReadAt { at: exactly.clone() });
        let request = v1::GetRecordRequest { read_at, key: Some(key) };
        let found = connection.answer(connection.catalogue().get_record(request).await)?;
        records.extend(found.record.map(|record| (name, record)));
    }
    Ok(records)
}
