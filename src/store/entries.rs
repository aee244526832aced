//! Entries, with the names that may be shown. Birth dates and addresses are read apart, with a
//! permit.

use super::db::{Bulk, Val};
use super::names::range;
use super::{Store, StoreError, number, parse};
use crate::rules::access::Permit;
use crate::rules::people::{Entry, Person};
use std::collections::{BTreeSet, HashMap};

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
    /// Of whose name one of the words begins with this, without regard to case and accents, or whose
    /// bib it is.
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

pub(super) type Row = (String, Option<String>);

bulk!(
    NAMED = Bulk::list(
        "SELECT e.body, p.body FROM entries e LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person WHERE e.competition = $1 AND e.bib IN (",
        1,
        ")"
    )
);

// Joined by `CROSS JOIN`, so that the embedded engine begins with the names.
bulk!(
    BY_NAME = Bulk::list(
        "SELECT e.bib FROM persons p CROSS JOIN entries e WHERE e.competition = p.competition AND e.person = p.id AND p.competition = $1 AND p.folded_name IN (",
        1,
        ")"
    )
);

pub(super) fn with_person((body, person): Row) -> Result<(Entry, Option<Person>), StoreError> {
    Ok((parse("entries", &body)?, person.map(|p| parse("persons", &p)).transpose()?))
}

pub(super) fn named(row: Row) -> Result<Named, StoreError> {
    let (entry, person) = with_person(row)?;
    let name = person.filter(|_| entry.show_name).map(|p| p.name);
    Ok(Named { entry, name })
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

    /// Bibs of those who have one of these folded names, shown or hidden: whoever asks looks further
    /// whose name it may know.
    pub async fn bibs_named(&self, competition: i64, names: &BTreeSet<String>) -> Result<BTreeSet<u32>, StoreError> {
        let mut conn = self.read().await?;
        let members = names.iter().map(|name| Val::Text(name.clone())).collect();
        let rows: Vec<(i64,)> = BY_NAME.read(&mut conn, &[Val::Int(competition)], members).await?;
        rows.into_iter().map(|(bib,)| number("entries", bib)).collect()
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
        let (after, limit) = (i64::from(filter.after), i64::from(filter.limit));
        let Some(q) = filter.q else {
            return Ok(db!(&mut conn, all Row:
                "SELECT e.body, p.body FROM entries e LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person
                 WHERE e.competition = $1 AND e.bib > $2
                   AND (CAST($3 AS TEXT) IS NULL OR e.gym = $3) AND (CAST($4 AS TEXT) IS NULL OR e.division = $4)
                 ORDER BY e.bib LIMIT $5",
                competition, after, filter.gym, filter.division, limit)?);
        };
        let bib = q.trim().parse::<u32>().ok().map(i64::from);
        let (from, to) = range(q).unwrap_or_default();
        Ok(db!(&mut conn, all Row:
            "SELECT e.body, p.body
             FROM (SELECT bib FROM name_starts WHERE competition = $1 AND start >= $2 AND start < $3 AND bib > $4
                   UNION SELECT CAST($5 AS BIGINT)) AS found
             CROSS JOIN entries e
             LEFT JOIN persons p ON p.competition = e.competition AND p.id = e.person
             WHERE e.competition = $1 AND e.bib = found.bib AND e.bib > $4 AND (e.show_name OR NOT $6 OR e.bib = CAST($5 AS BIGINT))
               AND (CAST($7 AS TEXT) IS NULL OR e.gym = $7) AND (CAST($8 AS TEXT) IS NULL OR e.division = $8)
             ORDER BY e.bib LIMIT $9",
            competition, from, to, after, bib, shown_only, filter.gym, filter.division, limit)?)
    }
}
