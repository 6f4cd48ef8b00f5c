//! `DiscardDraft`: a draft thrown away.

use dashwright_api::v1;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change, draft_id};
use crate::{Refusal, Service};

impl Service {
    pub(crate) async fn discarded_draft(
        &self,
        caller: Caller,
        request: v1::DiscardDraftRequest,
    ) -> Result<v1::DiscardDraftResponse, Refusal> {
        let v1::DiscardDraftRequest { change: message, draft_id: id } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let id = draft_id(id, &mut faults);
        let (origin, id) = faults.with(origin.zip(id))?;
        let repeated = self.blocking(move |engine| Ok(engine.discard_draft(&origin, &id)?)).await?;
        Ok(v1::DiscardDraftResponse { repeated })
    }
}
