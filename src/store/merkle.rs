//! The Merkle tree of RFC 9162 §2.1 over a log's records: SHA-256, a leaf is hashed with the prefix
//! 0x00 and a node with 0x01, so that neither can be taken for the other.
//!
//! Pure. [`Peaks`] is all that an append needs: the roots of the perfect subtrees, largest first.

use sha2::{Digest, Sha256};

/// SHA-256.
pub type Hash = [u8; 32];

/// The leaf hash of a record's bytes.
#[must_use]
pub fn leaf(bytes: &[u8]) -> Hash {
    Sha256::new().chain_update([0]).chain_update(bytes).finalize().into()
}

/// The hash of an inner node.
#[must_use]
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update([1]).chain_update(left).chain_update(right).finalize().into()
}

/// A tree as far as appending needs it: the roots of its perfect subtrees, one for each bit of its
/// size, largest first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Peaks {
    size: u64,
    hashes: Vec<Hash>,
}

impl Peaks {
    /// Back from [`Peaks::to_bytes`]; `None` where the number of bytes does not fit the size.
    #[must_use]
    pub fn from_bytes(size: u64, bytes: &[u8]) -> Option<Self> {
        let (hashes, rest) = bytes.as_chunks::<32>();
        (rest.is_empty() && hashes.len() == size.count_ones() as usize).then(|| Self { size, hashes: hashes.to_vec() })
    }

    /// 32 bytes a peak.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        self.hashes.concat()
    }

    /// How many leaves.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Adds a leaf hash at the end: as many joins as the size has trailing ones.
    pub fn append(&mut self, leaf: Hash) {
        let mut hash = leaf;
        for _ in 0..self.size.trailing_ones() {
            if let Some(left) = self.hashes.pop() {
                hash = node(&left, &hash);
            }
        }
        self.hashes.push(hash);
        self.size += 1;
    }

    /// The root: the peaks joined from the smallest up; of an empty tree the hash of nothing.
    #[must_use]
    pub fn root(&self) -> Hash {
        let mut peaks = self.hashes.iter().rev();
        let Some(&smallest) = peaks.next() else {
            return Sha256::digest([]).into();
        };
        peaks.fold(smallest, |right, left| node(left, &right))
    }
}

/// The root over `leaves`.
#[must_use]
pub fn root(leaves: &[Hash]) -> Hash {
    let mut peaks = Peaks::default();
    for leaf in leaves {
        peaks.append(*leaf);
    }
    peaks.root()
}

/// Where a tree of `n` ≥ 2 leaves splits: the largest power of two below `n`.
fn split(n: usize) -> usize {
    1 << (n - 1).ilog2()
}

/// RFC 9162 §2.1.3.1: the hashes that lead from leaf `index` to the root over `leaves`, nearest
/// first; `None` where there is no such leaf.
#[must_use]
pub fn inclusion(leaves: &[Hash], index: usize) -> Option<Vec<Hash>> {
    if index >= leaves.len() {
        return None;
    }
    let (mut leaves, mut index) = (leaves, index);
    let mut path = Vec::new();
    while leaves.len() > 1 {
        let (left, right) = leaves.split_at(split(leaves.len()));
        if index < left.len() {
            path.push(root(right));
            leaves = left;
        } else {
            path.push(root(left));
            index -= left.len();
            leaves = right;
        }
    }
    path.reverse();
    Some(path)
}

/// RFC 9162 §2.1.3.2: whether `proof` leads from leaf `index` to `root` over `size` leaves.
#[must_use]
pub fn includes(root: &Hash, size: u64, index: u64, leaf: &Hash, proof: &[Hash]) -> bool {
    if index >= size {
        return false;
    }
    let (mut fnode, mut snode, mut hash) = (index, size - 1, *leaf);
    for step in proof {
        if snode == 0 {
            return false;
        }
        if fnode & 1 == 1 || fnode == snode {
            hash = node(step, &hash);
            while fnode & 1 == 0 && fnode != 0 {
                fnode >>= 1;
                snode >>= 1;
            }
        } else {
            hash = node(&hash, step);
        }
        fnode >>= 1;
        snode >>= 1;
    }
    snode == 0 && hash == *root
}

/// RFC 9162 §2.1.4.1: that the tree over the first `earlier` leaves is the beginning of the tree
/// over all; `None` unless 0 < `earlier` ≤ their number.
#[must_use]
pub fn consistency(leaves: &[Hash], earlier: usize) -> Option<Vec<Hash>> {
    if earlier == 0 || earlier > leaves.len() {
        return None;
    }
    let (mut leaves, mut earlier, mut whole) = (leaves, earlier, true);
    let mut path = Vec::new();
    while earlier != leaves.len() {
        let k = split(leaves.len());
        let (left, right) = leaves.split_at(k);
        if earlier <= k {
            path.push(root(right));
            leaves = left;
        } else {
            path.push(root(left));
            leaves = right;
            earlier -= k;
            whole = false;
        }
    }
    if !whole {
        path.push(root(leaves));
    }
    path.reverse();
    Some(path)
}
