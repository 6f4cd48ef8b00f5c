//! `CreateKey`: a key, whose text is told once.

use dashwright_api::v1;
use dashwright_engine::MadeKey;
use dashwright_engine::keys::Caller;

use crate::from_proto::{FieldFaults, change, new_key};
use crate::{Refusal, Service};

impl Service {
    pub(crate) async fn created_key(
        &self,
        caller: Caller,
        request: v1::CreateKeyRequest,
    ) -> Result<v1::CreateKeyResponse, Refusal> {
        let v1::CreateKeyRequest { change: message, holder, roles, expires_at } = request;
        let mut faults = FieldFaults::default();
        let origin = change(message, &caller, &mut faults);
        let new = new_key(holder, &roles, expires_at, &mut faults);
        let origin = faults.with(origin)?;
        let made = self.blocking(move |engine| Ok(engine.create_key(&origin, new)?)).await?;
        let MadeKey { facts, text } = made;
        let repeated = text.is_none();
        let text = text.map(|text| text.reveal().to_owned()).unwrap_or_default();
        Ok(v1::CreateKeyResponse { key: Some(self.key(&facts)), text, repeated })
    }
}
