//! `RevokeKey`: the end of a key, at once.

use dashwright_api::v1;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, FieldProblem, change};
use crate::{Refusal, Service};

impl Service {
    pub(crate) async fn revoked_key(
        &self,
        caller: Caller,
        request: v1::RevokeKeyRequest,
    ) -> Result<v1::RevokeKeyResponse, Refusal> {
        let v1::RevokeKeyRequest { change: message, key_id } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        if key_id.is_empty() {
            faults.take::<()>("key_id", Err(FieldProblem::Missing));
        }
        let origin = faults.with(origin)?;
        let revoked = self.blocking(move |engine| Ok(engine.revoke_key(&origin, &key_id)?));
        let (facts, repeated) = revoked.await?;
        Ok(v1::RevokeKeyResponse { key: Some(self.key(&facts)), repeated })
    }
}
