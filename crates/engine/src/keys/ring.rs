//! The ring: every key that was ever made, and whose a presented one is.

use std::collections::BTreeMap;
use std::time::SystemTime;

use super::caller::Caller;
use super::facts::{KeyFacts, moment};
use super::secret::{ServerSecret, same};
use super::text::{KeyId, KeyTextError, id_of};

/// Live keys of one holder: the one in use, and the one that takes its place.
pub const MAX_LIVE_PER_HOLDER: usize = 2;

/// Every key that was ever made. It never changes: another one takes its place.
#[derive(Clone, Debug)]
pub struct KeyRing {
    secret: ServerSecret,
    secret_id: String,
    keys: BTreeMap<KeyId, Key>,
}

/// A key with what is asked of it at every call.
#[derive(Clone, Debug)]
struct Key {
    facts: KeyFacts,
    expires: Option<SystemTime>,
    caller: Caller,
}

/// Why keys make no ring.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RingError {
    /// An id was given twice.
    #[error("there are two keys `{id}`")]
    Twice {
        /// The id.
        id: KeyId,
    },
    /// A key ends at a time that is none.
    #[error("key `{id}` ends at `{time}`, which is not an RFC 3339 time in UTC")]
    Time {
        /// The key.
        id: KeyId,
        /// The time as given.
        time: String,
    },
}

/// Why a presented key lets nobody in.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AuthFault {
    /// It has not the form of a key.
    #[error("what was presented has not the form of a key")]
    Malformed,
    /// It has the form of a key, and its checksum does not hold.
    #[error("the key is mistyped: its checksum does not hold")]
    Mistyped,
    /// No key has this id.
    #[error("there is no such key")]
    Unknown {
        /// The id that was presented.
        id: KeyId,
    },
    /// The id is one of a key, and the secret is not its own.
    #[error("the secret is not that of the key")]
    WrongSecret {
        /// The key.
        id: KeyId,
    },
    /// The key was made under another secret of the server, and nothing can be said of it.
    #[error("the key was made under another secret of the server")]
    OtherServerSecret {
        /// The key.
        id: KeyId,
    },
    /// The key was revoked.
    #[error("key `{id}` was revoked")]
    Revoked {
        /// The key.
        id: KeyId,
    },
    /// The key has come to its end.
    #[error("key `{id}` has expired")]
    Expired {
        /// The key.
        id: KeyId,
    },
}

/// A holder has as many live keys as allowed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{holder}` has {} live keys, {MAX_LIVE_PER_HOLDER} are allowed: revoke one first", live.len())]
pub struct TooManyLive {
    /// The holder.
    pub holder: String,
    /// Their live keys.
    pub live: Vec<KeyId>,
}

impl AuthFault {
    /// The key that was presented, where one can be told.
    #[must_use]
    pub fn key_id(&self) -> Option<&KeyId> {
        match self {
            Self::Malformed | Self::Mistyped => None,
            Self::Unknown { id }
            | Self::WrongSecret { id }
            | Self::OtherServerSecret { id }
            | Self::Revoked { id }
            | Self::Expired { id } => Some(id),
        }
    }
}

impl KeyRing {
    /// A ring of keys.
    ///
    /// # Errors
    /// When two have the same id, or one ends at a time that is none.
    pub fn new(secret: ServerSecret, facts: impl IntoIterator<Item = KeyFacts>) -> Result<Self, RingError> {
        let mut keys = BTreeMap::new();
        for facts in facts {
            let id = facts.id.clone();
            let key = Key::new(facts)?;
            if keys.insert(id.clone(), key).is_some() {
                return Err(RingError::Twice { id });
            }
        }
        Ok(Self { secret_id: secret.id(), secret, keys })
    }

