//! Checkpoints: what the log says about itself at one size, in the form of C2SP (c2sp.org/tlog-checkpoint).
//!
//! ```text
//! dashwright/<incarnation>
//! <entries, decimal>
//! <base64 of the Merkle root>
//! revision <number> <hex of the dataset's content hash>
//! ```
//!
//! Who keeps one can tell later whether the log still begins with the same entries. The signature says who gave it out;
//! without one it still pins the entries, but anybody may have written it.

use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::digest::Digest;
use crate::note::{NoteError, PublicKey, Signature, SignedText, Signer};

/// Most bytes of an incarnation: any scheme of names fits, and an origin stays one short line.
pub const MAX_INCARNATION_BYTES: usize = 100;

const ORIGIN_HEAD: &str = "dashwright/";
const REVISION_HEAD: &str = "revision ";

/// What a log says about itself at one size.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// Which log.
    pub origin: Origin,
    /// How many entries it has.
    pub size: u64,
    /// The Merkle root over their stored bytes.
    pub root: Digest,
    /// The last revision that these entries publish; 0 when there is none.
    pub revision: u64,
    /// The content hash of that revision.
    pub content_hash: Digest,
}

impl Checkpoint {
    /// The note without a signature: the text and its blank line.
    #[must_use]
    pub fn encode_unsigned(&self) -> String {
        self.text() + "\n"
    }

    /// The note with the signature of `signer`.
    #[must_use]
    pub fn encode_signed(&self, signer: &Signer) -> String {
        let text = self.text();
        let signature = signer.sign(&text);
        format!("{text}\n{signature}")
    }

    fn text(&self) -> String {
        let Checkpoint { origin, size, root, revision, content_hash } = self;
        let root = STANDARD.encode(root.0);
        format!("{origin}\n{size}\n{root}\n{REVISION_HEAD}{revision} {content_hash}\n")
    }

    fn parse(text: &str) -> Result<Checkpoint, CheckpointError> {
        let mut lines = text.split_terminator('\n');
        let mut next = || lines.next().ok_or(CheckpointError::TooShort);
        let (origin, size, root, revision) = (next()?, next()?, next()?, next()?);
        let (revision, content_hash) = parse_revision(revision)
            .ok_or_else(|| CheckpointError::Revision { line: revision.to_owned() })?;
        let root = parse_root(root).ok_or_else(|| CheckpointError::Root { line: root.to_owned() })?;
        let size = parse_number(size).ok_or_else(|| CheckpointError::Size { line: size.to_owned() })?;
        let incarnation = origin.strip_prefix(ORIGIN_HEAD);
        let origin = incarnation
            .and_then(|incarnation| Origin::of(incarnation).ok())
            .ok_or_else(|| CheckpointError::Origin { line: origin.to_owned() })?;
        match lines.next() {
            Some(line) => Err(CheckpointError::Extra { line: line.to_owned() }),
            None => Ok(Checkpoint { origin, size, root, revision, content_hash }),
        }
    }
}

/// The name of a log: `dashwright/` and the incarnation of its dataset.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Origin(String);

impl Origin {
    /// The name of the log of `incarnation`.
    ///
    /// # Errors
    /// [`OriginError`], unless it is 1 to [`MAX_INCARNATION_BYTES`] ASCII letters, digits and `-._`.
    pub fn of(incarnation: &str) -> Result<Origin, OriginError> {
        let fits = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
        if (1..=MAX_INCARNATION_BYTES).contains(&incarnation.len()) && incarnation.bytes().all(fits) {
            Ok(Origin(format!("{ORIGIN_HEAD}{incarnation}")))
        } else {
            Err(OriginError { incarnation: incarnation.to_owned() })
        }
    }

    /// The incarnation.
    #[must_use]
    pub fn incarnation(&self) -> &str {
        self.0.strip_prefix(ORIGIN_HEAD).unwrap_or(&self.0)
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// An incarnation that cannot stand in an origin.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{incarnation}` is not an incarnation: 1 to {MAX_INCARNATION_BYTES} ASCII letters, digits and `-._`"
)]
pub struct OriginError {
    /// As given.
    pub incarnation: String,
}

/// A checkpoint as it was given out, with the signatures below it; none of them is verified yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    checkpoint: Checkpoint,
    signed: SignedText,
}

impl Note {
    /// Parses a checkpoint in note form, signed or not. Only what an encoder writes is accepted, so that equal
    /// checkpoints have equal bytes.
    ///
    /// # Errors
    /// See [`CheckpointError`].
    pub fn parse(note: &str) -> Result<Note, CheckpointError> {
        let signed = SignedText::parse(note)?;
        let checkpoint = Checkpoint::parse(signed.text())?;
        Ok(Note { checkpoint, signed })
    }

    /// The checkpoint.
    #[must_use]
    pub fn checkpoint(&self) -> &Checkpoint {
        &self.checkpoint
    }

    /// The signatures, in order; none when the checkpoint is unsigned.
    #[must_use]
    pub fn signatures(&self) -> &[Signature] {
        self.signed.signatures()
    }

    /// Checks that `key` has signed the checkpoint.
    ///
    /// # Errors
    /// See [`SignedText::verify`].
    pub fn verify(&self, key: &PublicKey) -> Result<(), NoteError> {
        self.signed.verify(key)
    }
}

