//! `audit proof`: proofs are checked here, because whoever asks for one does not take the server's word.

use std::num::NonZeroU64;

use dashwright_api::v1;
use dashwright_log::{Checkpoint, Digest, verify_consistency, verify_inclusion};

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::AuditProof;
use crate::dataset::kept_checkpoint;
use crate::failure::{Failure, KeepingFailure, ProofFault};
use crate::{out, text};

/// Asks for a proof, checks it, and says what was checked.
pub(super) async fn proof(arguments: AuditProof) -> Result<(), Failure> {
    let AuditProof { entry, size, from_size, to_size, checkpoint: file, client } = arguments;
    let kept = file.as_deref().map(kept_checkpoint).transpose()?;
    let kept = kept.as_ref().map(|note| note.checkpoint());
    let number = |number: Option<NonZeroU64>| number.map_or(0, NonZeroU64::get);
    let asked = match entry {
        Some(entry) => Asked::Inclusion {
            entry: entry.get(),
            size: kept.map_or(number(size), |checkpoint| checkpoint.size),
        },
        None => Asked::Consistency {
            from: kept.map_or(number(from_size), |checkpoint| checkpoint.size),
            to: number(to_size),
        },
    };
    let connection = Connection::open(&client).await?;
    let request = v1::GetProofRequest { proof: Some(asked.message()) };
    let answer = connection.answer(connection.audit().get_proof(request).await)?;
    let proven = prove(asked, &answer, kept).map_err(KeepingFailure::Proof)?;
    out::print(&if client.json {
        json("GetProofResponse", &answer, Layout::Wide)?
    } else {
        text::proof(&proven, file.as_deref(), out::columns())
    })
}

/// What is to be proven.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    /// That an entry stands in the trail of a size; 0 for the whole.
    Inclusion { entry: u64, size: u64 },
    /// That the trail of a size, 0 for the whole, continues a shorter one.
    Consistency { from: u64, to: u64 },
}

impl Asked {
    fn message(self) -> v1::get_proof_request::Proof {
        use v1::get_proof_request::Proof;
        match self {
            Self::Inclusion { entry, size } => {
                Proof::Inclusion(v1::InclusionProofRequest { sequence: entry, tree_size: size })
            }
            Self::Consistency { from, to } => {
                Proof::Consistency(v1::ConsistencyProofRequest { from_size: from, to_size: to })
            }
        }
    }
}

/// Checks a proof, and that the trail is the one of a kept checkpoint.
fn prove(
    asked: Asked,
    answer: &v1::GetProofResponse,
    kept: Option<&Checkpoint>,
) -> Result<text::Proven, ProofFault> {
    let v1::GetProofResponse { tree_size, root, hashes, leaf_hash, from_root } = answer;
    let (size, root) = (*tree_size, digest("root", root)?);
    let path = hashes.iter().map(|hash| digest("hashes", hash)).collect::<Result<Vec<_>, _>>()?;
    let is_kept = |at, found| match kept {
        Some(kept) if kept.size != at || kept.root != found => {
            Err(ProofFault::OtherTrail { size: kept.size, kept: kept.root, found })
        }
        _ => Ok(()),
    };
    let of_size = |asked| {
        if asked == 0 || asked == size { Ok(()) } else { Err(ProofFault::OtherSize { asked, found: size }) }
    };
    match asked {
        Asked::Inclusion { entry, size: asked } => {
            of_size(asked)?;
            let leaf = digest("leaf_hash", leaf_hash)?;
            if entry == 0 || !verify_inclusion(leaf, entry - 1, size, root, &path) {
                return Err(ProofFault::NotIncluded { entry, size });
            }
            is_kept(size, root)?;
            Ok(text::Proven::Included { entry, leaf, size, root, hashes: path.len() })
        }
        Asked::Consistency { from, to } => {
            of_size(to)?;
            let from_root = digest("from_root", from_root)?;
            if !verify_consistency(from, from_root, size, root, &path) {
                return Err(ProofFault::NotContinued { from, to: size });
            }
            is_kept(from, from_root)?;
            Ok(text::Proven::Continued { from, from_root, to: size, root, hashes: path.len() })
        }
    }
}

fn digest(field: &'static str, bytes: &[u8]) -> Result<Digest, ProofFault> {
    bytes.try_into().map(Digest).map_err(|_| ProofFault::Hash { field, bytes: bytes.len() })
}

#[cfg(test)]
#[path = "proof_tests.rs"]
mod tests;
