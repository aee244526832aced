//! As whom a judge takes part: nobody counts or vouches for themselves.

use crate::actions::Failure;
use crate::actions::reader::Reader;
use crate::app::App;
use crate::rules::access::Permit;
use crate::rules::people::{Judge, Person, fold_name};
use crate::store::entries::Named;
use std::collections::{BTreeSet, HashMap};

/// By what a judge is known again among the athletes: the account, and the address. As `rules::ledger` decides
/// on an attestation.
#[derive(Clone, Debug)]
pub(super) struct Own {
    code: String,
    bibs: BTreeSet<u32>,
    mails: Vec<String>,
}

impl Own {
    /// Of whoever reads, and judges by a code.
    pub(super) async fn of(
        app: &App,
        reader: &Reader,
        judge: &Judge,
        person: Option<&Person>,
    ) -> Result<Self, Failure> {
        let mails = [person.map_or("", |p| &p.email), &reader.actor.email].map(fold_name);
        Ok(Self {
            code: judge.code.clone(),
            bibs: app.store.list_bibs_of_judge(&reader.slug, &judge.code).await?,
            mails: mails.into_iter().filter(|mail| !mail.is_empty()).collect(),
        })
    }

    /// The judge's code.
    pub(super) fn code(&self) -> &str {
        &self.code
    }

    /// Who of these is the judge.
    pub(super) async fn among(
        &self,
        app: &App,
        permit: &Permit,
        reader: &Reader,
        entries: &HashMap<u32, Named>,
    ) -> Result<BTreeSet<u32>, Failure> {
        let ids: Vec<u64> = entries.values().map(|named| named.entry.person.id).collect();
        let persons = app.store.list_persons(permit, reader.id, &ids).await?;
        let is_own = |named: &&Named| {
            let mail = persons.get(&named.entry.person.id).map(|p| fold_name(&p.email));
            self.bibs.contains(&named.entry.bib)
                || reader.is_own(named.entry.bib)
                || mail.is_some_and(|mail| self.mails.contains(&mail))
        };
        Ok(entries.values().filter(is_own).map(|named| named.entry.bib).collect())
    }
}
