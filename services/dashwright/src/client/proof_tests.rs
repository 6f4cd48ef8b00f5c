//! Proofs that prove, and those that do not. The trees are those of RFC 6962, section 2.1: leaf and node hashes are put
//! together here by hand, with SHA-256 alone.

use sha2::{Digest as _, Sha256};

use super::*;

fn sha(parts: &[&[u8]]) -> [u8; 32] {
    let mut hash = Sha256::new();
    parts.iter().for_each(|part| hash.update(part));
    hash.finalize().into()
}

fn leaf(number: u8) -> [u8; 32] {
    sha(&[&[0], &[number]])
}

fn node(left: [u8; 32], right: [u8; 32]) -> [u8; 32] {
    sha(&[&[1], &left, &right])
}

/// The root over three leaves: the first two, and the third.
fn root() -> [u8; 32] {
    node(node(leaf(1), leaf(2)), leaf(3))
}

/// That entry 2 is one of three.
fn inclusion() -> v1::GetProofResponse {
    v1::GetProofResponse {
        tree_size: 3,
        root: root().to_vec(),
        hashes: vec![leaf(1).to_vec(), leaf(3).to_vec()],
        leaf_hash: leaf(2).to_vec(),
        from_root: Vec::new(),
    }
}

/// That three entries continue two.
fn consistency() -> v1::GetProofResponse {
    v1::GetProofResponse {
        tree_size: 3,
        root: root().to_vec(),
        hashes: vec![leaf(3).to_vec()],
        leaf_hash: Vec::new(),
        from_root: node(leaf(1), leaf(2)).to_vec(),
    }
}

fn kept(size: u64, root: [u8; 32]) -> Checkpoint {
    let origin = dashwright_log::Origin::of("first").unwrap();
    Checkpoint { origin, size, root: Digest(root), revision: 1, content_hash: Digest::ZERO }
}

const ENTRY: Asked = Asked::Inclusion { entry: 2, size: 0 };
const TRAIL: Asked = Asked::Consistency { from: 2, to: 3 };

#[test]
fn a_proof_that_leads_to_the_root_proves() {
    let included =
        text::Proven::Included { entry: 2, leaf: Digest(leaf(2)), size: 3, root: Digest(root()), hashes: 2 };
    assert_eq!(prove(ENTRY, &inclusion(), None), Ok(included.clone()));
    assert_eq!(prove(ENTRY, &inclusion(), Some(&kept(3, root()))), Ok(included));
    let continued = text::Proven::Continued {
        from: 2,
        from_root: Digest(node(leaf(1), leaf(2))),
        to: 3,
        root: Digest(root()),
        hashes: 1,
    };
    assert_eq!(prove(TRAIL, &consistency(), None), Ok(continued.clone()));
    assert_eq!(prove(TRAIL, &consistency(), Some(&kept(2, node(leaf(1), leaf(2))))), Ok(continued));
}

#[test]
fn a_proof_of_something_else_does_not() {
    let not_included = Err(ProofFault::NotIncluded { entry: 2, size: 3 });
    let not_continued = Err(ProofFault::NotContinued { from: 2, to: 3 });
    let altered = v1::GetProofResponse { leaf_hash: leaf(9).to_vec(), ..inclusion() };
    assert_eq!(prove(ENTRY, &altered, None), not_included);
    let elsewhere = Asked::Inclusion { entry: 1, size: 3 };
    assert_eq!(prove(elsewhere, &inclusion(), None), Err(ProofFault::NotIncluded { entry: 1, size: 3 }));
    let short = v1::GetProofResponse { hashes: vec![leaf(1).to_vec()], ..inclusion() };
    assert_eq!(prove(ENTRY, &short, None), not_included);
    let rewritten = v1::GetProofResponse { from_root: node(leaf(1), leaf(9)).to_vec(), ..consistency() };
    assert_eq!(prove(TRAIL, &rewritten, None), not_continued);
    let other_size = Asked::Inclusion { entry: 2, size: 2 };
    assert_eq!(prove(other_size, &inclusion(), None), Err(ProofFault::OtherSize { asked: 2, found: 3 }));
    let malformed = v1::GetProofResponse { hashes: vec![vec![0; 31]], ..inclusion() };
    assert_eq!(prove(ENTRY, &malformed, None), Err(ProofFault::Hash { field: "hashes", bytes: 31 }));
}

#[test]
fn a_sound_proof_about_another_trail_is_refused() {
    let forged = kept(3, node(node(leaf(1), leaf(9)), leaf(3)));
    let fault = ProofFault::OtherTrail { size: 3, kept: forged.root, found: Digest(root()) };
    assert_eq!(prove(ENTRY, &inclusion(), Some(&forged)), Err(fault));
    let forged = kept(2, node(leaf(1), leaf(9)));
    let found = Digest(node(leaf(1), leaf(2)));
    let fault = ProofFault::OtherTrail { size: 2, kept: forged.root, found };
    assert_eq!(prove(TRAIL, &consistency(), Some(&forged)), Err(fault));
}
