//! `GetDatasetInfo`: what is known of the dataset as a whole, and the limits of the service.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::record::RecordKind;

use crate::from_proto::{FieldFaults, read_at};
use crate::limits::{LIMITS, Limits};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn dataset_info(
        &self,
        request: v1::GetDatasetInfoRequest,
    ) -> Result<v1::GetDatasetInfoResponse, Refusal> {
        let v1::GetDatasetInfoRequest { read_at: at } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let view = self.view(faults.or(at)?).await?;
        Ok(v1::GetDatasetInfoResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            incarnation: view.incarnation().to_owned(),
            published_at: view.published_at().to_owned(),
            counts: RecordKind::ALL.iter().map(|kind| count(&view, *kind)).collect(),
            limits: self.limits().named().into_iter().map(|(name, value)| (name.to_owned(), value)).collect(),
            server_version: env!("CARGO_PKG_VERSION").to_owned(),
            writes: to_proto::writes(self.engine.writes()).into(),
        })
    }

    /// The limits as the operator has set them.
    fn limits(&self) -> Limits {
        Limits { calls_per_second: self.calls_per_second, ..LIMITS }
    }
}

fn count(view: &View, kind: RecordKind) -> v1::KindCount {
    v1::KindCount { kind: to_proto::record_kind(kind).into(), count: view.snapshot().count(kind) as u64 }
}
