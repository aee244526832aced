//! Competitions: their files in force, their heads, their files as of a log position.

use super::db::{AsEx, Bulk, Val};
use super::merkle::{Hash, Peaks};
use super::together::Found;
use super::{Store, StoreError, aside, column, instant, number, parse};
use crate::rules::competition::{self, Competition, RawCompetition};
use crate::rules::tag::Tag;
use jiff::Timestamp;
use std::collections::HashMap;
use std::sync::{Arc, Mutex};

/// A competition as it stands.
#[derive(Clone, Debug)]
pub struct Known {
    /// Number, for everything inside.
    pub id: i64,
    /// What it is called outside.
    pub slug: String,
    /// Last log position.
    pub seq: u64,
    /// Its instant.
    pub at: Timestamp,
    /// The file in force.
    pub definition: Definition,
    /// Of the log's tree at that position.
    pub peaks: Peaks,
}

/// A competition file at the log position it was applied at. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Definition {
    /// Log position.
    pub seq: u64,
    /// Leaf of the record there.
    pub leaf: Hash,
    /// As written.
    pub raw: Arc<RawCompetition>,
    /// Compiled.
    pub competition: Arc<Competition>,
    /// Of this file at this position.
    pub tag: Tag,
}

impl Definition {
    /// A file applied by the record at `seq` with this leaf.
    pub(super) fn new((seq, leaf): Place, raw: Arc<RawCompetition>, competition: Arc<Competition>) -> Self {
        Self { seq, leaf, tag: Tag::of(seq, &*raw), raw, competition }
    }
}

/// The end of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LogHead {
    /// Last log position, which is also the size of the tree.
    pub seq: u64,
    /// Its instant.
    pub at: Timestamp,
    /// Root of the tree over all records.
    pub root: [u8; 32],
}

/// How many compiled files are kept.
const KEPT: usize = 64;

/// The record that applied a file: its position and its leaf. After a failover, or in a database that was put back,
/// another file may stand at the same position.
pub(crate) type Place = (u64, Hash);

/// Compiled files by competition and record: compiling is done once.
#[derive(Default)]
pub(crate) struct Definitions(Mutex<HashMap<(i64, Place), Definition>>);

impl Definitions {
    /// The file applied by this record, compiled now if it is not known.
    pub(crate) fn get(
        &self,
        id: i64,
        at: Place,
        text: impl FnOnce() -> Result<RawCompetition, StoreError>,
    ) -> Result<Definition, StoreError> {
        if let Some(known) = self.find(id, at) {
            return Ok(known);
        }
        let (raw, compiled) = aside(|| {
            let raw = text()?;
            let compiled = competition::compile(&raw);
            Ok::<_, StoreError>((raw, compiled))
        })?;
        let compiled = compiled.map_err(|faults| {
            StoreError::unreadable("competitions", format!("{} faults in the file applied at {}", faults.len(), at.0))
        })?;
        let made = Definition::new(at, Arc::new(raw), Arc::new(compiled.value));
        self.put(id, made.clone());
        Ok(made)
    }

    pub(crate) fn find(&self, id: i64, at: Place) -> Option<Definition> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner).get(&(id, at)).cloned()
    }

    pub(crate) fn put(&self, id: i64, definition: Definition) {
        let mut kept = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if kept.len() >= KEPT {
            kept.clear();
        }
        kept.insert((id, (definition.seq, definition.leaf)), definition);
    }
}

type Row = (i64, String, i64, i64, i64, Option<Vec<u8>>, String, Vec<u8>);

/// A competition without its file.
#[derive(Clone)]
pub(crate) struct Head {
    id: i64,
    seq: u64,
    at: Timestamp,
    applied: Place,
    peaks: Peaks,
}

type HeadRow = (i64, String, i64, i64, i64, Option<Vec<u8>>, Vec<u8>);

bulk!(
    HEADS = Bulk::list(
        "SELECT id, slug, seq, at, definition_seq, (SELECT r.leaf FROM records r WHERE r.competition = competitions.id AND r.seq = definition_seq), peaks FROM competitions WHERE slug IN (",
        0,
        ")"
    )
);

impl Store {
    fn known(&self, (id, slug, seq, at, definition_seq, leaf, text, peaks): Row) -> Result<Known, StoreError> {
        let applied = place(definition_seq, leaf)?;
        let definition = self.inner.definitions.get(id, applied, || parse("competitions", &text))?;
        let seq = number("competitions", seq)?;
        Ok(Known { id, slug, seq, at: instant("competitions", at)?, definition, peaks: peaks_of(seq, &peaks)? })
    }

