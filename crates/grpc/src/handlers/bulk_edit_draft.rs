//! `BulkEditDraft`: one edit that touches many records, with every reference kept right.

use dashwright_api::v1;
use dashwright_engine::BulkEditError;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, bulk_edit, change, draft_id};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn bulk_edited_draft(
        &self,
        caller: Caller,
        request: v1::BulkEditDraftRequest,
    ) -> Result<v1::BulkEditDraftResponse, Refusal> {
        let v1::BulkEditDraftRequest { change: message, draft_id: id, edit, validate_only } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let id = draft_id(id, &mut faults);
        let edit = bulk_edit(edit, &mut faults);
        let ((origin, id), edit) = faults.with(origin.zip(id).zip(edit))?;
        let done = self.blocking(move |engine| Ok(engine.bulk_edit(&origin, &id, &edit, validate_only)?));
        to_proto::bulk_edited(&self.engine, done.await?)
    }
}

impl From<BulkEditError> for Refusal {
    fn from(error: BulkEditError) -> Self {
        match error {
            BulkEditError::Write(error) => error.into(),
            BulkEditError::Records(error) => (*error).into(),
            error => Self::BulkEdit(Box::new(error)),
        }
    }
}
