//! `GetCheckpoint`: the checkpoint of the trail as it is now.

use dashwright_api::v1;

use crate::{Refusal, Service};

impl Service {
    pub(crate) async fn checkpoint(
        &self,
        request: v1::GetCheckpointRequest,
    ) -> Result<v1::GetCheckpointResponse, Refusal> {
        let v1::GetCheckpointRequest {} = request;
        let checkpoint = self.blocking(|engine| Ok(engine.checkpoint_at(engine.trail_size())?)).await?;
        let key = self.engine.verifier_key().map(ToString::to_string);
        Ok(v1::GetCheckpointResponse {
            checkpoint,
            signed: key.is_some(),
            verifier_key: key.unwrap_or_default(),
        })
    }
}
