//! Signed notes in the form of C2SP (c2sp.org/signed-note): a text, a blank line, and one line per signature.
//!
//! ```text
//! the text, of one or more lines
//!
//! — <key name> <base64 of 4 bytes of key hash and 64 bytes of Ed25519 signature>
//! ```

use std::fmt;
use std::str::FromStr;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::{Signer as _, SigningKey, VerifyingKey};
use sha2::{Digest as _, Sha256};

/// Most bytes of a note: the text and a hundred signatures of others fit, and a line of a file still holds it.
pub const MAX_NOTE_BYTES: usize = 64 * 1024;

/// Most signatures of a note, as in the reference implementation (golang.org/x/mod/sumdb/note).
pub const MAX_SIGNATURES: usize = 100;

/// The signature algorithm that a key's text form and hash begin with: Ed25519.
const ED25519: u8 = 1;

/// An em dash and a space.
const SIGNATURE_HEAD: &str = "— ";

/// A text with the signatures that stand below it; none of them is verified yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignedText {
    text: String,
    signatures: Vec<Signature>,
}

/// One signature line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    /// Name of the key that is said to have signed.
    pub name: String,
    /// First bytes of that key's hash.
    pub key_hash: [u8; 4],
    /// The signature, whose length depends on the key's algorithm.
    pub bytes: Vec<u8>,
}

impl SignedText {
    /// Parses a note, which may have no signature at all.
    ///
    /// # Errors
    /// See [`NoteError`].
    pub fn parse(note: &str) -> Result<SignedText, NoteError> {
        if note.len() > MAX_NOTE_BYTES {
            return Err(NoteError::TooLong { bytes: note.len() });
        }
        let split = note.rfind("\n\n").ok_or(NoteError::NoBlankLine)?;
        let (text, signatures) = note.split_at_checked(split + 2).ok_or(NoteError::NoBlankLine)?;
        let text = text.strip_suffix('\n').unwrap_or(text);
        if text.chars().any(|c| c != '\n' && c.is_control()) {
            return Err(NoteError::ControlCharacter);
        }
        let signatures = signatures.split_inclusive('\n').enumerate();
        let signatures = signatures
            .map(|(place, line)| parse_signature(line).ok_or(NoteError::SignatureLine { number: place + 1 }));
        let signatures = signatures.take(MAX_SIGNATURES + 1).collect::<Result<Vec<_>, _>>()?;
        if signatures.len() > MAX_SIGNATURES {
            return Err(NoteError::TooManySignatures);
        }
        Ok(SignedText { text: text.to_owned(), signatures })
    }

    /// The text, which ends with a line feed.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The signatures, in order.
    #[must_use]
    pub fn signatures(&self) -> &[Signature] {
        &self.signatures
    }

    /// Checks that `key` has signed the text. Signatures by other keys do not matter.
    ///
    /// # Errors
    /// [`NoteError::Unsigned`], [`NoteError::NotSignedBy`] or [`NoteError::WrongSignature`].
    pub fn verify(&self, key: &PublicKey) -> Result<(), NoteError> {
        if self.signatures.is_empty() {
            return Err(NoteError::Unsigned);
        }
        let by_key = |it: &&Signature| it.name == key.name && it.key_hash == key.hash();
        let found = self.signatures.iter().find(by_key);
        let signature = found.ok_or_else(|| NoteError::NotSignedBy { name: key.name.clone() })?;
        let wrong = || NoteError::WrongSignature { name: key.name.clone() };
        let bytes = ed25519_dalek::Signature::from_slice(&signature.bytes).map_err(|_| wrong())?;
        key.key.verify_strict(self.text.as_bytes(), &bytes).map_err(|_| wrong())
    }
}

