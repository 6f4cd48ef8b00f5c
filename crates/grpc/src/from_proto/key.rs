//! Which record, and which kind.

use dashwright_api::v1;
use dashwright_model::record::{RecordKey, RecordKind};

use super::{FieldFaults, FieldProblem};

/// The key of a record.
pub(crate) fn record_key(message: Option<v1::RecordKey>, faults: &mut FieldFaults) -> Option<RecordKey> {
    let v1::RecordKey { kind, id } = faults.take("key", message.ok_or(FieldProblem::Missing))?;
    let kind = faults.take("key.kind", record_kind(kind));
    let id = faults.take("key.id", id.parse().map_err(FieldProblem::Id));
    Some(RecordKey { kind: kind?, id: id? })
}

/// A kind of record; it has to be stated.
pub(crate) fn record_kind(number: i32) -> Result<RecordKind, FieldProblem> {
    match v1::RecordKind::try_from(number) {
        Ok(v1::RecordKind::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::RecordKind::Vocabulary) => Ok(RecordKind::Vocabulary),
        Ok(v1::RecordKind::Dash) => Ok(RecordKind::Dash),
        Ok(v1::RecordKind::FactoryAudio) => Ok(RecordKind::FactoryAudio),
        Ok(v1::RecordKind::Radio) => Ok(RecordKind::Radio),
        Ok(v1::RecordKind::Part) => Ok(RecordKind::Part),
        Ok(v1::RecordKind::Vehicle) => Ok(RecordKind::Vehicle),
        Ok(v1::RecordKind::GoldenQuestion) => Ok(RecordKind::GoldenQuestion),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}
