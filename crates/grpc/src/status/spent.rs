//! What a caller is told who has taken as much as one may.

use std::time::Duration;

use dashwright_api::v1::ErrorReason;
use tonic::Code;

use super::{RETRY_AFTER, Told};
use crate::callers::Spent;

pub(super) fn told(spent: &Spent) -> Told {
    let (reason, metadata) = match spent {
        Spent::Rate { per_second, .. } => {
            (ErrorReason::CallsTooFrequent, ("calls_per_second", per_second.to_string()))
        }
        Spent::Calls { most } => (ErrorReason::CallsTooMany, ("most_calls", most.to_string())),
        Spent::Unread { most } => (ErrorReason::AnswersUnread, ("most_bytes", most.to_string())),
    };
    (Code::ResourceExhausted, reason, vec![metadata])
}

/// When the caller may try again.
pub(super) fn retry_after(spent: &Spent) -> Duration {
    match spent {
        // Rounded up to the next millisecond, so that who waits so long does not come too early.
        Spent::Rate { wait, .. } => {
            Duration::from_millis(u64::try_from(wait.as_millis()).unwrap_or(u64::MAX).saturating_add(1))
        }
        Spent::Calls { .. } | Spent::Unread { .. } => RETRY_AFTER,
    }
}
