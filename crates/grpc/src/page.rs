//! Page tokens: opaque, pinned to a revision and to the request that they continue.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use dashwright_api::v1;
use dashwright_engine::{Freshness, View};
use sha2::{Digest as _, Sha256};

use crate::from_proto::{self, FieldFaults, FieldProblem};

/// The number of the token's form.
const FORM: &str = "1";

/// One page of a list: where it begins, and what it is read from.
#[derive(Clone, Debug)]
pub(crate) struct Page {
    /// How many items come before it.
    pub(crate) skip: usize,
    /// How many items it has at most.
    pub(crate) size: usize,
    /// The revision of the first page, or for the first page itself the one that the request asks for.
    pub(crate) freshness: Freshness,
    /// The other fields of the request as one text: a token continues no other request.
    request: String,
}

/// How many items a page of a list has.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PageSizes {
    /// When the caller names no number.
    pub(crate) default: usize,
    /// At most.
    pub(crate) most: usize,
}

impl Page {
    /// The page that a request asks for, whose fields besides those of the page are given as one text.
    pub(crate) fn of(
        request: String,
        (read_at, page_size, page_token): (Option<v1::ReadAt>, u32, &str),
        sizes: PageSizes,
        faults: &mut FieldFaults,
    ) -> Self {
        let asked = from_proto::read_at(read_at, faults);
        let size = faults.page_size(page_size, sizes.default, sizes.most);
        let first = Self { skip: 0, size, freshness: asked, request };
        if page_token.is_empty() {
            return first;
        }
        let token =
            decode(page_token, &first.request).and_then(|(skip, pin)| Some((skip, pin.parse().ok()?)));
        match faults.take("page_token", token.ok_or(FieldProblem::PageToken)) {
            Some((skip, revision)) => Self { skip, freshness: Freshness::Exactly(revision), ..first },
            None => first,
        }
    }

    /// Those of all items that are on the page.
    pub(crate) fn part<'a, T>(&self, all: &'a [T]) -> &'a [T] {
        let rest = all.get(self.skip..).unwrap_or_default();
        rest.get(..self.size).unwrap_or(rest)
    }

    /// The token of the next page; empty when nothing is left.
    pub(crate) fn next(&self, view: &View, shown: usize, total: usize) -> String {
        let skip = self.skip + shown;
        let pin = view.token().to_string();
        if skip >= total || shown == 0 { String::new() } else { encode(&pin, skip, &self.request) }
    }
}

/// One page of a list of what only grows: pinned to how much there was when its first page was read.
#[derive(Clone, Debug)]
pub(crate) struct GrowingPage {
    /// How many items come before it.
    pub(crate) skip: usize,
    /// How many items it has at most.
    pub(crate) size: usize,
    /// What the list ended with when its first page was read; nothing on the first page.
    pub(crate) end: Option<u64>,
    request: String,
}

impl GrowingPage {
    /// The page that a request asks for; see [`Page::of`].
    pub(crate) fn of(
        request: String,
        (page_size, page_token): (u32, &str),
        sizes: PageSizes,
        faults: &mut FieldFaults,
    ) -> Self {
        let size = faults.page_size(page_size, sizes.default, sizes.most);
        let first = Self { skip: 0, size, end: None, request };
        if page_token.is_empty() {
            return first;
        }
        let token =
            decode(page_token, &first.request).and_then(|(skip, pin)| Some((skip, pin.parse().ok()?)));
        match faults.take("page_token", token.ok_or(FieldProblem::PageToken)) {
            Some((skip, end)) => Self { skip, end: Some(end), ..first },
            None => first,
        }
    }

    /// The token of the next page; empty when nothing is left.
    pub(crate) fn next(&self, end: u64, shown: usize, total: usize) -> String {
        let skip = self.skip + shown;
        let more = skip < total && shown > 0;
        if more { encode(&end.to_string(), skip, &self.request) } else { String::new() }
    }
}

/// One page of a list of something that may change meanwhile: pinned to what tells whether it has.
#[derive(Clone, Debug)]
pub(crate) struct PinnedPage {
    skip: usize,
    size: usize,
    /// What the first page was read from; nothing on the first page.
    pub(crate) pin: Option<String>,
    request: String,
}

impl PinnedPage {
    /// The page that a request asks for; see [`Page::of`].
    pub(crate) fn of(
        request: String,
        (page_size, page_token): (u32, &str),
        sizes: PageSizes,
        faults: &mut FieldFaults,
    ) -> Self {
        let size = faults.page_size(page_size, sizes.default, sizes.most);
        let first = Self { skip: 0, size, pin: None, request };
        if page_token.is_empty() {
            return first;
        }
        let token = decode(page_token, &first.request).and_then(|(skip, pin)| Some((skip, from_text(&pin)?)));
        match faults.take("page_token", token.ok_or(FieldProblem::PageToken)) {
            Some((skip, pin)) => Self { skip, pin: Some(pin), ..first },
            None => first,
        }
    }

    /// Those of all items that are on the page, and the token of the next; empty when nothing is left.
    pub(crate) fn part<'a, T>(&self, pin: &str, all: &'a [T]) -> (&'a [T], String) {
        let rest = all.get(self.skip..).unwrap_or_default();
        match rest.get(..self.size).filter(|shown| shown.len() < rest.len()) {
            Some(shown) => (shown, encode(&as_text(pin), self.skip + shown.len(), &self.request)),
            None => (rest, String::new()),
        }
    }
}

