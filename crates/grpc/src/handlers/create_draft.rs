//! `CreateDraft`: a draft on the latest revision.

use dashwright_api::v1;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn created_draft(
        &self,
        caller: Caller,
        request: v1::CreateDraftRequest,
    ) -> Result<v1::CreateDraftResponse, Refusal> {
        let v1::CreateDraftRequest { change: message } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let origin = faults.with(origin)?;
        let drafted = self.blocking(move |engine| Ok(engine.create_draft(&origin)?)).await?;
        let draft = to_proto::draft(&self.engine, &drafted.id, &drafted.draft)?;
        Ok(v1::CreateDraftResponse { draft: Some(draft), repeated: drafted.repeated })
    }
}
