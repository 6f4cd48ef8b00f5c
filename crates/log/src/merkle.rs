//! The Merkle tree of RFC 6962 over the stored bytes of entries: one root that stands for every entry before it.
//!
//! Only leaf hashes are kept, so that a start fills a tree from a store without reading the entries again.

use sha2::{Digest as _, Sha256};

use crate::digest::Digest;

/// Prefixes that keep a leaf from being passed off as an inner node (RFC 6962, section 2.1).
const LEAF: [u8; 1] = [0];
const NODE: [u8; 1] = [1];

/// The hash of the leaf that `bytes`, the stored bytes of an entry, make.
#[must_use]
pub fn leaf_hash(bytes: &[u8]) -> Digest {
    Digest(Sha256::new().chain_update(LEAF).chain_update(bytes).finalize().into())
}

/// The whole tree in memory: 64 bytes per leaf, and every root and proof in a logarithmic number of hashes.
#[derive(Clone, Debug, Default)]
pub struct Tree {
    /// Row `k` holds the hashes of the complete subtrees of 2^k leaves, from the left.
    rows: Vec<Vec<Digest>>,
}

impl Tree {
    /// A tree without leaves.
    #[must_use]
    pub fn new() -> Tree {
        Tree::default()
    }

    /// Adds a leaf by its hash; see [`leaf_hash`].
    pub fn push(&mut self, leaf: Digest) {
        let mut complete = leaf;
        for row in &mut self.rows {
            row.push(complete);
            match row.as_slice() {
                [.., left, right] if row.len().is_multiple_of(2) => complete = node_hash(*left, *right),
                _ => return,
            }
        }
        self.rows.push(vec![complete]);
    }

    /// How many leaves there are.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.rows.first().map_or(0, Vec::len) as u64
    }

    /// The hash of the leaf at `index`, from 0.
    #[must_use]
    pub fn leaf(&self, index: u64) -> Option<Digest> {
        self.complete(0, index)
    }

    /// The root over all leaves; of an empty tree the SHA-256 of nothing.
    #[must_use]
    pub fn root(&self) -> Digest {
        self.range(0, self.size()).unwrap_or_else(empty_root)
    }

    /// The root over the first `size` leaves, if there are as many.
    #[must_use]
    pub fn root_at(&self, size: u64) -> Option<Digest> {
        if size == 0 { Some(empty_root()) } else { self.range(0, size) }
    }

    /// The proof that the leaf at `index` is in the tree of the first `size` leaves (RFC 6962, section 2.1.1).
    #[must_use]
    pub fn inclusion(&self, index: u64, size: u64) -> Option<Vec<Digest>> {
        if index >= size || size > self.size() {
            return None;
        }
        let mut proof = Vec::new();
        let (mut begin, mut end) = (0, size);
        while end - begin > 1 {
            let middle = begin + left_leaves(end - begin);
            let sibling = if index < middle { (middle, end) } else { (begin, middle) };
            proof.push(self.range(sibling.0, sibling.1)?);
            (begin, end) = if index < middle { (begin, middle) } else { (middle, end) };
        }
        proof.reverse();
        Some(proof)
    }

    /// The proof that the first `from` leaves are the beginning of the first `to` (RFC 6962, section 2.1.2). It is empty
    /// for equal sizes, and for no leaves at all, which begin everything.
    #[must_use]
    pub fn consistency(&self, from: u64, to: u64) -> Option<Vec<Digest>> {
        if from > to || to > self.size() {
            return None;
        }
        let mut proof = Vec::new();
        if from == 0 || from == to {
            return Some(proof);
        }
        let (mut begin, mut end) = (0, to);
        while end != from {
            let middle = begin + left_leaves(end - begin);
            if from <= middle {
                proof.push(self.range(middle, end)?);
                end = middle;
            } else {
                proof.push(self.range(begin, middle)?);
                begin = middle;
            }
        }
        // A verifier holds the old root already; below it the proof must name the subtree that both trees share.
        if begin != 0 {
            proof.push(self.range(begin, end)?);
        }
        proof.reverse();
        Some(proof)
    }

    /// The hash over the leaves from `begin` to `end`, a range as the recursion of RFC 6962 cuts it.
    fn range(&self, begin: u64, end: u64) -> Option<Digest> {
        let leaves = end.checked_sub(begin).filter(|leaves| *leaves > 0)?;
        if leaves.is_power_of_two() {
            let row = leaves.trailing_zeros();
            return self.complete(row as usize, begin >> row);
        }
        let middle = begin + left_leaves(leaves);
        Some(node_hash(self.range(begin, middle)?, self.range(middle, end)?))
    }

    fn complete(&self, row: usize, place: u64) -> Option<Digest> {
        self.rows.get(row)?.get(usize::try_from(place).ok()?).copied()
    }
}

