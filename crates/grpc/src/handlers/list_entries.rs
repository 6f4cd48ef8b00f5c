//! `ListEntries`: entries of the trail, by what they concern.

use dashwright_api::v1;
use dashwright_engine::{Engine, Filter};

use crate::from_proto::{FieldFaults, filter};
use crate::limits::{ENTRIES, RECORDS_PAGE_BYTES};
use crate::page::GrowingPage;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn entries(
        &self,
        request: v1::ListEntriesRequest,
    ) -> Result<v1::ListEntriesResponse, Refusal> {
        let mut faults = FieldFaults::default();
        let filter = filter(&request, &mut faults);
        let (latest_first, with_payload) = (request.latest_first, request.with_payload);
        let others = format!("entries {filter:?} {latest_first} {with_payload}");
        let asked = (request.page_size, request.page_token.as_str());
        let page = GrowingPage::of(others, asked, ENTRIES, &mut faults);
        let page = faults.or(page)?;
        self.blocking(move |engine| read(engine, &filter, &page, (latest_first, with_payload))).await
    }
}

fn read(
    engine: &Engine,
    filter: &Filter,
    page: &GrowingPage,
    (latest_first, with_payload): (bool, bool),
) -> Result<v1::ListEntriesResponse, Refusal> {
    let end = page.end.unwrap_or_else(|| engine.trail_size());
    let listed = engine.entries(filter, end, latest_first, (page.skip, page.size))?;
    let (mut bytes, mut entries) = (0, Vec::new());
    for (stored, revision) in &listed.entries {
        bytes += if with_payload { stored.bytes.len() } else { 0 };
        if bytes > RECORDS_PAGE_BYTES && !entries.is_empty() {
            break;
        }
        entries.push(to_proto::trail_entry(stored, *revision, with_payload));
    }
    let total = usize::try_from(listed.total).unwrap_or(usize::MAX);
    let next_page_token = page.next(end, entries.len(), total);
    Ok(v1::ListEntriesResponse { entries, total: listed.total, next_page_token })
}
