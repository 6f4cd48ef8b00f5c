//! `GetDraft`: a draft and what is in it.

use dashwright_api::v1;
use dashwright_curation::RecordChange;
use dashwright_engine::{DraftItem, Engine, View};
use dashwright_model::record::RecordKey;

use crate::from_proto::{FieldFaults, FieldProblem, draft_id, record_key_text};
use crate::limits::{FIELDS_PAGE_BYTES, RECORDS, RECORDS_PAGE_BYTES};
use crate::page::KeyedPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn draft(&self, request: v1::GetDraftRequest) -> Result<v1::GetDraftResponse, Refusal> {
        let v1::GetDraftRequest { draft_id: id, page_size, page_token, record, with_fields } = request;
        let mut faults = FieldFaults::default();
        let page = KeyedPage::of(
            format!("draft {id} {record} {with_fields}"),
            (page_size, &page_token),
            RECORDS,
            &mut faults,
        );
        let id = draft_id(id, &mut faults);
        let only = faults.take("record", only(record));
        let (id, only) = faults.with(id.zip(only))?;
        self.blocking(move |engine| read(engine, &id, only.as_ref(), &page, with_fields)).await
    }
}

/// The record that alone is asked for.
fn only(text: String) -> Result<Option<RecordKey>, FieldProblem> {
    if text.is_empty() { Ok(None) } else { record_key_text(&text).map(Some) }
}

fn read(
    engine: &Engine,
    id: &str,
    only: Option<&RecordKey>,
    page: &KeyedPage,
    with_fields: bool,
) -> Result<v1::GetDraftResponse, Refusal> {
    let facts = engine.open_draft(id)?;
    let draft = to_proto::draft(engine, id, &facts)?;
    let found = match only {
        Some(record) => engine.item_of(&facts, record).map(Vec::from_iter),
        // One more than is shown tells whether there is a next page.
        None => engine.items_of(&facts, page.after.as_deref(), page.size + 1),
    };
    let found = found.map_err(|_| Refusal::Damaged)?;
    let mut bytes = 0;
    let fits = |item: &&DraftItem| {
        bytes += item.record.len() + item.line.as_ref().map_or(0, |line| line.len());
        bytes <= if with_fields { FIELDS_PAGE_BYTES } else { RECORDS_PAGE_BYTES }
    };
    let shown: Vec<&DraftItem> = found.iter().take(page.size).take_while(fits).collect();
    let last = shown.last().filter(|_| shown.len() < found.len());
    let next_page_token = last.map(|item| page.next(&item.record)).unwrap_or_default();
    let shown: Vec<DraftItem> = shown.into_iter().cloned().collect();
    let view = engine.view();
    let states = engine.item_states(&view, &shown).map_err(|_| Refusal::Damaged)?;
    let items = shown
        .iter()
        .zip(&states)
        .map(|(item, state)| to_proto::draft_item(item, state, change_of(&view, item), with_fields));
    let items = items.collect::<Result<_, _>>()?;
    Ok(v1::GetDraftResponse { draft: Some(draft), items, next_page_token })
}

/// What a publish would make of a record.
fn change_of<'c>(view: &'c View, item: &'c DraftItem) -> Option<RecordChange<'c>> {
    let key: RecordKey = item.record.parse().ok()?;
    let kept = view.snapshot().record(key.kind, key.id.as_str()).map(|kept| &*kept.text);
    match (kept, item.line.as_deref()) {
        (Some(before), Some(after)) if before == after => None,
        (Some(before), Some(after)) => Some(RecordChange::Changed(before, after)),
        (Some(before), None) => Some(RecordChange::Deleted(before)),
        (None, Some(after)) => Some(RecordChange::Added(after)),
        (None, None) => None,
    }
}
