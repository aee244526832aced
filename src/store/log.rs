//! The log: exact bytes in commit order, without gaps, as a Merkle tree ([`super::merkle`]).
//!
//! Reads only; appending is the writer's.

use super::db::AsEx;
use super::merkle::{self, Hash};
use super::{Store, StoreError, column, instant, number};
use crate::rules::access::Permit;
use crate::rules::event::Record;
use jiff::Timestamp;

/// A record as it is stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredRecord {
    /// From 1, without gaps.
    pub seq: u64,
    /// Never going back.
    pub at: Timestamp,
    /// What it is about.
    pub subject: String,
    /// The bytes that are hashed: one JSON object.
    pub bytes: Vec<u8>,
    /// Their leaf hash.
    pub leaf: Hash,
}

impl StoredRecord {
    /// The record read back from its bytes.
    pub fn record(&self) -> Result<Record, StoreError> {
        read_record(&self.bytes)
    }
}

pub(crate) fn read_record(bytes: &[u8]) -> Result<Record, StoreError> {
    serde_json::from_slice(bytes).map_err(|e| StoreError::unreadable("records", e))
}

pub(crate) type Row = (i64, i64, String, Vec<u8>, Vec<u8>);

pub(crate) fn stored((seq, at, subject, bytes, leaf): Row) -> Result<StoredRecord, StoreError> {
    Ok(StoredRecord { seq: number("records", seq)?, at: instant("records", at)?, subject, bytes, leaf: hash(leaf)? })
}

pub(super) fn hash(bytes: Vec<u8>) -> Result<Hash, StoreError> {
    bytes.try_into().map_err(|_| StoreError::unreadable("records", "a leaf hash is not 32 bytes"))
}

/// The leaf hash of the record at this position; `None`: the log is shorter.
pub(super) async fn leaf_at(on: &mut impl AsEx, competition: i64, seq: u64) -> Result<Option<Hash>, StoreError> {
    db!(on, optval Vec<u8>: "SELECT leaf FROM records WHERE competition = $1 AND seq = $2", competition, column(seq))?
        .map(hash)
        .transpose()
}

/// Bytes of records in one page: most are of some hundreds, one that applies a file may be of millions.
pub const PAGE_BYTES: i64 = 4 << 20;

/// That a record is in the log: hashes that lead from its leaf to the root.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// Position, from 1 (the tree counts from 0).
    pub seq: u64,
    /// How many records the root is over.
    pub size: u64,
    /// The record's leaf hash.
    pub leaf: Hash,
    /// Nearest first.
    pub path: Vec<Hash>,
    /// Of the tree.
    pub root: Hash,
}

impl Store {
    /// Records after `after`, oldest first: at most `limit`, and as many as make up [`PAGE_BYTES`], but one in any case.
    pub async fn list_records(
        &self,
        _permit: &Permit,
        competition: i64,
        after: u64,
        limit: u32,
    ) -> Result<Vec<StoredRecord>, StoreError> {
        self.records_after(competition, after, limit).await
    }

    /// As many as fit into a page: so many, and so many bytes, but the first in any case.
    pub(crate) async fn records_after(
        &self,
        competition: i64,
        after: u64,
        limit: u32,
    ) -> Result<Vec<StoredRecord>, StoreError> {
        let mut conn = self.read().await?;
        let sizes = db!(&mut conn, all (i64, i64):
            "SELECT seq, CAST(LENGTH(bytes) AS BIGINT) FROM records WHERE competition = $1 AND seq > $2 ORDER BY seq LIMIT $3",
            competition, column(after), i64::from(limit))?;
        let mut bytes = 0;
        let fits = |(n, (_, size)): &(usize, &(i64, i64))| {
            bytes += size;
            *n == 0 || bytes <= PAGE_BYTES
        };
        let Some((_, &(upto, _))) = sizes.iter().enumerate().take_while(fits).last() else { return Ok(Vec::new()) };
        db!(&mut conn, all Row:
            "SELECT seq, at, subject, bytes, leaf FROM records WHERE competition = $1 AND seq > $2 AND seq <= $3 ORDER BY seq",
            competition, column(after), upto)?
        .into_iter()
        .map(stored)
        .collect()
    }

