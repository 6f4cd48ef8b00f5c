//! `ListRevisions`: the revisions, the latest first.

use dashwright_api::v1;

use crate::from_proto::FieldFaults;
use crate::limits::ENTRIES;
use crate::page::GrowingPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn revisions(
        &self,
        request: v1::ListRevisionsRequest,
    ) -> Result<v1::ListRevisionsResponse, Refusal> {
        let v1::ListRevisionsRequest { page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let page = GrowingPage::of("revisions".to_owned(), (page_size, &page_token), ENTRIES, &mut faults);
        let page = faults.or(page)?;
        self.blocking(move |engine| {
            let end = page.end.unwrap_or_else(|| engine.view().revision());
            let before = end.saturating_add(1).saturating_sub(page.skip as u64);
            let found = engine.revisions_before(before, page.size)?;
            let revisions = found.iter().map(|facts| to_proto::revision(engine, facts)).collect();
            let total = usize::try_from(end).unwrap_or(usize::MAX);
            Ok(v1::ListRevisionsResponse { revisions, next_page_token: page.next(end, found.len(), total) })
        })
        .await
    }
}
