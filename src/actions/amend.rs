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
use crate::rules::people::Entry;
use crate::rules::roster::{self as rules, EntryFacts};
use crate::store::log::StoredRecord;
use jiff::Timestamp;
use serde::Serialize;

/// Records about one entry that are read at most, of its last: an athlete may hide and show the own name as often
/// as they like.
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
    /// Whether a guardian has consented.
    pub guardian_consent: bool,
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
        guardian_consent: person.guardian_consent,
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

/// Where whoever asks is an athlete, and whether the name is shown there. Who was erased has none; what cannot be
/// read just now is passed over, as nobody is kept from the rest of the own account for it.
pub async fn own_names(app: &App, actor: &Actor, now: Timestamp) -> Vec<OwnName> {
    let mut own = Vec::new();
    for grant in actor.grants.iter().filter(|grant| grant.role == Role::Athlete) {
        let (Some(slug), Some(bib)) = (&grant.competition, grant.bib) else { continue };
        match own_name(app, actor, now, slug, bib).await {
            Ok(found) => own.extend(found),
            Err(Failure::Refused(_)) => {}
            Err(failure) => tracing::warn!(%failure, "an own name cannot be read"),
        }
    }
    own
}

async fn own_name(app: &App, actor: &Actor, now: Timestamp, slug: &str, bib: u32) -> Result<Option<OwnName>, Failure> {
    let reader = Reader::find(app, actor, now, slug).await?;
    let Some(named) = app.store.find_entry(reader.id, bib).await? else { return Ok(None) };
    let Some(permit) = reader.knows(&named.entry) else { return Ok(None) };
    let person = app.store.find_person(&permit, reader.id, named.entry.person.id).await?;
    Ok(person.map(|person| OwnName {
        under_age: rules::is_under_age(&person, &reader.competition),
        shown: named.entry.show_name,
        title: reader.competition.title.clone(),
        competition: reader.slug,
        bib,
    }))
}

/// What was put right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Happened {
    /// The name.
    Name,
    /// The e-mail.
    Email,
    /// Whether a guardian has consented.
    Consent,
    /// Name, birth, category, e-mail or consent, by a list.
    Facts,
    /// The name is shown.
    Shown,
    /// The name is hidden.
    Hidden,
}

/// When something was put right, and by whom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Amendment {
    /// When.
    pub at: Timestamp,
    /// In which role; `None`: the command line.
    pub role: Option<&'static str>,
    /// What.
    pub what: Happened,
}

/// What was put right about an entry (of the gym `gym`), the last of it, oldest first: for those who may know who
/// it is, and themselves. Others read only that the name was put right, hidden or shown. What it was before nobody
/// is told. Where a name was hidden and shown again and again, the last of it is told.
pub async fn history(app: &App, reader: &Reader, bib: u32, gym: Option<&str>) -> Result<Vec<Amendment>, Failure> {
    let act = Act::ReadPersons { competition: &reader.slug, gym };
    let all = permit(&reader.actor, act).is_ok() || reader.is_own(bib);
    let mut records = app.store.list_last(reader.id, &subject(bib), MOST).await?;
    records.reverse();
    let records = records.iter().map(StoredRecord::record).collect::<Result<Vec<_>, _>>()?;
    Ok(last_of_runs(amendments(&records, &mut None, all)))
}

/// Everything that was put right about an entry, oldest first: for whose entry it is.
pub async fn whole_history(app: &App, reader: &Reader, bib: u32) -> Result<Vec<Amendment>, Failure> {
    let (mut told, mut before, mut after) = (Vec::new(), None, 0);
    loop {
        let page = app.store.list_history(reader.id, &subject(bib), after, MOST).await?;
        let Some(last) = page.last() else { return Ok(told) };
        after = last.seq;
        let records = page.iter().map(StoredRecord::record).collect::<Result<Vec<_>, _>>()?;
        told.extend(amendments(&records, &mut before, reader.is_own(bib)));
    }
}

fn subject(bib: u32) -> String {
    format!("entry/{bib}")
}

/// Of hidings and showings that follow one another in the same role only the last.
fn last_of_runs(amended: Vec<Amendment>) -> Vec<Amendment> {
    let of_showing = |a: &Amendment| matches!(a.what, Happened::Shown | Happened::Hidden);
    let mut told: Vec<Amendment> = Vec::new();
    for one in amended {
        match told.last_mut() {
            Some(last) if last.role == one.role && of_showing(last) && of_showing(&one) => *last = one,
            _ => told.push(one),
        }
    }
    told
}

/// What these records put right; `before`: the entry as it was before them, and then after them.
fn amendments(records: &[Record], before: &mut Option<Entry>, all: bool) -> Vec<Amendment> {
    let mut found = Vec::new();
    for record in records {
        let (entry, what) = match &record.event {
            Event::EntryAmended { entry, what } => (entry, what.iter().map(|what| of(*what)).collect()),
            Event::EntrySet { entry } => (entry, before.as_ref().map_or(Vec::new(), |before| by_a_list(before, entry))),
            Event::EntryMoved { entry, .. } => (entry, Vec::new()),
            _ => continue,
        };
        *before = Some(entry.clone());
        let told = |what: &Happened| all || !matches!(what, Happened::Email | Happened::Consent | Happened::Facts);
        let role = record.actor.role.map(names::role);
        found.extend(what.into_iter().filter(told).map(|what| Amendment { at: record.at, role, what }));
    }
    found
}

fn of(what: Amended) -> Happened {
    match what {
        Amended::Name => Happened::Name,
        Amended::Email => Happened::Email,
        Amended::Consent => Happened::Consent,
        Amended::Shown => Happened::Shown,
        Amended::Hidden => Happened::Hidden,
    }
}

/// What a row of a list changed: the log has of the facts only that they are others.
fn by_a_list(before: &Entry, now: &Entry) -> Vec<Happened> {
    let shown = match (before.show_name, now.show_name) {
        (false, true) => Some(Happened::Shown),
        (true, false) => Some(Happened::Hidden),
        _ => None,
    };
    let facts = (before.person != now.person).then_some(Happened::Facts);
    facts.into_iter().chain(shown).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(what: &[(&'static str, Happened)]) -> Vec<Amendment> {
        let one = |(role, what): &(&'static str, Happened)| Amendment {
            at: Timestamp::UNIX_EPOCH,
            role: Some(*role),
            what: *what,
        };
        what.iter().map(one).collect()
    }

    #[test]
    fn of_a_name_hidden_and_shown_again_and_again_the_last_is_told() {
        let many = [("athlete", Happened::Hidden), ("athlete", Happened::Shown)].repeat(400);
        let (name, shown) = (("organiser", Happened::Name), ("organiser", Happened::Shown));
        let all =
            [&[("organiser", Happened::Email), name][..], &many[..799], &[shown, name, name], &many[..2]].concat();
        let expected = [
            ("organiser", Happened::Email),
            name,
            ("athlete", Happened::Hidden),
            shown,
            name,
            name,
            ("athlete", Happened::Shown),
        ];
        assert_eq!(last_of_runs(told(&all)), told(&expected));
        assert!(last_of_runs(Vec::new()).is_empty());
    }
}
