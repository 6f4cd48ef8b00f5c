//! Files of records: what is imported, and the form of an export.

use dashwright_api::v1;
use dashwright_engine::keys::Caller;
use dashwright_engine::{Announced, Import, MAX_IMPORT_BYTES, OnConflict, Origin};
use dashwright_log::Digest;
use dashwright_model::rows::Format;
use dashwright_model::table::TableKind;

use super::{FieldFaults, FieldProblem, change, draft_id};

/// A file that is to come, and what is to be done with it.
pub(crate) struct ImportOrder {
    pub(crate) origin: Origin,
    pub(crate) import: Import,
    pub(crate) format: Format,
    pub(crate) announced: Announced,
}

/// What is imported.
pub(crate) fn import_begin(
    begin: v1::ImportBegin,
    caller: &Caller,
    faults: &mut FieldFaults,
) -> Option<ImportOrder> {
    let v1::ImportBegin { change: message, draft_id: id, format, on_conflict, bytes, sha256, validate_only } =
        begin;
    let origin = change(message, caller, faults);
    let draft = draft_id(id, faults);
    let format =
        faults.take("begin.format", exchange_format(format).and_then(|it| it.ok_or(FieldProblem::Missing)));
    let on_conflict = faults.take("begin.on_conflict", conflict(on_conflict));
    let bytes = faults.take("begin.bytes", length(bytes));
    let content = faults.take("begin.sha256", sha256.parse().map_err(|_| FieldProblem::NoSha256));
    let (origin, content): (Origin, Digest) = (origin?, content?);
    let request_id = origin.request_id.clone()?;
    let import = Import { draft: draft?, content, on_conflict: on_conflict?, validate_only };
    let announced = Announced { request_id, bytes: bytes?, content };
    Some(ImportOrder { origin, import, format: format?, announced })
}

/// The form of a file; nothing where it is not stated.
pub(crate) fn exchange_format(number: i32) -> Result<Option<Format>, FieldProblem> {
    match v1::ExchangeFormat::try_from(number) {
        Ok(v1::ExchangeFormat::Unspecified) => Ok(None),
        Ok(v1::ExchangeFormat::JsonLines) => Ok(Some(Format::JsonLines)),
        Ok(v1::ExchangeFormat::VehicleTable) => Ok(Some(Format::Table(TableKind::Vehicle))),
        Ok(v1::ExchangeFormat::PartTable) => Ok(Some(Format::Table(TableKind::Part))),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

fn conflict(number: i32) -> Result<OnConflict, FieldProblem> {
    match v1::OnConflict::try_from(number) {
        Ok(v1::OnConflict::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::OnConflict::Replace) => Ok(OnConflict::Replace),
        Ok(v1::OnConflict::Keep) => Ok(OnConflict::Keep),
        Ok(v1::OnConflict::Refuse) => Ok(OnConflict::Refuse),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

fn length(bytes: u64) -> Result<u64, FieldProblem> {
    let whole = |number: u64| usize::try_from(number).unwrap_or(usize::MAX);
    match bytes {
        0 => Err(FieldProblem::Missing),
        1..=MAX_IMPORT_BYTES => Ok(bytes),
        _ => Err(FieldProblem::LongText { bytes: whole(bytes), most: whole(MAX_IMPORT_BYTES) }),
    }
}
