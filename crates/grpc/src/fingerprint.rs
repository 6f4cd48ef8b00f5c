//! Fingerprints of plans: what a plan says, what it is for, and the dataset that it was made from.
//!
//! SHA-256 over lines of text, cut to half. Each piece ends where no other can begin: ids and codes have no line feed. What is the
//! same for every plan of a view is hashed once, what is the same for every vehicle line of a plan once a plan, so that a call hashes
//! a name or two.

use dashwright_engine::View;
use dashwright_planner::{Plans, gist};
use dashwright_snapshot::{Candidate, LineOption, RecordIx, Snapshot};
use sha2::{Digest as _, Sha256};

/// Bytes of a fingerprint: half of a SHA-256, as of an etag, which nobody meets twice by chance.
const FINGERPRINT_BYTES: usize = 16;
/// The number of the form. Never another one for the same plans, or every fingerprint that was given out would be unknown.
const FORM: &str = "dashwright plan 1";

/// The fingerprints of the plans of a view.
#[derive(Clone, Debug)]
pub(crate) struct Fingerprints(Sha256);

impl Fingerprints {
    pub(crate) fn of(view: &View) -> Self {
        Self(Sha256::new().chain_update(format!("{FORM}\n{}\n{}\n", view.token(), view.content_hash())))
    }

    /// The fingerprint of a plan for candidates.
    pub(crate) fn plan(&self, snapshot: &Snapshot, candidates: &[Candidate], gist: &[u8; 32]) -> String {
        const DIGITS: &[u8; 16] = b"0123456789abcdef";
        let mut hash = self.0.clone().chain_update(gist);
        for (line, option) in named(snapshot, candidates) {
            for piece in [line, " ", option.option.code.as_str(), "\n"] {
                hash.update(piece);
            }
        }
        let digest = hash.finalize();
        let nibbles = digest.iter().take(FINGERPRINT_BYTES).flat_map(|byte| [byte >> 4, byte & 0x0f]);
        nibbles.filter_map(|nibble| DIGITS.get(usize::from(nibble)).copied()).map(char::from).collect()
    }
}

/// The digest of the gist of plans.
pub(crate) fn digest(snapshot: &Snapshot, radio: RecordIx, plans: &Plans) -> [u8; 32] {
    Sha256::digest(gist(snapshot, radio, plans)).into()
}

/// Each candidate: the id of its vehicle line and the code of its audio option.
pub(crate) fn names(snapshot: &Snapshot, candidates: &[Candidate]) -> impl Iterator<Item = String> {
    named(snapshot, candidates).map(|(line, option)| format!("{line} {}", option.option.code))
}

fn named<'s>(
    snapshot: &'s Snapshot,
    candidates: &[Candidate],
) -> impl Iterator<Item = (&'s str, &'s LineOption)> {
    candidates.iter().filter_map(|candidate| {
        let line = snapshot.line(candidate.line)?;
        let option = snapshot.options_of(line).get(usize::from(*candidate.options.first()?))?;
        Some((snapshot.line_id(line), option))
    })
}
