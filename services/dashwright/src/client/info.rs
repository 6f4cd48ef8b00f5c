//! `info`: what is served, and the limits of the service.

use dashwright_api::v1;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::Info;
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks and prints what is served.
pub(crate) fn info(arguments: Info) -> Result<(), Failure> {
    let Info { source } = arguments;
    let request = v1::GetDatasetInfoRequest { read_at: source.read_at.message() };
    let answer = wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        connection.answer(connection.catalogue().get_dataset_info(request).await)
    })?;
    out::print(&if source.client.json {
        json("GetDatasetInfoResponse", &answer, Layout::Wide)?
    } else {
        text::info(&source.client.server, &answer, out::columns())
    })
}