impl Extend<Digest> for Tree {
    fn extend<I: IntoIterator<Item = Digest>>(&mut self, leaves: I) {
        leaves.into_iter().for_each(|leaf| self.push(leaf));
    }
}

impl FromIterator<Digest> for Tree {
    fn from_iter<I: IntoIterator<Item = Digest>>(leaves: I) -> Tree {
        let mut tree = Tree::new();
        tree.extend(leaves);
        tree
    }
}

/// The right edge of a tree: enough to go on adding leaves and to tell the root, in memory that does not grow with them.
#[derive(Clone, Debug, Default)]
pub struct Frontier {
    size: u64,
    /// The roots of the complete subtrees that the leaves so far make, the largest first.
    complete: Vec<Digest>,
}

impl Frontier {
    /// The edge of a tree without leaves.
    #[must_use]
    pub fn new() -> Frontier {
        Frontier::default()
    }

    /// Adds a leaf by its hash; see [`leaf_hash`].
    pub fn push(&mut self, leaf: Digest) {
        let mut complete = leaf;
        for _ in 0..self.size.trailing_ones() {
            let Some(left) = self.complete.pop() else { break };
            complete = node_hash(left, complete);
        }
        self.complete.push(complete);
        self.size += 1;
    }

    /// How many leaves there are.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.size
    }

    /// The root over all leaves; of an empty tree the SHA-256 of nothing.
    #[must_use]
    pub fn root(&self) -> Digest {
        let right_to_left = self.complete.iter().rev().copied();
        right_to_left.reduce(|right, left| node_hash(left, right)).unwrap_or_else(empty_root)
    }
}

/// Whether `proof` shows that `leaf` stands at `index` in the tree of `size` leaves with `root` (RFC 9162, section
/// 2.1.3.2).
#[must_use]
pub fn verify_inclusion(leaf: Digest, index: u64, size: u64, root: Digest, proof: &[Digest]) -> bool {
    if index >= size {
        return false;
    }
    let (mut place, mut last, mut hash) = (index, size - 1, leaf);
    for sibling in proof {
        if last == 0 {
            return false;
        }
        if place & 1 == 1 || place == last {
            hash = node_hash(*sibling, hash);
            let skipped = if place & 1 == 1 { 0 } else { place.trailing_zeros() };
            (place, last) = (place >> skipped, last >> skipped);
        } else {
            hash = node_hash(hash, *sibling);
        }
        (place, last) = (place >> 1, last >> 1);
    }
    last == 0 && hash == root
}

/// Whether `proof` shows that the tree of `from` leaves with `from_root` is the beginning of the tree of `to` leaves with
/// `to_root` (RFC 9162, section 2.1.4.2).
#[must_use]
pub fn verify_consistency(from: u64, from_root: Digest, to: u64, to_root: Digest, proof: &[Digest]) -> bool {
    if from == to {
        return proof.is_empty() && from_root == to_root;
    }
    if from == 0 {
        return proof.is_empty() && from_root == empty_root();
    }
    if from > to {
        return false;
    }
    // A tree of 2^k leaves is itself the subtree that both share, and is then left out of the proof.
    let (shared, rest) = match proof {
        rest if from.is_power_of_two() => (from_root, rest),
        [shared, rest @ ..] => (*shared, rest),
        [] => return false,
    };
    let skipped = (from - 1).trailing_ones();
    let (mut place, mut last) = ((from - 1) >> skipped, (to - 1) >> skipped);
    let (mut old, mut new) = (shared, shared);
    for sibling in rest {
        if last == 0 {
            return false;
        }
        if place & 1 == 1 || place == last {
            (old, new) = (node_hash(*sibling, old), node_hash(*sibling, new));
            let skipped = if place & 1 == 1 { 0 } else { place.trailing_zeros() };
            (place, last) = (place >> skipped, last >> skipped);
        } else {
            new = node_hash(new, *sibling);
        }
        (place, last) = (place >> 1, last >> 1);
    }
    last == 0 && old == from_root && new == to_root
}

fn node_hash(left: Digest, right: Digest) -> Digest {
    Digest(Sha256::new().chain_update(NODE).chain_update(left.0).chain_update(right.0).finalize().into())
}

fn empty_root() -> Digest {
    Digest::of(b"")
}

/// Leaves of the left subtree: the largest power of two smaller than `leaves`, which are at least two.
fn left_leaves(leaves: u64) -> u64 {
    1 << (leaves - 1).ilog2()
}

#[cfg(test)]
mod tests;
