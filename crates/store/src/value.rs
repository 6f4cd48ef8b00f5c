//! Values as they are stored: a kind, a checksum over key and content, and the content.

use sha2::{Digest as _, Sha256};

use crate::space::Space;

/// The checksum of an item: the first half of SHA-256 over its space, key and content. Covering the key as well makes
/// two values that changed places show. 128 bits also let the sum over all items stand for the set of them.
pub(crate) type Checksum = u128;

const CHECKSUM_BYTES: usize = size_of::<Checksum>();

/// The content as given. A later kind, such as compressed content, gets the next number.
const PLAIN: u8 = 1;

/// Wraps content for storing.
pub(crate) fn wrap(space: u8, key: &[u8], content: &[u8]) -> (Vec<u8>, Checksum) {
    let sum = checksum(space, key, content);
    let mut value = Vec::with_capacity(1 + CHECKSUM_BYTES + content.len());
    value.push(PLAIN);
    value.extend_from_slice(&sum.to_be_bytes());
    value.extend_from_slice(content);
    (value, sum)
}

/// Unwraps a stored value; `None` when it is not what was written for this key.
pub(crate) fn unwrap<'v>(space: u8, key: &[u8], value: &'v [u8]) -> Option<(&'v [u8], Checksum)> {
    let rest = value.strip_prefix(&[PLAIN])?;
    let (stated, content) = rest.split_first_chunk::<CHECKSUM_BYTES>()?;
    let sum = checksum(space, key, content);
    (u128::from_be_bytes(*stated) == sum).then_some((content, sum))
}

/// What has been counted and summed over a space. The sum does not depend on the order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Total {
    pub(crate) items: u64,
    pub(crate) bytes: u64,
    pub(crate) sum: Checksum,
}

impl Total {
    pub(crate) fn add(&mut self, key: &[u8], content: &[u8], sum: Checksum) {
        self.items = self.items.wrapping_add(1);
        self.bytes = self.bytes.wrapping_add((key.len() + content.len()) as u64);
        self.sum = self.sum.wrapping_add(sum);
    }

    pub(crate) fn remove(&mut self, key: &[u8], content: &[u8], sum: Checksum) {
        self.items = self.items.wrapping_sub(1);
        self.bytes = self.bytes.wrapping_sub((key.len() + content.len()) as u64);
        self.sum = self.sum.wrapping_sub(sum);
    }
}

impl Space {
    pub(crate) fn wrap(self, key: &[u8], content: &[u8]) -> (Vec<u8>, Checksum) {
        wrap(self.number(), key, content)
    }

    pub(crate) fn unwrap<'v>(self, key: &[u8], value: &'v [u8]) -> Option<(&'v [u8], Checksum)> {
        unwrap(self.number(), key, value)
    }
}

fn checksum(space: u8, key: &[u8], content: &[u8]) -> Checksum {
    let hash: [u8; 32] = Sha256::new()
        .chain_update([space])
        .chain_update((key.len() as u64).to_be_bytes())
        .chain_update(key)
        .chain_update(content)
        .finalize()
        .into();
    hash.first_chunk().map_or(0, |half| u128::from_be_bytes(*half))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flip_in_any_byte_is_noticed() {
        let (value, _) = wrap(1, b"key", b"content");
        assert_eq!(unwrap(1, b"key", &value).unwrap().0, b"content");
        for at in 0..value.len() {
            let mut flipped = value.clone();
            flipped[at] ^= 0x10;
            assert_eq!(unwrap(1, b"key", &flipped), None, "byte {at}");
            assert_eq!(unwrap(1, b"key", &value[..at]), None, "{at} bytes");
        }
        assert_eq!(unwrap(2, b"key", &value), None);
        assert_eq!(unwrap(1, b"keyc", &wrap(1, b"key", b"content").0), None);
    }

    #[test]
    fn the_checksum_is_sha_256_of_the_framed_item() {
        // Expected value from coreutils:
        // printf '\x01\x00\x00\x00\x00\x00\x00\x00\x01kv' | sha256sum
        let (value, _) = wrap(1, b"k", b"v");
        let hex: String = value[1..17].iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, EXPECTED);
    }

    const EXPECTED: &str = "d1bde4ef79720d9315739cf8498e881f";
}
