//! `RevertRevision`: a draft that goes back.

use dashwright_api::v1;
use dashwright_engine::RevertError;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change, revert, revision_number};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn reverting_draft(
        &self,
        caller: Caller,
        request: v1::RevertRevisionRequest,
    ) -> Result<v1::RevertRevisionResponse, Refusal> {
        let v1::RevertRevisionRequest { change: message, revision, kind } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let revision = revision_number(revision, self.engine.view().revision(), &mut faults);
        let how = faults.take("kind", revert(kind));
        let ((origin, revision), how) = faults.with(origin.zip(revision).zip(how))?;
        let drafted = self.blocking(move |engine| Ok(engine.revert(&origin, revision, how)?)).await?;
        let draft = to_proto::draft(&self.engine, &drafted.id, &drafted.draft)?;
        Ok(v1::RevertRevisionResponse { draft: Some(draft), repeated: drafted.repeated })
    }
}

impl From<RevertError> for Refusal {
    fn from(error: RevertError) -> Self {
        match error {
            RevertError::Write(error) => error.into(),
            error => Self::Revert(Box::new(error)),
        }
    }
}
