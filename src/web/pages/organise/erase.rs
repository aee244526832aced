//! The part of `/organise/{c}` that erases somebody. Whom a bib, a gym or a judge's code stands for is shown
//! first; only then is there a button, and it erases nobody else: a slip in a number cannot be taken back.

use super::super::form::{self, FieldError, Fields};
use super::super::say;
use super::super::scope::gym_name;
use super::super::shell::words;
use super::overview::{Typed, again};
use super::{number, reader, texts};
use crate::actions::erase::{self, Meant};
use crate::actions::reader::Reader;
use crate::actions::{Failure, directory, language};
use crate::app::App;
use crate::rules::ledger::{Refusal, Whose};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

/// Who would be erased.
pub(super) struct Whom {
    pub(super) title: &'static str,
    pub(super) about: &'static str,
    pub(super) facts: Vec<(&'static str, String)>,
    /// Names them: only they are erased by the button.
    pub(super) seen: String,
}

impl Whom {
    async fn of(app: &App, reader: &Reader, meant: &Meant) -> Answer<Self> {
        let (w, o) = (words(), texts());
        let (title, about) = match meant {
            gone if !gone.is_kept() => (o.erase_gone, o.erase_gone_about),
            Meant::Athlete { .. } => (o.erase_would, o.erase_about),
            Meant::Judge { .. } => (o.erase_would, o.erase_about_judge),
            Meant::Contact(_) => (o.erase_would, o.erase_about_contact),
        };
        Ok(match meant {
            Meant::Athlete { entry, scores, kept } => {
                let gyms = directory::gyms(app, reader).await?;
                let gym = entry.gym.as_deref().map_or(w.no_gym, |slug| gym_name(&gyms, slug)).to_owned();
                let name = if *kept { &*entry.name } else { o.erase_nobody_left };
                Self {
                    title,
                    about,
                    seen: format!("athlete {} {} {}", entry.bib, entry.division, entry.name),
                    facts: vec![
                        (o.list_name, name.to_owned()),
                        (w.bib, entry.bib.to_string()),
                        (w.division, say::division(&reader.competition, &entry.division).to_owned()),
                        (w.gym, gym),
                        (o.erase_scores, number(*scores)),
                    ],
                }
            }
            Meant::Judge { judge, email, kept } => {
                let gyms = directory::gyms(app, reader).await?;
                let gym = judge.gym.as_deref().map_or(w.no_gym, |slug| gym_name(&gyms, slug)).to_owned();
                let name = if *kept { judge.name.as_deref().unwrap_or_default() } else { o.erase_nobody_left };
                let days = put(o.list_valid_days, &[("from", &judge.valid_from), ("to", &judge.valid_to)]);
                Self {
                    title,
                    about,
                    seen: format!("judge {} {name} {email}", judge.code),
                    facts: vec![
                        (o.list_name, name.to_owned()),
                        (o.list_code, judge.code.clone()),
                        (w.email, email.clone()),
                        (w.gym, gym),
                        (o.list_valid, days),
                    ]
                    .into_iter()
                    .filter(|(_, fact)| !fact.is_empty())
                    .collect(),
                }
            }
            Meant::Contact(gym) => {
                let (name, email) = (gym.contact.clone(), gym.email.clone());
                Self {
                    title,
                    about,
                    seen: format!("contact {} {name:?} {email:?}", gym.slug),
                    facts: vec![
                        (o.list_name, name.unwrap_or_else(|| o.erase_nobody.to_owned())),
                        (o.erase_contact_of, gym.name.clone()),
                        (w.email, email.unwrap_or_default()),
                    ]
                    .into_iter()
                    .filter(|(_, fact)| !fact.is_empty())
                    .collect(),
                }
            }
        })
    }
}

/// Who is meant, and the field that says so.
fn whose(fields: &Fields, errors: &mut Vec<FieldError>) -> (&'static str, Option<Whose>) {
    let typed: Vec<_> =
        ["erase_bib", "erase_gym", "erase_judge"].into_iter().filter(|field| !fields.get(field).is_empty()).collect();
    match typed.as_slice() {
        ["erase_gym"] => ("erase_gym", Some(Whose::Contact(fields.get("erase_gym").to_owned()))),
        ["erase_judge"] => ("erase_judge", Some(Whose::Judge(fields.get("erase_judge").to_owned()))),
        [] | [_] => {
            let bib = form::bib(fields.get("erase_bib"));
            if bib.is_none() {
                errors.push(FieldError::new("erase_bib", words().field_number));
            }
            ("erase_bib", bib.map(Whose::Entry))
        }
        [.., last] => {
            errors.push(FieldError::new(*last, texts().erase_one));
            (*last, None)
        }
    }
}

/// `POST /organise/{c}/erase`: `do=apply` erases whom the page showed; anything else only shows them.
pub async fn post_erase(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let mut errors = Vec::new();
    let mut whom = None;
    let mut status = StatusCode::OK;
    if let (at, Some(whose)) = whose(&fields, &mut errors) {
        match erase::meant(&app, &caller.actor, caller.received, &slug, &whose).await {
            Ok(meant) => {
                let shown = Whom::of(&app, &reader, &meant).await?;
                let applies = fields.get("do") == "apply";
                // A second tap, or one to finish what was left: of who is erased nothing is there to be mistaken.
                let same = fields.get("seen") == shown.seen.trim() || !meant.is_kept();
                if applies && !same {
                    errors.push(FieldError::new("sure", texts().erase_other));
                    status = StatusCode::CONFLICT;
                } else if applies && !fields.ticked("sure") {
                    errors.push(FieldError::new("sure", texts().erase_not_sure));
                } else if applies {
                    erase::erase(&app, &caller.actor, caller.received, &slug, whose).await?;
                    return Ok(Redirect::to(&format!("/organise/{slug}?done=erased")).into_response());
                }
                whom = Some(shown);
            }
            Err(Failure::Refused(Refusal::NotFound(sentence))) => {
                errors.push(FieldError::new(at, language::say(&sentence)));
            }
            Err(other) => return Err(other.into()),
        }
    }
    if status == StatusCode::OK && !errors.is_empty() {
        status = StatusCode::UNPROCESSABLE_ENTITY;
    }
    // Nothing of this form belongs into the others.
    let typed = Typed { errors, late: Some(String::new()), fields, erase: whom, ..Typed::default() };
    again(&app, &caller, &reader, status, typed).await
}

#[cfg(test)]
impl Whom {
    pub(super) fn sample(text: &str) -> Self {
        let o = texts();
        Self {
            title: o.erase_would,
            about: o.erase_about,
            facts: vec![(o.list_name, text.to_owned())],
            seen: text.to_owned(),
        }
    }
}
