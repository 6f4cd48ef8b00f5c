//! `ListRecords`: the records of a kind, in the order of their ids.

use dashwright_api::v1;
use dashwright_model::record::RecordKind;
use dashwright_snapshot::KeptRecord;

use crate::from_proto::{FieldFaults, record_kind};
use crate::limits::{RECORDS, RECORDS_PAGE_BYTES};
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn records(
        &self,
        request: v1::ListRecordsRequest,
    ) -> Result<v1::ListRecordsResponse, Refusal> {
        let v1::ListRecordsRequest { read_at, kind, id_prefix, page_size, page_token } = request;
        let others = format!("records {kind} {id_prefix}");
        let mut faults = FieldFaults::default();
        let kind = faults.take("kind", record_kind(kind)).unwrap_or(RecordKind::Vocabulary);
        faults.prefix("id_prefix", &id_prefix);
        let page = Page::of(others, (read_at, page_size, &page_token), RECORDS, &mut faults);
        let page = faults.or(page)?;

        let view = self.view(page.freshness).await?;
        let all = with_prefix(view.snapshot().records(kind), &id_prefix);
        let records = page_of(kind, page.part(all))?;

        let (revision, total) = (Some(to_proto::dataset_revision(&view)), all.len() as u64);
        let next_page_token = page.next(&view, records.len(), all.len());
        Ok(v1::ListRecordsResponse { revision, records, total, next_page_token })
    }
}

/// The records whose ids begin with a text; they stand together, because records are kept in the order of their ids.
fn with_prefix<'a>(records: &'a [KeptRecord], prefix: &str) -> &'a [KeptRecord] {
    let start = records.partition_point(|record| record.id.as_str() < prefix);
    let rest = records.get(start..).unwrap_or_default();
    let end = rest.partition_point(|record| record.id.as_str().starts_with(prefix));
    rest.get(..end).unwrap_or_default()
}

/// As many records as the page allows by bytes; at least one where there is one.
fn page_of(kind: RecordKind, records: &[KeptRecord]) -> Result<Vec<v1::Record>, Refusal> {
    let mut bytes = 0;
    let fits = |record: &&KeptRecord| {
        bytes += record.text.len();
        bytes <= RECORDS_PAGE_BYTES
    };
    records.iter().take_while(fits).map(|kept| to_proto::record(kind, kept)).collect()
}
