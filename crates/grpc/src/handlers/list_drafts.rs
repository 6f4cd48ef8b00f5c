//! `ListDrafts`: the open drafts.

use dashwright_api::v1;

use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn drafts(
        &self,
        request: v1::ListDraftsRequest,
    ) -> Result<v1::ListDraftsResponse, Refusal> {
        let v1::ListDraftsRequest {} = request;
        self.blocking(|engine| {
            let drafts = engine.drafts().map_err(|_| Refusal::Damaged)?;
            let drafts = drafts.iter().map(|(id, facts)| to_proto::draft(engine, id, facts));
            Ok(v1::ListDraftsResponse { drafts: drafts.collect::<Result<_, _>>()? })
        })
        .await
    }
}
