//! `PublishDraft`: a draft made the next revision.

use dashwright_api::v1;
use dashwright_engine::Conditions;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change, draft_id};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn published_draft(
        &self,
        caller: Caller,
        request: v1::PublishDraftRequest,
    ) -> Result<v1::PublishDraftResponse, Refusal> {
        let v1::PublishDraftRequest { change: message, draft_id: id, etag, validate_only } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let id = draft_id(id, &mut faults);
        let (origin, id) = faults.with(origin.zip(id))?;
        let etag = (!etag.is_empty()).then_some(etag);
        let separate_publisher = self.separate_publisher;
        let conditions = Conditions { etag, separate_publisher, validate_only };
        let done = self.blocking(move |engine| Ok(engine.publish_draft(&origin, &id, &conditions)?)).await?;
        Ok(to_proto::published(done))
    }
}
