//! `ListKeys`: every key that was made, and who was refused.

use std::time::SystemTime;

use dashwright_api::v1;
use dashwright_engine::Origin;
use dashwright_engine::keys::{Caller, KeyFacts};

use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn keys(
        &self,
        caller: Caller,
        request: v1::ListKeysRequest,
    ) -> Result<v1::ListKeysResponse, Refusal> {
        let v1::ListKeysRequest {} = request;
        let origin = Origin { actor: caller.actor(), reason: String::new(), request_id: None };
        self.blocking(move |engine| Ok(engine.note_operator_call(&origin, "ListKeys")?)).await?;
        let ring = std::sync::Arc::clone(&self.engine.keys().borrow());
        let mut facts: Vec<&KeyFacts> = ring.keys().collect();
        facts.sort_by(|one, other| one.created.cmp(&other.created).then_with(|| one.id.cmp(&other.id)));
        let refused = self.auth_figures().refused().into_iter();
        Ok(v1::ListKeysResponse {
            keys: facts.into_iter().map(|facts| self.key(facts)).collect(),
            refused: refused.map(|(cause, count)| (cause.name().to_owned(), count)).collect(),
        })
    }

    /// A key, with what was counted of it.
    pub(super) fn key(&self, facts: &KeyFacts) -> v1::Key {
        let live = self.engine.keys().borrow().is_live(&facts.id, SystemTime::now());
        to_proto::key(facts, live, self.auth_figures().uses(&facts.id))
    }
}
