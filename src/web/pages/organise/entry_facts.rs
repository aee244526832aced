//! The part of `/organise/{c}/entries/{bib}` that puts right who an entry is: name, e-mail, whether the name is
//! shown, and under 18 whether a guardian has consented. It changes no score, and is stored at once. Birth and
//! category are asked for nowhere. Of what stands in the fields only that is asked for which differs from what was
//! shown: whoever mends a slip in a name decides nothing about whether it is shown.

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
use crate::words::put;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

const FIELDS: &[&str] = &["name", "email", "show_name", "guardian_consent"];
/// How often it is tried again where something else of the entry is put right just then.
const TRIES: usize = 3;

/// Who it is, in the fields of the form.
pub(super) struct FactsForm {
    pub(super) name: String,
    pub(super) email: String,
    pub(super) show: Vec<Choice>,
    pub(super) show_hint: &'static str,
    /// None: of age, and nothing is said of a guardian.
    pub(super) consent: Vec<Choice>,
    /// As it was shown: only what differs from it is put right.
    pub(super) was_name: String,
    pub(super) was_email: String,
    pub(super) was_show: &'static str,
    pub(super) was_consent: &'static str,
}

impl FactsForm {
    /// As it is, with what was typed over it.
    pub(super) fn new(now: &Facts, typed: Option<&Fields>) -> Self {
        let o = texts();
        let [name, email, show, consent] = members(now, typed);
        let asks = now.under_age || now.guardian_consent;
        Self {
            name: name.shown().to_owned(),
            email: email.shown().to_owned(),
            show: [(SHOWN, o.entry_name_shown), (HIDDEN, o.entry_name_hidden)]
                .map(|(value, text)| Choice::new(value, text, show.shown()))
                .into(),
            show_hint: if now.under_age { o.entry_show_hint_under_age } else { o.entry_show_hint },
            consent: [(GIVEN, o.entry_consent_given), (MISSING, o.entry_consent_missing)]
                .into_iter()
                .filter(|_| asks)
                .map(|(value, text)| Choice::new(value, text, consent.shown()))
                .collect(),
            was_name: now.name.clone(),
            was_email: now.email.clone(),
            was_show: stored_show(now),
            was_consent: stored_consent(now),
        }
    }
}

const SHOWN: &str = "shown";
const HIDDEN: &str = "hidden";
const GIVEN: &str = "given";
const MISSING: &str = "missing";

fn stored_show(now: &Facts) -> &'static str {
    if now.show_name { SHOWN } else { HIDDEN }
}

fn stored_consent(now: &Facts) -> &'static str {
    if now.guardian_consent { GIVEN } else { MISSING }
}

/// One field: as it was shown, as it was typed, and as it is.
struct Member<'a> {
    was: &'a str,
    typed: &'a str,
    now: &'a str,
}

impl<'a> Member<'a> {
    fn is_typed_over(&self) -> bool {
        self.typed != self.was
    }

    /// What stands in the field: what was typed over it, else what is stored by now.
    fn shown(&self) -> &'a str {
        if self.is_typed_over() { self.typed } else { self.now }
    }

    /// Whether somebody else put it right too, and otherwise.
    fn is_anothers(&self) -> bool {
        self.is_typed_over() && self.now != self.was && self.now != self.typed
    }

    /// What is asked for; `None`: it stays, or is so already.
    fn asked(&self) -> Option<&'a str> {
        Some(self.typed).filter(|typed| self.is_typed_over() && *typed != self.now)
    }
}

/// Name, e-mail, whether the name is shown, and a guardian's consent.
fn members<'a>(now: &'a Facts, typed: Option<&'a Fields>) -> [Member<'a>; 4] {
    let member = |name: &str, was: &str, now: &'a str| match typed {
        Some(fields) => Member { was: fields.get(was), typed: fields.get(name), now },
        None => Member { was: now, typed: now, now },
    };
    let chosen = |name: &str, was: &str, now: &'a str, of: [&str; 2]| {
        let mut member = member(name, was, now);
        if !of.contains(&member.typed) {
            member.typed = member.was;
        }
        member
    };
    [
        member("name", "was_name", &now.name),
        member("email", "was_email", &now.email),
        chosen("show_name", "was_show", stored_show(now), [SHOWN, HIDDEN]),
        chosen("guardian_consent", "was_consent", stored_consent(now), [GIVEN, MISSING]),
    ]
}

/// `do=facts`: what was typed over is stored, where it is as it was shown.
pub(super) async fn post(app: &App, caller: &Caller, slug: &str, bib: u32, fields: &Fields) -> Answer {
    for _ in 0..TRIES {
        let about = About::read(app, caller, slug, bib).await?;
        let mut errors = about.facts.as_ref().map_or(Vec::new(), |now| anothers(now, fields));
        let status = if errors.is_empty() {
            match amend::amend(app, &caller.actor, slug, bib, request(&about, caller), facts(&about, fields)).await {
                Ok(_) => {
                    return Ok(Redirect::to(&format!("/organise/{slug}/entries/{bib}?done=facts")).into_response());
                }
                // Compared anew with what it is by now.
                Err(Failure::Refused(Refusal::PreconditionFailed(_))) => continue,
                Err(failure) => refused(failure, FIELDS, &mut errors)?,
            }
        } else {
            StatusCode::CONFLICT
        };
        return again(&about, caller, fields, errors, status);
    }
    let about = About::read(app, caller, slug, bib).await?;
    let errors = vec![FieldError::new("", texts().entry_facts_changed)];
    again(&about, caller, fields, errors, StatusCode::CONFLICT)
}