/// Why a note is not accepted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NoteError {
    /// The note is too long.
    #[error("the note has {bytes} bytes, {MAX_NOTE_BYTES} are allowed")]
    TooLong {
        /// Bytes given.
        bytes: usize,
    },
    /// No blank line ends the text.
    #[error("the note has no blank line behind its text")]
    NoBlankLine,
    /// The text has a control character.
    #[error("the text of the note has a control character")]
    ControlCharacter,
    /// A line below the text is no signature.
    #[error("line {number} below the text of the note is no signature")]
    SignatureLine {
        /// The line, from 1.
        number: usize,
    },
    /// There are too many signatures.
    #[error("the note has more than {MAX_SIGNATURES} signatures")]
    TooManySignatures,
    /// Nobody has signed.
    #[error("the note is unsigned")]
    Unsigned,
    /// The key that was asked for has not signed.
    #[error("the note is not signed by `{name}`")]
    NotSignedBy {
        /// Name of the key.
        name: String,
    },
    /// The signature is not over this text.
    #[error("the signature of `{name}` does not belong to this note")]
    WrongSignature {
        /// Name of the key.
        name: String,
    },
}

/// A key that notes are signed with.
#[derive(Clone)]
pub struct Signer {
    key: SigningKey,
    public: PublicKey,
}

impl Signer {
    /// The key of `name` whose secret is `seed` (the private key of RFC 8032).
    ///
    /// # Errors
    /// [`KeyError::Name`].
    pub fn new(name: &str, seed: [u8; 32]) -> Result<Signer, KeyError> {
        let key = SigningKey::from_bytes(&seed);
        let public = PublicKey { name: checked_name(name)?, key: key.verifying_key() };
        Ok(Signer { key, public })
    }

    /// The key that verifies what this one signs.
    #[must_use]
    pub fn public_key(&self) -> &PublicKey {
        &self.public
    }

    /// Signs `text`.
    #[must_use]
    pub fn sign(&self, text: &str) -> Signature {
        let bytes = self.key.sign(text.as_bytes()).to_bytes().to_vec();
        Signature { name: self.public.name.clone(), key_hash: self.public.hash(), bytes }
    }
}

impl fmt::Debug for Signer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The secret never reaches a log.
        f.debug_struct("Signer").field("public", &self.public).finish_non_exhaustive()
    }
}

/// A key that notes are verified with; its text form is the verifier key of C2SP: `<name>+<hash>+<base64>`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicKey {
    name: String,
    key: VerifyingKey,
}

impl PublicKey {
    /// The key of `name` with the public key `bytes` of RFC 8032.
    ///
    /// # Errors
    /// [`KeyError::Name`] or [`KeyError::Point`].
    pub fn new(name: &str, bytes: [u8; 32]) -> Result<PublicKey, KeyError> {
        let key = VerifyingKey::from_bytes(&bytes).map_err(|_| KeyError::Point)?;
        Ok(PublicKey { name: checked_name(name)?, key })
    }

    /// The name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The public key of RFC 8032.
    #[must_use]
    pub fn bytes(&self) -> [u8; 32] {
        self.key.to_bytes()
    }

    /// The first bytes of the key's hash, which signature lines carry.
    #[must_use]
    pub fn hash(&self) -> [u8; 4] {
        let hash: [u8; 32] = Sha256::new()
            .chain_update(self.name.as_bytes())
            .chain_update([b'\n', ED25519])
            .chain_update(self.key.as_bytes())
            .finalize()
            .into();
        let [a, b, c, d, ..] = hash;
        [a, b, c, d]
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hash = u32::from_be_bytes(self.hash());
        let key = STANDARD.encode([&[ED25519], self.key.as_bytes().as_slice()].concat());
        write!(f, "{}+{hash:08x}+{key}", self.name)
    }
}

impl FromStr for PublicKey {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<PublicKey, KeyError> {
        let form = || KeyError::Form { text: text.to_owned() };
        // The base64 may contain a plus sign, the name and the hash may not.
        let mut parts = text.splitn(3, '+');
        let (Some(name), Some(hash), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(form());
        };
        let bytes = STANDARD.decode(key).map_err(|_| form())?;
        let Some((algorithm, bytes)) = bytes.split_first() else { return Err(form()) };
        if *algorithm != ED25519 {
            return Err(KeyError::Algorithm { number: *algorithm });
        }
        let public = PublicKey::new(name, bytes.try_into().map_err(|_| form())?)?;
        if public.to_string() != text {
            return Err(KeyError::Hash { stated: hash.to_owned() });
        }
        Ok(public)
    }
}

