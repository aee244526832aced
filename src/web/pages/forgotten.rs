//! `/signin/forgotten`: a letter with a way to a new password, for whoever can read the address's
//! mail. The answer is the same whether there is such an account or not.

use super::form::{self, FieldError, Fields};
use super::html;
use super::shell::{Shell, words};
use crate::actions::accounts::{self, AccountError};
use crate::actions::language;
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::web::extract::Query;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;

#[derive(Template)]
#[template(path = "forgotten.html")]
struct View<'a> {
    shell: Shell,
    w: &'static Pages,
    csrf: &'a str,
    email: &'a str,
    errors: Vec<FieldError>,
    /// Whether letters can be sent.
    mail: bool,
    /// Whether one was asked for just now.
    sent: bool,
}

fn view<'a>(app: &App, caller: &'a Caller, email: &'a str) -> View<'a> {
    let w = words();
    let shell = Shell::new(caller, "/signin/forgotten", w.forgotten_title);
    View { shell, w, csrf: &caller.csrf, email, errors: Vec::new(), mail: app.post.is_there(), sent: false }
}

/// `GET /signin/forgotten`.
pub async fn get_forgotten(State(app): State<App>, caller: Caller, Query(fields): Query<Fields>) -> Answer {
    let view = view(&app, &caller, fields.get("email"));
    Ok(html(&View { sent: view.mail && fields.ticked("sent"), ..view })?.into_response())
}

/// `POST /signin/forgotten`.
pub async fn post_forgotten(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    let mut view = view(&app, &caller, fields.get("email"));
    let status = match accounts::send_forgotten(&app, view.email, &caller.origin()).await {
        Ok(()) => return Ok(Redirect::to("/signin/forgotten?sent=1").into_response()),
        Err(AccountError::Refused(Refusal::Faults(faults))) => {
            view.errors = form::beside(&faults, &["email"], &[]);
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Err(AccountError::Refused(Refusal::Conflict(sentence, _))) => {
            view.errors = vec![FieldError::new("", language::say(&sentence))];
            StatusCode::CONFLICT
        }
        Err(AccountError::Throttled(wait)) => {
            let time = (words().duration)(wait.as_secs().max(1));
            view.errors = vec![FieldError::new("email", put(words().forgotten_wait, &[("time", &time)]))];
            StatusCode::TOO_MANY_REQUESTS
        }
        Err(other) => return Err(other.into()),
    };
    Ok((status, html(&view)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn page(mail: bool, sent: bool) -> String {
        let caller = samples::caller();
        let errors = vec![FieldError::new("email", samples::HOSTILE)];
        let shell = samples::shell("A new password");
        let view = View { shell, w: words(), csrf: &caller.csrf, email: samples::HOSTILE, errors, mail, sent };
        view.render().expect("renders")
    }

    #[test]
    fn without_a_mail_server_nobody_is_asked_for_an_address() {
        for (mail, sent) in [(true, false), (true, true), (false, false)] {
            let page = page(mail, sent);
            samples::assert_sound(&page);
            assert_eq!(page.contains("name=\"email\""), mail && !sent);
        }
        assert!(page(false, false).contains("sends no letters"));
    }
}
