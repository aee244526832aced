//! What came late on the organiser's page, decided one by one or many at once with one reason.

use super::super::form::{FieldError, Fields};
use super::super::say;
use super::super::scope::gym_name;
use super::super::shell::{Dated, words};
use super::overview::{Typed, again};
use super::{reader, refused, texts};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::score::{self, Late};
use crate::actions::views::GymView;
use crate::actions::{Failure, Request, ScorePath, admit};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::{Sentence, put};
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

/// Something that came late.
pub(super) struct Item {
    pub(super) id: String,
    /// Ticked, to be decided with others.
    pub(super) ticked: bool,
    pub(super) action: String,
    pub(super) etag: String,
    pub(super) href: String,
    pub(super) name: String,
    pub(super) bib: u32,
    pub(super) division: String,
    pub(super) gym: String,
    pub(super) workout: String,
    pub(super) workout_slug: String,
    pub(super) what: String,
    pub(super) text: String,
    pub(super) received: Dated,
    pub(super) done: Dated,
    pub(super) reason: String,
}

pub(super) fn item(reader: &Reader, gyms: &[GymView], base: &str, late: Late, typed: &Typed) -> Item {
    let (o, c, s) = (texts(), &reader.competition, &late.score);
    let id = format!("{}-{}", s.workout, s.bib);
    let now_text = &s.performance.text;
    let (what, text) = match (score::correction(s), &s.waiting_attestation) {
        (Some(correction), _) => (put(o.late_correction, &[("now", now_text)]), correction.performance.text.clone()),
        (None, Some(a)) => (put(o.late_attestation, &[("judge", &a.judge), ("now", now_text)]), now_text.clone()),
        (None, None) => (o.late_score.to_owned(), now_text.clone()),
    };
    let seconds = s.late_by_ms.filter(|_| s.state == "late").map(|ms| ms / 1000);
    let received = match seconds {
        Some(n) => put(o.late_received, &[("late", &(words().duration)(n))]),
        None => o.late_received_at.to_owned(),
    };
    let key = format!("{}/{}", s.workout, s.bib);
    let ticked = typed.fields.ticked("all") || typed.fields.ticked(&format!("t-{key}"));
    let mine = typed.late.as_deref() == Some(&*id);
    Item {
        ticked,
        workout_slug: s.workout.clone(),
        action: format!("{base}/late/{}/{}", s.workout, s.bib),
        etag: s.etag.clone(),
        href: format!("/c/{}/athletes/{}", c.slug, s.bib),
        name: late.name,
        bib: s.bib,
        division: say::division(c, &late.division).to_owned(),
        gym: s.gym.as_deref().map_or(String::new(), |g| gym_name(gyms, g).to_owned()),
        workout: c.workout(&s.workout).map_or_else(|| s.workout.clone(), |x| x.title.clone()),
        what,
        text,
        received: Dated::new(&received, late.received_at, &c.time_zone),
        done: Dated::new(o.late_done_at, s.performed_at, &c.time_zone),
        reason: if mine { typed.fields.get("reason").to_owned() } else { String::new() },
        id,
    }
}

/// `POST /organise/{c}/late/{w}/{bib}`.
pub async fn post_late(
    State(app): State<App>,
    caller: Caller,
    Path((slug, workout, bib)): Path<(String, String, u32)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let late = Some(format!("{workout}-{bib}"));
    let mut errors = Vec::new();
    let admit = match fields.get("decision") {
        "admit" => true,
        "refuse" => false,
        _ => {
            errors.push(FieldError::new("", texts().late_choose));
            let status = StatusCode::UNPROCESSABLE_ENTITY;
            return again(&app, &caller, &reader, status, Typed { fields, errors, late, ..Typed::default() }).await;
        }
    };
    let seen = Precondition::of_field(fields.get("etag")).unwrap_or_default();
    let path = ScorePath { competition: slug.clone(), workout: workout.clone(), bib };
    let request = Request::at(caller.received).having_seen(seen);
    match admit::admit(&app, &caller.actor, &path, request, admit, fields.get("reason").to_owned()).await {
        Ok(_) => {
            let done = if admit { "admitted" } else { "refused" };
            Ok(Redirect::to(&format!("/organise/{slug}?done={done}")).into_response())
        }
        Err(
            Failure::Refused(Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..))
            | Failure::Stale { .. },
        ) => {
            errors.push(FieldError::new("", texts().late_changed));
            let status = StatusCode::PRECONDITION_FAILED;
            again(&app, &caller, &reader, status, Typed { fields, errors, late, ..Typed::default() }).await
        }
        Err(failure) => {
            let status = refused(failure, &["reason"], &mut errors)?;
            // The reason stands beside the score it is about.
            for error in errors.iter_mut().filter(|e| e.id == "reason") {
                error.id = format!("reason-{workout}-{bib}");
            }
            again(&app, &caller, &reader, status, Typed { fields, errors, late, ..Typed::default() }).await
        }
    }
}

