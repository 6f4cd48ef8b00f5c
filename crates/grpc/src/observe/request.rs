//! Who a call is in the log: the name that its caller gave it or we did, and the trace that it belongs to.

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use http::{HeaderMap, HeaderName};

/// The header by which a caller names its request, and by which it finds it in our log.
pub(crate) const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");
/// The longest name of a request that is taken over; a longer one is no name.
const MOST_REQUEST_ID_BYTES: usize = 64;

/// The header that carries the trace of a call: W3C Trace Context, section 3.2.
pub(crate) const TRACEPARENT: HeaderName = HeaderName::from_static("traceparent");
/// Its length in version 00: version, trace id, parent id and flags in hexadecimal digits, with a hyphen between them.
const TRACEPARENT_BYTES: usize = 2 + 1 + TRACE_ID_BYTES + 1 + PARENT_ID_BYTES + 1 + 2;
/// Hexadecimal digits of a trace id.
const TRACE_ID_BYTES: usize = 32;
/// Hexadecimal digits of the id of the caller's span.
const PARENT_ID_BYTES: usize = 16;

/// Names the requests that come without a name.
#[derive(Debug)]
pub(crate) struct RequestIds {
    /// Tells the requests of this start from those of another.
    start: u64,
    next: AtomicU64,
}

/// The name of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum RequestId {
    /// As its caller has it.
    Given(String),
    /// As we number it.
    Numbered {
        /// Milliseconds since 1970 when the service started.
        start: u64,
        /// How many came before.
        number: u64,
    },
}

impl RequestIds {
    /// The names from now on.
    pub(crate) fn new() -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let start = u64::try_from(since.as_millis()).unwrap_or_default();
        Self { start, next: AtomicU64::new(0) }
    }

    /// The name of a request with these headers.
    pub(crate) fn of(&self, headers: &HeaderMap) -> RequestId {
        match given(headers) {
            Some(name) => RequestId::Given(name.to_owned()),
            None => {
                let number = self.next.fetch_add(1, Ordering::Relaxed);
                RequestId::Numbered { start: self.start, number }
            }
        }
    }
}

impl fmt::Display for RequestId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Given(name) => f.write_str(name),
            Self::Numbered { start, number } => write!(f, "{start:x}-{number:x}"),
        }
    }
}

fn given(headers: &HeaderMap) -> Option<&str> {
    let name = headers.get(REQUEST_ID)?.to_str().ok()?;
    let proper =
        !name.is_empty() && name.len() <= MOST_REQUEST_ID_BYTES && name.bytes().all(|b| b.is_ascii_graphic());
    proper.then_some(name)
}

/// The id of the trace that a call belongs to; none where the header is absent, there twice or malformed.
pub(crate) fn trace_id(headers: &HeaderMap) -> Option<&str> {
    let mut values = headers.get_all(TRACEPARENT).iter();
    let text = values.next()?.to_str().ok()?;
    if values.next().is_some() || !text.is_ascii() {
        return None;
    }
    let (version, rest) = text.split_once('-')?;
    let (trace, rest) = rest.split_once('-')?;
    let (parent, rest) = rest.split_once('-')?;
    let flags = rest.get(..2)?;
    let ends = match version {
        "00" => text.len() == TRACEPARENT_BYTES,
        // Whatever later versions add comes behind another hyphen.
        _ => version != "ff" && (rest.len() == 2 || rest.as_bytes().get(2) == Some(&b'-')),
    };
    let whole = is_hex(version, 2) && is_id(trace, TRACE_ID_BYTES) && is_id(parent, PARENT_ID_BYTES);
    (ends && whole && is_hex(flags, 2)).then_some(trace)
}

fn is_hex(text: &str, digits: usize) -> bool {
    text.len() == digits && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// An id of nothing but zeros is none.
fn is_id(text: &str, digits: usize) -> bool {
    is_hex(text, digits) && text.bytes().any(|byte| byte != b'0')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(HeaderName, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(name.clone(), value.parse().unwrap());
        }
        headers
    }

    #[test]
    fn a_request_has_the_name_that_its_caller_gave_it_or_one_of_its_own() {
        let ids = RequestIds { start: 0xabc, next: AtomicU64::new(9) };
        let name = |value: &str| ids.of(&headers(&[(REQUEST_ID, value)])).to_string();
        assert_eq!(name("order-17"), "order-17");
        assert_eq!(name(&"x".repeat(64)), "x".repeat(64));
        assert_eq!(ids.of(&HeaderMap::new()).to_string(), "abc-9");
        assert_eq!(name(""), "abc-a");
        assert_eq!(name(&"x".repeat(65)), "abc-b");
        assert_eq!(name("two words"), "abc-c");
    }

    /// The examples of <https://www.w3.org/TR/trace-context/#traceparent-header-field-values> and of section 3.2.4 on versions.
    #[test]
    fn a_trace_is_read_as_the_standard_writes_it() {
        let trace = "4bf92f3577b34da6a3ce929d0e0e4736";
        let of = |value: &str| trace_id(&headers(&[(TRACEPARENT, value)])).map(str::to_owned);
        let known = |value: &str| assert_eq!(of(value).as_deref(), Some(trace), "{value}");
        known(&format!("00-{trace}-00f067aa0ba902b7-01"));
        known(&format!("00-{trace}-00f067aa0ba902b7-00"));
        known(&format!("cc-{trace}-00f067aa0ba902b7-01"));
        known(&format!("cc-{trace}-00f067aa0ba902b7-01-what-the-future-will-be-like"));
        for bad in [
            "".to_owned(),
            "00".to_owned(),
            format!("00-{trace}-00f067aa0ba902b7"),
            format!("00-{trace}-00f067aa0ba902b7-0"),
            format!("00-{trace}-00f067aa0ba902b7-01-more"),
            format!("cc-{trace}-00f067aa0ba902b7-01.more"),
            format!("ff-{trace}-00f067aa0ba902b7-01"),
            format!("00-{}-00f067aa0ba902b7-01", "0".repeat(32)),
            format!("00-{trace}-0000000000000000-01"),
            format!("00-{}-00f067aa0ba902b7-01", trace.to_uppercase()),
            format!("00-{trace}x-00f067aa0ba902b7-01"),
        ] {
            assert_eq!(of(&bad), None, "{bad}");
        }
        let twice = format!("00-{trace}-00f067aa0ba902b7-01");
        assert_eq!(trace_id(&headers(&[(TRACEPARENT, &twice), (TRACEPARENT, &twice)])), None);
    }
}
