//! `/claim`: an athlete types the bib and the code of a slip, and gets the role for that entry. The
//! page is the same for every competition, there or not.

use super::form::{self, FieldError, Fields};
use super::html;
use super::shell::{Shell, words};
use crate::actions::accounts::{self, AccountError, Claim};
use crate::actions::language;
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::web::extract::Query;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form, cookie};
use crate::words::en::claims::Claims;
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;
use axum::response::{AppendHeaders, IntoResponse, Redirect};
use http::{StatusCode, header};

#[derive(Template)]
#[template(path = "claim.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static Claims,
    csrf: String,
    /// From the address of the slip: not asked for then.
    given: bool,
    competition: String,
    bib: String,
    code: String,
    email: String,
    /// Whose account it goes to, for who is signed in.
    signed_in: Option<String>,
    errors: Vec<FieldError>,
}

fn view(caller: &Caller, fields: &Fields, errors: Vec<FieldError>) -> View {
    let t = words::claims(language::reader());
    let competition = fields.get("c").to_owned();
    View {
        shell: Shell::new(caller, "/claim", t.claim_title),
        w: words(),
        t,
        csrf: caller.csrf.clone(),
        given: !competition.is_empty() && !form::has(&errors, "c"),
        competition,
        bib: fields.get("bib").to_owned(),
        code: fields.get("code").to_owned(),
        email: fields.get("email").to_owned(),
        signed_in: caller.actor.account.map(|_| put(t.claim_as, &[("email", &caller.actor.email)])),
        errors,
    }
}

/// `GET /claim`.
pub async fn get_claim(caller: Caller, Query(fields): Query<Fields>) -> Answer {
    Ok(html(&view(&caller, &fields, Vec::new()))?.into_response())
}

/// `POST /claim`.
pub async fn post_claim(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    let claim = Claim {
        competition: fields.get("c").to_owned(),
        // What is no bib belongs to nobody.
        bib: form::bib(fields.get("bib")).unwrap_or(0),
        code: fields.get("code").to_owned(),
        email: fields.get("email").to_owned(),
        password: fields.exact("password").to_owned(),
    };
    let done = accounts::claim(&app, &caller.actor, caller.received, &claim, &caller.origin()).await;
    let (status, errors) = match done {
        Ok(claimed) => {
            let to = Redirect::to(&format!("/c/{}/athletes/{}", claim.competition, claim.bib));
            let cookies = claimed.signed_in.map(|s| (header::SET_COOKIE, cookie(&app, &s.secret)));
            return Ok((AppendHeaders(cookies), to).into_response());
        }
        Err(AccountError::Refused(Refusal::Faults(faults))) => {
            (StatusCode::UNPROCESSABLE_ENTITY, form::beside(&faults, &["c", "bib", "code", "email", "password"], &[]))
        }
        Err(AccountError::WrongSignIn) => {
            (StatusCode::UNPROCESSABLE_ENTITY, vec![FieldError::new("password", words().signin_wrong)])
        }
        Err(AccountError::Throttled(wait)) => {
            let time = (words().duration)(wait.as_secs().max(1));
            (StatusCode::TOO_MANY_REQUESTS, vec![FieldError::new("", put(words().signin_wait, &[("time", &time)]))])
        }
        Err(other) => return Err(other.into()),
    };
    Ok((status, html(&view(&caller, &fields, errors))?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn what_was_typed_stays_but_the_password() {
        let typed = |name: &str| (name.to_owned(), samples::HOSTILE.to_owned());
        let fields = Fields(["c", "bib", "code", "email", "password"].map(typed).to_vec());
        let errors = ["c", "bib", "code", "email", "password", ""].map(|id| FieldError::new(id, samples::BIDI));
        let page = view(&samples::caller(), &fields, errors.to_vec()).render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("href=\"#password\"") && page.contains("name=\"c\""));
        samples::assert_sound(&view(&samples::caller(), &Fields::default(), Vec::new()).render().expect("renders"));
    }
}
