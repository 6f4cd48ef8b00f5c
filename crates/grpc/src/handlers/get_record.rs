//! `GetRecord`: one record.

use dashwright_api::v1;

use crate::from_proto::{FieldFaults, read_at, record_key};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn record(
        &self,
        request: v1::GetRecordRequest,
    ) -> Result<v1::GetRecordResponse, Refusal> {
        let v1::GetRecordRequest { read_at: at, key } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let key = record_key(key, &mut faults);
        let Some(key) = faults.or(key)? else { return Err(Refusal::Fields(Vec::new())) };

        let view = self.view(at).await?;
        let kept = view.snapshot().record(key.kind, key.id.as_str());
        let not_found = || Refusal::RecordNotFound { kind: key.kind, id: key.id.to_string() };
        let record = to_proto::record(key.kind, kept.ok_or_else(not_found)?)?;
        Ok(v1::GetRecordResponse { revision: Some(to_proto::dataset_revision(&view)), record: Some(record) })
    }
}