/// One page of a list that may change meanwhile: it goes on behind a key.
#[derive(Clone, Debug)]
pub(crate) struct KeyedPage {
    /// The key that it begins behind; nothing on the first page.
    pub(crate) after: Option<String>,
    /// How many items it has at most.
    pub(crate) size: usize,
    request: String,
}

impl KeyedPage {
    /// The page that a request asks for; see [`Page::of`].
    pub(crate) fn of(
        request: String,
        (page_size, page_token): (u32, &str),
        sizes: PageSizes,
        faults: &mut FieldFaults,
    ) -> Self {
        let size = faults.page_size(page_size, sizes.default, sizes.most);
        if page_token.is_empty() {
            return Self { after: None, size, request };
        }
        let key = decode(page_token, &request).and_then(|(_, pin)| from_text(&pin));
        let key = key.ok_or(FieldProblem::PageToken);
        Self { after: faults.take("page_token", key), size, request }
    }

    /// The token of the page behind a key.
    pub(crate) fn next(&self, key: &str) -> String {
        encode(&as_text(key), 0, &self.request)
    }
}

/// A pin of any characters, as a token takes it.
fn as_text(pin: &str) -> String {
    URL_SAFE_NO_PAD.encode(pin)
}

fn from_text(pin: &str) -> Option<String> {
    String::from_utf8(URL_SAFE_NO_PAD.decode(pin).ok()?).ok()
}

fn encode(pin: &str, skip: usize, request: &str) -> String {
    let content = format!("{FORM}.{pin}.{skip}");
    let sum = checksum(&content, request);
    URL_SAFE_NO_PAD.encode(format!("{content}.{sum}"))
}

/// How many items come before the page, and what the list is pinned to.
fn decode(token: &str, request: &str) -> Option<(usize, String)> {
    let text = String::from_utf8(URL_SAFE_NO_PAD.decode(token).ok()?).ok()?;
    let (content, sum) = text.rsplit_once('.')?;
    if sum != checksum(content, request) {
        return None;
    }
    let mut fields = content.split('.');
    let (form, pin, skip) = (fields.next()?, fields.next()?, fields.next()?);
    let known = form == FORM && fields.next().is_none();
    known.then_some((skip.parse().ok()?, pin.to_owned()))
}

/// Tells a token that was altered, or that continues another request.
fn checksum(content: &str, request: &str) -> String {
    const BYTES: usize = 12;
    let digest = Sha256::new().chain_update(content).chain_update([0]).chain_update(request).finalize();
    URL_SAFE_NO_PAD.encode(digest.get(..BYTES).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn token(skip: usize, request: &str) -> String {
        encode("seven", skip, request)
    }

    #[test]
    fn a_token_continues_its_own_request_only() {
        let read = decode(&token(40, "list part"), "list part");
        assert_eq!(read, Some((40, "seven".to_owned())));
        assert_eq!(decode(&token(40, "list part"), "list dash"), None);
    }

    #[test]
    fn an_altered_token_is_refused_wherever_it_was_altered() {
        let good = token(40, "list part");
        for place in 0..good.len() {
            let mut bytes = good.clone().into_bytes();
            bytes[place] = if bytes[place] == b'A' { b'B' } else { b'A' };
            let altered = String::from_utf8(bytes).unwrap();
            assert_eq!(decode(&altered, "list part"), None, "{altered}");
        }
        for junk in ["x", "????", "AAAA", &good[1..]] {
            assert_eq!(decode(junk, "list part"), None, "{junk}");
        }
    }

    proptest! {
        /// Whatever a list is pinned to is read back, and continues no other request.
        #[test]
        fn tokens_are_read_back(pin in ".{0,40}", skip: usize, request in ".{0,40}", other in ".{0,40}") {
            let token = encode(&as_text(&pin), skip, &request);
            let (read, text) = decode(&token, &request).unwrap();
            prop_assert_eq!((read, from_text(&text)), (skip, Some(pin)));
            prop_assert!(request == other || decode(&token, &other).is_none());
        }

        /// A token that was changed in any way is refused, never taken for another.
        #[test]
        fn no_changed_token_is_taken(at in 0..60_usize, put in "[A-Za-z0-9_=.-]{0,3}", leave in 0..4_usize) {
            let good = token(40, "list part");
            let at = at.min(good.len());
            let changed = format!("{}{put}{}", &good[..at], &good[(at + leave).min(good.len())..]);
            prop_assert!(changed == good || decode(&changed, "list part").is_none(), "{}", changed);
        }

        /// A page that nobody gave out, with a checksum that holds, is a page of nothing.
        #[test]
        fn a_forged_page_is_empty_or_within_the_list(skip: usize, size in 1..50_usize, items in 0..100_usize) {
            let all: Vec<usize> = (0..items).collect();
            let request = || "list".to_owned();
            let page = PinnedPage { skip, size, pin: None, request: request() };
            let (shown, next) = page.part("seven", &all);
            prop_assert!(shown.len() <= size && (next.is_empty() || shown.len() == size));
            let page = Page { skip, size, freshness: Freshness::Latest, request: request() };
            prop_assert_eq!(page.part(&all), shown);
            let page = GrowingPage { skip, size, end: Some(u64::MAX), request: request() };
            let next = page.next(u64::MAX, shown.len(), items);
            prop_assert_eq!(next.is_empty(), shown.is_empty() || skip + shown.len() >= items);
        }
    }
}
