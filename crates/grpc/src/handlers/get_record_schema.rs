//! `GetRecordSchema`: the shape of a record.

use dashwright_api::v1;
use dashwright_model::record::{Dash, FactoryAudio, GoldenQuestion, Part, Radio, RecordKind, Term, Vehicle};
use schemars::{Schema, schema_for};

use crate::from_proto::{FieldFaults, record_kind};
use crate::{Refusal, Service};

impl Service {
    pub(crate) fn record_schema(
        &self,
        request: v1::GetRecordSchemaRequest,
    ) -> Result<v1::GetRecordSchemaResponse, Refusal> {
        let v1::GetRecordSchemaRequest { kind } = request;
        let mut faults = FieldFaults::default();
        let kind = faults.take("kind", record_kind(kind)).unwrap_or(RecordKind::Vocabulary);
        let kind = faults.or(kind)?;
        Ok(v1::GetRecordSchemaResponse { json_schema: schema(kind).as_value().to_string() })
    }
}

fn schema(kind: RecordKind) -> Schema {
    match kind {
        RecordKind::Vocabulary => schema_for!(Term),
        RecordKind::Dash => schema_for!(Dash),
        RecordKind::FactoryAudio => schema_for!(FactoryAudio),
        RecordKind::Radio => schema_for!(Radio),
        RecordKind::Part => schema_for!(Part),
        RecordKind::Vehicle => schema_for!(Vehicle),
        RecordKind::GoldenQuestion => schema_for!(GoldenQuestion),
    }
}
