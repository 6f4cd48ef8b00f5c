//! `ListOutcomes`: what came of jobs, as it waits for curators or was resolved by them.

use dashwright_api::v1;
use dashwright_engine::{Engine, OutcomeFilter, OutcomePlace};
use prost::Message as _;

use crate::from_proto::{FieldFaults, FieldProblem, outcome_filter, outcome_place};
use crate::limits::{OUTCOMES, RECORDS_PAGE_BYTES};
use crate::page::KeyedPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn outcomes(
        &self,
        request: v1::ListOutcomesRequest,
    ) -> Result<v1::ListOutcomesResponse, Refusal> {
        let v1::ListOutcomesRequest { state, record, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let filter = outcome_filter(state, &record, &mut faults);
        let others = format!("outcomes {state} {record}");
        let page = KeyedPage::of(others, (page_size, &page_token), OUTCOMES, &mut faults);
        let after = page.after.as_deref().map(|text| outcome_place(text).ok_or(FieldProblem::PageToken));
        let after = faults.take("page_token", after.transpose());
        let after = faults.with(after)?;
        self.blocking(move |engine| read(engine, &filter, after, &page)).await
    }
}

fn read(
    engine: &Engine,
    filter: &OutcomeFilter,
    after: Option<OutcomePlace>,
    page: &KeyedPage,
) -> Result<v1::ListOutcomesResponse, Refusal> {
    let listed = engine.outcomes(filter, after, page.size).map_err(|_| Refusal::Damaged)?;
    let (mut bytes, mut outcomes, mut last) = (0, Vec::new(), listed.last);
    for facts in &listed.outcomes {
        let message = to_proto::job_outcome(engine, facts)?;
        bytes += message.encoded_len();
        if bytes > RECORDS_PAGE_BYTES && !outcomes.is_empty() {
            break;
        }
        outcomes.push(message);
    }
    if let Some(shown) = listed.outcomes.get(..outcomes.len()).filter(|it| it.len() < listed.outcomes.len()) {
        last = shown.last().map(|it| OutcomePlace { state: it.state(), number: it.number });
    }
    let token = |last: OutcomePlace| page.next(&format!("{} {}", last.state.name(), last.number));
    Ok(v1::ListOutcomesResponse { outcomes, next_page_token: last.map(token).unwrap_or_default() })
}
