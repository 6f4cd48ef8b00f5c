//! Records as they were written.

use dashwright_api::v1;
use dashwright_engine::etag;
use dashwright_model::exchange;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_snapshot::KeptRecord;

use super::common::evidence;
use super::terms;
use crate::Refusal;

/// The key of a record.
pub(crate) fn record_key(key: &RecordKey) -> v1::RecordKey {
    let RecordKey { kind, id } = key;
    v1::RecordKey { kind: terms::record_kind(*kind).into(), id: id.to_string() }
}

/// A record with its title, its evidence and its JSON form.
pub(crate) fn record(kind: RecordKind, kept: &KeptRecord) -> Result<v1::Record, Refusal> {
    let KeptRecord { id, revision, text } = kept;
    let record = exchange::parse_line(text.as_bytes(), 1).map_err(|_| Refusal::Damaged)?;
    Ok(v1::Record {
        key: Some(record_key(&RecordKey { kind, id: id.clone() })),
        title: record.title(),
        changed_in_revision: *revision,
        etag: etag(text),
        evidence: Some(evidence(record.evidence())),
        json: text.to_string(),
    })
}
