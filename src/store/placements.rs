//! Placements: what each change did to the places. The board loads and follows them.
//!
//! Millions of rows are read when a service starts: the database puts a block of them into one
//! text, which costs a fraction of a row each; two blocks are on their way at a time.

use super::{Store, StoreError, column};
use crate::rules::life::State;
use crate::rules::order::Key;
use crate::rules::people::EntryState;
use crate::rules::placement::{Change, Placement};
use futures_util::{FutureExt, Stream, StreamExt, stream};
use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::{Error, StrDeserializer};
use std::time::Duration;

/// Records whose rows are read at once.
const BLOCK: u64 = 4_096;
/// Blocks that are on their way.
const AHEAD: usize = 2;
/// How long one may take: a connection on a dead network would keep it for ever.
const PATIENCE: Duration = Duration::from_secs(30);

/// Rows of neighbouring records.
#[derive(Debug)]
pub struct Block {
    /// All rows up to here are known with it.
    pub upto: u64,
    /// In log order.
    pub placements: Vec<Placement>,
}

/// Between the columns of a row; a line break is between rows. Neither can stand in a line of text
/// ([`crate::rules::people::check_line`]).
const UNIT: char = '\u{1f}';

/// The columns of a row, as they are written one after the other.
struct Columns<'a>(std::str::Split<'a, char>);

impl<'a> Columns<'a> {
    fn text(&mut self) -> Result<&'a str, StoreError> {
        self.0.next().ok_or_else(|| StoreError::unreadable("placements", "a column is missing"))
    }

    fn number<T: std::str::FromStr>(&mut self) -> Result<T, StoreError> {
        let text = self.text()?;
        text.parse().map_err(|_| StoreError::unreadable("placements", format!("{text} is out of range")))
    }

    fn word<T: Deserialize<'a>>(&mut self) -> Result<T, StoreError> {
        let word: StrDeserializer<'_, Error> = self.text()?.into_deserializer();
        T::deserialize(word).map_err(|e| StoreError::unreadable("placements", e))
    }
}

/// Reads what [`Store::block`] has written.
fn placement(row: &str) -> Result<Placement, StoreError> {
    let mut columns = Columns(row.split(UNIT));
    let (seq, bib) = (columns.number()?, columns.number()?);
    let change = match columns.text()? {
        "" => Change::Entry {
            division: columns.text()?.to_owned(),
            gym: Some(columns.text()?).filter(|gym| !gym.is_empty()).map(str::to_owned),
            country: columns.text()?.to_owned(),
            region: columns.text()?.to_owned(),
            state: columns.word::<EntryState>()?,
        },
        workout => Change::Score {
            workout: workout.to_owned(),
            attempt: columns.number()?,
            key: match columns.text()? {
                "" => None,
                key => Some(Key(key.parse().map_err(|_| StoreError::unreadable("placements", key))?)),
            },
            level: columns.number()?,
            text: columns.text()?.to_owned(),
            state: columns.word::<State>()?,
        },
    };
    Ok(Placement { seq, bib, change })
}

impl Store {
    /// All rows after log position `after` up to `upto`, in log order, block by block. Rows that are
    /// there never change, so that no snapshot is needed.
    pub fn placements(
        &self,
        competition: i64,
        after: u64,
        upto: u64,
    ) -> impl Stream<Item = Result<Block, StoreError>> + Send + use<'_> {
        let begins = (after..upto).step_by(usize::try_from(BLOCK).unwrap_or(usize::MAX));
        stream::iter(begins)
            .map(move |begin| {
                let block = self.block(competition, begin, upto.min(begin.saturating_add(BLOCK)));
                tokio::time::timeout(PATIENCE, block).map(|read| read.unwrap_or(Err(StoreError::Late)))
            })
            .buffered(AHEAD)
    }

    async fn block(&self, competition: i64, after: u64, upto: u64) -> Result<Block, StoreError> {
        let mut conn = self.follow().await?;
        let text = db!(&mut conn, val Option<String>:
            "SELECT string_agg(COALESCE(CAST(seq AS TEXT) || '\u{1f}' || CAST(bib AS TEXT) || '\u{1f}' || workout || '\u{1f}' ||
               CASE WHEN workout = '' THEN division || '\u{1f}' || COALESCE(gym, '') || '\u{1f}' || country || '\u{1f}' || region
               ELSE CAST(attempt AS TEXT) || '\u{1f}' || COALESCE(CAST(key AS TEXT), '') || '\u{1f}' || CAST(level AS TEXT) || '\u{1f}' || text END
               || '\u{1f}' || state, '?'), '\n')
             FROM placements WHERE competition = $1 AND seq > $2 AND seq <= $3",
            competition, column(after), column(upto))?;
        drop(conn);
        let rows = text.as_deref().unwrap_or_default().split('\n').filter(|row| !row.is_empty());
        let mut placements: Vec<Placement> = rows.map(placement).collect::<Result<_, _>>()?;
        // The engines read along the key, though neither promises to.
        placements.sort_by_key(|placement| placement.seq);
        Ok(Block { upto, placements })
    }
}
