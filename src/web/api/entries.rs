//! Entries of a competition: lists, one, changes.

use super::forms::{EntriesForm, EntryChangeForm, RosterAnswer};
use super::many::{self, ManyQuery};
use super::paths::{OfCompetition, OfEntry, Once};
use super::reading::JSON;
use super::whole::{self, Parts};
use super::{FindQuery, reading};
use crate::actions::import::What;
use crate::actions::lists::{self, EntriesInParts};
use crate::actions::views::{EntryView, MovedView, RosterWritten};
use crate::actions::{Failure, body, move_entry, roster, signed_in};
use crate::app::App;
use crate::web::extract::{Accept, Path, Query, Sent, SentBody};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::header;
use serde::Deserialize;
use serde_json::Value;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list_entries, add_entries)).routes(routes!(get_entry, change_entry))
}

/// List entries.
///
/// Public facts: never a birth date, an address or a hidden name.
#[utoipa::path(get, path = "/competitions/{competition}/entries", tag = "entries", params(OfCompetition, FindQuery),
    responses((status = 200, description = "By bib.", body = Vec<EntryView>), Problems))]
async fn list_entries(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    Query(query): Query<FindQuery>,
) -> Answer {
    let competition = &path.competition;
    let entries = EntriesInParts::find(&app, &caller.actor, caller.received, competition, query.into()).await?;
    let parts = EntriesJson { entries, begun: false };
    let list = ([(header::CONTENT_TYPE, JSON)], whole::body(&app, parts).await?);
    Ok(reading::kept(list.into_response(), &caller, None))
}

/// A list of any length as JSON.
struct EntriesJson {
    entries: EntriesInParts,
    begun: bool,
}

impl Parts for EntriesJson {
    async fn next(&mut self) -> Result<Option<String>, Failure> {
        if self.entries.ended() {
            return Ok(None);
        }
        let entries = self.entries.next().await?;
        let items = serde_json::to_string(&entries).map_err(|error| Failure::Broken(error.into()))?;
        // A list without its brackets.
        let items = items.get(1..items.len() - 1).unwrap_or_default();
        let begin = match std::mem::replace(&mut self.begun, true) {
            true if items.is_empty() => "",
            true => ",",
            false => "[",
        };
        Ok(Some(format!("{begin}{items}{}", if self.entries.ended() { "]" } else { "" })))
    }
}

/// Add or change entries: one as an object, many as a list or as CSV.
#[utoipa::path(post, path = "/competitions/{competition}/entries", tag = "entries", params(OfCompetition, ManyQuery, Once),
    request_body(content((EntriesForm = "application/json"), (String = "text/csv"))),
    responses(
        (status = 200, description = "One: changed or unchanged. Many: what became of each (with `Accept: text/csv`, the refused rows).",
            content((RosterAnswer = "application/json"), (String = "text/csv"))),
        (status = 201, description = "One, added.", body = RosterWritten), Problems, WriteProblems))]
async fn add_entries(
    State(app): State<App>,
    caller: Caller,
    accept: Accept,
    Path(path): Path<OfCompetition>,
    Query(query): Query<ManyQuery>,
    sent: Result<SentBody, Problem>,
) -> Answer {
    many::add(&app, &caller, &accept, &path.competition, sent, What::Entries, query).await
}

/// One entry's public facts.
#[utoipa::path(get, path = "/competitions/{competition}/entries/{bib}", tag = "entries", params(OfEntry),
    responses((status = 200, description = "The entry.", body = EntryView), Problems))]
async fn get_entry(State(app): State<App>, caller: Caller, Path(path): Path<OfEntry>) -> Answer {
    let view = lists::entry(&app, &caller.actor, caller.received, &path.competition, path.bib).await?;
    Ok(reading::json(&view, &caller, None))
}

/// Whether something is really done.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct DryRun {
    /// Only say what would happen.
    dry_run: Option<bool>,
}

/// Move an entry to another division or gym, or change how it takes part.
///
/// A dry run says what would happen to each of its scores: those whose prescription changes are
/// listed, and can be attested again only with new figures.
#[utoipa::path(patch, path = "/competitions/{competition}/entries/{bib}", tag = "entries", params(OfEntry, DryRun),
    request_body = EntryChangeForm,
    responses((status = 200, description = "Moved, unchanged, or what a dry run would do.", body = MovedView), Problems, WriteProblems))]
async fn change_entry(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfEntry>,
    Query(query): Query<DryRun>,
    sent: Result<Sent<Value>, Problem>,
) -> Answer {
    signed_in(&caller.actor)?;
    let (value, around) = sent?.parts(&caller);
    roster::may(&app, &caller.actor, &path.competition, &around).await?;
    let change = body::roster::entry_change(&value).map_err(Failure::faults)?;
    let dry_run = query.dry_run.unwrap_or(false);
    let view =
        move_entry::move_entry(&app, &caller.actor, &path.competition, path.bib, around, change, dry_run).await?;
    Ok(axum::Json(view).into_response())
}
