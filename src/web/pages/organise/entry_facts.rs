//! The part of `/organise/{c}/entries/{bib}` that puts right who an entry is: name, e-mail, and whether the name is
//! shown. It changes no score, and is stored at once. Birth and category are asked for nowhere.

use super::super::form::{Choice, FieldError, Fields};
use super::super::html;
use super::entry::About;
use super::{refused, texts};
use crate::actions::amend::{self, Facts};
use crate::actions::{Failure, Request};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::rules::roster::EntryFacts;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

const FIELDS: &[&str] = &["name", "email", "show_name"];

/// Who it is, in the fields of the form.
pub(super) struct FactsForm {
    pub(super) name: String,
    pub(super) email: String,
    pub(super) show: Vec<Choice>,
    pub(super) show_hint: &'static str,
    /// What was shown: only that is put right.
    pub(super) seen: String,
}

impl FactsForm {
    /// As it is, or as it was typed.
    pub(super) fn new(now: &Facts, typed: Option<&Fields>) -> Self {
        let o = texts();
        let or = |name: &str, stored: &str| typed.map_or(stored, |fields| fields.get(name)).to_owned();
        let stored = if now.show_name { "shown" } else { "hidden" };
        let show = or("show_name", stored);
        Self {
            name: or("name", &now.name),
            email: or("email", &now.email),
            show: [("shown", o.entry_name_shown), ("hidden", o.entry_name_hidden)]
                .map(|(value, text)| Choice::new(value, text, &show))
                .into(),
            show_hint: if now.under_age { o.entry_show_hint_under_age } else { o.entry_show_hint },
            seen: now.tag.clone(),
        }
    }
}

/// `do=facts`: what is in the fields is stored, where the entry is as it was shown.
pub(super) async fn post(app: &App, caller: &Caller, slug: &str, bib: u32, fields: &Fields) -> Answer {
    let facts = EntryFacts {
        name: Some(fields.get("name").to_owned()),
        email: Some(fields.get("email").to_owned()),
        show_name: match fields.get("show_name") {
            "shown" => Some(true),
            "hidden" => Some(false),
            _ => None,
        },
    };
    let seen = Precondition::of_field(fields.get("facts_seen")).unwrap_or_default();
    let request = Request::at(caller.received).having_seen(seen);
    let mut errors = Vec::new();
    let status = match amend::amend(app, &caller.actor, slug, bib, request, facts).await {
        Ok(_) => {
            return Ok(Redirect::to(&format!("/organise/{slug}/entries/{bib}?done=facts")).into_response());
        }
        Err(Failure::Refused(Refusal::PreconditionFailed(_))) => {
            errors.push(FieldError::new("", texts().entry_facts_changed));
            StatusCode::CONFLICT
        }
        Err(failure) => refused(failure, FIELDS, &mut errors)?,
    };
    let about = About::read(app, caller, slug, bib).await?;
    let mut view = about.view(caller, None, Some(fields));
    if about.facts.is_none() {
        // Of who was erased there are no fields to lead to.
        for error in &mut errors {
            error.id.clear();
        }
    }
    view.errors = errors;
    Ok((status, html(&view)?).into_response())
}