/// One of many: which, and the state that was seen.
fn chosen(slug: &str, fields: &Fields) -> Vec<(ScorePath, Precondition)> {
    let all = fields.ticked("all");
    let shown = fields.0.iter().filter_map(|(name, etag)| Some((name.strip_prefix("s-")?, etag)));
    shown
        .filter(|(key, _)| all || fields.ticked(&format!("t-{key}")))
        .filter_map(|(key, etag)| {
            let (workout, bib) = key.split_once('/')?;
            let path = ScorePath { competition: slug.to_owned(), workout: workout.to_owned(), bib: bib.parse().ok()? };
            Some((path, Precondition::of_field(etag.trim()).unwrap_or_default()))
        })
        .collect()
}

/// `POST /organise/{c}/late`: those that are ticked (`t-WORKOUT/BIB`), or `all` that were shown
/// (`s-WORKOUT/BIB`, each with the state that was seen), with one decision and one reason.
pub async fn post_many(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let o = texts();
    let (many, mut errors) = (chosen(&slug, &fields), Vec::new());
    if many.is_empty() {
        errors.push(FieldError::new("all", o.late_many_none));
    }
    if fields.get("many_reason").is_empty() {
        errors.push(FieldError::new("many_reason", o.late_many_reason_needed));
    }
    let admit = match fields.get("decision") {
        "admit" => true,
        "refuse" => false,
        _ => {
            errors.push(FieldError::new("", o.late_choose));
            false
        }
    };
    // Nothing of this form belongs into the others.
    let late = Some(String::new());
    if !errors.is_empty() {
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        return again(&app, &caller, &reader, status, Typed { fields, errors, late, ..Typed::default() }).await;
    }
    let (mut done, mut trouble) = (0_u32, None);
    for (path, seen) in many {
        let request = Request::at(caller.received).having_seen(seen);
        let reason = fields.get("many_reason").to_owned();
        match admit::admit(&app, &caller.actor, &path, request, admit, reason).await {
            Ok(_) | Err(Failure::Stored) => done += 1,
            // Those before are decided, these are still ticked.
            Err(Failure::Busy | Failure::Unavailable) => trouble = Some("late_waits_on"),
            Err(Failure::OutcomeUnknown) => trouble = Some("late_unknown"),
            Err(failure) => {
                let why = match failure {
                    Failure::Refused(Refusal::PreconditionFailed(_) | Refusal::PreconditionRequired(..))
                    | Failure::Stale { .. } => o.late_changed.to_owned(),
                    Failure::Refused(Refusal::Conflict(sentence, _) | Refusal::NotFound(sentence)) => {
                        language::say(&sentence)
                    }
                    Failure::Refused(Refusal::Faults(faults)) => {
                        faults.iter().map(|f| language::say(&f.sentence)).collect::<Vec<_>>().join(" ")
                    }
                    other => return Err(other.into()),
                };
                let workout = reader.competition.workout(&path.workout).map_or(&*path.workout, |x| &x.title);
                let values: [(&'static str, &dyn std::fmt::Display); 3] =
                    [("bib", &path.bib), ("workout", &workout), ("why", &why)];
                errors.push(FieldError::new("", put(o.late_many_one, &values)));
            }
        }
        if let Some(code) = trouble {
            errors.push(FieldError::new("", language::say(&Sentence::new(code))));
            break;
        }
    }
    if errors.is_empty() {
        let what = if admit { "admitted" } else { "refused" };
        return Ok(Redirect::to(&format!("/organise/{slug}?done={what}&n={done}")).into_response());
    }
    let told = Some(put(o.late_many_some, &[("n", &done)]));
    again(&app, &caller, &reader, StatusCode::CONFLICT, Typed { fields, errors, late, told, erase: None }).await
}
