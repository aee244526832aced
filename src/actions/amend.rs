//! Who an entry is, put right by the organiser; the own name hidden or shown by the athlete; and what was put
//! right so far.

use super::reader::Reader;
use super::score::{WAIT, find_entry};
use super::views::names;
use super::{Failure, Request, roster, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Role, permit};
use crate::rules::event::{Amended, Event, Record};
use crate::rules::ledger::{Change, Outcome};
use crate::rules::roster::{self as rules, EntryFacts};
use jiff::Timestamp;

/// Records about one entry that are read at most: nobody is put right that often.
const MOST: u32 = 1_000;

/// Who an entry is, as far as it may be put right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// The name, shown or hidden.
    pub name: String,
    /// Empty: none.
    pub email: String,
    /// Whether everybody may read the name.
    pub show_name: bool,
    /// Whether that is the organiser's alone to decide.
    pub under_age: bool,
    /// Of all this: for whoever changes it as it was seen.
    pub tag: String,
}

/// Who an entry is; for the organiser. `None`: they were erased.
///
/// # Errors
/// Not found, or not allowed.
pub async fn read(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
) -> Result<Option<Facts>, Failure> {
    let reader = roster::may(app, actor, competition, &Request::at(now)).await?;
    let permit = permit(actor, Act::ReadPersons { competition, gym: None })?;
    let entry = find_entry(app, &reader, bib).await?.entry;
    let person = app.store.find_person(&permit, reader.id, entry.person.id).await?;
    Ok(person.map(|person| Facts {
        under_age: rules::is_under_age(&person, &reader.competition),
        name: person.name,
        email: person.email,
        show_name: entry.show_name,
        tag: entry.facts_tag().to_string(),
    }))
}

/// Puts right what is said of an entry: all of it for the organiser, whether the name is shown for the athlete
/// too. False: it was so already.
///
/// # Errors
/// Not found, not allowed; what is wrong with it, all at once; that it is not as its sender has seen it.
pub async fn amend(
    app: &App,
    actor: &Actor,
    competition: &str,
    bib: u32,
    request: Request,
    facts: EntryFacts,
) -> Result<bool, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, request.received, competition).await?;
    let answered = request.ask(app, actor, competition, Change::AmendEntry { bib, facts }).await?;
    app.logs.at_least(reader.id, answered.seq, WAIT).await;
    Ok(answered.outcome != Outcome::Unchanged)
}

/// The name of one of whoever asks, in a competition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnName {
    /// Slug of the competition.
    pub competition: String,
    /// Its title.
    pub title: String,
    /// The own bib there.
    pub bib: u32,
    /// Whether everybody may read the name.
    pub shown: bool,
    /// Whether that is the organiser's alone to decide.
    pub under_age: bool,
}

/// Where whoever asks is an athlete, and whether the name is shown there. Who was erased has none.
pub async fn own_names(app: &App, actor: &Actor, now: Timestamp) -> Result<Vec<OwnName>, Failure> {
    let mut own = Vec::new();
    for grant in actor.grants.iter().filter(|grant| grant.role == Role::Athlete) {
        let (Some(slug), Some(bib)) = (&grant.competition, grant.bib) else { continue };
        let reader = match Reader::find(app, actor, now, slug).await {
            Ok(reader) => reader,
            Err(Failure::Refused(_)) => continue,
            Err(other) => return Err(other),
        };
        let Some(named) = app.store.find_entry(reader.id, bib).await? else { continue };
        let permit = permit(actor, Act::Enter { competition: slug, entry: &named.entry, at: None })?;
        let Some(person) = app.store.find_person(&permit, reader.id, named.entry.person.id).await? else { continue };
        own.push(OwnName {
            under_age: rules::is_under_age(&person, &reader.competition),
            shown: named.entry.show_name,
            title: reader.competition.title.clone(),
            competition: reader.slug,
            bib,
        });
    }
    Ok(own)
}

/// What was put right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    /// The name.
    Name,
    /// The e-mail.
    Email,
    /// Name, birth, category, e-mail or consent, by a list.
    Facts,
    /// The name is shown.
    Shown,
    /// The name is hidden.
    Hidden,
}

/// When something was put right, and by whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amendment {
    /// When.
    pub at: Timestamp,
    /// In which role; `None`: the command line.
    pub role: Option<&'static str>,
    /// What.
    pub what: Happened,
}

/// What was put right about an entry, oldest first: for those who may know who it is, and themselves. Others
/// read only that the name was put right, hidden or shown. What it was before nobody is told.
pub async fn history(app: &App, reader: &Reader, bib: u32) -> Result<Vec<Amendment>, Failure> {
    let entry = find_entry(app, reader, bib).await?.entry;
    let act = Act::ReadPersons { competition: &reader.slug, gym: entry.gym.as_deref() };
    let all = permit(&reader.actor, act).is_ok() || reader.is_own(bib);
    let records = app.store.list_history(reader.id, &format!("entry/{bib}"), 0, MOST).await?;
    let records = records.iter().map(crate::store::log::StoredRecord::record).collect::<Result<Vec<_>, _>>()?;
    Ok(amendments(&records, all))
}

fn amendments(records: &[Record], all: bool) -> Vec<Amendment> {
    let mut before = None;
    let mut found = Vec::new();
    for record in records {
        let (entry, what) = match &record.event {
            Event::EntryAmended { entry, what } => (entry, what.iter().map(|what| of(*what)).collect()),
            Event::EntrySet { entry } => (entry, before.map_or(Vec::new(), |before| by_a_list(before, entry))),
            Event::EntryMoved { entry, .. } => (entry, Vec::new()),
            _ => continue,
        };
        before = Some(entry);
        let told = |what: &Happened| all || !matches!(what, Happened::Email | Happened::Facts);
        let role = record.actor.role.map(names::role);
        found.extend(what.into_iter().filter(told).map(|what| Amendment { at: record.at, role, what }));
    }
    found
}

fn of(what: Amended) -> Happened {
    match what {
        Amended::Name => Happened::Name,
        Amended::Email => Happened::Email,
        Amended::Shown => Happened::Shown,
        Amended::Hidden => Happened::Hidden,
    }
}

/// What a row of a list changed: the log has of the facts only that they are others.
fn by_a_list(before: &crate::rules::people::Entry, now: &crate::rules::people::Entry) -> Vec<Happened> {
    let shown = match (before.show_name, now.show_name) {
        (false, true) => Some(Happened::Shown),
        (true, false) => Some(Happened::Hidden),
        _ => None,
    };
    let facts = (before.person != now.person).then_some(Happened::Facts);
    facts.into_iter().chain(shown).collect()
}
