//! Reading gyms, entries and judges.

use super::reader::Reader;
use super::views::{EntryView, GymView, JudgeView, names};
use super::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, permit};
use crate::rules::people::{Entry, EntryState, Gym, Judge, Person, fold_name};
use crate::rules::roster;
use crate::store::entries::{EntryFilter, Named};
use crate::store::names::NameFilter;
use jiff::Timestamp;
use std::collections::HashMap;

/// Rows that are read at a time.
const PAGE: u32 = 1_000;

/// Which gyms, entries or judges are asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Find {
    /// Of this gym.
    pub gym: Option<String>,
    /// Of entries the beginning of a shown name or of one of its words, or a bib; of gyms and judges a
    /// part of the name, slug or code.
    pub q: Option<String>,
}

impl Find {
    /// Whether one of these texts has what is asked for in it.
    fn fits(&self, texts: &[&str]) -> bool {
        self.q.as_deref().map(fold_name).is_none_or(|q| texts.iter().any(|t| fold_name(t).contains(&q)))
    }

    fn fits_gym(&self, gym: Option<&str>) -> bool {
        self.gym.as_deref().is_none_or(|wanted| gym == Some(wanted))
    }
}

/// Gyms, by slug. Contacts are there for the organiser alone.
pub async fn gyms(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<GymView>, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let gyms: Vec<Gym> = all_gyms(app, &reader)
        .await?
        .into_iter()
        .filter(|g| find.fits_gym(Some(&g.slug)) && find.fits(&[&g.slug, &g.name]))
        .collect();
    let contacts = match permit(actor, Act::ReadPersons { competition: &reader.slug, gym: None }) {
        Ok(permit) => {
            let ids: Vec<u64> = gyms.iter().filter_map(|g| Some(g.contact.as_ref()?.id)).collect();
            app.store.list_persons(&permit, reader.id, &ids).await?
        }
        Err(_) => HashMap::new(),
    };
    Ok(gyms
        .into_iter()
        .map(|g| {
            let person = g.contact.as_ref().and_then(|c| contacts.get(&c.id));
            GymView {
                contact: person.map(|p| p.name.clone()),
                email: person.map(|p| p.email.clone()),
                phone: person.map(|p| p.phone.clone()),
                ..GymView::public(g)
            }
        })
        .collect())
}

pub(super) async fn all_gyms(app: &App, reader: &Reader) -> Result<Vec<Gym>, Failure> {
    let mut gyms: Vec<Gym> = Vec::new();
    loop {
        let after = gyms.last().map_or("", |g| &g.slug);
        let page = app.store.list_gyms(reader.id, after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        gyms.extend(page);
        if !full {
            return Ok(gyms);
        }
    }
}

/// Entries, by bib. Hidden names are searched only for those who may read them.
pub async fn entries(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<EntryView>, Failure> {
    let mut parts = EntriesInParts::find(app, actor, now, competition, find.clone()).await?;
    let mut views = Vec::new();
    while !parts.ended() {
        views.extend(parts.next().await?);
    }
    Ok(views)
}

/// Entries under age of whom no guardian's consent is noted, by bib; those who withdrew or were removed left out. For
/// the organiser.
///
/// # Errors
/// Not found, or not allowed.
pub async fn without_consent(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
) -> Result<Vec<EntryView>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::ReadPersons { competition: &reader.slug, gym: None })?;
    let c = &reader.competition;
    // A day more than whose birthday comes last.
    let day = c.age_date.checked_sub(jiff::Span::new().years(roster::OF_AGE).days(1)).unwrap_or(jiff::civil::Date::MIN);
    let mut young = app.store.list_born_after(&permit, reader.id, day).await?;
    let takes_part = |entry: &Entry| matches!(entry.state, EntryState::Active | EntryState::Guest);
    young.retain(|(entry, person)| {
        let lacks = |p: &Person| !p.guardian_consent && roster::is_under_age(p, c);
        takes_part(entry) && person.as_ref().is_some_and(lacks)
    });
    Ok(known(young))
}

/// Those of [`entries`], read part by part.
pub struct EntriesInParts {
    app: App,
    reader: Reader,
    permit: Option<Permit>,
    find: Find,
    after: u32,
    ended: bool,
}

impl EntriesInParts {
    /// Begins.
    ///
    /// # Errors
    /// Not found.
    pub async fn find(
        app: &App,
        actor: &Actor,
        now: Timestamp,
        competition: &str,
        find: Find,
    ) -> Result<Self, Failure> {
        let reader = Reader::find(app, actor, now, competition).await?;
        let act = Act::ReadPersons { competition: &reader.slug, gym: find.gym.as_deref() };
        let permit = permit(actor, act).ok();
        Ok(Self { app: app.clone(), reader, permit, find, after: 0, ended: false })
    }

