//! Keys for a service in this process: made, revoked, presented.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::SystemTime;

use dashwright_engine::keys::{KeyFacts, KeyId, KeyRing, KeyText, Role, ServerSecret};
use dashwright_grpc::auth::Access;
use tokio::sync::watch;
use tonic::Request;

use crate::service::Outcome;

/// When every key of a test was made and revoked: no answer depends on it.
const THEN: &str = "2026-01-31T09:05:00Z";

/// The keys of a service.
pub struct Keys {
    secret: ServerSecret,
    facts: BTreeMap<KeyId, KeyFacts>,
    ring: watch::Sender<Arc<KeyRing>>,
}

impl Keys {
    /// No key.
    #[must_use]
    pub fn none() -> Self {
        let (ring, _) = watch::channel(Arc::new(KeyRing::default()));
        Self { secret: ServerSecret::new([0x5e; 32]), facts: BTreeMap::new(), ring }
    }

    /// Whoever has one of them may call.
    #[must_use]
    pub fn access(&self) -> Access {
        Access::by(self.ring.subscribe())
    }

    /// Makes a key that has one role.
    ///
    /// # Errors
    /// When the keys make no ring.
    pub fn make(&mut self, role: Role) -> Outcome<KeyText> {
        self.make_until(role, None)
    }

    /// Makes a key that ends by itself.
    ///
    /// # Errors
    /// When the keys make no ring.
    pub fn make_until(&mut self, role: Role, end: Option<SystemTime>) -> Outcome<KeyText> {
        let number = u8::try_from(self.facts.len())?;
        let key = KeyText::new(KeyId::new([number; 8]), &[0xc0 + number; 32]);
        let expires = end.map(|end| humantime::format_rfc3339_millis(end).to_string());
        let holder = format!("holder {number}");
        let facts = KeyFacts::of(&key, &self.secret, holder, [role].into(), THEN.to_owned(), expires);
        self.put(facts)?;
        Ok(key)
    }

    /// Revokes a key.
    ///
    /// # Errors
    /// When there is none.
    pub fn revoke(&mut self, id: &KeyId) -> Outcome<()> {
        let facts = self.facts.get(id).cloned().ok_or("no such key")?;
        self.put(KeyFacts { revoked: Some(THEN.to_owned()), ..facts })
    }

    /// Says that a key was made under another secret of the server.
    ///
    /// # Errors
    /// When there is none.
    pub fn disown(&mut self, id: &KeyId) -> Outcome<()> {
        let facts = self.facts.get(id).cloned().ok_or("no such key")?;
        self.put(KeyFacts { secret_id: "00000000".to_owned(), ..facts })
    }

    fn put(&mut self, facts: KeyFacts) -> Outcome<()> {
        self.facts.insert(facts.id.clone(), facts);
        let ring = KeyRing::new(self.secret.clone(), self.facts.values().cloned())?;
        self.ring.send_replace(Arc::new(ring));
        Ok(())
    }
}

/// A request that presents a key.
///
/// # Errors
/// When the key can stand in no header.
pub fn with_key<T>(message: T, key: &str) -> Outcome<Request<T>> {
    let mut request = Request::new(message);
    request.metadata_mut().insert("authorization", format!("Bearer {key}").parse()?);
    Ok(request)
}
