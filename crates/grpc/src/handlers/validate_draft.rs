//! `ValidateDraft` and `ListDraftHoles`: what is wrong with the latest revision with a draft in it, and what nothing covers.

use dashwright_api::v1;
use dashwright_engine::{DraftExamined, Engine, WriteError};

use super::findings::{Wanted, kept};
use crate::from_proto::{FieldFaults, draft_id};
use crate::limits::FINDINGS;
use crate::page::PinnedPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn draft_findings(
        &self,
        request: v1::ValidateDraftRequest,
    ) -> Result<v1::ValidateDraftResponse, Refusal> {
        let v1::ValidateDraftRequest { draft_id: id, record, errors_only, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let wanted = Wanted::of(&record, errors_only, &mut faults);
        let others = format!("validate {id} {record} {errors_only}");
        let page = PinnedPage::of(others, (page_size, &page_token), FINDINGS, &mut faults);
        let id = draft_id(id, &mut faults);
        let id = faults.with(id)?;
        self.blocking(move |engine| findings(engine, &id, &wanted, &page)).await
    }

    pub(crate) async fn draft_holes(
        &self,
        request: v1::ListDraftHolesRequest,
    ) -> Result<v1::ListDraftHolesResponse, Refusal> {
        let v1::ListDraftHolesRequest { draft_id: id, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let page =
            PinnedPage::of(format!("draft holes {id}"), (page_size, &page_token), FINDINGS, &mut faults);
        let id = draft_id(id, &mut faults);
        let id = faults.with(id)?;
        self.blocking(move |engine| holes(engine, &id, &page)).await
    }
}

fn findings(
    engine: &Engine,
    id: &str,
    wanted: &Wanted,
    page: &PinnedPage,
) -> Result<v1::ValidateDraftResponse, Refusal> {
    let it = engine.examine_draft(id)?;
    let pin = pinned(page, id, &it)?;
    let item = |record: &_| engine.item_of(&it.draft, record).is_ok_and(|item| item.is_some());
    let all = wanted.among(&it.examined, |record| kept(&it.onto, record) || item(record))?;
    let (shown, next_page_token) = page.part(&pin, &all.list);
    Ok(v1::ValidateDraftResponse {
        draft: Some(to_proto::draft(engine, id, &it.draft)?),
        onto: Some(to_proto::dataset_revision(&it.onto)),
        found: Some(to_proto::findings(shown, &all)),
        next_page_token,
    })
}

fn holes(engine: &Engine, id: &str, page: &PinnedPage) -> Result<v1::ListDraftHolesResponse, Refusal> {
    let it = engine.examine_draft(id)?;
    let (shown, next_page_token) = page.part(&pinned(page, id, &it)?, &it.examined.holes);
    Ok(v1::ListDraftHolesResponse {
        draft: Some(to_proto::draft(engine, id, &it.draft)?),
        onto: Some(to_proto::dataset_revision(&it.onto)),
        holes: shown.iter().map(to_proto::hole).collect(),
        total: it.examined.holes.len() as u64,
        complete: it.examined.complete,
        next_page_token,
    })
}

/// What the list is pinned to, which is what its first page was read from.
pub(super) fn pinned(page: &PinnedPage, id: &str, it: &DraftExamined) -> Result<String, WriteError> {
    let (etag, onto) = (it.draft.etag(id), it.onto.revision());
    match page.pin.as_deref().and_then(|pin| pin.split_once(' ')) {
        Some((before, _)) if before != etag => Err(WriteError::DraftMoved { draft: id.to_owned() }),
        Some((_, before)) if before != onto.to_string() => {
            Err(WriteError::Outdated { base: before.parse().unwrap_or_default(), current: onto })
        }
        _ => Ok(format!("{etag} {onto}")),
    }
}
