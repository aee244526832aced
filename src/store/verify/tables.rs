//! Every row of every table of a competition against the ledger that its log comes to.
//!
//! Both sides are made rows of values; a JSON body is read and written again first, so that only
//! what it means is compared.

use super::{Stop, differ};
use crate::rules::event::Extension;
use crate::rules::ledger::Ledger;
use crate::rules::life::Attempt;
use crate::rules::people::{Entry, Gym, Judge};
use crate::rules::placement::Placement;
use crate::store::db::{Tx, Val};
use crate::store::{json, save};
use crate::words::Sentence;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Scores read at once.
const CHUNK: i64 = 1_000;

/// What a table is, for the sentence: its name, how many of its columns are the key, and the names
/// of all its columns after the competition's.
struct Table {
    name: &'static str,
    key: usize,
    columns: &'static [&'static str],
}

const GYMS: Table = Table { name: "gyms", key: 1, columns: &["slug", "body"] };
const ENTRIES: Table =
    Table { name: "entries", key: 1, columns: &["bib", "division", "gym", "state", "show_name", "person", "body"] };
const JUDGES: Table = Table { name: "judges", key: 1, columns: &["code", "gym", "person", "body"] };
const SCORES: Table = Table {
    name: "scores",
    key: 3,
    columns: &[
        "bib",
        "workout",
        "attempt",
        "etag",
        "state",
        "placed",
        "key",
        "level",
        "division",
        "entry_gym",
        "gym",
        "sheet",
        "judge",
        "performed_at",
        "grams",
        "waits",
        "body",
    ],
};
const STATEMENTS: Table = Table { name: "not_taking_part", key: 2, columns: &["bib", "workout"] };
const EXTENSIONS: Table = Table { name: "extensions", key: 1, columns: &["n", "body"] };
const PLACEMENTS: Table = Table {
    name: "placements",
    key: 3,
    columns: &[
        "seq", "bib", "workout", "attempt", "key", "level", "state", "text", "division", "gym", "country", "region",
    ],
};

/// All tables but the log's own and those apart.
pub(super) async fn compare(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    gyms(tx, id, ledger).await?;
    entries(tx, id, ledger).await?;
    judges(tx, id, ledger).await?;
    scores(tx, id, ledger).await?;
    statements(tx, id, ledger).await?;
    extensions(tx, id, ledger).await
}

async fn gyms(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    let rows =
        db!(&mut *tx, all (String, String): "SELECT slug, body FROM gyms WHERE competition = $1 ORDER BY slug", id)?;
    let found = rows.into_iter().map(|(slug, body)| vec![Val::Text(slug), again::<Gym>(body)]);
    pairwise(&GYMS, ledger.gyms.values().map(|gym| save::gym_row(id, gym)), found)
}

async fn entries(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    type Row = (i64, String, Option<String>, String, bool, i64, String);
    let rows = db!(&mut *tx, all Row:
        "SELECT bib, division, gym, state, show_name, person, body FROM entries WHERE competition = $1 ORDER BY bib", id)?;
    let found = rows.into_iter().map(|(bib, division, gym, state, show_name, person, body)| {
        vec![
            Val::Int(bib),
            Val::Text(division),
            Val::MaybeText(gym),
            Val::Text(state),
            Val::Bool(show_name),
            Val::Int(person),
            again::<Entry>(body),
        ]
    });
    pairwise(&ENTRIES, ledger.entries.values().map(|entry| save::entry_row(id, entry)), found)
}

async fn judges(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    type Row = (String, Option<String>, i64, String);
    let rows =
        db!(&mut *tx, all Row: "SELECT code, gym, person, body FROM judges WHERE competition = $1 ORDER BY code", id)?;
    let found = rows.into_iter().map(|(code, gym, person, body)| {
        vec![Val::Text(code), Val::MaybeText(gym), Val::Int(person), again::<Judge>(body)]
    });
    pairwise(&JUDGES, ledger.judges.values().map(|judge| save::judge_row(id, judge)), found)
}

#[derive(sqlx::FromRow)]
struct ScoreRow {
    bib: i64,
    workout: String,
    attempt: i64,
    etag: i64,
    state: String,
    placed: bool,
    key: i64,
    level: i64,
    division: String,
    entry_gym: Option<String>,
    gym: Option<String>,
    sheet: Option<String>,
    judge: Option<String>,
    performed_at: i64,
    grams: Option<i64>,
    waits: i64,
    body: String,
}

impl ScoreRow {
    fn values(self) -> Vec<Val> {
        vec![
            Val::Int(self.bib),
            Val::Text(self.workout),
            Val::Int(self.attempt),
            Val::Int(self.etag),
            Val::Text(self.state),
            Val::Bool(self.placed),
            Val::Int(self.key),
            Val::Int(self.level),
            Val::Text(self.division),
            Val::MaybeText(self.entry_gym),
            Val::MaybeText(self.gym),
            Val::MaybeText(self.sheet),
            Val::MaybeText(self.judge),
            Val::Int(self.performed_at),
            Val::MaybeInt(self.grams),
            Val::Int(self.waits),
            again::<Attempt>(self.body),
        ]
    }
}

