//! Entries, with the names that may be shown. Birth dates and addresses are read apart, with a
//! permit.

use super::db::{Bulk, Val};
use super::{Store, StoreError, parse};
use crate::rules::access::Permit;
use crate::rules::people::{Entry, Person};
use std::collections::HashMap;

/// An entry and the name that everybody may see.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Its facts.
    pub entry: Entry,
    /// `None`: hidden, or erased.
    pub name: Option<String>,
}

/// Which entries.
#[derive(Clone, Debug)]
pub struct EntryFilter<'a> {
    /// Of this gym.
    pub gym: Option<&'a str>,
    /// Of this division.
    pub division: Option<&'a str>,
    /// Whose folded name has this in it (folded by the caller), or whose bib this is.
    pub q: Option<&'a str>,
    /// Bibs after this one.
    pub after: u32,
    /// At most so many.
    pub limit: u32,
}

impl Default for EntryFilter<'_> {
    fn default() -> Self {
        Self { gym: None, division: None, q: None, after: 0, limit: 100 }
    }
}

type Row = (String, Option<String>);

bulk!(
    NAMED = Bulk::list(
        "SELECT e.body, p.body FROM entries e LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person WHERE e.competition = $1 AND e.bib IN (",
        1,
        ")"
    )
);

fn with_person((body, person): Row) -> Result<(Entry, Option<Person>), StoreError> {
    Ok((parse("entries", &body)?, person.map(|p| parse("persons", &p)).transpose()?))
}

fn named(row: Row) -> Result<Named, StoreError> {
    let (entry, person) = with_person(row)?;
    let name = person.filter(|_| entry.show_name).map(|p| p.name);
    Ok(Named { entry, name })
}

/// `%q%` with the wildcards of `LIKE` in `q` taken literally (`\` escapes).
fn contains(q: &str) -> String {
    let mut pattern = String::with_capacity(q.len() + 2);
    pattern.push('%');
    for c in q.chars() {
        if matches!(c, '%' | '_' | '\\') {
            pattern.push('\\');
        }
        pattern.push(c);
    }
    pattern.push('%');
    pattern
}

impl Store {
    /// The entry with this bib.
    pub async fn find_entry(&self, competition: i64, bib: u32) -> Result<Option<Named>, StoreError> {
        Ok(self.list_named(competition, &[bib]).await?.remove(&bib))
    }

    /// The entries of these bibs, with names. Unknown bibs are left out.
    pub async fn list_named(&self, competition: i64, bibs: &[u32]) -> Result<HashMap<u32, Named>, StoreError> {
        let mut conn = self.read().await?;
        let members = bibs.iter().map(|&bib| Val::Int(bib.into())).collect();
        let rows: Vec<Row> = NAMED.read(&mut conn, &[Val::Int(competition)], members).await?;
        rows.into_iter().map(|row| named(row).map(|n| (n.entry.bib, n))).collect()
    }

    /// Entries by bib, as anybody may see them: hidden names are neither told nor searched.
    pub async fn list_entries(&self, competition: i64, filter: &EntryFilter<'_>) -> Result<Vec<Named>, StoreError> {
        self.entries(competition, filter, true).await?.into_iter().map(named).collect()
    }

    /// Entries by bib with their personal facts; hidden names are searched too.
    pub async fn list_entries_privately(
        &self,
        _permit: &Permit,
        competition: i64,
        filter: &EntryFilter<'_>,
    ) -> Result<Vec<(Entry, Option<Person>)>, StoreError> {
        self.entries(competition, filter, false).await?.into_iter().map(with_person).collect()
    }

    async fn entries(
        &self,
        competition: i64,
        filter: &EntryFilter<'_>,
        shown_only: bool,
    ) -> Result<Vec<Row>, StoreError> {
        let mut conn = self.read().await?;
        let pattern = filter.q.map(contains);
        let bib = filter.q.and_then(|q| q.trim().parse::<u32>().ok()).map(i64::from);
        Ok(db!(&mut conn, all Row:
            r"SELECT e.body, p.body FROM entries e LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person
              WHERE e.competition = $1 AND e.bib > $2
                AND (CAST($3 AS TEXT) IS NULL OR e.gym = $3)
                AND (CAST($4 AS TEXT) IS NULL OR e.division = $4)
                AND (CAST($5 AS TEXT) IS NULL OR e.bib = CAST($6 AS BIGINT) OR (p.folded_name LIKE $5 ESCAPE '\' AND (e.show_name OR NOT $7)))
              ORDER BY e.bib LIMIT $8",
            competition, i64::from(filter.after), filter.gym, filter.division, pattern.as_deref(), bib, shown_only, i64::from(filter.limit))?)
    }
}