/// The page again, with what was typed.
fn again(about: &About, caller: &Caller, fields: &Fields, mut errors: Vec<FieldError>, status: StatusCode) -> Answer {
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

/// What somebody else put right otherwise meanwhile, beside its field.
fn anothers(now: &Facts, fields: &Fields) -> Vec<FieldError> {
    let o = texts();
    let mut errors = Vec::new();
    for (member, id) in members(now, Some(fields)).iter().zip(FIELDS).filter(|(member, _)| member.is_anothers()) {
        if errors.is_empty() {
            errors.push(FieldError::new("", o.entry_facts_changed));
        }
        match member.now {
            "" => errors.push(FieldError::new(*id, o.entry_theirs_none)),
            _ if ["show_name", "guardian_consent"].contains(id) => {}
            theirs => errors.push(FieldError::new(*id, put(o.entry_theirs, &[("theirs", &theirs)]))),
        }
    }
    errors
}

/// Of what was typed that which differs; of who was erased all of it, to be told so.
fn facts(about: &About, fields: &Fields) -> EntryFacts {
    let [name, email, show, consent] = match &about.facts {
        Some(now) => members(now, Some(fields)).map(|member| member.asked()),
        None => [Some(fields.get("name")), Some(fields.get("email")), None, None],
    };
    EntryFacts {
        name: name.map(str::to_owned),
        email: email.map(str::to_owned),
        show_name: show.map(|show| show == SHOWN),
        guardian_consent: consent.map(|consent| consent == GIVEN),
    }
}

/// On condition that it is as it was just compared with.
fn request(about: &About, caller: &Caller) -> Request {
    let seen = about.facts.as_ref().and_then(|now| Precondition::of_field(&now.tag));
    Request::at(caller.received).having_seen(seen.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stored(name: &str, email: &str, show_name: bool) -> Facts {
        Facts {
            name: name.into(),
            email: email.into(),
            show_name,
            under_age: false,
            guardian_consent: false,
            tag: String::new(),
        }
    }

    fn form(fields: &[(&str, &str)]) -> Fields {
        Fields(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    /// What was shown, with `typed` over it.
    fn typed(over: &[(&str, &str)]) -> Fields {
        let mut fields = form(over);
        fields.0.extend(
            form(&[
                ("was_name", "Ines"),
                ("was_email", "i@example.org"),
                ("was_show", SHOWN),
                ("name", "Ines"),
                ("email", "i@example.org"),
                ("show_name", SHOWN),
            ])
            .0,
        );
        fields
    }

    #[test]
    fn what_nobody_typed_over_is_not_asked_for_and_stands_as_it_is_stored_by_now() {
        let now = stored("Ines", "new@example.org", false);
        let fields = typed(&[("name", "Inês")]);
        let asked = members(&now, Some(&fields)).map(|member| member.asked().map(str::to_owned));
        assert_eq!(asked, [Some("Inês".to_owned()), None, None, None]);
        assert!(anothers(&now, &fields).is_empty(), "a slip in a name and a hiding do not touch each other");
        let page = FactsForm::new(&now, Some(&fields));
        assert_eq!((&*page.name, &*page.email), ("Inês", "new@example.org"));
        assert_eq!((&*page.was_name, &*page.was_email, page.was_show), ("Ines", "new@example.org", HIDDEN));
        let chosen: Vec<&str> = page.show.iter().filter(|c| c.chosen).map(|c| &*c.value).collect();
        assert_eq!(chosen, [HIDDEN]);
    }

    #[test]
    fn what_two_put_right_otherwise_is_said_beside_the_field_and_the_same_is_done() {
        let now = stored("Inez", "", true);
        let errors = anothers(&now, &typed(&[("name", "Inês"), ("email", "ines@example.org")]));
        let ids: Vec<&str> = errors.iter().map(|e| &*e.id).collect();
        assert_eq!(ids, ["", "name", "email"]);
        assert!(errors[1].text.contains("Inez"), "{}", errors[1].text);
        assert_eq!(errors[2].text, texts().entry_theirs_none);
        let same = typed(&[("name", "Inez"), ("email", "")]);
        assert!(anothers(&now, &same).is_empty());
        assert!(members(&now, Some(&same)).iter().all(|member| member.asked().is_none()));
    }

    /// A form that says nothing of what was shown has nobody's name shown over a hiding.
    #[test]
    fn what_was_not_shown_is_not_gone_over() {
        let now = stored("Ines", "", false);
        let bare = form(&[("name", "Ines"), ("email", ""), ("show_name", SHOWN)]);
        assert!(!anothers(&now, &bare).is_empty());
        let strange = typed(&[("show_name", "yes")]);
        assert!(members(&now, Some(&strange)).iter().all(|member| member.asked().is_none()), "no answer is none");
    }
}
