//! Entries, the bytes they are stored as, and the checks that those bytes pass before they are decoded.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::digest::Digest;
use crate::port::{AppendError, Head, MAX_BATCH_BYTES, Sequence};

/// Most bytes of one entry (the hashed object). A cluster's store takes requests of up to 1.5 MiB by default, and half a
/// MiB leaves room for its framing and for two entries side by side.
pub const MAX_ENTRY_BYTES: usize = 512 * 1024;

/// Most bytes of one line, terminator excluded.
pub const MAX_LINE_BYTES: usize = MAX_ENTRY_BYTES + FRAME_BYTES;

/// Most bytes of a kind: it is shown in a column of listings.
pub const MAX_KIND_BYTES: usize = 40;

/// Most bytes of an actor: a key's name or a certificate's subject.
pub const MAX_ACTOR_BYTES: usize = 256;

/// Most bytes of a reason: a paragraph that a person types, not a document.
pub const MAX_REASON_BYTES: usize = 2_000;

/// Most bytes of a request id: room for any client's scheme, small enough to be indexed.
pub const MAX_REQUEST_ID_BYTES: usize = 128;

const FRAME_HEAD: &[u8] = br#"{"sha256":""#;
const FRAME_MIDDLE: &[u8] = br#"","entry":"#;
const FRAME_TAIL: &[u8] = b"}";
const FRAME_BYTES: usize = FRAME_HEAD.len() + Digest::HEX_DIGITS + FRAME_MIDDLE.len() + FRAME_TAIL.len();
const ENTRY_HEAD: &[u8] = br#"{"sequence":"#;
const ENTRY_PREVIOUS: &[u8] = br#","previous":""#;

/// What happened, as the caller hands it in: everything but the place in the log.
#[derive(Clone, Debug)]
pub struct NewEntry {
    /// When, as an RFC 3339 time in UTC ending in `Z`. Order never depends on it.
    pub time: String,
    /// Who did it; never empty.
    pub actor: String,
    /// Why, in the actor's words; may be empty.
    pub reason: String,
    /// The request that caused it, by which a repeated request is recognised.
    pub request_id: Option<String>,
    /// What kind of thing happened.
    pub kind: Kind,
    /// The rest, whose meaning only the kind's owner knows: one JSON value on one line.
    pub payload: Box<RawValue>,
}

/// What happened, with its place in the log.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Place in the log.
    pub sequence: Sequence,
    /// Digest of the entry before, zero for the first.
    pub previous: Digest,
    /// See [`NewEntry::time`].
    pub time: String,
    /// See [`NewEntry::actor`].
    pub actor: String,
    /// See [`NewEntry::reason`].
    pub reason: String,
    /// See [`NewEntry::request_id`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<String>,
    /// See [`NewEntry::kind`].
    pub kind: Kind,
    /// See [`NewEntry::payload`].
    pub payload: Box<RawValue>,
}

/// An entry together with the bytes that were stored and hashed for it.
#[derive(Clone, Debug)]
pub struct StoredEntry {
    /// The decoded entry.
    pub entry: Entry,
    /// The hashed bytes: the inner JSON object of the line.
    pub bytes: Vec<u8>,
    /// The digest of `bytes`.
    pub digest: Digest,
}

impl StoredEntry {
    /// Gives `new` the place after `head` and encodes it.
    pub(crate) fn encode(head: Head, new: NewEntry) -> Result<StoredEntry, EntryError> {
        new.check()?;
        let NewEntry { time, actor, reason, request_id, kind, payload } = new;
        let (sequence, previous) = (head.sequence.next(), head.digest);
        let entry = Entry { sequence, previous, time, actor, reason, request_id, kind, payload };
        let bytes = serde_json::to_vec(&entry).map_err(|_| EntryError::NotJson)?;
        let digest = Digest::of(&bytes);
        Ok(StoredEntry { entry, bytes, digest })
    }

    /// Decodes a line (terminator excluded) after verifying it.
    ///
    /// # Errors
    /// [`LineFault`], when the line is not exactly what an encoder wrote.
    pub fn decode(line: &[u8]) -> Result<StoredEntry, LineFault> {
        VerifiedLine::of(line)?.decode()
    }

    /// The line as it stands in a file, terminator excluded.
    #[must_use]
    pub fn line(&self) -> Vec<u8> {
        let hex = self.digest.to_hex();
        [FRAME_HEAD, &hex, FRAME_MIDDLE, &self.bytes, FRAME_TAIL].concat()
    }

