//! Who calls: the holder of a key, or somebody let in without one.

use std::collections::BTreeSet;
use std::sync::{Arc, LazyLock};

use dashwright_log::MAX_ACTOR_BYTES;

use super::facts::{KeyFacts, Role};
use super::text::KeyId;

/// Who calls, and what they may do. Clones share everything.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller(Arc<Inner>);

#[derive(Debug, PartialEq, Eq)]
struct Inner {
    key: Option<KeyId>,
    holder: String,
    roles: BTreeSet<Role>,
}

/// The holder that [`Caller::actor`] names: somebody is the same with another key.
#[must_use]
pub fn holder_of(actor: &str) -> &str {
    actor.rsplit_once(" (key ").filter(|(_, rest)| rest.ends_with(')')).map_or(actor, |(holder, _)| holder)
}

impl Caller {
    /// The holder of a key.
    pub(super) fn of(facts: &KeyFacts) -> Self {
        let KeyFacts { id, holder, roles, .. } = facts;
        Self(Arc::new(Inner { key: Some(id.clone()), holder: holder.clone(), roles: roles.clone() }))
    }

    /// Somebody on this machine, where no key was ever made: they could read and write the files as well.
    #[must_use]
    pub fn this_machine() -> Self {
        static ONE: LazyLock<Caller> =
            LazyLock::new(|| Caller::without_key("this machine", Role::ALL.into()));
        ONE.clone()
    }

    /// Somebody who reads where no key is asked for.
    #[must_use]
    pub fn anybody() -> Self {
        static ONE: LazyLock<Caller> =
            LazyLock::new(|| Caller::without_key("anybody", [Role::Reader].into()));
        ONE.clone()
    }

    fn without_key(holder: &str, roles: BTreeSet<Role>) -> Self {
        Self(Arc::new(Inner { key: None, holder: holder.to_owned(), roles }))
    }

    /// The key that was presented.
    #[must_use]
    pub fn key_id(&self) -> Option<&KeyId> {
        self.0.key.as_ref()
    }

    /// Whether it is somebody on this machine, where no key was ever made.
    #[must_use]
    pub fn is_this_machine(&self) -> bool {
        self.0.key.is_none() && self.0.roles.len() == Role::ALL.len()
    }

    /// Whose call it is.
    #[must_use]
    pub fn holder(&self) -> &str {
        &self.0.holder
    }

    /// The roles that were given; every one of them reads.
    #[must_use]
    pub fn roles(&self) -> &BTreeSet<Role> {
        &self.0.roles
    }

    /// Whether the caller may do what a role may.
    #[must_use]
    pub fn has(&self, role: Role) -> bool {
        let Inner { roles, .. } = &*self.0;
        if role == Role::Reader { !roles.is_empty() } else { roles.contains(&role) }
    }

    /// Who it was, as entries of the log say it: the holder and the key, with the holder cut where both would not fit.
    #[must_use]
    pub fn actor(&self) -> String {
        let Inner { key, holder, .. } = &*self.0;
        let key = key.as_ref().map(|key| format!(" (key {key})")).unwrap_or_default();
        let room = MAX_ACTOR_BYTES - key.len();
        let holder = (0..=room).rev().find_map(|end| holder.get(..end)).unwrap_or_default();
        format!("{holder}{key}")
    }
}
