//! Which revision a read asks for.

use dashwright_api::v1;
use dashwright_engine::{Freshness, RevisionToken};

use super::{FieldFaults, FieldProblem};

/// The revision that a read asks for; the latest when it says nothing.
pub(crate) fn read_at(message: Option<v1::ReadAt>, faults: &mut FieldFaults) -> Freshness {
    let mut token = |path, text: String| -> Option<RevisionToken> {
        faults.take(path, text.parse().map_err(FieldProblem::RevisionToken))
    };
    let Some(v1::ReadAt { at: Some(at) }) = message else { return Freshness::Latest };
    let asked = match at {
        v1::read_at::At::AtLeast(text) => token("read_at.at_least", text).map(Freshness::AtLeast),
        v1::read_at::At::Exactly(text) => token("read_at.exactly", text).map(Freshness::Exactly),
    };
    asked.unwrap_or(Freshness::Latest)
}

/// Exactly the revision whose token stands in a field.
pub(crate) fn exactly(path: &str, text: &str, faults: &mut FieldFaults) -> Freshness {
    let token = faults.take(path, text.parse().map_err(FieldProblem::RevisionToken));
    token.map_or(Freshness::Latest, Freshness::Exactly)
}