/// Why a key is not accepted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum KeyError {
    /// The name cannot stand in a note.
    #[error("`{name}` is not a key name: it must not be empty and must have no space and no `+`")]
    Name {
        /// As given.
        name: String,
    },
    /// The text is not a verifier key.
    #[error("`{text}` is not a verifier key of the form <name>+<hash>+<base64>")]
    Form {
        /// As given.
        text: String,
    },
    /// The algorithm is another one.
    #[error("the key has algorithm {number}, only {ED25519} (Ed25519) is supported")]
    Algorithm {
        /// Its number.
        number: u8,
    },
    /// The hash is not that of the name and the key.
    #[error("the key states the hash `{stated}`, which is not its own")]
    Hash {
        /// As stated.
        stated: String,
    },
    /// The bytes are no public key.
    #[error("the bytes are not an Ed25519 public key")]
    Point,
}

impl fmt::Display for Signature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let blob = STANDARD.encode([self.key_hash.as_slice(), &self.bytes].concat());
        writeln!(f, "{SIGNATURE_HEAD}{} {blob}", self.name)
    }
}

fn parse_signature(line: &str) -> Option<Signature> {
    let (name, blob) = line.strip_suffix('\n')?.strip_prefix(SIGNATURE_HEAD)?.split_once(' ')?;
    let blob = STANDARD.decode(blob).ok()?;
    let (key_hash, bytes) = blob.split_first_chunk::<4>()?;
    if bytes.is_empty() {
        return None;
    }
    Some(Signature { name: checked_name(name).ok()?, key_hash: *key_hash, bytes: bytes.to_vec() })
}

