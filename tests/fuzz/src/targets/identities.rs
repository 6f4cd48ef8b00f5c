//! The identity that the service shows: PEM texts of certificates, a key, and the authorities of clients.

use dashwright_grpc::tls::{Identity, Tls};

/// What stands between the texts.
const BETWEEN: &str = "===\n";

/// An identity is taken or refused with words.
pub(crate) fn hold(bytes: &[u8]) {
    let mut texts: Vec<&[u8]> = Vec::new();
    let mut rest = bytes;
    while let Some(at) = rest.windows(BETWEEN.len()).position(|window| window == BETWEEN.as_bytes()) {
        texts.push(&rest[..at]);
        rest = &rest[at + BETWEEN.len()..];
    }
    texts.push(rest);
    let text = |index: usize| texts.get(index).copied();
    let (certificates, key) = (text(0).unwrap_or_default(), text(1).unwrap_or_default());
    if let Err(error) = Tls::new(Identity { certificates, key, client_authorities: text(2) }) {
        assert!(!error.to_string().is_empty());
    }
}
