//! The server's secret, under which keys are kept.

use std::fmt;

use dashwright_log::Digest;
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;
use subtle::ConstantTimeEq as _;
use zeroize::Zeroizing;

use super::text::hex;

/// Bytes of the tag by which a secret is told from another without showing it.
const ID_BYTES: usize = 4;

/// The secret of a server: 32 random bytes, kept beside the data and never in the log.
#[derive(Clone)]
pub struct ServerSecret(Zeroizing<[u8; 32]>);

impl ServerSecret {
    /// The secret of these bytes.
    #[must_use]
    pub fn new(bytes: [u8; 32]) -> Self {
        Self(Zeroizing::new(bytes))
    }

    /// What tells it from another secret: eight hexadecimal digits that give nothing of it away.
    #[must_use]
    pub fn id(&self) -> String {
        hex(self.mac(b"id").0.first_chunk::<ID_BYTES>().unwrap_or(&[0; ID_BYTES]))
    }

    /// What is kept of the text of a key: its HMAC-SHA-256.
    pub(super) fn mac(&self, text: &[u8]) -> Digest {
        // A key of any length is one of HMAC (RFC 2104, section 3), so that this never fails.
        let mac = Hmac::<Sha256>::new_from_slice(&*self.0).map(|mac| mac.chain_update(text).finalize());
        Digest(mac.map(|mac| mac.into_bytes().into()).unwrap_or_default())
    }
}

/// Whether two MACs are the same, in a time that does not tell how far they are.
pub(super) fn same(one: &Digest, other: &Digest) -> bool {
    one.0.ct_eq(&other.0).into()
}

impl fmt::Debug for ServerSecret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ServerSecret({})", self.id())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The bytes 0 to 31.
    fn secret() -> ServerSecret {
        ServerSecret::new(std::array::from_fn(|byte| u8::try_from(byte).unwrap()))
    }

    /// By Python's `hmac.new(bytes(range(32)), b"id", hashlib.sha256).hexdigest()`, the first eight digits.
    #[test]
    fn the_id_is_that_of_the_standard_library_of_another_language() {
        assert_eq!(secret().id(), "8adc89f9");
        assert_eq!(format!("{:?}", secret()), "ServerSecret(8adc89f9)");
    }

    /// RFC 4231, section 4.3: test case 2 with its four-byte key stands here as RFC 2104 pads it, with zeros.
    #[test]
    fn the_mac_is_that_of_the_standard() {
        let mut key = [0; 32];
        key[..4].copy_from_slice(b"Jefe");
        let mac = ServerSecret::new(key).mac(b"what do ya want for nothing?");
        assert_eq!(mac.to_string(), "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
        assert!(same(&mac, &mac));
        assert!(!same(&mac, &Digest::ZERO));
    }
}