    /// True where no key was ever made. A key that was revoked was made.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.keys.is_empty()
    }

    /// Every key, by id.
    pub fn keys(&self) -> impl Iterator<Item = &KeyFacts> {
        self.keys.values().map(|key| &key.facts)
    }

    /// One key.
    #[must_use]
    pub fn get(&self, id: &str) -> Option<&KeyFacts> {
        self.keys.get(id).map(|key| &key.facts)
    }

    /// Whose a presented key is.
    ///
    /// # Errors
    /// One per cause; only who knows the secret of a key learns that it was revoked or has expired.
    pub fn authenticate(&self, presented: &str, now: SystemTime) -> Result<Caller, AuthFault> {
        let id = id_of(presented).map_err(|fault| match fault {
            KeyTextError::Malformed => AuthFault::Malformed,
            KeyTextError::Mistyped => AuthFault::Mistyped,
        })?;
        // Before the key is looked for, so that the time does not tell a guesser whether there is one.
        let mac = self.secret.mac(presented.as_bytes());
        let Some((id, key)) = self.keys.get_key_value(id) else {
            // The form holds, so that it is an id.
            return Err(id.parse().map_or(AuthFault::Malformed, |id| AuthFault::Unknown { id }));
        };
        if key.facts.secret_id != self.secret_id {
            return Err(AuthFault::OtherServerSecret { id: id.clone() });
        }
        if !same(&mac, &key.facts.mac) {
            return Err(AuthFault::WrongSecret { id: id.clone() });
        }
        key.standing(now)?;
        Ok(key.caller.clone())
    }

    /// What became of a key that was let in before.
    ///
    /// # Errors
    /// When it would not be let in any more.
    pub fn standing(&self, id: &KeyId, now: SystemTime) -> Result<(), AuthFault> {
        match self.keys.get(id) {
            Some(key) => key.standing(now),
            None => Err(AuthFault::Unknown { id: id.clone() }),
        }
    }

    /// Whether a key is one, and is neither revoked nor expired.
    #[must_use]
    pub fn is_live(&self, id: &KeyId, now: SystemTime) -> bool {
        self.standing(id, now).is_ok()
    }

    /// When a key ends by itself.
    #[must_use]
    pub fn expires(&self, id: &KeyId) -> Option<SystemTime> {
        self.keys.get(id)?.expires
    }

    /// Whether a holder may have one more key: at most [`MAX_LIVE_PER_HOLDER`] are live at once. Those that were made under
    /// another secret of the server let nobody in, and do not count.
    ///
    /// # Errors
    /// When there are as many.
    pub fn room_for(&self, holder: &str, now: SystemTime) -> Result<(), TooManyLive> {
        let of_holder = |key: &&Key| key.facts.holder == holder && key.facts.secret_id == self.secret_id;
        let live = self.keys.values().filter(of_holder).filter(|key| key.standing(now).is_ok());
        let live: Vec<KeyId> = live.map(|key| key.facts.id.clone()).collect();
        if live.len() < MAX_LIVE_PER_HOLDER {
            return Ok(());
        }
        Err(TooManyLive { holder: holder.to_owned(), live })
    }
}

impl Default for KeyRing {
    /// The ring where no key was ever made; no key fits it, whatever the secret.
    fn default() -> Self {
        let secret = ServerSecret::new([0; 32]);
        Self { secret_id: secret.id(), secret, keys: BTreeMap::new() }
    }
}

impl Key {
    fn new(facts: KeyFacts) -> Result<Self, RingError> {
        let expires = match &facts.expires {
            None => None,
            Some(time) => {
                let wrong = || RingError::Time { id: facts.id.clone(), time: time.clone() };
                Some(moment(time).ok_or_else(wrong)?)
            }
        };
        let caller = Caller::of(&facts);
        Ok(Self { facts, expires, caller })
    }

    /// The end is not part of the time that a key lives.
    fn standing(&self, now: SystemTime) -> Result<(), AuthFault> {
        let id = || self.facts.id.clone();
        if self.facts.revoked.is_some() {
            Err(AuthFault::Revoked { id: id() })
        } else if self.expires.is_some_and(|end| end <= now) {
            Err(AuthFault::Expired { id: id() })
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
#[path = "ring_tests.rs"]
mod tests;