    /// All competitions by slug, private ones too.
    pub async fn list_competitions(&self) -> Result<Vec<Known>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row: "SELECT id, slug, seq, at, definition_seq, (SELECT r.leaf FROM records r WHERE r.competition = competitions.id AND r.seq = definition_seq), definition, peaks FROM competitions ORDER BY slug")?
            .into_iter()
            .map(|row| self.known(row))
            .collect()
    }

    /// The competition called `slug`. The text of its file is read only where that is not known yet.
    pub async fn find_competition(&self, slug: &str) -> Result<Option<Known>, StoreError> {
        let store = self.clone();
        let all = move |slugs| Self::list_competition_heads(store.clone(), slugs);
        let Some(head) = self.inner.heads.ask(slug.to_owned(), all).await? else { return Ok(None) };
        if let Some(definition) = self.inner.definitions.find(head.id, head.applied) {
            let Head { id, seq, at, peaks, .. } = head;
            return Ok(Some(Known { id, slug: slug.to_owned(), seq, at, definition, peaks }));
        }
        let mut conn = self.read().await?;
        db!(&mut conn, opt Row: "SELECT id, slug, seq, at, definition_seq, (SELECT r.leaf FROM records r WHERE r.competition = competitions.id AND r.seq = definition_seq), definition, peaks FROM competitions WHERE slug = $1", slug)?
            .map(|row| self.known(row))
            .transpose()
    }

    async fn list_competition_heads(self, slugs: Vec<String>) -> Found<String, Head> {
        let mut conn = self.read().await?;
        let members = slugs.into_iter().map(Val::Text).collect();
        let rows: Vec<HeadRow> = HEADS.read(&mut conn, &[], members).await?;
        let head = |id, seq, at, definition_seq, leaf, peaks: Vec<u8>| {
            let seq = number("competitions", seq)?;
            let (at, peaks) = (instant("competitions", at)?, peaks_of(seq, &peaks)?);
            Ok(Head { id, seq, at, applied: place(definition_seq, leaf)?, peaks })
        };
        let one = |(id, slug, seq, at, definition_seq, leaf, peaks): HeadRow| {
            (slug, head(id, seq, at, definition_seq, leaf, peaks))
        };
        Ok(rows.into_iter().map(one).collect())
    }

    /// The file applied by the record at this position with this leaf, where it was read before.
    #[must_use]
    pub fn known_definition(&self, competition: i64, at: (u64, Hash)) -> Option<Definition> {
        self.inner.definitions.find(competition, at)
    }

    /// The competition with this number.
    pub async fn find_competition_by_id(&self, id: i64) -> Result<Option<Known>, StoreError> {
        let mut conn = self.follow().await?;
        db!(&mut conn, opt Row: "SELECT id, slug, seq, at, definition_seq, (SELECT r.leaf FROM records r WHERE r.competition = competitions.id AND r.seq = definition_seq), definition, peaks FROM competitions WHERE id = $1", id)?
            .map(|row| self.known(row))
            .transpose()
    }

    /// Number, last log position and root of every competition: what a follower compares with.
    pub async fn list_heads(&self) -> Result<Vec<(i64, u64, [u8; 32])>, StoreError> {
        let mut conn = self.follow().await?;
        db!(&mut conn, all (i64, i64, Vec<u8>): "SELECT id, seq, root FROM competitions ORDER BY id")?
            .into_iter()
            .map(|(id, seq, root)| Ok((id, number("competitions", seq)?, hash(root)?)))
            .collect()
    }

    /// Number and last log position of every competition.
    pub async fn heads(&self) -> Result<Vec<(i64, u64)>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all (i64, i64): "SELECT id, seq FROM competitions ORDER BY id")?
            .into_iter()
            .map(|(id, seq)| Ok((id, number("competitions", seq)?)))
            .collect()
    }

    /// The end of a competition's log; `None`: no such competition.
    pub async fn find_head(&self, competition: i64) -> Result<Option<LogHead>, StoreError> {
        head(&mut self.read().await?, competition).await
    }

    /// The file that was in force at log position `seq`; `None`: before the first, or no such
    /// competition.
    pub async fn definition_at(&self, competition: i64, seq: u64) -> Result<Option<Definition>, StoreError> {
        let mut conn = self.read().await?;
        let row = db!(&mut conn, opt (i64, Vec<u8>, Vec<u8>):
            "SELECT seq, bytes, leaf FROM records WHERE competition = $1 AND subject = 'competition' AND seq <= $2 ORDER BY seq DESC LIMIT 1",
            competition, column(seq))?;
        let Some((at, bytes, leaf)) = row else { return Ok(None) };
        let read = || match super::log::read_record(&bytes)?.event {
            crate::rules::event::Event::Applied { definition, .. } => Ok(*definition),
            other => Err(StoreError::unreadable("records", format!("record {at} is {}, not a file", other.action()))),
        };
        self.inner.definitions.get(competition, place(at, Some(leaf))?, read).map(Some)
    }
}

/// The end of a competition's log.
pub(super) async fn head(on: &mut impl AsEx, competition: i64) -> Result<Option<LogHead>, StoreError> {
    db!(on, opt (i64, i64, Vec<u8>): "SELECT seq, at, root FROM competitions WHERE id = $1", competition)?
        .map(|(seq, at, root)| {
            Ok(LogHead { seq: number("competitions", seq)?, at: instant("competitions", at)?, root: hash(root)? })
        })
        .transpose()
}

fn peaks_of(seq: u64, bytes: &[u8]) -> Result<Peaks, StoreError> {
    Peaks::from_bytes(seq, bytes)
        .ok_or_else(|| StoreError::unreadable("competitions", "the peaks do not fit the log's size"))
}

/// The record that applied a file, as it was read.
pub(super) fn place(seq: i64, leaf: Option<Vec<u8>>) -> Result<Place, StoreError> {
    let leaf = leaf.ok_or_else(|| StoreError::unreadable("competitions", "no record applied the file in force"))?;
    Ok((number("competitions", seq)?, super::log::hash(leaf)?))
}

fn hash(root: Vec<u8>) -> Result<[u8; 32], StoreError> {
    root.try_into().map_err(|_| StoreError::unreadable("competitions", "root is not 32 bytes"))
}
