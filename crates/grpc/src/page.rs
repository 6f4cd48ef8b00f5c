//! Page tokens: opaque, pinned to a revision and to the request that they continue.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use dashwright_engine::{Freshness, RevisionToken, View};
use sha2::{Digest as _, Sha256};

use crate::from_proto::{FieldFaults, FieldProblem};

/// The number of the token's form.
const FORM: &str = "1";

/// Where a page begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Page {
    /// How many items come before it.
    pub(crate) skip: usize,
    /// The revision of the first page; none for the first page itself.
    pub(crate) revision: Option<RevisionToken>,
}

impl Page {
    /// Reads the token of a request, whose other fields are given as one text.
    pub(crate) fn of(token: &str, request: &str, faults: &mut FieldFaults) -> Self {
        let first = Self { skip: 0, revision: None };
        if token.is_empty() {
            return first;
        }
        let page = Self::decode(token, request).ok_or(FieldProblem::PageToken);
        faults.take("page_token", page).unwrap_or(first)
    }

    fn decode(token: &str, request: &str) -> Option<Self> {
        let text = String::from_utf8(URL_SAFE_NO_PAD.decode(token).ok()?).ok()?;
        let (content, sum) = text.rsplit_once('.')?;
        if sum != checksum(content, request) {
            return None;
        }
        let mut fields = content.split('.');
        let (form, revision, skip) = (fields.next()?, fields.next()?, fields.next()?);
        let known = form == FORM && fields.next().is_none();
        known.then_some(Self { skip: skip.parse().ok()?, revision: Some(revision.parse().ok()?) })
    }

    /// The revision that the page is read from: that of the first page, or the one that the request asks for.
    pub(crate) fn freshness(&self, asked: Freshness) -> Freshness {
        self.revision.map_or(asked, Freshness::Exactly)
    }

    /// The token of the next page; empty when nothing is left.
    pub(crate) fn next(&self, view: &View, request: &str, shown: usize, total: usize) -> String {
        let skip = self.skip + shown;
        if skip >= total || shown == 0 {
            return String::new();
        }
        let content = format!("{FORM}.{}.{skip}", view.token());
        let sum = checksum(&content, request);
        URL_SAFE_NO_PAD.encode(format!("{content}.{sum}"))
    }
}

/// Tells a token that was altered, or that continues another request.
fn checksum(content: &str, request: &str) -> String {
    const BYTES: usize = 12;
    let digest = Sha256::new().chain_update(content).chain_update([0]).chain_update(request).finalize();
    URL_SAFE_NO_PAD.encode(digest.get(..BYTES).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn token(skip: usize, request: &str) -> String {
        let revision = RevisionToken::new("one", 7);
        let content = format!("{FORM}.{revision}.{skip}");
        URL_SAFE_NO_PAD.encode(format!("{content}.{}", checksum(&content, request)))
    }

    #[test]
    fn a_token_continues_its_own_request_only() {
        let page = Page::decode(&token(40, "list part"), "list part");
        assert_eq!(page, Some(Page { skip: 40, revision: Some(RevisionToken::new("one", 7)) }));
        assert_eq!(Page::decode(&token(40, "list part"), "list dash"), None);
    }

    #[test]
    fn an_altered_token_is_refused_wherever_it_was_altered() {
        let good = token(40, "list part");
        for place in 0..good.len() {
            let mut bytes = good.clone().into_bytes();
            bytes[place] = if bytes[place] == b'A' { b'B' } else { b'A' };
            let altered = String::from_utf8(bytes).unwrap();
            assert_eq!(Page::decode(&altered, "list part"), None, "{altered}");
        }
        for junk in ["x", "????", "AAAA", &good[1..]] {
            assert_eq!(Page::decode(junk, "list part"), None, "{junk}");
        }
    }
}
