//! `SearchRecords`: records that resemble some words.

use dashwright_api::v1;
use dashwright_model::record::RecordKind;
use dashwright_quantity::Label;
use dashwright_snapshot::{Hit, Snapshot};

use crate::from_proto::{FieldFaults, FieldProblem, read_at, record_kind};
use crate::limits::{HITS_DEFAULT, HITS_MOST};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn found_records(
        &self,
        request: v1::SearchRecordsRequest,
    ) -> Result<v1::SearchRecordsResponse, Refusal> {
        let v1::SearchRecordsRequest { read_at: at, query, kinds, page_size } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let query = faults.take("query", Label::new(query.trim()).map_err(FieldProblem::Text));
        let kinds = record_kinds(&kinds, &mut faults);
        let size = faults.page_size(page_size, HITS_DEFAULT, HITS_MOST);
        let Some(query) = faults.or(query)? else { return Err(Refusal::Fields(Vec::new())) };

        let view = self.view(at).await?;
        let hits = view.snapshot().search(query.as_str(), &kinds, size);

        let hits: Result<Vec<_>, Refusal> = hits.iter().map(|hit| shown(view.snapshot(), hit)).collect();
        Ok(v1::SearchRecordsResponse { revision: Some(to_proto::dataset_revision(&view)), hits: hits? })
    }
}

/// The kinds that are named; every kind without one.
fn record_kinds(named: &[i32], faults: &mut FieldFaults) -> Vec<RecordKind> {
    faults.count("kinds", named.len(), RecordKind::ALL.len());
    if named.is_empty() {
        return RecordKind::ALL.to_vec();
    }
    let one = |(index, kind): (usize, &i32)| faults.take(&format!("kinds.{index}"), record_kind(*kind));
    named.iter().enumerate().filter_map(one).collect()
}

fn shown(snapshot: &Snapshot, hit: &Hit) -> Result<v1::SearchHit, Refusal> {
    let Hit { key, likeness, matched } = hit;
    let kept = snapshot.record(key.kind, key.id.as_str()).ok_or(Refusal::Damaged)?;
    let record = to_proto::record(key.kind, kept)?;
    Ok(v1::SearchHit {
        key: record.key,
        title: record.title,
        similarity_percent: (*likeness).into(),
        matched: matched.clone(),
    })
}
