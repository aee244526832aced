//! Personal facts: read only with a permit in hand.

use super::db::{Bulk, Val};
use super::{Store, StoreError, column, number, parse};
use crate::rules::access::Permit;
use crate::rules::people::Person;
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
}
