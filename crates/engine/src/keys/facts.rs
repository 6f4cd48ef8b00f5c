//! What the log keeps of a key, and what a key lets its holder do.

use std::collections::BTreeSet;
use std::fmt;
use std::time::SystemTime;

use dashwright_log::Digest;
use serde::{Deserialize, Serialize};

use super::secret::ServerSecret;
use super::text::{KeyId, KeyText};

/// What a key lets its holder do. Every role reads; otherwise no role implies another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Asks, and reads records.
    Reader,
    /// Writes drafts.
    Curator,
    /// Puts drafts into service.
    Publisher,
    /// Reads who changed what, and proves it.
    Auditor,
    /// Makes and revokes keys.
    Operator,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 5] = [Self::Reader, Self::Curator, Self::Publisher, Self::Auditor, Self::Operator];

    /// The role as it is written in the log and said to callers.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Reader => "reader",
            Self::Curator => "curator",
            Self::Publisher => "publisher",
            Self::Auditor => "auditor",
            Self::Operator => "operator",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What is known of a key; all of it may be read by anybody who may read the log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyFacts {
    /// Its public part.
    pub id: KeyId,
    /// Whose it is: a person or a program, as the operator calls them.
    pub holder: String,
    /// What it lets them do.
    pub roles: BTreeSet<Role>,
    /// The HMAC of its text under the server's secret.
    pub mac: Digest,
    /// The secret's id, so that a key of another server is told from a forged one.
    pub secret_id: String,
    /// When it was made; RFC 3339 in UTC.
    pub created: String,
    /// When it ends, if it ends by itself; RFC 3339 in UTC.
    pub expires: Option<String>,
    /// When it was revoked; RFC 3339 in UTC.
    pub revoked: Option<String>,
}

impl KeyFacts {
    /// What is kept of a new key.
    #[must_use]
    pub fn of(
        key: &KeyText,
        secret: &ServerSecret,
        holder: String,
        roles: BTreeSet<Role>,
        created: String,
        expires: Option<String>,
    ) -> Self {
        let mac = secret.mac(key.reveal().as_bytes());
        let id = key.id().clone();
        Self { id, holder, roles, mac, secret_id: secret.id(), created, expires, revoked: None }
    }
}

/// The time that an RFC 3339 text in UTC says; none when it is no such text or before 1970.
#[must_use]
pub fn moment(text: &str) -> Option<SystemTime> {
    humantime::parse_rfc3339(text).ok()
}