/// Why a text is not a checkpoint.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CheckpointError {
    /// It is not a note.
    #[error(transparent)]
    Note(#[from] NoteError),
    /// Lines are missing.
    #[error("the checkpoint has fewer than four lines")]
    TooShort,
    /// The first line is no origin.
    #[error("`{line}` is not `{ORIGIN_HEAD}` and an incarnation")]
    Origin {
        /// As given.
        line: String,
    },
    /// The second line is no size.
    #[error("`{line}` is not a decimal number of entries")]
    Size {
        /// As given.
        line: String,
    },
    /// The third line is no root.
    #[error("`{line}` is not the base64 of a SHA-256 digest")]
    Root {
        /// As given.
        line: String,
    },
    /// The fourth line is no revision.
    #[error("`{line}` is not `{REVISION_HEAD}`, a number and a SHA-256 digest in hex")]
    Revision {
        /// As given.
        line: String,
    },
    /// There is a fifth line.
    #[error("`{line}` stands behind the end of the checkpoint")]
    Extra {
        /// As given.
        line: String,
    },
}

fn parse_number(text: &str) -> Option<u64> {
    text.parse().ok().filter(|number: &u64| number.to_string() == text)
}

fn parse_root(text: &str) -> Option<Digest> {
    STANDARD.decode(text).ok()?.try_into().ok().map(Digest)
}

fn parse_revision(line: &str) -> Option<(u64, Digest)> {
    let (number, hash) = line.strip_prefix(REVISION_HEAD)?.split_once(' ')?;
    Some((parse_number(number)?, hash.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Written by hand: base64 and hex of 32 zero bytes and of 32 bytes of 0xff.
    const TEXT: &str = "dashwright/5f0c-1\n20852163\nAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\nrevision 17 ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff\n";

    fn checkpoint() -> Checkpoint {
        Checkpoint {
            origin: Origin::of("5f0c-1").unwrap(),
            size: 20_852_163,
            root: Digest::ZERO,
            revision: 17,
            content_hash: Digest([0xff; 32]),
        }
    }

    #[test]
    fn has_the_published_form() {
        assert_eq!(checkpoint().encode_unsigned(), format!("{TEXT}\n"));
        let note = Note::parse(&format!("{TEXT}\n")).unwrap();
        assert_eq!((note.checkpoint(), note.signatures()), (&checkpoint(), &[][..]));
        assert_eq!(note.checkpoint().origin.incarnation(), "5f0c-1");
    }

    #[test]
    fn a_signature_says_who_gave_it_out() {
        let signer = Signer::new("dashwright/5f0c-1", [3; 32]).unwrap();
        let text = checkpoint().encode_signed(&signer);
        let note = Note::parse(&text).unwrap();
        assert_eq!((note.checkpoint(), note.signatures().len()), (&checkpoint(), 1));
        assert_eq!(note.verify(signer.public_key()), Ok(()));
        let name = "dashwright/5f0c-1".to_owned();
        let forged = Note::parse(&text.replace("20852163", "20852164")).unwrap();
        assert_eq!(forged.verify(signer.public_key()), Err(NoteError::WrongSignature { name }));
        let unsigned = Note::parse(&checkpoint().encode_unsigned()).unwrap();
        assert_eq!(unsigned.verify(signer.public_key()), Err(NoteError::Unsigned));
    }

    #[test]
    fn only_what_an_encoder_writes_is_accepted() {
        let at = |line: usize, new: &str| {
            let mut lines: Vec<_> = TEXT.lines().collect();
            lines[line] = new;
            Note::parse(&(lines.join("\n") + "\n\n")).map(|_| ())
        };
        assert_eq!(at(0, "dashwright/5f0c-1"), Ok(()));
        for line in ["", "dashwright/", "example.com/log", "dashwright/a b", " dashwright/a"] {
            assert_eq!(at(0, line), Err(CheckpointError::Origin { line: line.to_owned() }));
        }
        for line in ["", "-1", "+1", "01", "1.0", "18446744073709551616"] {
            assert_eq!(at(1, line), Err(CheckpointError::Size { line: line.to_owned() }));
        }
        // No padding, bits behind the end, too short.
        for line in [
            "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
            "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAB=",
            "AAAA",
        ] {
            assert_eq!(at(2, line), Err(CheckpointError::Root { line: line.to_owned() }));
        }
        for line in ["revision 17", "revision 017 00", "Revision 17 00", "other"] {
            assert_eq!(at(3, line), Err(CheckpointError::Revision { line: line.to_owned() }));
        }
        assert_eq!(
            Note::parse(&format!("{TEXT}more\n\n")),
            Err(CheckpointError::Extra { line: "more".to_owned() })
        );
        assert_eq!(Note::parse("dashwright/a\n1\n\n"), Err(CheckpointError::TooShort));
        assert_eq!(Note::parse(TEXT), Err(CheckpointError::Note(NoteError::NoBlankLine)));
        assert!(Origin::of(&"a".repeat(MAX_INCARNATION_BYTES)).is_ok());
        assert!(Origin::of(&"a".repeat(MAX_INCARNATION_BYTES + 1)).is_err());
    }
}
