//! `DiffRevisions`: what differs between two revisions, field by field.

use std::sync::Arc;

use dashwright_api::v1;
use dashwright_curation::{RecordChange, RecordDiff, diff};
use dashwright_engine::View;

use crate::from_proto::{FieldFaults, exactly};
use crate::limits::{RECORDS, RECORDS_PAGE_BYTES};
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn revision_diff(
        &self,
        request: v1::DiffRevisionsRequest,
    ) -> Result<v1::DiffRevisionsResponse, Refusal> {
        let v1::DiffRevisionsRequest { from, to, page_size, page_token } = request;
        let others = format!("diff {from} {to}");
        let mut faults = FieldFaults::default();
        let mut page = Page::of(others, (None, page_size, &page_token), RECORDS, &mut faults);
        if page_token.is_empty() && !to.is_empty() {
            page.freshness = exactly("to", &to, &mut faults);
        }
        let from = exactly("from", &from, &mut faults);
        faults.or(())?;
        let (from, to) = (self.view(from).await?, self.view(page.freshness).await?);
        self.blocking(move |_| answer(&from, &to, &page)).await
    }
}

fn answer(from: &Arc<View>, to: &Arc<View>, page: &Page) -> Result<v1::DiffRevisionsResponse, Refusal> {
    let found = diff(from.snapshot(), to.snapshot());
    let count = |which: fn(&RecordChange<'_>) -> bool| {
        found.iter().filter(|record| which(&record.change)).count() as u64
    };
    let records = page_of(page.part(&found))?;
    Ok(v1::DiffRevisionsResponse {
        from: Some(to_proto::dataset_revision(from)),
        to: Some(to_proto::dataset_revision(to)),
        added: count(|change| matches!(change, RecordChange::Added(_))),
        deleted: count(|change| matches!(change, RecordChange::Deleted(_))),
        changed: count(|change| matches!(change, RecordChange::Changed(..))),
        next_page_token: page.next(to, records.len(), found.len()),
        records,
    })
}

/// As many records as the page allows by bytes; at least one where there is one.
fn page_of(found: &[RecordDiff<'_>]) -> Result<Vec<v1::RecordDiff>, Refusal> {
    let (mut bytes, mut records) = (0, Vec::new());
    for diff in found {
        bytes += match diff.change {
            RecordChange::Added(line) | RecordChange::Deleted(line) => line.len(),
            RecordChange::Changed(before, after) => before.len() + after.len(),
        };
        if bytes > RECORDS_PAGE_BYTES && !records.is_empty() {
            break;
        }
        records.push(to_proto::record_diff(diff)?);
    }
    Ok(records)
}