    /// The head of a log that ends with this entry.
    #[must_use]
    pub fn head(&self) -> Head {
        Head { sequence: self.entry.sequence, digest: self.digest }
    }
}

/// Encodes a batch as the continuation of `head`: all of it or nothing.
pub(crate) fn chain(mut head: Head, new: Vec<NewEntry>) -> Result<Vec<StoredEntry>, AppendError> {
    let mut total = 0;
    let mut stored = Vec::with_capacity(new.len());
    for (position, entry) in new.into_iter().enumerate() {
        let entry =
            StoredEntry::encode(head, entry).map_err(|source| AppendError::Invalid { position, source })?;
        let bytes = entry.bytes.len();
        total += bytes + FRAME_BYTES + 1;
        for (bytes, limit) in [(bytes, MAX_ENTRY_BYTES), (total, MAX_BATCH_BYTES)] {
            if bytes > limit {
                return Err(AppendError::TooLarge { bytes, limit });
            }
        }
        head = entry.head();
        stored.push(entry);
    }
    Ok(stored)
}

/// A line whose hash holds, with the two fields that chain it, read without decoding the rest.
pub(crate) struct VerifiedLine<'a> {
    pub(crate) sequence: Sequence,
    pub(crate) previous: Digest,
    pub(crate) digest: Digest,
    pub(crate) bytes: &'a [u8],
}

impl<'a> VerifiedLine<'a> {
    pub(crate) fn of(line: &'a [u8]) -> Result<VerifiedLine<'a>, LineFault> {
        if line.len() > MAX_LINE_BYTES {
            return Err(LineFault::TooLong);
        }
        let (stated, bytes) = unframe(line).ok_or(LineFault::Frame)?;
        let digest = Digest::of(bytes);
        if digest != stated {
            return Err(LineFault::Hash { stated, actual: digest });
        }
        let (sequence, previous) = place(bytes).ok_or(LineFault::Frame)?;
        Ok(VerifiedLine { sequence, previous, digest, bytes })
    }

    pub(crate) fn decode(&self) -> Result<StoredEntry, LineFault> {
        let entry = serde_json::from_slice(self.bytes).map_err(LineFault::Malformed)?;
        Ok(StoredEntry { entry, bytes: self.bytes.to_vec(), digest: self.digest })
    }

    /// Checks that this line continues `head`.
    pub(crate) fn follows(&self, head: Head) -> Result<(), LineFault> {
        let expected = head.sequence.next();
        if self.sequence != expected {
            return Err(LineFault::Sequence { expected, found: self.sequence });
        }
        if self.previous != head.digest {
            return Err(LineFault::Chain { expected: head.digest, found: self.previous });
        }
        Ok(())
    }

    pub(crate) fn head(&self) -> Head {
        Head { sequence: self.sequence, digest: self.digest }
    }
}

/// Why a line is not what was written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LineFault {
    /// The fixed parts of the line are not where they belong.
    #[error("the line does not have the form of an entry")]
    Frame,
    /// The line has more bytes than any entry may have.
    #[error("the line is longer than {MAX_LINE_BYTES} bytes")]
    TooLong,
    /// The hash does not hold.
    #[error("the line states the hash {stated} and its entry has {actual}")]
    Hash {
        /// What the line says.
        stated: Digest,
        /// What its bytes hash to.
        actual: Digest,
    },
    /// The entry is in the wrong place.
    #[error("entry {found} stands where entry {expected} belongs")]
    Sequence {
        /// The sequence that belongs here.
        expected: Sequence,
        /// The sequence that stands here.
        found: Sequence,
    },
    /// The entry continues another history.
    #[error("the entry continues {found} and the one before it is {expected}")]
    Chain {
        /// Digest of the entry before.
        expected: Digest,
        /// The digest that the entry says it continues.
        found: Digest,
    },
    /// The entry is whole and the byte after it is not a line feed.
    #[error("the line is whole and is not ended by a line feed")]
    Terminator,
    /// The entry is whole and the file ends where a line feed belongs.
    #[error("the line is whole and is not ended")]
    Unended,
    /// The file ends before this line.
    #[error("the line is missing")]
    Missing,
    /// The hash holds and the content is not an entry of this format.
    #[error("the entry is not of this format")]
    Malformed(#[source] serde_json::Error),
}

/// Why an entry is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EntryError {
    /// The time has another form.
    #[error("`{time}` is not an RFC 3339 time in UTC such as 2026-01-31T09:05:00Z")]
    Time {
        /// As given.
        time: String,
    },
    /// The actor is empty.
    #[error("the actor is empty")]
    NoActor,
    /// The actor is too long.
    #[error("the actor has {bytes} bytes, {MAX_ACTOR_BYTES} are allowed")]
    LongActor {
        /// Bytes given.
        bytes: usize,
    },
    /// The reason is too long.
    #[error("the reason has {bytes} bytes, {MAX_REASON_BYTES} are allowed")]
    LongReason {
        /// Bytes given.
        bytes: usize,
    },
    /// The request id is empty.
    #[error("the request id is empty")]
    NoRequestId,
    /// The request id is too long.
    #[error("the request id has {bytes} bytes, {MAX_REQUEST_ID_BYTES} are allowed")]
    LongRequestId {
        /// Bytes given.
        bytes: usize,
    },
    /// The payload has a line break between its tokens.
    #[error("the payload is spread over several lines")]
    PayloadSpansLines,
    /// The entry has no JSON form.
    #[error("the entry has no JSON form")]
    NotJson,
}

