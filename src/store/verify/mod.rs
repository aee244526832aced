//! Works everything out again from the log, and names the first difference.
//!
//! The log first ([`Walk`]): no gaps, instants that never go back, bytes that have their hashes, a
//! tree with the root that the head says. Then what it comes to, folded into an empty ledger by the
//! code that the writer uses, against every row of every table ([`tables`]); last the facts that
//! stand apart, against their commitments ([`apart`]). Accounts, sessions and tokens have no log.

mod apart;
mod tables;

use super::db::Tx;
use super::merkle::{self, Peaks};
use super::{Store, StoreError, column, number, parse};
use crate::rules::competition::RawCompetition;
use crate::rules::event::{Event, Record};
use crate::rules::ledger::Ledger;
use crate::rules::placement::{Change, Placement};
use crate::words::Sentence;

/// Records read at once.
const CHUNK: i64 = 1_000;

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verified {
    /// Competition slug.
    pub competition: String,
    /// How many records.
    pub records: u64,
    /// Root of the tree over them, in hex.
    pub root: String,
    /// The first difference; `None`: all is well.
    pub difference: Option<Sentence>,
}

/// The first difference ends everything.
enum Stop {
    Difference(Sentence),
    Error(StoreError),
}

impl<E: Into<StoreError>> From<E> for Stop {
    fn from(error: E) -> Self {
        Self::Error(error.into())
    }
}

fn differ<T>(sentence: Sentence) -> Result<T, Stop> {
    Err(Stop::Difference(sentence))
}

impl Store {
    /// Verifies one competition, or all, in one snapshot of the database: writers go on meanwhile.
    /// An unknown slug gives nothing.
    pub async fn verify(&self, competition: Option<&str>) -> Result<Vec<Verified>, StoreError> {
        let mut tx = self.snapshot().await?;
        let all = verify(&mut tx, competition).await?;
        tx.rollback().await?;
        Ok(all)
    }
}

/// The same, as this transaction sees the database.
pub(crate) async fn verify(tx: &mut Tx, competition: Option<&str>) -> Result<Vec<Verified>, StoreError> {
    let known = db!(&mut *tx, all (i64, String):
        "SELECT id, slug FROM competitions WHERE CAST($1 AS TEXT) IS NULL OR slug = $1 ORDER BY slug", competition)?;
    let mut all = Vec::with_capacity(known.len());
    for (id, slug) in known {
        let mut walk = Walk::new(id);
        let difference = match walk.everything(tx).await {
            Ok(()) => None,
            Err(Stop::Difference(sentence)) => Some(sentence),
            Err(Stop::Error(error)) => return Err(error),
        };
        let root = hex::encode(walk.peaks.root());
        all.push(Verified { competition: slug, records: walk.peaks.size(), root, difference });
    }
    Ok(all)
}

/// A walk along one log.
struct Walk {
    id: i64,
    at: i64,
    ledger: Ledger,
    peaks: Peaks,
    apart: apart::Apart,
}

type Row = (i64, i64, String, String, Vec<u8>, Vec<u8>);
type HeadRow = (String, String, i64, i64, i64, i64, i64, i64, Vec<u8>, Vec<u8>);

impl Walk {
    fn new(id: i64) -> Self {
        let (ledger, peaks, apart) = (Ledger::default(), Peaks::default(), apart::Apart::default());
        Self { id, at: i64::MIN, ledger, peaks, apart }
    }

    async fn everything(&mut self, tx: &mut Tx) -> Result<(), Stop> {
        self.log(tx).await?;
        self.head(tx).await?;
        tables::compare(tx, self.id, &self.ledger).await?;
        self.apart.compare(tx, self.id, &self.ledger).await
    }

    async fn log(&mut self, tx: &mut Tx) -> Result<(), Stop> {
        loop {
            // From below the first on: nothing stands before it unseen.
            let after = if self.peaks.size() == 0 { i64::MIN } else { column(self.peaks.size()) };
            let rows = db!(&mut *tx, all Row:
                "SELECT seq, at, action, subject, bytes, leaf FROM records WHERE competition = $1 AND seq > $2 ORDER BY seq LIMIT $3",
                self.id, after, CHUNK)?;
            if rows.is_empty() {
                return tables::placements(tx, self.id, after, i64::MAX, &[]).await;
            }
            let mut placements = Vec::new();
            for row in rows {
                placements.extend(self.record(row)?);
            }
            placements.sort_by(|a, b| place_order(a).cmp(&place_order(b)));
            tables::placements(tx, self.id, after, column(self.peaks.size()), &placements).await?;
        }
    }

