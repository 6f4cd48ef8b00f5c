//! Revision tokens: opaque texts that name a revision of one history.

use std::fmt;
use std::str::FromStr;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};

/// The number of the token's form.
const FORM: u8 = 1;
const INCARNATION_BYTES: usize = 8;
const CHECKSUM_BYTES: usize = 4;

/// Names a revision of one history. Callers keep and return its text and read nothing from it; its form may change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct RevisionToken {
    incarnation: [u8; INCARNATION_BYTES],
    revision: u64,
}

/// Why a text is no revision token.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    /// It does not have the form of one.
    #[error("`{text}` does not have the form of a revision token")]
    Form {
        /// The text.
        text: String,
    },
    /// It is of a form that this version does not know.
    #[error("`{text}` is a revision token of a form that this version does not know")]
    UnknownForm {
        /// The text.
        text: String,
    },
    /// Its checksum does not hold: it was mistyped or cut.
    #[error("`{text}` is a revision token that was mistyped or cut")]
    Checksum {
        /// The text.
        text: String,
    },
}

impl RevisionToken {
    /// The token of a revision of the history that `incarnation` names.
    #[must_use]
    pub fn new(incarnation: &str, revision: u64) -> Self {
        Self { incarnation: digest(incarnation.as_bytes()), revision }
    }

    /// The number of the revision.
    #[must_use]
    pub fn revision(self) -> u64 {
        self.revision
    }

    /// Whether it names a revision of the history that `incarnation` names.
    #[must_use]
    pub fn is_of(self, incarnation: &str) -> bool {
        self.incarnation == digest(incarnation.as_bytes())
    }

    fn content(self) -> Vec<u8> {
        let mut content = vec![FORM];
        content.extend_from_slice(&self.incarnation);
        content.extend_from_slice(&self.revision.to_be_bytes());
        content
    }
}

impl fmt::Display for RevisionToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut content = self.content();
        let checksum: [u8; CHECKSUM_BYTES] = digest(&content);
        content.extend_from_slice(&checksum);
        f.write_str(&URL_SAFE_NO_PAD.encode(content))
    }
}

impl FromStr for RevisionToken {
    type Err = TokenError;

    fn from_str(text: &str) -> Result<Self, TokenError> {
        let malformed = || TokenError::Form { text: text.to_owned() };
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| malformed())?;
        let (content, checksum) = bytes.split_last_chunk::<CHECKSUM_BYTES>().ok_or_else(malformed)?;
        if digest::<CHECKSUM_BYTES>(content) != *checksum {
            return Err(TokenError::Checksum { text: text.to_owned() });
        }
        let Some(rest) = content.strip_prefix(&[FORM]) else {
            return Err(TokenError::UnknownForm { text: text.to_owned() });
        };
        let (incarnation, rest) = rest.split_first_chunk().ok_or_else(malformed)?;
        let revision = u64::from_be_bytes(rest.try_into().map_err(|_| malformed())?);
        Ok(Self { incarnation: *incarnation, revision })
    }
}

/// The first bytes of SHA-256.
fn digest<const N: usize>(bytes: &[u8]) -> [u8; N] {
    let whole: [u8; 32] = Sha256::digest(bytes).into();
    let mut first = [0; N];
    first.iter_mut().zip(whole).for_each(|(to, from)| *to = from);
    first
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_read_back_and_know_their_history() {
        for revision in [0, 1, 77, u64::MAX] {
            let token = RevisionToken::new("one", revision);
            let read: RevisionToken = token.to_string().parse().unwrap();
            assert_eq!((read, read.revision()), (token, revision));
            assert!(read.is_of("one"));
            assert!(!read.is_of("other"));
        }
    }

    #[test]
    fn a_token_with_any_other_character_is_refused() {
        let text = RevisionToken::new("one", 5).to_string();
        for at in 0..text.len() {
            for other in ["A", "z", "_", "!", "é", ""] {
                let mut changed = text.clone();
                changed.replace_range(at..=at, other);
                if changed != text {
                    assert!(changed.parse::<RevisionToken>().is_err(), "{changed}");
                }
            }
        }
        assert!(matches!("".parse::<RevisionToken>(), Err(TokenError::Form { .. })));
        assert!(matches!("AAAAAAA".parse::<RevisionToken>(), Err(TokenError::Checksum { .. })));
    }

    #[test]
    fn a_later_form_is_told_from_a_broken_token() {
        let mut content = RevisionToken::new("one", 5).content();
        content[0] = 2;
        let checksum: [u8; 4] = digest(&content);
        content.extend_from_slice(&checksum);
        let text = URL_SAFE_NO_PAD.encode(content);
        assert_eq!(text.parse::<RevisionToken>(), Err(TokenError::UnknownForm { text }));
    }
}