    /// Whether those that came last were the last.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.ended
    }

    /// The next ones.
    pub async fn next(&mut self) -> Result<Vec<EntryView>, Failure> {
        let Find { gym, q } = &self.find;
        let filter = EntryFilter {
            gym: gym.as_deref(),
            q: q.as_deref(),
            after: self.after,
            limit: PAGE,
            ..EntryFilter::default()
        };
        let page = match &self.permit {
            Some(permit) => known_page(&self.app, &self.reader, permit, &filter).await?,
            None => shown_page(&self.app, &self.reader, &filter).await?,
        };
        self.ended = page.len() < PAGE as usize;
        self.after = page.last().map_or(self.after, |e| e.bib);
        Ok(page)
    }
}

/// Entries found by the beginning of a name or of one of its words: the names in their order,
/// namesakes by bib. Hidden names are found only by those who may read them.
pub async fn find_by_name(app: &App, reader: &Reader, filter: &NameFilter<'_>) -> Result<Vec<EntryView>, Failure> {
    match permit(&reader.actor, Act::ReadPersons { competition: &reader.slug, gym: filter.gym }) {
        Ok(permit) => Ok(known(app.store.find_by_name_privately(&permit, reader.id, filter).await?)),
        Err(_) => shown(app, reader, &app.store.find_by_name(reader.id, filter).await?).await,
    }
}

/// Entries with all names, for those who may know them.
async fn known_page(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    filter: &EntryFilter<'_>,
) -> Result<Vec<EntryView>, Failure> {
    Ok(known(app.store.list_entries_privately(permit, reader.id, filter).await?))
}

fn known(entries: Vec<(Entry, Option<Person>)>) -> Vec<EntryView> {
    let views = entries.into_iter().map(|(entry, person)| {
        let name = person.map(|p| p.name).filter(|n| !n.is_empty());
        let name = name.unwrap_or_else(|| super::reader::athlete(entry.bib));
        entry_view(&Named { entry, name: None }, name)
    });
    views.collect()
}

/// Entries with the names that the reader may see.
async fn shown_page(app: &App, reader: &Reader, filter: &EntryFilter<'_>) -> Result<Vec<EntryView>, Failure> {
    shown(app, reader, &app.store.list_entries(reader.id, filter).await?).await
}

async fn shown(app: &App, reader: &Reader, page: &[Named]) -> Result<Vec<EntryView>, Failure> {
    let bibs: Vec<u32> = page.iter().map(|n| n.entry.bib).collect();
    let mut shown = reader.names(app, &bibs).await?;
    Ok(page.iter().map(|n| entry_view(n, shown.remove(&n.entry.bib).unwrap_or_default())).collect())
}

/// An entry's public facts under the name its reader sees.
#[must_use]
pub fn entry_view(named: &Named, name: String) -> EntryView {
    let entry = &named.entry;
    EntryView {
        bib: entry.bib,
        name,
        division: entry.division.clone(),
        gym: entry.gym.clone(),
        country: entry.country.clone(),
        region: entry.region.clone(),
        state: names::entry_state(entry.state),
        show_name: entry.show_name,
        etag: entry.tag().to_string(),
    }
}

/// One entry.
pub async fn entry(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
) -> Result<EntryView, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let named = super::score::find_entry(app, &reader, bib).await?;
    let name = reader.name(app, named.clone()).await?;
    Ok(entry_view(&named, name))
}

/// Proof that the names of judges may be read.
pub(super) fn may_name_judges(reader: &Reader) -> Option<Permit> {
    let desk = |gym| permit(&reader.actor, Act::ReadDesk { competition: &reader.slug, gym }).ok();
    reader.actor.grants.iter().map(|g| g.gym.as_deref()).chain([None]).find_map(desk)
}

/// Judges, by code: for those with a role in the competition. Their names are for its organiser,
/// its referees and its gyms' staff.
pub async fn judges(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<JudgeView>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    permit(actor, Act::SeeCompetition { competition: &reader.slug })?;
    let permit = may_name_judges(&reader);
    let mut judges = Vec::new();
    let mut after = String::new();
    loop {
        let page = app.store.list_judges(reader.id, find.gym.as_deref(), &after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        after = page.last().map_or(after, |j| j.code.clone());
        judges.extend(page);
        if !full {
            break;
        }
    }
    let ids: Vec<u64> = judges.iter().map(|j| j.person.id).collect();
    let persons = match &permit {
        Some(permit) => app.store.list_persons(permit, reader.id, &ids).await?,
        None => HashMap::new(),
    };
    let views = judges.into_iter().map(|j| {
        let name = persons.get(&j.person.id).map(|p| p.name.clone());
        judge_view(j, name)
    });
    Ok(views.filter(|j| find.fits(&[&j.code, j.name.as_deref().unwrap_or_default()])).collect())
}

/// A judge's facts under the name that its reader may see.
#[must_use]
pub fn judge_view(judge: Judge, name: Option<String>) -> JudgeView {
    JudgeView { name, code: judge.code, gym: judge.gym, valid_from: judge.valid_from, valid_to: judge.valid_to }
}
