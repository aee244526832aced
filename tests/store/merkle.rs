//! The log's tree against the reference tree of RFC 6962 §2.1 and RFC 9162 §2.1 (leaves and roots as
//! used by the Certificate Transparency reference tests; proofs recomputed for these vectors), and
//! against an outside implementation.

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use proptest::prelude::*;
use serde_json::Value;
use sha2::{Digest, Sha256};
use tallywright::store::merkle::{Hash, Peaks, consistency, includes, inclusion, leaf, root};

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/merkle_rfc6962.json")).unwrap()
}

fn hash(value: &Value) -> Hash {
    hex::decode(value.as_str().unwrap()).unwrap().try_into().unwrap()
}

fn hashes(value: &Value) -> Vec<Hash> {
    value.as_array().unwrap().iter().map(hash).collect()
}

fn leaves(vectors: &Value) -> Vec<Hash> {
    let bytes = vectors["leaves_hex"].as_array().unwrap();
    bytes.iter().map(|b| leaf(&hex::decode(b.as_str().unwrap()).unwrap())).collect()
}

fn number(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}

#[test]
fn roots_of_all_sizes_are_those_of_the_reference_tree() {
    let vectors = vectors();
    let leaves = leaves(&vectors);
    let roots = hashes(&vectors["roots_by_size"]);
    assert_eq!(roots.len(), 9);
    let mut peaks = Peaks::default();
    for (size, expected) in roots.iter().enumerate() {
        assert_eq!(root(&leaves[..size]), *expected, "size {size}");
        assert_eq!(peaks.root(), *expected, "grown to {size}");
        if let Some(next) = leaves.get(size) {
            peaks.append(*next);
        }
    }
}

#[test]
fn inclusion_proofs_are_those_of_the_reference_tree_and_only_they_verify() {
    let vectors = vectors();
    let leaves = leaves(&vectors);
    let cases = vectors["inclusion"].as_array().unwrap();
    assert_eq!(cases.len(), 36);
    for case in cases {
        let (index, size) = (number(&case["index"]), number(&case["size"]));
        let proof = inclusion(&leaves[..size], index).unwrap();
        assert_eq!(proof, hashes(&case["proof"]), "leaf {index} of {size}");
        let (whole, own) = (root(&leaves[..size]), hash(&case["leaf_hash"]));
        assert_eq!(own, leaves[index]);
        let (size, index) = (size as u64, index as u64);
        assert!(includes(&whole, size, index, &own, &proof));
        assert!(!includes(&whole, size, index, &leaf(b"something else"), &proof));
        if size > 1 {
            assert!(!includes(&whole, size, (index + 1) % size, &own, &proof));
            assert!(!includes(&whole, size, index, &own, &proof[1..]));
        }
    }
}

#[test]
fn consistency_proofs_are_those_of_the_reference_tree() {
    let vectors = vectors();
    let leaves = leaves(&vectors);
    let cases = vectors["consistency"].as_array().unwrap();
    assert_eq!(cases.len(), 36);
    for case in cases {
        let (earlier, later) = (number(&case["size1"]), number(&case["size2"]));
        assert_eq!(root(&leaves[..earlier]), hash(&case["root1"]));
        assert_eq!(root(&leaves[..later]), hash(&case["root2"]));
        assert_eq!(consistency(&leaves[..later], earlier).unwrap(), hashes(&case["proof"]), "{earlier} in {later}");
    }
}

#[test]
fn there_are_no_proofs_outside_the_tree() {
    let leaves = [leaf(b"a"), leaf(b"b")];
    assert_eq!(inclusion(&leaves, 2), None);
    assert_eq!(inclusion(&[], 0), None);
    assert_eq!(consistency(&leaves, 0), None);
    assert_eq!(consistency(&leaves, 3), None);
    assert!(!includes(&root(&leaves), 2, 2, &leaves[1], &[leaves[0]]));
}

#[test]
fn peaks_read_back_only_at_their_own_size() {
    let mut peaks = Peaks::default();
    for n in 0_u8..11 {
        peaks.append(leaf(&[n]));
    }
    let bytes = peaks.to_bytes();
    assert_eq!(Peaks::from_bytes(11, &bytes), Some(peaks));
    assert_eq!(Peaks::from_bytes(12, &bytes), None);
    assert_eq!(Peaks::from_bytes(11, &bytes[1..]), None);
}

#[test]
fn the_empty_log_has_the_hash_of_nothing() {
    assert_eq!(root(&[])[..], Sha256::digest(b"")[..]);
}

proptest! {
    #[test]
    fn any_tree_is_the_one_of_an_outside_implementation(
        records in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..20), 1..80),
        at in any::<prop::sample::Index>(),
    ) {
        let leaves: Vec<Hash> = records.iter().map(|r| leaf(r)).collect();
        let mut outside = MemoryBackedTree::<Sha256, Vec<u8>>::new();
        for record in &records {
            outside.push(record.clone());
        }
        let own = root(&leaves);
        let outside_root = outside.root();
        prop_assert_eq!(&own[..], &outside_root.as_bytes()[..]);
        let at = at.index(leaves.len());
        let proof = inclusion(&leaves, at).unwrap();
        let outside_proof = outside.prove_inclusion(at);
        prop_assert_eq!(proof.concat(), outside_proof.as_bytes().to_vec());
        prop_assert!(includes(&own, leaves.len() as u64, at as u64, &leaves[at], &proof));
        let earlier = at + 1;
        let outside_proof = outside.prove_consistency(leaves.len() - earlier);
        prop_assert_eq!(consistency(&leaves, earlier).unwrap().concat(), outside_proof.as_bytes().to_vec());
    }
}
