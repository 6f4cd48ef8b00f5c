//! The text of a key: prefix, id, secret, checksum.

use std::borrow::Borrow;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize};
use sha2::{Digest as _, Sha256};
use zeroize::Zeroizing;

/// How every key begins, so that a scan for leaked secrets finds it.
pub const KEY_PREFIX: &str = "dwk";

/// Random bytes of an id: 2^32 keys before two are likely to share one.
const ID_BYTES: usize = 8;
/// Random bytes of a secret: as many as the hash that it is kept as.
const SECRET_BYTES: usize = 32;
/// Bytes of the checksum: a slip of the pen passes once in 2^32, and a guesser gains nothing by it.
const CHECKSUM_BYTES: usize = 4;

/// The public part of a key, by which logs and lists name it: 16 lowercase hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(transparent)]
pub struct KeyId(String);

/// A text that is not the id of a key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not the id of a key, which has 16 lowercase hexadecimal digits")]
pub struct KeyIdError {
    /// The text as given.
    pub text: String,
}

/// A key as it is presented. It is shown to its holder once, and no log line can hold it: `Debug` leaves the secret out.
#[derive(Clone)]
pub struct KeyText {
    text: Zeroizing<String>,
    id: KeyId,
}

/// Why a text is no key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyTextError {
    /// It has another form.
    #[error("the text has not the form of a key, dwk_<id>_<secret>_<checksum>")]
    Malformed,
    /// It has the form of a key, and its checksum belongs to another one.
    #[error("the key is mistyped: its checksum does not hold")]
    Mistyped,
}

impl KeyId {
    /// The id made of random bytes.
    #[must_use]
    pub fn new(random: [u8; ID_BYTES]) -> Self {
        Self(hex(&random))
    }

    /// The id as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for KeyId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Borrow<str> for KeyId {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl FromStr for KeyId {
    type Err = KeyIdError;

    fn from_str(text: &str) -> Result<Self, KeyIdError> {
        let is_id = is_hex(text, ID_BYTES);
        is_id.then(|| Self(text.to_owned())).ok_or_else(|| KeyIdError { text: text.to_owned() })
    }
}

impl<'de> Deserialize<'de> for KeyId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl KeyText {
    /// The key of an id and a random secret.
    #[must_use]
    pub fn new(id: KeyId, secret: &[u8; SECRET_BYTES]) -> Self {
        let secret = Zeroizing::new(hex(secret));
        let body = Zeroizing::new(format!("{KEY_PREFIX}_{id}_{}", *secret));
        let checksum = checksum(&body);
        Self { text: Zeroizing::new(format!("{}_{checksum}", *body)), id }
    }

    /// The public part.
    #[must_use]
    pub fn id(&self) -> &KeyId {
        &self.id
    }

    /// The whole key, secret and all: for its holder's eyes.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.text
    }
}

impl fmt::Debug for KeyText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "KeyText({KEY_PREFIX}_{}_…)", self.id)
    }
}

impl FromStr for KeyText {
    type Err = KeyTextError;

    fn from_str(text: &str) -> Result<Self, KeyTextError> {
        let id = id_of(text)?;
        Ok(Self { text: Zeroizing::new(text.to_owned()), id: KeyId(id.to_owned()) })
    }
}

/// The id in the text of a key whose form and checksum hold.
pub(super) fn id_of(text: &str) -> Result<&str, KeyTextError> {
    let mut parts = text.split('_');
    let (Some(KEY_PREFIX), Some(id), Some(secret), Some(check), None) =
        (parts.next(), parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return Err(KeyTextError::Malformed);
    };
    if !(is_hex(id, ID_BYTES) && is_hex(secret, SECRET_BYTES) && is_hex(check, CHECKSUM_BYTES)) {
        return Err(KeyTextError::Malformed);
    }
    let (body, _) = text.rsplit_once('_').ok_or(KeyTextError::Malformed)?;
    if checksum(body) == check { Ok(id) } else { Err(KeyTextError::Mistyped) }
}

/// The first bytes of the SHA-256 of everything before it.
fn checksum(body: &str) -> String {
    let digest: [u8; 32] = Sha256::digest(body.as_bytes()).into();
    hex(digest.first_chunk::<CHECKSUM_BYTES>().unwrap_or(&[0; CHECKSUM_BYTES]))
}

/// Lowercase hexadecimal digits.
pub(super) fn hex(bytes: &[u8]) -> String {
    use fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn is_hex(text: &str, bytes: usize) -> bool {
    text.len() == bytes * 2 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By `printf %s dwk_0001020304050607_aaaa…aa | sha256sum` (coreutils), the first eight digits.
    const CHECKSUM: &str = "4219fbe0";

    fn key() -> KeyText {
        KeyText::new(KeyId::new([0, 1, 2, 3, 4, 5, 6, 7]), &[0xaa; 32])
    }

    #[test]
    fn a_key_has_the_documented_form() {
        let expected = format!("dwk_0001020304050607_{}_{CHECKSUM}", "aa".repeat(32));
        assert_eq!(key().reveal(), expected);
        assert_eq!(expected.parse::<KeyText>().unwrap().id().as_str(), "0001020304050607");
    }

    #[test]
    fn what_is_not_a_key_is_malformed_and_a_slip_in_one_is_mistyped() {
        let whole = key().reveal().to_owned();
        for (at, letter) in whole.char_indices() {
            let other = if letter == '0' { '1' } else { '0' };
            let slip = format!("{}{other}{}", &whole[..at], &whole[at + 1..]);
            let expected =
                if at < 4 || letter == '_' { KeyTextError::Malformed } else { KeyTextError::Mistyped };
            assert_eq!(id_of(&slip), Err(expected), "{slip}");
        }
        for text in ["", "dwk", "dwk___", &whole[1..], &whole[..whole.len() - 1], &whole.to_uppercase()] {
            assert_eq!(id_of(text), Err(KeyTextError::Malformed), "{text}");
        }
        for text in [format!("{whole}_"), format!("{whole} "), format!("{whole}0")] {
            assert_eq!(id_of(&text), Err(KeyTextError::Malformed), "{text}");
        }
    }

    #[test]
    fn no_secret_is_in_the_debug_form() {
        assert_eq!(format!("{:?}", key()), "KeyText(dwk_0001020304050607_…)");
    }
}