    /// One record: as a row, as bytes, and what it does.
    fn record(&mut self, (seq, at, action, subject, bytes, leaf): Row) -> Result<Vec<Placement>, Stop> {
        let expected = self.peaks.size() + 1;
        if seq != column(expected) {
            return differ(Sentence::new("log_gap").with("seq", expected).with("found", seq));
        }
        let hash = merkle::leaf(&bytes);
        if hash.as_slice() != leaf.as_slice() {
            return differ(Sentence::new("log_leaf").with("seq", seq));
        }
        let record: Record = match serde_json::from_slice(&bytes) {
            Ok(record) => record,
            Err(why) => return differ(Sentence::new("log_unreadable").with("seq", seq).with("why", why)),
        };
        let unlike = [
            ("position", record.seq != expected),
            ("instant", record.at.as_microsecond() != at),
            ("action", record.event.action() != action),
            ("subject", record.subject != subject || record.event.subject() != subject),
        ];
        if let Some((what, _)) = unlike.iter().find(|(_, unlike)| *unlike) {
            return differ(Sentence::new("log_unlike").with("seq", seq).with("what", what));
        }
        if at < self.at {
            return differ(Sentence::new("log_goes_back").with("seq", seq));
        }
        self.at = at;
        self.peaks.append(hash);
        self.apart.note(&record.event);
        let placements = self.ledger.fold(&record).placements;
        if let Event::Applied { definition, .. } = &record.event
            && self.ledger.definition.as_ref().is_none_or(|(raw, _)| **raw != **definition)
        {
            return differ(Sentence::new("log_file_refused").with("seq", seq));
        }
        Ok(placements)
    }

    /// The head row against what the log comes to.
    async fn head(&self, tx: &mut Tx) -> Result<(), Stop> {
        let (slug, definition, definition_seq, seq, at, bib, person, note, peaks, root) = db!(&mut *tx, opt HeadRow:
            "SELECT slug, definition, definition_seq, seq, at, last_bib, last_person, last_note, peaks, root FROM competitions WHERE id = $1",
            self.id)?
        .ok_or(StoreError::Database(sqlx::Error::RowNotFound))?;
        let head = &self.ledger.head;
        let counters = [
            ("last record", seq, column(head.seq)),
            ("instant", at, head.at),
            ("highest bib", bib, head.last_bib.into()),
            ("highest person", person, column(head.last_person)),
            ("highest note", note, column(head.last_note)),
            ("record of the file in force", definition_seq, column(self.ledger.definition_seq)),
        ];
        for (what, found, expected) in counters {
            if found != expected {
                let sentence =
                    Sentence::new("log_head").with("what", what).with("found", found).with("expected", expected);
                return differ(sentence);
            }
        }
        let as_kept = Peaks::from_bytes(number("competitions", seq)?, &peaks);
        if as_kept.as_ref() != Some(&self.peaks) || root != self.peaks.root() {
            return differ(Sentence::new("log_root"));
        }
        let unlike = |column| {
            Sentence::new("table_row_differs").with("table", "competitions").with("key", self.id).with("column", column)
        };
        let file = parse::<RawCompetition>("competitions", &definition).ok();
        if file.as_ref() != self.ledger.definition.as_ref().map(|(raw, _)| raw.as_ref()) {
            return differ(unlike("definition"));
        }
        if file.is_none_or(|file| file.competition.slug != slug) {
            return differ(unlike("slug"));
        }
        Ok(())
    }
}

/// As the table has them in order: position, bib, workout (the entry's own facts: empty).
fn place_order(placement: &Placement) -> (u64, u32, &str) {
    let workout = match &placement.change {
        Change::Entry { .. } => "",
        Change::Score { workout, .. } => workout,
    };
    (placement.seq, placement.bib, workout)
}
