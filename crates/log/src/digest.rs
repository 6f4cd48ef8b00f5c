//! SHA-256 digests and their lowercase hexadecimal form.

use std::fmt;
use std::io::{self, Read};
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest as _, Sha256};

/// A SHA-256 digest; text and JSON form are 64 lowercase hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// The digest that stands for "nothing before": the `previous` of the first entry.
    pub const ZERO: Digest = Digest([0; 32]);

    /// Bytes that are read at once: large files are hashed at the speed of the disk.
    const READ_BYTES: usize = 1 << 20;

    /// Number of digits in the text form.
    pub const HEX_DIGITS: usize = 64;

    /// Hashes `bytes`.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Digest {
        Digest(Sha256::digest(bytes).into())
    }

    /// Hashes everything that a reader gives, and counts its bytes.
    ///
    /// # Errors
    /// When the reader fails.
    pub fn of_all(mut reader: impl Read) -> io::Result<(Digest, u64)> {
        let (mut hash, mut buffer, mut bytes) = (Sha256::new(), vec![0; Self::READ_BYTES], 0);
        loop {
            let read = reader.read(&mut buffer)?;
            if read == 0 {
                return Ok((Digest(hash.finalize().into()), bytes));
            }
            bytes += read as u64;
            hash.update(buffer.get(..read).unwrap_or_default());
        }
    }

    /// Parses the text form from raw bytes; `None` unless it is exactly 64 lowercase digits.
    pub(crate) fn from_hex(text: &[u8]) -> Option<Digest> {
        let (pairs, rest) = text.as_chunks::<2>();
        if !rest.is_empty() || pairs.len() != 32 {
            return None;
        }
        let mut bytes = [0; 32];
        for (byte, [high, low]) in bytes.iter_mut().zip(pairs) {
            *byte = (nibble(*high)? << 4) | nibble(*low)?;
        }
        Some(Digest(bytes))
    }

    /// The text form as raw bytes.
    pub(crate) fn to_hex(self) -> [u8; Digest::HEX_DIGITS] {
        let mut text = [0; Digest::HEX_DIGITS];
        for (pair, byte) in text.as_chunks_mut::<2>().0.iter_mut().zip(self.0) {
            *pair = [digit(byte >> 4), digit(byte & 0xf)];
        }
        text
    }
}

/// A text that is not a digest.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a SHA-256 digest of 64 lowercase hexadecimal digits")]
pub struct DigestError {
    /// The text as given.
    pub text: String,
}

impl FromStr for Digest {
    type Err = DigestError;

    fn from_str(text: &str) -> Result<Digest, DigestError> {
        Digest::from_hex(text.as_bytes()).ok_or_else(|| DigestError { text: text.to_owned() })
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Digest({self})")
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let hex = self.to_hex();
        serializer.serialize_str(std::str::from_utf8(&hex).map_err(serde::ser::Error::custom)?)
    }
}

impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Digest, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

fn nibble(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit - b'0'),
        b'a'..=b'f' => Some(digit - b'a' + 10),
        _ => None,
    }
}

fn digit(nibble: u8) -> u8 {
    if nibble < 10 { b'0' + nibble } else { b'a' + nibble - 10 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1 (message "abc").
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn hashes_the_published_example() {
        assert_eq!(Digest::of(b"abc").to_string(), ABC);
        assert_eq!(ABC.parse(), Ok(Digest::of(b"abc")));
        assert_eq!(serde_json::to_string(&Digest::of(b"abc")).unwrap(), format!("\"{ABC}\""));
        assert_eq!(serde_json::from_str::<Digest>(&format!("\"{ABC}\"")).unwrap(), Digest::of(b"abc"));
    }

    #[test]
    fn accepts_one_spelling_only() {
        for bad in ["", "00", &ABC.to_uppercase(), &ABC.replace('b', "g"), &format!("{ABC}00")] {
            assert!(bad.parse::<Digest>().is_err(), "{bad}");
        }
    }
}
