//! Names as they are looked for: without case and accents, from the beginning of each of their
//! words on. An index of its own, as personal as what it is made from.

use super::db::{self, AsEx, Bulk, Tx, Val};
use super::entries::{Named, Row, named, with_person};
use super::{Store, StoreError, dialect, number, parse};
use crate::rules::access::Permit;
use crate::rules::people::{Entry, Person, name_starts, search_text};
use std::collections::{BTreeMap, BTreeSet};

/// Greater than every text that begins with what stands before it.
const LAST: char = '\u{10ffff}';

/// Persons read at a time to have their names put in.
const CHUNK: i64 = 10_000;

bulk!(
    STARTS = Bulk::rows(
        "INSERT INTO name_starts (competition, bib, start) VALUES ",
        3,
        " ON CONFLICT (competition, bib, start) DO NOTHING"
    )
);
bulk!(OF_BIBS = Bulk::list("SELECT bib, start FROM name_starts WHERE competition = $1 AND bib IN (", 1, ")"));
// Joined by `CROSS JOIN`, so that the embedded engine begins with the names, in their order, and ends
// with the last row asked for.
bulk!(
    IN_DIVISIONS = Bulk::list(
        "SELECT e.body, p.body FROM name_starts s CROSS JOIN entries e LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person
         WHERE s.competition = $1 AND s.start >= $2 AND s.start < $3 AND e.competition = s.competition AND e.bib = s.bib
           AND (e.show_name OR NOT $4) AND e.division IN (",
        5,
        ") ORDER BY s.start, s.bib LIMIT $5"
    )
);

/// Whose names are looked for.
#[derive(Clone, Debug)]
pub struct NameFilter<'a> {
    /// As typed: the beginning of a name, or of one of its words.
    pub q: &'a str,
    /// Of these plain divisions.
    pub divisions: &'a [String],
    /// Of this gym.
    pub gym: Option<&'a str>,
    /// At most so many.
    pub limit: u32,
}

/// What stands between `from` and `to` begins with what is looked for; `None`: nothing is.
pub(super) fn range(q: &str) -> Option<(String, String)> {
    let from = search_text(q);
    let to = format!("{from}{LAST}");
    (!from.is_empty()).then_some((from, to))
}

/// Of a person's facts.
#[derive(serde::Deserialize)]
struct NameOnly {
    name: String,
}

impl Store {
    /// The names that everybody may see of the entries with bibs from `first` to `last`; `None`: hidden, or
    /// erased.
    pub async fn shown_names(
        &self,
        competition: i64,
        (first, last): (u32, u32),
    ) -> Result<Vec<(u32, Option<String>)>, StoreError> {
        let mut conn = self.read().await?;
        let rows = db!(&mut conn, all (i64, Option<String>):
            "SELECT e.bib, p.body FROM entries e
             LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person AND e.show_name
             WHERE e.competition = $1 AND e.bib >= $2 AND e.bib <= $3",
            competition, i64::from(first), i64::from(last))?;
        drop(conn);
        let name = |(bib, person): (i64, Option<String>)| {
            let person = person.map(|body| parse::<NameOnly>("persons", &body)).transpose()?;
            Ok((number("entries", bib)?, person.map(|person| person.name)))
        };
        rows.into_iter().map(name).collect()
    }

    /// Entries found by name, as anybody may see them: the names in their order, namesakes by bib.
    pub async fn find_by_name(&self, competition: i64, filter: &NameFilter<'_>) -> Result<Vec<Named>, StoreError> {
        self.distinct(competition, filter, true, named, |found| found.entry.bib).await
    }

    /// The same with their personal facts; hidden names are found too.
    pub async fn find_by_name_privately(
        &self,
        _permit: &Permit,
        competition: i64,
        filter: &NameFilter<'_>,
    ) -> Result<Vec<(Entry, Option<Person>)>, StoreError> {
        self.distinct(competition, filter, false, with_person, |(entry, _)| entry.bib).await
    }

    /// As many as are asked for, or all there are. A name with two words alike is found twice, and is
    /// one: then more rows are read than are asked for.
    async fn distinct<T>(
        &self,
        competition: i64,
        filter: &NameFilter<'_>,
        shown_only: bool,
        read: impl Fn(Row) -> Result<T, StoreError>,
        bib: impl Fn(&T) -> u32,
    ) -> Result<Vec<T>, StoreError> {
        let wanted = usize::try_from(filter.limit).unwrap_or(usize::MAX);
        let mut limit = filter.limit;
        loop {
            let rows = self.named(competition, filter, shown_only, limit).await?;
            let all = u32::try_from(rows.len()).is_ok_and(|n| n < limit) || limit == u32::MAX;
            let mut seen = BTreeSet::new();
            let once = |one: &Result<T, StoreError>| one.as_ref().map_or(true, |one| seen.insert(bib(one)));
            let mut found = rows.into_iter().map(&read).filter(once).collect::<Result<Vec<T>, _>>()?;
            if all || found.len() >= wanted {
                found.truncate(wanted);
                return Ok(found);
            }
            limit = limit.saturating_mul(2);
        }
    }