fn checked_name(name: &str) -> Result<String, KeyError> {
    let bad = |c: char| c.is_whitespace() || c.is_control() || c == '+';
    if name.is_empty() || name.contains(bad) {
        return Err(KeyError::Name { name: name.to_owned() });
    }
    Ok(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of c2sp.org/signed-note.
    const SPEC_KEY: &str = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k";
    const SPEC_NOTE: &str = "This is an example message.\n\n— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n";

    /// The example in the documentation of golang.org/x/mod/sumdb/note: `PRIVATE+KEY+PeterNeumann+c74f20a3+…`.
    const GO_SEED: &str = "AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz";
    const GO_KEY: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    const GO_TEXT: &str = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n";
    const GO_SIGNATURE: &str = "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";

    /// The second signature of the tests of golang.org/x/mod/sumdb/note, and its key.
    const SECOND_KEY: &str = "EnochRoot+af0cfe78+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop";

    /// RFC 8032, section 7.1, tests 1 and 2: secret key, public key, message, signature.
    const RFC_8032: [[&str; 4]; 2] = [
        [
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ],
        [
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ],
    ];

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
    }

    fn go_signer() -> Signer {
        Signer::new("PeterNeumann", STANDARD.decode(GO_SEED).unwrap()[1..].try_into().unwrap()).unwrap()
    }

    #[test]
    fn verifies_the_published_notes() {
        let note = SignedText::parse(SPEC_NOTE).unwrap();
        assert_eq!(note.text(), "This is an example message.\n");
        assert_eq!(note.verify(&SPEC_KEY.parse().unwrap()), Ok(()));
        let note = SignedText::parse(&format!("{GO_TEXT}\n{GO_SIGNATURE}")).unwrap();
        assert_eq!(note.text(), GO_TEXT);
        assert_eq!(note.verify(&GO_KEY.parse().unwrap()), Ok(()));
    }

    #[test]
    fn signs_and_names_keys_as_published() {
        let signer = go_signer();
        assert_eq!(signer.sign(GO_TEXT).to_string(), GO_SIGNATURE);
        assert_eq!(signer.public_key().to_string(), GO_KEY);
        for key in [SPEC_KEY, GO_KEY, SECOND_KEY] {
            assert_eq!(key.parse::<PublicKey>().unwrap().to_string(), key);
        }
        // Only the public key, which differs from this seed in every byte, is ever shown.
        let shown = format!("{:?}", Signer::new("a", [7; 32]).unwrap());
        assert!(shown.contains("\"a\"") && !shown.contains("7, 7, 7"), "{shown}");
    }

    #[test]
    fn signs_the_messages_of_the_standard() {
        // From memory; a wrong digit would fail here.
        for [seed, public, message, signature] in RFC_8032 {
            let signer = Signer::new("a", bytes(seed).try_into().unwrap()).unwrap();
            assert_eq!(signer.public_key().bytes().to_vec(), bytes(public));
            let message = String::from_utf8(bytes(message)).unwrap();
            assert_eq!(signer.sign(&message).bytes, bytes(signature));
        }
    }

    #[test]
    fn a_note_must_be_signed_by_the_key_that_is_asked_for() {
        let key = GO_KEY.parse().unwrap();
        let verify = |note: &str| SignedText::parse(note).unwrap().verify(&key);
        let name = || "PeterNeumann".to_owned();
        let signed = format!("{GO_TEXT}\n{GO_SIGNATURE}");
        assert_eq!(
            verify(&signed.replace("answer", "anvwer")),
            Err(NoteError::WrongSignature { name: name() })
        );
        assert_eq!(verify(&format!("{GO_TEXT}\n")), Err(NoteError::Unsigned));
        assert_eq!(verify(SPEC_NOTE), Err(NoteError::NotSignedBy { name: name() }));
        let second = Signer::new("other", [7; 32]).unwrap().sign(GO_TEXT);
        assert_eq!(verify(&format!("{GO_TEXT}\n{second}{GO_SIGNATURE}")), Ok(()));
        // The same name with another key does not count, whatever it signed.
        let namesake = Signer::new("PeterNeumann", [7; 32]).unwrap().sign(GO_TEXT);
        assert_eq!(verify(&format!("{GO_TEXT}\n{namesake}")), Err(NoteError::NotSignedBy { name: name() }));
        let short = Signature { bytes: vec![1], ..go_signer().sign(GO_TEXT) };
        assert_eq!(verify(&format!("{GO_TEXT}\n{short}")), Err(NoteError::WrongSignature { name: name() }));
    }

    #[test]
    fn malformed_notes_are_refused() {
        let line = NoteError::SignatureLine { number: 1 };
        for (note, error) in [
            ("text\n".to_owned(), NoteError::NoBlankLine),
            (String::new(), NoteError::NoBlankLine),
            ("a\tb\n\n".to_owned(), NoteError::ControlCharacter),
            (format!("{GO_TEXT}\n{}", GO_SIGNATURE.trim_end()), line.clone()),
            (format!("{GO_TEXT}\n{}", GO_SIGNATURE.replace('—', "-")), line.clone()),
            (format!("{GO_TEXT}\n— a AAAA\n"), line.clone()),
            (format!("{GO_TEXT}\n— a+b x08go/ZJ\n"), line.clone()),
            (format!("{GO_TEXT}\n{GO_SIGNATURE}more\n"), NoteError::SignatureLine { number: 2 }),
            (format!("{GO_TEXT}\n{}", GO_SIGNATURE.repeat(MAX_SIGNATURES + 1)), NoteError::TooManySignatures),
            ("a".repeat(MAX_NOTE_BYTES + 1), NoteError::TooLong { bytes: MAX_NOTE_BYTES + 1 }),
        ] {
            assert_eq!(SignedText::parse(&note), Err(error), "{note}");
        }
        assert!(SignedText::parse(&format!("{GO_TEXT}\n{}", GO_SIGNATURE.repeat(MAX_SIGNATURES))).is_ok());
    }

    #[test]
    fn malformed_keys_are_refused() {
        let form = |text: &str| KeyError::Form { text: text.to_owned() };
        assert_eq!("".parse::<PublicKey>(), Err(form("")));
        assert_eq!("a+12345678".parse::<PublicKey>(), Err(form("a+12345678")));
        assert_eq!(
            GO_KEY.replace("c74f", "c74e").parse::<PublicKey>(),
            Err(KeyError::Hash { stated: "c74e20a3".into() })
        );
        assert_eq!(
            GO_KEY.replace("c74f", "C74F").parse::<PublicKey>(),
            Err(KeyError::Hash { stated: "C74F20a3".into() })
        );
        let cosigner = GO_KEY.replace("+ARpc", "+BBpc");
        assert_eq!(cosigner.parse::<PublicKey>(), Err(KeyError::Algorithm { number: 4 }));
        for name in ["", "a b", "a+b", "a\nb", "a\u{2003}b"] {
            assert_eq!(Signer::new(name, [0; 32]).map(|_| ()), Err(KeyError::Name { name: name.to_owned() }));
        }
    }
}
