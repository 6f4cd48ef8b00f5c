//! `EditDraft`: records put into a draft or marked in it for deletion, all of them or nothing.

use dashwright_api::v1;
use dashwright_engine::Engine;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change, draft_id, edits};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn edited_draft(
        &self,
        caller: Caller,
        request: v1::EditDraftRequest,
    ) -> Result<v1::EditDraftResponse, Refusal> {
        let v1::EditDraftRequest { change: message, draft_id: id, puts, deletes, validate_only } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let id = draft_id(id, &mut faults);
        let (puts, deletes) = edits(puts, deletes, &mut faults);
        let (origin, id) = faults.with(origin.zip(id))?;
        let edit = move |engine: &Engine| engine.edit_draft(&origin, &id, puts, deletes, validate_only);
        let drafted = self.blocking(move |engine| Ok(edit(engine)?)).await?;
        let draft = to_proto::draft(&self.engine, &drafted.id, &drafted.draft)?;
        Ok(v1::EditDraftResponse { draft: Some(draft), repeated: drafted.repeated })
    }
}
