//! `GetDraft`: a draft and what is in it.

use dashwright_api::v1;
use dashwright_engine::{DraftItem, Engine};

use crate::from_proto::{FieldFaults, draft_id};
use crate::limits::{RECORDS, RECORDS_PAGE_BYTES};
use crate::page::KeyedPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn draft(&self, request: v1::GetDraftRequest) -> Result<v1::GetDraftResponse, Refusal> {
        let v1::GetDraftRequest { draft_id: id, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let page = KeyedPage::of(format!("draft {id}"), (page_size, &page_token), RECORDS, &mut faults);
        let id = draft_id(id, &mut faults);
        let id = faults.with(id)?;
        self.blocking(move |engine| read(engine, &id, &page)).await
    }
}

fn read(engine: &Engine, id: &str, page: &KeyedPage) -> Result<v1::GetDraftResponse, Refusal> {
    let facts = engine.open_draft(id)?;
    let draft = to_proto::draft(engine, id, &facts)?;
    // One more than is shown tells whether there is a next page.
    let found =
        engine.items_of(&facts, page.after.as_deref(), page.size + 1).map_err(|_| Refusal::Damaged)?;
    let mut bytes = 0;
    let fits = |item: &&DraftItem| {
        bytes += item.record.len() + item.line.as_ref().map_or(0, |line| line.len());
        bytes <= RECORDS_PAGE_BYTES
    };
    let shown: Vec<&DraftItem> = found.iter().take(page.size).take_while(fits).collect();
    let last = shown.last().filter(|_| shown.len() < found.len());
    let next_page_token = last.map(|item| page.next(&item.record)).unwrap_or_default();
    let items = shown.iter().map(|item| v1::DraftItem {
        record: item.record.clone(),
        json: item.line.as_deref().unwrap_or_default().to_owned(),
    });
    Ok(v1::GetDraftResponse { draft: Some(draft), items: items.collect(), next_page_token })
}
