//! The tree against published vectors and against an independent implementation.
//!
//! The leaves, roots and proofs are those of the reference test of the Certificate Transparency project
//! (transparency-dev/merkle, testonly/reference_test.go); the proofs as its copy in `ct-merkle` 0.3 has them, the roots
//! from memory. The independent implementation is `ct-merkle` itself.

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use ct_merkle::{ConsistencyProof, InclusionProof, RootHash};

use super::*;

const LEAVES: [&[u8]; 8] = [
    b"",
    b"\x00",
    b"\x10",
    b"\x20\x21",
    b"\x30\x31",
    b"\x40\x41\x42\x43",
    b"\x50\x51\x52\x53\x54\x55\x56\x57",
    b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
];

/// Roots of the first 0 to 8 of these leaves.
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

/// Index, size and proof.
const INCLUSIONS: [(u64, u64, &[&str]); 7] = [
    (0, 1, &[]),
    (0, 2, &["96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"]),
    (1, 2, &["6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"]),
    (2, 3, &["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (
        1,
        5,
        &[
            "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
    (
        0,
        8,
        &[
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        5,
        8,
        &[
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
];

/// Old size, new size and proof.
const CONSISTENCIES: [(u64, u64, &[&str]); 4] = [
    (1, 1, &[]),
    (
        1,
        8,
        &[
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        2,
        5,
        &[
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
    (
        6,
        8,
        &[
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
];

/// Beyond 2^6 and its neighbours, so that every shape of the right edge occurs.
const MANY: u64 = 70;

fn bytes(index: u64) -> Vec<u8> {
    format!("leaf {index}").into_bytes()
}

fn tree(size: u64) -> Tree {
    (0..size).map(|index| leaf_hash(&bytes(index))).collect()
}

fn other(size: u64) -> MemoryBackedTree<Sha256, Vec<u8>> {
    let mut tree = MemoryBackedTree::new();
    (0..size).for_each(|index| tree.push(bytes(index)));
    tree
}

fn digests(hex: &[&str]) -> Vec<Digest> {
    hex.iter().map(|hex| hex.parse().unwrap()).collect()
}

fn concat(proof: &[Digest]) -> Vec<u8> {
    proof.iter().flat_map(|digest| digest.0).collect()
}

/// Proofs that differ from `proof` in a bit, in length or in order.
fn spoilt(proof: &[Digest]) -> Vec<Vec<Digest>> {
    let mut all = vec![[proof, &[Digest::ZERO]].concat(), [&[Digest::ZERO], proof].concat()];
    for place in 0..proof.len() {
        let mut flipped = proof.to_vec();
        flipped[place].0[place % 32] ^= 1;
        all.push(flipped);
        all.push([&proof[..place], &proof[place + 1..]].concat());
    }
    all
}

#[test]
fn gives_the_published_roots() {
    let mut edge = Frontier::new();
    let mut tree = Tree::new();
    assert_eq!((tree.root(), edge.root(), tree.size()), (digests(&ROOTS)[0], digests(&ROOTS)[0], 0));
    for (leaf, root) in LEAVES.iter().zip(digests(&ROOTS[1..])) {
        tree.push(leaf_hash(leaf));
        edge.push(leaf_hash(leaf));
        assert_eq!((tree.root(), edge.root()), (root, root));
        assert_eq!((tree.size(), tree.leaf(tree.size() - 1)), (edge.size(), Some(leaf_hash(leaf))));
    }
    for (size, root) in digests(&ROOTS).into_iter().enumerate() {
        assert_eq!(tree.root_at(size as u64), Some(root));
    }
    assert_eq!((tree.root_at(9), tree.leaf(8)), (None, None));
}

#[test]
fn gives_and_accepts_the_published_proofs() {
    let tree: Tree = LEAVES.iter().map(|leaf| leaf_hash(leaf)).collect();
    let roots = digests(&ROOTS);
    for (index, size, proof) in INCLUSIONS {
        let proof = digests(proof);
        assert_eq!(tree.inclusion(index, size), Some(proof.clone()), "{index} in {size}");
        let leaf = leaf_hash(LEAVES[index as usize]);
        assert!(verify_inclusion(leaf, index, size, roots[size as usize], &proof));
    }
    for (from, to, proof) in CONSISTENCIES {
        let proof = digests(proof);
        assert_eq!(tree.consistency(from, to), Some(proof.clone()), "{from} to {to}");
        assert!(verify_consistency(from, roots[from as usize], to, roots[to as usize], &proof));
    }
}

#[test]
fn agrees_with_an_independent_implementation() {
    let ours = tree(MANY);
    let mut edge = Frontier::new();
    for size in 1..=MANY {
        edge.push(leaf_hash(&bytes(size - 1)));
        let theirs = other(size);
        let root = theirs.root();
        let our_root = ours.root_at(size).unwrap();
        assert_eq!(our_root.0, <[u8; 32]>::from(*root.as_bytes()), "size {size}");
        assert_eq!((edge.root(), tree(size).root()), (our_root, our_root), "size {size}");
        for index in 0..size {
            let proof = ours.inclusion(index, size).unwrap();
            assert_eq!(
                concat(&proof),
                theirs.prove_inclusion(index as usize).as_bytes(),
                "{index} in {size}"
            );
            assert!(verify_inclusion(leaf_hash(&bytes(index)), index, size, our_root, &proof));
            let accepted = InclusionProof::<Sha256>::from_bytes(concat(&proof));
            root.verify_inclusion(&bytes(index), index, &accepted).unwrap();
        }
        for from in 1..size {
            let proof = ours.consistency(from, size).unwrap();
            let their_proof = theirs.prove_consistency((size - from) as usize);
            assert_eq!(concat(&proof), their_proof.as_bytes(), "{from} to {size}");
            let old = ours.root_at(from).unwrap();
            assert!(verify_consistency(from, old, size, our_root, &proof));
            let accepted = ConsistencyProof::<Sha256>::try_from_bytes(concat(&proof)).unwrap();
            root.verify_consistency(&RootHash::new(old.0.into(), from), &accepted).unwrap();
        }
    }
}

#[test]
fn refuses_every_other_proof() {
    let ours = tree(23);
    for size in 1..=ours.size() {
        let root = ours.root_at(size).unwrap();
        for index in 0..size {
            let (leaf, proof) = (leaf_hash(&bytes(index)), ours.inclusion(index, size).unwrap());
            for bad in spoilt(&proof) {
                assert!(!verify_inclusion(leaf, index, size, root, &bad), "{index} in {size}: {bad:?}");
            }
            assert!(!verify_inclusion(Digest::ZERO, index, size, root, &proof));
            assert!(!verify_inclusion(leaf, size, size, root, &proof));
            assert!((0..size).filter(|other| verify_inclusion(leaf, *other, size, root, &proof)).eq([index]));
        }
        for from in 1..=size {
            let (old, proof) = (ours.root_at(from).unwrap(), ours.consistency(from, size).unwrap());
            for bad in spoilt(&proof) {
                assert!(!verify_consistency(from, old, size, root, &bad), "{from} to {size}: {bad:?}");
            }
            assert!(!verify_consistency(from, Digest::ZERO, size, root, &proof));
            assert!(!verify_consistency(from, old, size, Digest::ZERO, &proof));
        }
    }
}

#[test]
fn the_edges_are_refused_and_not_overrun() {
    let ours = tree(5);
    assert_eq!((ours.inclusion(5, 5), ours.inclusion(0, 6), ours.inclusion(0, 0)), (None, None, None));
    assert_eq!((ours.consistency(3, 2), ours.consistency(1, 6)), (None, None));
    assert_eq!((ours.consistency(0, 5), ours.consistency(5, 5)), (Some(vec![]), Some(vec![])));
    let (root, empty) = (ours.root(), Digest::of(b""));
    assert!(verify_consistency(0, empty, 5, root, &[]) && verify_consistency(5, root, 5, root, &[]));
    assert!(!verify_consistency(0, root, 5, root, &[]) && !verify_consistency(5, root, 3, root, &[]));
    // Sizes that no tree has, with proofs that a stranger made up.
    let long = [Digest::ZERO; 70];
    for size in [u64::MAX, u64::MAX - 1, 1 << 63, (1 << 63) + 1] {
        assert!(!verify_inclusion(root, size - 1, size, root, &long));
        assert!(!verify_inclusion(root, 0, size, root, &long[..64]));
        assert!(!verify_consistency(size - 1, root, size, root, &long));
        assert!(!verify_consistency(1, root, size, root, &long));
    }
}
