//! `ListRecords`: the records of a kind, in the order of their ids.

use dashwright_api::v1;
use dashwright_model::record::RecordKind;
use dashwright_snapshot::KeptRecord;

use crate::from_proto::{FieldFaults, read_at, record_kind};
use crate::limits::{RECORDS_DEFAULT, RECORDS_MOST, RECORDS_PAGE_BYTES};
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn records(
        &self,
        request: v1::ListRecordsRequest,
    ) -> Result<v1::ListRecordsResponse, Refusal> {
        let v1::ListRecordsRequest { read_at: at, kind, id_prefix, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let fingerprint = format!("records {kind} {id_prefix}");
        let at = read_at(at, &mut faults);
        let kind = faults.take("kind", record_kind(kind)).unwrap_or(RecordKind::Vocabulary);
        let size = faults.page_size(page_size, RECORDS_DEFAULT, RECORDS_MOST);
        let page = Page::of(&page_token, &fingerprint, &mut faults);
        faults.prefix("id_prefix", &id_prefix);
        let kind = faults.or(kind)?;

        let view = self.view(page.freshness(at)).await?;
        let all = with_prefix(view.snapshot().records(kind), &id_prefix);

        let records = page_of(kind, all.get(page.skip..).unwrap_or_default(), size)?;
        Ok(v1::ListRecordsResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            total: all.len() as u64,
            next_page_token: page.next(&view, &fingerprint, records.len(), all.len()),
            records,
        })
    }
}

/// The records whose ids begin with a text; they stand together, because records are kept in the order of their ids.
fn with_prefix<'a>(records: &'a [KeptRecord], prefix: &str) -> &'a [KeptRecord] {
    let start = records.partition_point(|record| record.id.as_str() < prefix);
    let rest = records.get(start..).unwrap_or_default();
    let end = rest.partition_point(|record| record.id.as_str().starts_with(prefix));
    rest.get(..end).unwrap_or_default()
}

/// As many records as the page allows, by count and by bytes; at least one where there is one.
fn page_of(kind: RecordKind, records: &[KeptRecord], size: usize) -> Result<Vec<v1::Record>, Refusal> {
    let mut bytes = 0;
    let fits = |record: &&KeptRecord| {
        bytes += record.text.len();
        bytes <= RECORDS_PAGE_BYTES
    };
    records.iter().take(size).take_while(fits).map(|kept| to_proto::record(kind, kept)).collect()
}
