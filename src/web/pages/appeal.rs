//! Appealing from an athlete's page: the form below a ruling, and what is said of an appeal.

use super::athlete;
use super::form::{self, FieldError, Fields};
use super::html;
use super::shell::{Dated, words};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::views::ScoreView;
use crate::actions::{Failure, Request, ScorePath, appeal};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::appeal::AppealWords;
use crate::words::{self, apart};
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

/// The form.
#[derive(Debug, Default)]
pub struct AppealForm {
    /// Where it is sent.
    pub action: String,
    /// The state that was seen.
    pub etag: String,
    /// Of the field: one a workout.
    pub id: String,
    /// As typed.
    pub reason: String,
    /// "Possible until …".
    pub until: Dated,
    /// What is wrong.
    pub errors: Vec<FieldError>,
}

/// What was sent and not taken.
pub struct Again {
    workout: String,
    reason: String,
    errors: Vec<FieldError>,
}

/// The texts of appeals.
#[must_use]
pub fn texts() -> &'static AppealWords {
    words::appeal(language::reader())
}

/// The form below a score, for those who may appeal its ruling now.
pub async fn form(app: &App, reader: &Reader, score: &ScoreView, again: Option<&Again>) -> Answer<Option<AppealForm>> {
    let Some(ends) = appeal::ends(score).filter(|ends| reader.now < *ends) else { return Ok(None) };
    if !appeal::may(app, reader, score.bib, score.gym.as_deref()).await? {
        return Ok(None);
    }
    let again = again.filter(|a| a.workout == score.workout);
    Ok(Some(AppealForm {
        action: format!("/c/{}/athletes/{}/workouts/{}/appeal", reader.slug, score.bib, score.workout),
        etag: score.etag.clone(),
        id: format!("appeal-{}", score.workout),
        reason: again.map_or(String::new(), |a| a.reason.clone()),
        until: Dated::new(texts().until, ends, &reader.competition.time_zone),
        errors: again.map_or(Vec::new(), |a| a.errors.clone()),
    }))
}

/// What is said of a ruling's appeal.
#[must_use]
pub fn facts(reader: &Reader, score: &ScoreView) -> Vec<(&'static str, Dated)> {
    let (w, t) = (words(), texts());
    let dated = |say: &str, at| Dated::new(say, at, &reader.competition.time_zone);
    let Some(appeal) = &score.appeal else {
        let said = |ends| dated(if reader.now < ends { t.could } else { t.over }, ends);
        return appeal::ends(score).map(|ends| (w.appeal, said(ends))).into_iter().collect();
    };
    let state = if appeal.decided { Dated::plain(t.decided) } else { dated(t.open, appeal.at) };
    let reason = appeal.reason.clone().map(|reason| (w.appeal_reason, Dated::plain(apart(&reason))));
    std::iter::once((w.appeal, state)).chain(reason).collect()
}

/// `POST /c/{c}/athletes/{bib}/workouts/{w}/appeal`.
pub async fn post_appeal(
    State(app): State<App>,
    caller: Caller,
    Path((competition, bib, workout)): Path<(String, u32, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let path = ScorePath { competition, workout, bib };
    let seen = Precondition::of_field(fields.get("etag")).unwrap_or(Precondition::Absent);
    let request = Request::at(caller.received).having_seen(seen);
    let reason = fields.get("reason").to_owned();
    let (status, error) = match appeal::appeal(&app, &caller.actor, &path, request, reason.clone()).await {
        Ok(_) => {
            let (c, w) = (&path.competition, &path.workout);
            return Ok(Redirect::to(&format!("/c/{c}/athletes/{bib}?appealed={w}#w-{w}")).into_response());
        }
        Err(Failure::Refused(Refusal::Faults(faults))) => {
            let errors = form::beside(&faults, &["reason"], &[]);
            (StatusCode::UNPROCESSABLE_ENTITY, errors.into_iter().next().map(|e| e.text))
        }
        Err(Failure::Stale { .. } | Failure::Refused(Refusal::PreconditionFailed(_))) => {
            (StatusCode::PRECONDITION_FAILED, Some(texts().changed.to_owned()))
        }
        Err(Failure::Refused(Refusal::Conflict(sentence, _))) => (StatusCode::CONFLICT, Some(language::say(&sentence))),
        Err(other) => return Err(other.into()),
    };
    let id = format!("appeal-{}", path.workout);
    let errors = error.map(|text| FieldError::new(id, text)).into_iter().collect();
    let again = Again { workout: path.workout.clone(), reason, errors };
    let view = athlete::page(&app, &caller, &path.competition, bib, &Fields::default(), Some(again)).await?.0;
    Ok((status, html(&view)?).into_response())
}