    /// The history of one subject (`score/w1/1042`, `entry/1042`, `gym/quayside`), oldest first.
    pub async fn list_history(
        &self,
        competition: i64,
        subject: &str,
        after: u64,
        limit: u32,
    ) -> Result<Vec<StoredRecord>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT seq, at, subject, bytes, leaf FROM records WHERE competition = $1 AND subject = $2 AND seq > $3 ORDER BY seq LIMIT $4",
            competition, subject, column(after), i64::from(limit))?
        .into_iter()
        .map(stored)
        .collect()
    }

    /// The last that happened to one subject, newest first.
    pub async fn list_last(
        &self,
        competition: i64,
        subject: &str,
        limit: u32,
    ) -> Result<Vec<StoredRecord>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT seq, at, subject, bytes, leaf FROM records WHERE competition = $1 AND subject = $2 ORDER BY seq DESC LIMIT $3",
            competition, subject, i64::from(limit))?
        .into_iter()
        .map(stored)
        .collect()
    }

    /// Rulings before log position `before` (`None`: from the end), newest first.
    pub async fn list_rulings(
        &self,
        competition: i64,
        before: Option<u64>,
        limit: u32,
    ) -> Result<Vec<StoredRecord>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT seq, at, subject, bytes, leaf FROM records WHERE competition = $1 AND action = 'ruled' AND seq < $2 ORDER BY seq DESC LIMIT $3",
            competition, before.map_or(i64::MAX, column), i64::from(limit))?
        .into_iter()
        .map(stored)
        .collect()
    }

    /// That record `seq` is in the log of the first `size` records; `None`: there is no such
    /// record or size. Reads 32 bytes a record.
    pub async fn find_proof(&self, competition: i64, seq: u64, size: u64) -> Result<Option<Proof>, StoreError> {
        let leaves = self.leaves(competition, size).await?;
        if leaves.len() as u64 != size || seq == 0 || seq > size {
            return Ok(None);
        }
        let Ok(index) = usize::try_from(seq - 1) else { return Ok(None) };
        let (Some(path), Some(&leaf)) = (merkle::inclusion(&leaves, index), leaves.get(index)) else { return Ok(None) };
        Ok(Some(Proof { seq, size, leaf, path, root: merkle::root(&leaves) }))
    }

    /// When a record was appended; `None`: there is no such record.
    pub async fn find_instant(&self, competition: i64, seq: u64) -> Result<Option<Timestamp>, StoreError> {
        let mut conn = self.follow().await?;
        db!(&mut conn, optval i64: "SELECT at FROM records WHERE competition = $1 AND seq = $2", competition, column(seq))?
            .map(|at| instant("records", at))
            .transpose()
    }

    /// The leaf hash of the record at a position, for who reads; `None`: the log is shorter.
    pub async fn find_leaf(&self, competition: i64, seq: u64) -> Result<Option<Hash>, StoreError> {
        leaf_at(&mut self.read().await?, competition, seq).await
    }

    /// Leaf hashes of the records after `after`, up to `upto`, for who follows.
    pub async fn leaves_between(&self, competition: i64, after: u64, upto: u64) -> Result<Vec<Hash>, StoreError> {
        let mut conn = self.follow().await?;
        db!(&mut conn, vals Vec<u8>: "SELECT leaf FROM records WHERE competition = $1 AND seq > $2 AND seq <= $3 ORDER BY seq",
            competition, column(after), column(upto))?
        .into_iter()
        .map(hash)
        .collect()
    }

    /// Leaf hashes of the first `size` records.
    pub(crate) async fn leaves(&self, competition: i64, size: u64) -> Result<Vec<Hash>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, vals Vec<u8>: "SELECT leaf FROM records WHERE competition = $1 AND seq <= $2 ORDER BY seq", competition, column(size))?
            .into_iter()
            .map(hash)
            .collect()
    }
}