async fn scores(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    let mut expected: Vec<&Attempt> = ledger.attempts.values().flatten().collect();
    expected.sort_by(|a, b| order(a).cmp(&order(b)));
    let mut rest = expected.into_iter().peekable();
    let (mut bib, mut workout, mut attempt) = (i64::MIN, String::new(), i64::MIN);
    loop {
        let rows = db!(&mut *tx, all ScoreRow:
            "SELECT bib, workout, attempt, etag, state, placed, key, level, division, entry_gym, gym, sheet, judge, performed_at, grams, waits, body
             FROM scores WHERE competition = $1 AND (bib > $2 OR (bib = $2 AND (workout > $3 OR (workout = $3 AND attempt > $4))))
             ORDER BY bib, workout, attempt LIMIT $5",
            id, bib, workout.as_str(), attempt, CHUNK)?;
        let Some(last) = rows.last() else {
            return pairwise(&SCORES, rest.map(|a| save::score_row(id, ledger, a)), std::iter::empty());
        };
        (bib, workout, attempt) = (last.bib, last.workout.clone(), last.attempt);
        let n = rows.len();
        let expected = rest.by_ref().take(n).map(|a| save::score_row(id, ledger, a));
        pairwise(&SCORES, expected, rows.into_iter().map(ScoreRow::values))?;
    }
}

fn order(attempt: &Attempt) -> (u32, &str, u32) {
    (attempt.score.bib, &attempt.score.workout, attempt.score.attempt)
}

async fn statements(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    let rows = db!(&mut *tx, all (i64, String):
        "SELECT bib, workout FROM not_taking_part WHERE competition = $1 ORDER BY bib, workout", id)?;
    let found = rows.into_iter().map(|(bib, workout)| vec![Val::Int(bib), Val::Text(workout)]);
    let mut expected: Vec<(u32, &String)> =
        ledger.not_taking_part.keys().map(|(workout, bib)| (*bib, workout)).collect();
    expected.sort_unstable();
    pairwise(&STATEMENTS, expected.into_iter().map(|(bib, workout)| save::statement_row(id, workout, bib)), found)
}

async fn extensions(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
    let rows =
        db!(&mut *tx, all (i64, String): "SELECT n, body FROM extensions WHERE competition = $1 ORDER BY n", id)?;
    let found = rows.into_iter().map(|(n, body)| vec![Val::Int(n), again::<Extension>(body)]);
    let expected =
        ledger.extensions.iter().enumerate().map(|(n, extension)| save::extension_row(id, n, &json(extension)));
    pairwise(&EXTENSIONS, expected, found)
}

#[derive(sqlx::FromRow)]
struct PlacementRow {
    seq: i64,
    bib: i64,
    workout: String,
    attempt: Option<i64>,
    key: Option<i64>,
    level: Option<i64>,
    state: String,
    text: Option<String>,
    division: Option<String>,
    gym: Option<String>,
    country: Option<String>,
    region: Option<String>,
}

/// The placements of the records after `after` up to `upto`, in order.
pub(super) async fn placements(
    tx: &mut Tx,
    id: i64,
    after: i64,
    upto: i64,
    expected: &[Placement],
) -> Result<(), Stop> {
    let rows = db!(&mut *tx, all PlacementRow:
        "SELECT seq, bib, workout, attempt, key, level, state, text, division, gym, country, region FROM placements
         WHERE competition = $1 AND seq > $2 AND seq <= $3 ORDER BY seq, bib, workout",
        id, after, upto)?;
    let found = rows.into_iter().map(|row| {
        vec![
            Val::Int(row.seq),
            Val::Int(row.bib),
            Val::Text(row.workout),
            Val::MaybeInt(row.attempt),
            Val::MaybeInt(row.key),
            Val::MaybeInt(row.level),
            Val::Text(row.state),
            Val::MaybeText(row.text),
            Val::MaybeText(row.division),
            Val::MaybeText(row.gym),
            Val::MaybeText(row.country),
            Val::MaybeText(row.region),
        ]
    });
    pairwise(&PLACEMENTS, expected.iter().map(|p| save::placement_row(id, p)), found)
}

/// A body as it would be written now; as it stands where it cannot be read.
fn again<T: DeserializeOwned + Serialize>(body: String) -> Val {
    Val::Text(serde_json::from_str::<T>(&body).map_or(body, |value| json(&value)))
}

/// Compares rows in order; `expected` begin with the competition's number, `found` do not.
fn pairwise(
    table: &Table,
    expected: impl Iterator<Item = Vec<Val>>,
    mut found: impl Iterator<Item = Vec<Val>>,
) -> Result<(), Stop> {
    let about = |code, row: &[Val]| {
        let key: Vec<String> = row.iter().take(table.key).map(Val::to_string).collect();
        Sentence::new(code).with("table", table.name).with("key", key.join("/"))
    };
    for expected in expected {
        let expected = &expected[1..];
        let Some(found) = found.next() else {
            return differ(about("table_row_missing", expected));
        };
        if found == expected {
            continue;
        }
        if found[..table.key] == expected[..table.key] {
            let at = found.iter().zip(expected).position(|(a, b)| a != b).unwrap_or(0);
            return differ(about("table_row_differs", expected).with("column", table.columns[at]));
        }
        // Both sides are in the order of their keys: the smaller one has no partner.
        return if found[..table.key] < expected[..table.key] {
            differ(about("table_row_extra", &found))
        } else {
            differ(about("table_row_missing", expected))
        };
    }
    match found.next() {
        Some(found) => differ(about("table_row_extra", &found)),
        None => Ok(()),
    }
}
