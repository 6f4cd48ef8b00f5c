//! Why a caller is not let in.

use std::fmt;

use dashwright_engine::keys::{AuthFault, KeyId, Role};

/// Why a caller is not let in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Denied {
    /// No key was presented.
    Missing,
    /// The key lets nobody in.
    Key(AuthFault),
    /// The key lets its holder in, but not do this.
    Role {
        /// The role that the call needs.
        needed: Role,
        /// The key; none where no key is asked for.
        key: Option<KeyId>,
    },
}

/// The cause of a refusal, as it is counted and logged: finer than what the caller is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// No key was presented.
    Missing,
    /// What was presented is no key.
    Malformed,
    /// The checksum of the key does not hold.
    Mistyped,
    /// There is no such key.
    Unknown,
    /// The secret is not that of the key.
    WrongSecret,
    /// The key was made under another secret of the server.
    OtherServerSecret,
    /// The key was revoked.
    Revoked,
    /// The key has expired.
    Expired,
    /// The key has not the role.
    RoleMissing,
}

impl Cause {
    /// Every cause.
    pub const ALL: [Self; 9] = [
        Self::Missing,
        Self::Malformed,
        Self::Mistyped,
        Self::Unknown,
        Self::WrongSecret,
        Self::OtherServerSecret,
        Self::Revoked,
        Self::Expired,
        Self::RoleMissing,
    ];

    /// The cause as logs and figures name it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Malformed => "malformed",
            Self::Mistyped => "mistyped",
            Self::Unknown => "unknown",
            Self::WrongSecret => "wrong_secret",
            Self::OtherServerSecret => "other_server_secret",
            Self::Revoked => "revoked",
            Self::Expired => "expired",
            Self::RoleMissing => "role_missing",
        }
    }
}

impl Denied {
    /// The cause.
    #[must_use]
    pub fn cause(&self) -> Cause {
        match self {
            Self::Missing => Cause::Missing,
            Self::Key(AuthFault::Malformed) => Cause::Malformed,
            Self::Key(AuthFault::Mistyped) => Cause::Mistyped,
            Self::Key(AuthFault::Unknown { .. }) => Cause::Unknown,
            Self::Key(AuthFault::WrongSecret { .. }) => Cause::WrongSecret,
            Self::Key(AuthFault::OtherServerSecret { .. }) => Cause::OtherServerSecret,
            Self::Key(AuthFault::Revoked { .. }) => Cause::Revoked,
            Self::Key(AuthFault::Expired { .. }) => Cause::Expired,
            Self::Role { .. } => Cause::RoleMissing,
        }
    }

    /// The key that was presented, where one can be told.
    #[must_use]
    pub fn key_id(&self) -> Option<&KeyId> {
        match self {
            Self::Missing => None,
            Self::Key(fault) => fault.key_id(),
            Self::Role { needed: _, key } => key.as_ref(),
        }
    }
}

/// In the caller's words: who guesses is told of no key whether it exists.
impl fmt::Display for Denied {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => write!(f, "the call needs a key, and none was presented"),
            Self::Key(
                AuthFault::Unknown { .. }
                | AuthFault::WrongSecret { .. }
                | AuthFault::OtherServerSecret { .. },
            ) => write!(f, "the key is none of this service"),
            Self::Key(fault) => write!(f, "{fault}"),
            Self::Role { needed, key: Some(_) } => write!(f, "the call needs a key with the role `{needed}`"),
            Self::Role { needed, key: None } => {
                write!(f, "the call needs a key with the role `{needed}`; without one everybody only reads")
            }
        }
    }
}

impl std::error::Error for Denied {}