    async fn named(
        &self,
        competition: i64,
        filter: &NameFilter<'_>,
        shown_only: bool,
        limit: u32,
    ) -> Result<Vec<Row>, StoreError> {
        let Some((from, to)) = range(filter.q) else { return Ok(Vec::new()) };
        let mut conn = self.read().await?;
        if let Some(gym) = filter.gym {
            return Ok(db!(&mut conn, all Row:
                "SELECT e.body, p.body FROM entries e CROSS JOIN name_starts s LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person
                 WHERE e.competition = $1 AND e.gym = $2 AND s.competition = e.competition AND s.bib = e.bib
                   AND s.start >= $3 AND s.start < $4 AND (e.show_name OR NOT $5) ORDER BY s.start, s.bib LIMIT $6",
                competition, gym, from, to, shown_only, i64::from(limit))?);
        }
        let fixed =
            [Val::Int(competition), Val::Text(from), Val::Text(to), Val::Bool(shown_only), Val::Int(limit.into())];
        let divisions = filter.divisions.iter().map(|slug| Val::Text(slug.clone())).collect();
        Ok(IN_DIVISIONS.read(&mut conn, &fixed, divisions).await?)
    }

    /// Puts in the names of a database from before they were kept.
    pub(super) async fn fill_names(&self) -> Result<(), StoreError> {
        let mut conn = self.read().await?;
        let there = db!(&mut conn, val i64: "SELECT COUNT(*) FROM (SELECT 1 FROM name_starts LIMIT 1) AS found")?;
        let entries = db!(&mut conn, val i64: "SELECT COUNT(*) FROM (SELECT 1 FROM entries LIMIT 1) AS found")?;
        drop(conn);
        if there > 0 || entries == 0 {
            return Ok(());
        }
        let mut tx = self.begin_for_long().await?;
        let mut after = (i64::MIN, i64::MIN);
        loop {
            let rows = db!(&mut tx, all (i64, i64, String):
                "SELECT e.competition, e.bib, p.body FROM entries e JOIN persons p ON p.competition = e.competition AND p.id = e.person
                 WHERE (e.competition > $1 OR (e.competition = $1 AND e.bib > $2)) ORDER BY e.competition, e.bib LIMIT $3",
                after.0, after.1, CHUNK)?;
            let Some((competition, bib, _)) = rows.last() else { break };
            after = (*competition, *bib);
            let mut starts = Vec::new();
            for (competition, bib, body) in rows {
                let person: Person = parse("persons", &body)?;
                starts.extend(start_rows(competition, number("entries", bib)?, &person.name));
            }
            STARTS.write(&mut tx, db::rows(starts)).await?;
        }
        tx.commit().await?;
        dialect::look_over(&self.inner.writes).await?;
        Ok(())
    }
}

fn start_rows(competition: i64, bib: u32, name: &str) -> impl Iterator<Item = Vec<Val>> {
    name_starts(name).into_iter().map(move |start| vec![Val::Int(competition), Val::Int(bib.into()), Val::Text(start)])
}

/// Writes under what these names are found; `there`: the entry may have had another one.
pub(super) async fn save(
    tx: &mut Tx,
    competition: i64,
    names: impl Iterator<Item = (u32, String, bool)>,
) -> Result<(), StoreError> {
    let mut rows = Vec::new();
    for (bib, name, there) in names {
        if there {
            erase(tx, competition, bib).await?;
        }
        rows.extend(start_rows(competition, bib, &name));
    }
    STARTS.write(tx, db::rows(rows)).await?;
    Ok(())
}

/// Takes away under what an entry is found.
pub(super) async fn erase(tx: &mut Tx, competition: i64, bib: u32) -> Result<(), StoreError> {
    db!(tx, exec: "DELETE FROM name_starts WHERE competition = $1 AND bib = $2", competition, i64::from(bib))?;
    Ok(())
}

/// Under what these bibs are found.
pub(super) async fn of_bibs(
    on: &mut impl AsEx,
    competition: i64,
    bibs: impl Iterator<Item = u32>,
) -> Result<BTreeMap<u32, BTreeSet<String>>, StoreError> {
    let members = bibs.map(|bib| Val::Int(bib.into())).collect();
    let rows: Vec<(i64, String)> = OF_BIBS.read(on, &[Val::Int(competition)], members).await?;
    let mut all: BTreeMap<u32, BTreeSet<String>> = BTreeMap::new();
    for (bib, start) in rows {
        all.entry(number("name_starts", bib)?).or_default().insert(start);
    }
    Ok(all)
}
