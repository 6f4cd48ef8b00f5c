//! `choices`: what can be chosen next of a vehicle.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::Choices;
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks and prints the choices.
pub(crate) fn choices(arguments: Choices) -> Result<(), Failure> {
    let Choices { vehicle, page, read_at, client } = arguments;
    let (vehicle, read_at) = (vehicle.question(), read_at.message());
    let layout = if page.all { Layout::OneLine } else { Layout::Wide };
    wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        let mut token = page.page_token;
        loop {
            let request = v1::ListChoicesRequest {
                read_at: read_at.clone(),
                vehicle: Some(vehicle.clone()),
                page_size: page.page_size,
                page_token: token,
            };
            let answer = connection.answer(connection.fitment().list_choices(request).await)?;
            token = answer.next_page_token.clone();
            let last = token.is_empty() || !page.all;
            out::print(&if client.json {
                json("ListChoicesResponse", &answer, layout)?
            } else {
                text::choices(&answer, last, out::columns())
            })?;
            if last {
                return Ok(());
            }
        }
    })
}
