//! Which revision a read asks for.

use dashwright_api::v1;
use dashwright_engine::{Freshness, RevisionToken};

use crate::Refusal;

/// The revision that a read asks for; the latest when it says nothing.
pub(crate) fn read_at(message: Option<v1::ReadAt>) -> Result<Freshness, Refusal> {
    let token = |text: &str, field| -> Result<RevisionToken, Refusal> {
        text.parse().map_err(|source| Refusal::RevisionToken { field, source })
    };
    let Some(v1::ReadAt { at }) = message else { return Ok(Freshness::Latest) };
    match at {
        None => Ok(Freshness::Latest),
        Some(v1::read_at::At::AtLeast(text)) => Ok(Freshness::AtLeast(token(&text, "read_at.at_least")?)),
        Some(v1::read_at::At::Exactly(text)) => Ok(Freshness::Exactly(token(&text, "read_at.exactly")?)),
    }
}
