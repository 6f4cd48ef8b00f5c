//! `draft check`: findings and holes, of a draft or of the catalogue.

use std::cell::Cell;

use dashwright_api::v1;

use super::connection::Connection;
use super::pages::{Printed, each_page};
use crate::args::DraftCheck;
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text};

/// Prints what is found; fails where there are errors.
pub(super) async fn check(arguments: DraftCheck) -> Result<(), Failure> {
    let connection = Connection::open(&arguments.client).await?;
    match (arguments.holes, arguments.draft.clone()) {
        (false, Some(draft)) => draft_findings(&connection, draft, arguments).await,
        (false, None) => findings(&connection, arguments).await,
        (true, Some(draft)) => draft_holes(&connection, draft, arguments).await,
        (true, None) => holes(&connection, arguments).await,
    }
}

async fn draft_findings(
    connection: &Connection,
    draft_id: String,
    arguments: DraftCheck,
) -> Result<(), Failure> {
    let DraftCheck { draft: _, record, errors_only, holes: _, page, read_at: _, client } = arguments;
    let question = v1::ValidateDraftRequest {
        draft_id,
        record: record.map(|record| record.to_string()).unwrap_or_default(),
        errors_only,
        page_size: page.page_size,
        page_token: String::new(),
    };
    let errors = Cell::new(0);
    let ask = async |page_token| {
        let request = v1::ValidateDraftRequest { page_token, ..question.clone() };
        let answer = connection.answer(connection.curation().validate_draft(request).await)?;
        errors.set(errors_of(answer.found.as_ref()));
        Ok(answer)
    };
    let text = |answer: &_, last| text::draft_findings(answer, last, out::columns());
    let printed = Printed { name: "ValidateDraftResponse", as_json: client.json, text };
    each_page(page, ask, |answer: &v1::ValidateDraftResponse| &answer.next_page_token, printed).await?;
    verdict(errors.get())
}

async fn findings(connection: &Connection, arguments: DraftCheck) -> Result<(), Failure> {
    let DraftCheck { draft: _, record, errors_only, holes: _, page, read_at, client } = arguments;
    let question = v1::ListFindingsRequest {
        read_at: read_at.message(),
        record: record.map(|record| record.to_string()).unwrap_or_default(),
        errors_only,
        page_size: page.page_size,
        page_token: String::new(),
    };
    let errors = Cell::new(0);
    let ask = async |page_token| {
        let request = v1::ListFindingsRequest { page_token, ..question.clone() };
        let answer = connection.answer(connection.curation().list_findings(request).await)?;
        errors.set(errors_of(answer.found.as_ref()));
        Ok(answer)
    };
    let text = |answer: &_, last| text::findings(answer, last, out::columns());
    let printed = Printed { name: "ListFindingsResponse", as_json: client.json, text };
    each_page(page, ask, |answer: &v1::ListFindingsResponse| &answer.next_page_token, printed).await?;
    verdict(errors.get())
}

async fn draft_holes(
    connection: &Connection,
    draft_id: String,
    arguments: DraftCheck,
) -> Result<(), Failure> {
    let (page, page_size) = (arguments.page.clone(), arguments.page.page_size);
    let ask = async |page_token| {
        let request = v1::ListDraftHolesRequest { draft_id: draft_id.clone(), page_size, page_token };
        connection.answer(connection.curation().list_draft_holes(request).await)
    };
    let text = |answer: &_, last| text::draft_holes(answer, last, out::columns());
    let printed = Printed { name: "ListDraftHolesResponse", as_json: arguments.client.json, text };
    each_page(page, ask, |answer: &v1::ListDraftHolesResponse| &answer.next_page_token, printed).await
}

async fn holes(connection: &Connection, arguments: DraftCheck) -> Result<(), Failure> {
    let (page, page_size) = (arguments.page.clone(), arguments.page.page_size);
    let read_at = arguments.read_at.message();
    let ask = async |page_token| {
        let request = v1::ListHolesRequest { read_at: read_at.clone(), page_size, page_token };
        connection.answer(connection.curation().list_holes(request).await)
    };
    let text = |answer: &_, last| text::holes(answer, last, out::columns());
    let printed = Printed { name: "ListHolesResponse", as_json: arguments.client.json, text };
    each_page(page, ask, |answer: &v1::ListHolesResponse| &answer.next_page_token, printed).await
}

fn errors_of(found: Option<&v1::Findings>) -> u64 {
    found.map_or(0, |found| found.errors)
}

fn verdict(errors: u64) -> Result<(), Failure> {
    if errors == 0 { Ok(()) } else { Err(KeepingFailure::ErrorsFound { errors }.into()) }
}
