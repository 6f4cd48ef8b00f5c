//! `outcome`: how jobs went that were done by plans, and what that is worth.

use dashwright_api::v1;
use dashwright_api::v1::resolve_outcome_request::Resolution;

use super::change::Change;
use super::connection::Connection;
use super::draft::print;
use super::pages::{Printed, each_page};
use crate::args::{
    Bulk, Changing, Outcome, OutcomeAccept, OutcomeList, OutcomeReject, OutcomeReport, OutcomeState,
    WrongRecord,
};
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Reports, lists or resolves, and prints what came of it.
pub(crate) fn outcome(arguments: Outcome) -> Result<(), Failure> {
    match arguments {
        Outcome::Report(arguments) => wiring::block_on(report(*arguments)),
        Outcome::List(arguments) => wiring::block_on(list(arguments)),
        Outcome::Accept(arguments) => wiring::block_on(accept(arguments)),
        Outcome::Reject(arguments) => wiring::block_on(reject(arguments)),
    }
}

async fn report(arguments: OutcomeReport) -> Result<(), Failure> {
    let OutcomeReport {
        radio: radio_id,
        fingerprint,
        at,
        worked,
        did_not: _,
        wrong,
        note,
        reason,
        request_id,
        vehicle,
        order,
        client,
    } = arguments;
    let change = Change::of(Changing { reason, request_id });
    let connection = Connection::open(&client).await?;
    let revision = match at {
        Some(token) => token,
        None => latest(&connection).await?,
    };
    let question = v1::PlanInstallRequest {
        read_at: None,
        vehicle: Some(vehicle.question()),
        radio_id,
        order: Some(order.message()),
    };
    // The command line takes exactly one of the two.
    let result = if worked { v1::JobResult::Worked } else { v1::JobResult::DidNotWork };
    let request = v1::ReportOutcomeRequest {
        change: change.message(),
        question: Some(question),
        fingerprint,
        revision,
        result: result.into(),
        wrong: wrong.into_iter().map(wrong_record).collect(),
        note,
    };
    let answer = connection.answer(connection.feedback().report_outcome(request).await);
    print("ReportOutcomeResponse", &change.outcome(answer)?, client.json, text::outcome_reported)
}

/// The token of the latest revision.
async fn latest(connection: &Connection) -> Result<String, Failure> {
    let info = connection.catalogue().get_dataset_info(v1::GetDatasetInfoRequest::default()).await;
    Ok(connection.answer(info)?.revision.unwrap_or_default().token)
}

fn wrong_record(wrong: WrongRecord) -> v1::WrongRecord {
    let WrongRecord { record, way, text } = wrong;
    v1::WrongRecord { record: record.to_string(), kind: way.into(), text }
}

async fn list(arguments: OutcomeList) -> Result<(), Failure> {
    let OutcomeList { state, record, page, client } = arguments;
    let state = match state {
        OutcomeState::Open => v1::OutcomeState::Open,
        OutcomeState::Accepted => v1::OutcomeState::Accepted,
        OutcomeState::Rejected => v1::OutcomeState::Rejected,
        OutcomeState::All => v1::OutcomeState::Unspecified,
    };
    let question = v1::ListOutcomesRequest {
        state: state.into(),
        record: record.map(|record| record.to_string()).unwrap_or_default(),
        page_size: page.page_size,
        page_token: String::new(),
    };
    let printed = Printed {
        name: "ListOutcomesResponse",
        as_json: client.json,
        text: |answer: &_, last| text::outcomes(answer, last, out::columns()),
    };
    let connection = Connection::open(&client).await?;
    let ask = async |page_token| {
        let request = v1::ListOutcomesRequest { page_token, ..question.clone() };
        connection.answer(connection.feedback().list_outcomes(request).await)
    };
    each_page(page, ask, |answer| &answer.next_page_token, printed).await
}

async fn accept(arguments: OutcomeAccept) -> Result<(), Failure> {
    let OutcomeAccept { outcome, draft: draft_id, record, bulk } = arguments;
    let records = record.iter().map(ToString::to_string).collect();
    let accept = Resolution::Accept(v1::AcceptOutcome { draft_id, records });
    resolve(outcome, accept, bulk).await
}

async fn reject(arguments: OutcomeReject) -> Result<(), Failure> {
    let OutcomeReject { outcome, bulk } = arguments;
    resolve(outcome, Resolution::Reject(v1::RejectOutcome {}), bulk).await
}

async fn resolve(outcome: u64, resolution: Resolution, bulk: Bulk) -> Result<(), Failure> {
    let Bulk { validate_only, changing, client } = bulk;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let request = v1::ResolveOutcomeRequest {
        change: change.message(),
        outcome,
        resolution: Some(resolution),
        validate_only,
    };
    let answer = connection.answer(connection.feedback().resolve_outcome(request).await);
    print("ResolveOutcomeResponse", &change.outcome(answer)?, client.json, |answer, columns| {
        text::outcome_resolved(answer, validate_only, columns)
    })
}
