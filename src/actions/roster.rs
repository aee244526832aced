//! Adding or changing one gym, entry or judge. Many at once: [`super::import`]; reading them:
//! [`super::lists`].

use super::import::{What, change_of};
use super::reader::Reader;
use super::request::stored;
use super::score::{WAIT, remarks};
use super::views::RosterWritten;
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::{Change, Outcome};
use crate::rules::people::{Entry, Person, fold_name};
use crate::rules::roster::{RawEntry, RawGym, RawJudge};
use crate::store::entries::EntryFilter;
use serde_json::Value;

/// 401 or 403 for those who may not change the roster, 404 for a competition that does not exist
/// for them, before a body is read.
pub async fn may(app: &App, actor: &Actor, competition: &str, request: &Request) -> Result<Reader, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, request.received, competition).await?;
    permit(actor, Act::Organise { competition })?;
    Ok(reader)
}

/// Adds or changes a gym.
pub async fn set_gym(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    gym: RawGym,
) -> Result<RosterWritten, Failure> {
    set(app, actor, competition, request, Change::SetGym(gym)).await
}

/// Adds or changes an entry.
pub async fn set_entry(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    entry: RawEntry,
) -> Result<RosterWritten, Failure> {
    set(app, actor, competition, request, Change::SetEntry(entry)).await
}

/// Adds or changes a judge.
pub async fn set_judge(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    judge: RawJudge,
) -> Result<RosterWritten, Failure> {
    set(app, actor, competition, request, Change::SetJudge(judge)).await
}

/// Adds or changes what an object says, as far as it could be read.
///
/// # Errors
/// Everything that is wrong with it, at once.
pub async fn set_one(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    what: &What,
    object: &Value,
) -> Result<RosterWritten, Failure> {
    let read = change_of(object, what).map_err(Failure::faults)?;
    let change = request.whole(app, actor, competition, read).await?;
    set(app, actor, competition, request, change).await
}

async fn set(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    change: Change,
) -> Result<RosterWritten, Failure> {
    let reader = may(app, actor, competition, &request).await?;
    let sent = match &change {
        Change::SetGym(gym) => gym.slug.clone(),
        Change::SetEntry(RawEntry { bib: Some(bib), .. }) => bib.to_string(),
        Change::SetJudge(judge) => judge.code.clone(),
        _ => String::new(),
    };
    let person = match &change {
        Change::SetEntry(entry) if entry.bib.is_none() => Some((entry.name.clone(), entry.born.clone())),
        _ => None,
    };
    let answered = request.ask(app, actor, competition, change).await?;
    app.logs.at_least(reader.id, answered.seq, WAIT).await;
    let (id, outcome) = match answered.outcome {
        Outcome::Roster { created: true, id } => (id, "created"),
        Outcome::Roster { created: false, id } => (id, "changed"),
        _ => (sent, "unchanged"),
    };
    let id = match person {
        Some((name, born)) if id.is_empty() => stored(known_bib(app, actor, &reader, &name, &born).await)?,
        _ => id,
    };
    Ok(RosterWritten { id, outcome, warnings: remarks(&answered.warnings), log_seq: answered.seq })
}

/// The bib of an entry that was sent without one and was there already.
async fn known_bib(app: &App, actor: &Actor, reader: &Reader, name: &str, born: &str) -> Result<String, Failure> {
    let permit = permit(actor, Act::ReadPersons { competition: &reader.slug, gym: None })?;
    let folded = fold_name(name);
    let filter = EntryFilter { q: Some(&folded), limit: 1_000, ..EntryFilter::default() };
    let found = app.store.list_entries_privately(&permit, reader.id, &filter).await?;
    let same = |(_, person): &&(Entry, Option<Person>)| {
        person
            .as_ref()
            .is_some_and(|p| fold_name(&p.name) == folded && p.born.is_some_and(|day| born.trim() == day.to_string()))
    };
    Ok(found.iter().find(same).map_or_else(String::new, |(entry, _)| entry.bib.to_string()))
}
