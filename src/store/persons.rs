//! Personal facts: read only with a permit in hand.

use super::db::{Bulk, Val};
use super::entries::{Row, with_person};
use super::{Store, StoreError, column, number, parse};
use crate::rules::access::Permit;
use crate::rules::people::{Entry, Person};
use jiff::civil::Date;
use std::collections::HashMap;

bulk!(PERSONS = Bulk::list("SELECT id, body FROM persons WHERE competition = $1 AND id IN (", 1, ")"));

impl Store {
    /// A person's facts; `None`: erased, or never there.
    pub async fn find_person(&self, permit: &Permit, competition: i64, id: u64) -> Result<Option<Person>, StoreError> {
        Ok(self.list_persons(permit, competition, &[id]).await?.remove(&id))
    }

    /// The facts of these persons, by number. Erased ones are left out.
    pub async fn list_persons(
        &self,
        _permit: &Permit,
        competition: i64,
        ids: &[u64],
    ) -> Result<HashMap<u64, Person>, StoreError> {
        let mut conn = self.read().await?;
        let members = ids.iter().map(|&id| Val::Int(column(id))).collect();
        let rows: Vec<(i64, String)> = PERSONS.read(&mut conn, &[Val::Int(competition)], members).await?;
        rows.into_iter().map(|(id, body)| Ok((number("persons", id)?, parse("persons", &body)?))).collect()
    }

    /// Entries of those who were born after a day, by bib. Looks through everybody.
    pub async fn list_born_after(
        &self,
        _permit: &Permit,
        competition: i64,
        day: Date,
    ) -> Result<Vec<(Entry, Option<Person>)>, StoreError> {
        let mut conn = self.read().await?;
        db!(&mut conn, all Row:
            "SELECT e.body, p.body FROM persons p CROSS JOIN entries e WHERE p.competition = $1 AND p.born > $2 AND e.competition = p.competition AND e.person = p.id ORDER BY e.bib",
            competition, day.to_string())?
        .into_iter()
        .map(with_person)
        .collect()
    }
}
