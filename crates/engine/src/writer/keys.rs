//! What the writer does with keys, and what else the operator does that is to be known.

use std::collections::BTreeSet;

use super::{WriteError, Writer};
use crate::entry::{KEY_CREATE, KEY_REVOKE, KeyRevoke, OPERATOR_CALL, OperatorCall};
use crate::keys::{KeyFacts, KeyId, KeyText, Role, moment};
use crate::surroundings::Origin;

/// Bytes of a key's id that are random; the rest of the random bytes is not used for it.
const ID_BYTES: usize = 8;

/// A key that is to be made.
#[derive(Clone, Debug)]
pub struct NewKey {
    /// Who is to hold it.
    pub holder: String,
    /// What they may do.
    pub roles: BTreeSet<Role>,
    /// When it ends by itself; RFC 3339 in UTC.
    pub expires: Option<String>,
}

/// A key that was made.
#[derive(Clone, Debug)]
pub struct MadeKey {
    /// What is kept of it.
    pub facts: KeyFacts,
    /// Its text; none where a repeated request is answered again, for it is nowhere kept.
    pub text: Option<KeyText>,
}

impl Writer {
    pub(crate) fn create_key(&mut self, origin: &Origin, new: NewKey) -> Result<MadeKey, WriteError> {
        if let Some(facts) = self.key_earlier(origin, KEY_CREATE)? {
            return Ok(MadeKey { facts, text: None });
        }
        let NewKey { holder, roles, expires } = new;
        let created = self.surroundings.now();
        let read = |time: &str| moment(time).ok_or_else(|| WriteError::Time { time: time.to_owned() });
        let now = read(&created)?;
        if let Some(expires) = &expires
            && read(expires)? <= now
        {
            return Err(WriteError::ExpiryOver { expires: expires.clone() });
        }
        let ring = self.shared.keys();
        if ring.is_empty() && !roles.contains(&Role::Operator) {
            return Err(WriteError::FirstKey);
        }
        ring.room_for(&holder, now)?;
        let mut id = [0; ID_BYTES];
        id.iter_mut().zip(self.random()?).for_each(|(to, from)| *to = from);
        let text = KeyText::new(KeyId::new(id), &self.random()?);
        let facts = KeyFacts::of(&text, self.shared.key_secret(), holder, roles, created, expires);
        self.append(origin, KEY_CREATE, std::slice::from_ref(&facts))?;
        self.share_keys();
        tracing::info!(key = facts.id.as_str(), holder = facts.holder, "made a key");
        Ok(MadeKey { facts, text: Some(text) })
    }

    /// Revokes a key; true where this repeats an earlier request.
    pub(crate) fn revoke_key(&mut self, origin: &Origin, key: &str) -> Result<(KeyFacts, bool), WriteError> {
        if let Some(facts) = self.key_earlier(origin, KEY_REVOKE)? {
            return Ok((facts, true));
        }
        let none = || WriteError::NoKey { key: key.to_owned() };
        self.state.keys.get(key).filter(|facts| facts.revoked.is_none()).ok_or_else(none)?;
        self.append(origin, KEY_REVOKE, &[KeyRevoke { key: key.to_owned() }])?;
        self.share_keys();
        tracing::info!(key, "revoked a key");
        let facts = self.state.keys.get(key).cloned().ok_or_else(none)?;
        Ok((facts, false))
    }

    /// Leaves a trace of a call that changes nothing.
    pub(crate) fn operator_call(&mut self, origin: &Origin, call: &str) -> Result<(), WriteError> {
        self.append(origin, OPERATOR_CALL, &[OperatorCall { call: call.to_owned() }])?;
        Ok(())
    }

    fn key_earlier(&self, origin: &Origin, kind: &str) -> Result<Option<KeyFacts>, WriteError> {
        let earlier = self.earlier(origin.request_id.as_deref(), kind)?;
        Ok(earlier.and_then(|facts| self.state.keys.get(&facts.of).cloned()))
    }

    fn random(&self) -> Result<[u8; 32], WriteError> {
        self.surroundings.random().ok_or(WriteError::NoRandomness)
    }

    fn share_keys(&self) {
        self.shared.share_keys(self.state.keys.values().cloned());
    }
}