/// The kind of an entry: lowercase words joined by dots, such as `draft.edit`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Kind(String);

impl Kind {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// A text that is not a kind.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a kind: lowercase words joined by dots, at most {MAX_KIND_BYTES} bytes")]
pub struct KindError {
    /// The text as given.
    pub text: String,
}

impl TryFrom<String> for Kind {
    type Error = KindError;

    fn try_from(text: String) -> Result<Kind, KindError> {
        let word = |word: &str| !word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b == b'-');
        if text.len() <= MAX_KIND_BYTES && text.split('.').all(word) {
            Ok(Kind(text))
        } else {
            Err(KindError { text })
        }
    }
}

impl FromStr for Kind {
    type Err = KindError;

    fn from_str(text: &str) -> Result<Kind, KindError> {
        Kind::try_from(text.to_owned())
    }
}

impl From<Kind> for String {
    fn from(kind: Kind) -> String {
        kind.0
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl NewEntry {
    fn check(&self) -> Result<(), EntryError> {
        if !is_utc_time(self.time.as_bytes()) {
            return Err(EntryError::Time { time: self.time.clone() });
        }
        match self.actor.len() {
            0 => return Err(EntryError::NoActor),
            bytes if bytes > MAX_ACTOR_BYTES => return Err(EntryError::LongActor { bytes }),
            _ => {}
        }
        if self.reason.len() > MAX_REASON_BYTES {
            return Err(EntryError::LongReason { bytes: self.reason.len() });
        }
        match self.request_id.as_ref().map(String::len) {
            Some(0) => return Err(EntryError::NoRequestId),
            Some(bytes) if bytes > MAX_REQUEST_ID_BYTES => return Err(EntryError::LongRequestId { bytes }),
            _ => {}
        }
        if self.payload.get().contains(['\n', '\r']) {
            return Err(EntryError::PayloadSpansLines);
        }
        Ok(())
    }
}

/// Takes a line apart at its fixed offsets: the stated digest and the bytes it is stated for.
fn unframe(line: &[u8]) -> Option<(Digest, &[u8])> {
    let rest = line.strip_prefix(FRAME_HEAD)?;
    let (hex, rest) = rest.split_at_checked(Digest::HEX_DIGITS)?;
    let bytes = rest.strip_prefix(FRAME_MIDDLE)?.strip_suffix(FRAME_TAIL)?;
    Some((Digest::from_hex(hex)?, bytes))
}

/// Reads sequence and previous digest, which an encoder always writes first.
fn place(bytes: &[u8]) -> Option<(Sequence, Digest)> {
    let rest = bytes.strip_prefix(ENTRY_HEAD)?;
    let digits = rest.iter().take_while(|b| b.is_ascii_digit()).count();
    let (digits, rest) = rest.split_at_checked(digits)?;
    if digits.first() == Some(&b'0') {
        return None;
    }
    let sequence = std::str::from_utf8(digits).ok()?.parse().ok()?;
    let hex = rest.strip_prefix(ENTRY_PREVIOUS)?.get(..Digest::HEX_DIGITS)?;
    Some((Sequence(sequence), Digest::from_hex(hex)?))
}

/// `YYYY-MM-DDTHH:MM:SS[.fraction]Z` with every part in its range (a leap second included).
pub(crate) fn is_utc_time(text: &[u8]) -> bool {
    let Some((fixed, rest)) = text.split_at_checked(19) else { return false };
    let number = |from: usize| match fixed.get(from..from + 2) {
        Some([tens @ b'0'..=b'9', ones @ b'0'..=b'9']) => Some((tens - b'0') * 10 + ones - b'0'),
        _ => None,
    };
    let within = |from, least, most| number(from).is_some_and(|n| (least..=most).contains(&n));
    let separators = [(4, b'-'), (7, b'-'), (10, b'T'), (13, b':'), (16, b':')];
    let fraction = match rest {
        [b'Z'] => true,
        [b'.', digits @ .., b'Z'] => (1..=9).contains(&digits.len()) && digits.iter().all(u8::is_ascii_digit),
        _ => false,
    };
    fraction
        && separators.iter().all(|(at, byte)| fixed.get(*at) == Some(byte))
        && within(0, 0, 99)
        && within(2, 0, 99)
        && within(5, 1, 12)
        && within(8, 1, 31)
        && within(11, 0, 23)
        && within(14, 0, 59)
        && within(17, 0, 60)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conformance::sample;

    #[test]
    fn times_are_rfc_3339_in_utc() {
        // The first four are examples of RFC 3339, section 5.8, of which only those in `Z` are UTC by form.
        for (text, expected) in [
            ("1985-04-12T23:20:50.52Z", true),
            ("1990-12-31T23:59:60Z", true),
            ("1996-12-19T16:39:57-08:00", false),
            ("1937-01-01T12:00:27.87+00:20", false),
            ("2026-13-01T00:00:00Z", false),
            ("2026-00-01T00:00:00Z", false),
            ("2026-01-32T00:00:00Z", false),
            ("2026-01-01T24:00:00Z", false),
            ("2026-01-01T00:60:00Z", false),
            ("2026-01-01 00:00:00Z", false),
            ("2026-01-01T00:00:00z", false),
            ("2026-01-01T00:00:00.Z", false),
            ("2026-01-01T00:00:00.1234567890Z", false),
            ("2026-01-01T00:00:00", false),
            ("20x6-01-01T00:00:00Z", false),
            ("", false),
        ] {
            assert_eq!(is_utc_time(text.as_bytes()), expected, "{text}");
        }
    }

    #[test]
    fn kinds_are_lowercase_words_joined_by_dots() {
        for good in ["draft.edit", "publish", "key.issue", "outcome.report-late"] {
            assert_eq!(good.parse::<Kind>().unwrap().as_str(), good);
        }
        for bad in
            ["", ".", "draft.", ".edit", "a..b", "Draft", "draft edit", &"x".repeat(MAX_KIND_BYTES + 1)]
        {
            assert_eq!(bad.parse::<Kind>(), Err(KindError { text: bad.to_owned() }));
        }
    }

    #[test]
    fn only_what_an_encoder_writes_is_decoded() {
        let stored = StoredEntry::encode(Head::EMPTY, sample("a")).unwrap();
        let reframe = |from: &str, to: &str| {
            let bytes = String::from_utf8(stored.bytes.clone()).unwrap();
            assert!(bytes.contains(from), "{from}");
            let bytes = bytes.replacen(from, to, 1).into_bytes();
            let digest = Digest::of(&bytes);
            StoredEntry::decode(&StoredEntry { entry: stored.entry.clone(), bytes, digest }.line())
        };
        assert!(reframe("draft.edit", "draft.undo").is_ok());
        for (from, to) in [
            ("\"actor\"", "\"author\""),
            ("\"actor\"", "\"extra\":1,\"actor\""),
            ("\"actor\"", "\"actor\":\"b\",\"actor\""),
            ("draft.edit", "Draft"),
        ] {
            assert!(matches!(reframe(from, to), Err(LineFault::Malformed(_))), "{to}");
        }
        for (from, to) in [("{\"sequence\":1", "{\"sequence\":01"), ("\"previous\"", " \"previous\"")] {
            assert!(matches!(reframe(from, to), Err(LineFault::Frame)), "{to}");
        }
    }
}
